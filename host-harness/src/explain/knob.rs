//! The settings that a trip or a fault hangs on, each with the way that makes it looser.

mod demand;
mod lens;
mod rules;

pub(super) use rules::{of_fault, of_trip};

use monitor_core::Channel;

use crate::setup::{ChannelSetup, Setup, Source};
use lens::Lens;

/// A way in which a value changes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Way {
    Up,
    Down,
}

/// The frame from which on the frames have to be evaluated again with another value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Since {
    /// Where the violation begins.
    Violation,
    /// The demand: what is set counts from there.
    Demand,
    /// Before the lines of an input began to change.
    BeforeLines,
    /// The first that was kept, as if the axis had been switched on there: it changes how speeds are measured, so what was measured before
    /// cannot be gone on with.
    SwitchedOn,
}

/// Finds a setting in a setup; `None` where there is no such one.
type Find = Box<dyn for<'a> Fn(&'a mut Setup) -> Option<Lens<'a>> + Send + Sync>;

/// A setting that a trip or a fault hangs on.
pub(super) struct Knob {
    /// Its place in the setup file.
    pub(super) path: String,
    /// The way that makes it looser.
    pub(super) looser: Way,
    pub(super) since: Since,
    /// It is not what the rule compares: it is told of only where a value of it would have prevented what happened.
    pub(super) is_aside: bool,
    /// The loosest value that makes sense, in steps.
    pub(super) most: i64,
    /// Which way its file rounds a value.
    rounds: Way,
    /// Another setting that limits the same, by its path: where neither does alone both may.
    pub(super) with: Option<String>,
    /// What another value does, where that is not plain.
    means: Option<&'static str>,
    find: Find,
}

impl Knob {
    fn new(
        path: impl Into<String>,
        looser: Way,
        find: impl for<'a> Fn(&'a mut Setup) -> Option<Lens<'a>> + Send + Sync + 'static,
    ) -> Self {
        let most = match looser {
            Way::Up => 1 << 32,
            Way::Down => 0,
        };
        Self {
            path: path.into(),
            looser,
            since: Since::Violation,
            is_aside: false,
            most,
            rounds: match looser {
                Way::Up => Way::Down,
                Way::Down => Way::Up,
            },
            with: None,
            means: None,
            find: Box::new(find),
        }
    }

    fn since(self, since: Since) -> Self {
        Self { since, ..self }
    }

    fn aside(self) -> Self {
        Self { is_aside: true, ..self }
    }

    fn together_with(self, path: String) -> Self {
        Self { with: Some(path), ..self }
    }

    /// It is no limit, or looser to either side: a file may round it to the looser side too.
    fn rounded(self, rounds: Way) -> Self {
        Self { rounds, ..self }
    }

    fn meaning(self, means: &'static str) -> Self {
        Self { means: Some(means), ..self }
    }

    /// No faster than the mechanics can move.
    fn below_max_speed(self, setup: &Setup) -> Self {
        let fastest = setup.a.max_speed.value.max(setup.b.max_speed.value);
        self.at_most(lens::steps_of(fastest.to_bits(), Way::Up).unwrap_or(i64::MAX))
    }

    fn at_most(self, most: i64) -> Self {
        Self { most, ..self }
    }

    /// The value in force, in steps, rounded to the stricter side.
    pub(super) fn steps(&self, setup: &Setup) -> Option<i64> {
        (self.find)(&mut setup.clone())?.steps(self.looser)
    }

    /// The setup with another value, rounded as its file would be; `None` for one that cannot be.
    pub(super) fn set(&self, setup: &Setup, steps: i64) -> Option<Setup> {
        let mut changed = setup.clone();
        (self.find)(&mut changed)?.set(steps, self.rounds)?;
        Some(changed)
    }

    /// The value in force to the nearest step, in the unit in which others are written.
    pub(super) fn shown(&self, setup: &Setup, value_unit: &str) -> Option<String> {
        self.written(setup, self.nearest(setup)?, value_unit)
    }

    /// The value in force, in steps, to the nearest.
    fn nearest(&self, setup: &Setup) -> Option<i64> {
        (self.find)(&mut setup.clone())?.nearest()
    }

    /// What a value beyond that of the setup allows besides, in words.
    pub(super) fn allows(&self, setup: &Setup, steps: i64, value_unit: &str) -> Option<String> {
        let mut clone = setup.clone();
        let lens = (self.find)(&mut clone)?;
        if lens.is_word() {
            return self.means.map(str::to_owned);
        }
        let by = self.nearest(setup)?.abs_diff(steps);
        let more = lens.written(i64::try_from(by).ok()?, setup.unit, value_unit);
        let (way, for_any_time) = match (&lens, self.looser) {
            (Lens::Time(_), Way::Up) => ("longer", ""),
            (Lens::Time(_), Way::Down) => ("shorter", ""),
            (_, Way::Up) => ("more", ", for any time"),
            (_, Way::Down) => ("less", ", for any time"),
        };
        Some(match self.means {
            Some(means) => format!("{more} {way}: {means}"),
            None => format!("{more} {way}{for_any_time}"),
        })
    }

    /// Whether its values are words, of which there are only two.
    pub(super) fn is_word(&self, setup: &Setup) -> bool {
        (self.find)(&mut setup.clone()).is_some_and(|lens| lens.is_word())
    }

    /// By how much longer a time is, in ns; `None` where it is none, or shorter.
    pub(super) fn later_ns(&self, setup: &Setup, steps: i64) -> Option<u64> {
        let mut changed = setup.clone();
        let (Lens::Time(now), Way::Up) = ((self.find)(&mut changed)?, self.looser) else { return None };
        u64::try_from(steps).ok()?.checked_mul(1000)?.checked_sub(now.value.as_nanos())
    }

    /// So many steps as the file would have them.
    pub(super) fn written(&self, setup: &Setup, steps: i64, value_unit: &str) -> Option<String> {
        Some((self.find)(&mut setup.clone())?.written(steps, setup.unit, value_unit))
    }
}

/// A channel of a setup.
fn channel_mut(setup: &mut Setup, channel: Channel) -> &mut ChannelSetup {
    match channel {
        Channel::A => &mut setup.a,
        Channel::B => &mut setup.b,
    }
}

/// The unit per count of a channel made larger by a share in millionths; `None` where it is no counter.
pub(super) fn rescaled(setup: &Setup, channel: Channel, millionths: f64) -> Option<Setup> {
    let mut changed = setup.clone();
    let Source::Counter { unit_per_count, .. } = &mut channel_mut(&mut changed, channel).source else {
        return None;
    };
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        reason = "a cure is an estimate; it is written with nine digits"
    )]
    let value = (unit_per_count.value as f64 * (1.0 + millionths / 1e6)).round() as i64;
    unit_per_count.value = value;
    Some(changed)
}
