//! The settings that a trip or a fault hangs on, each with the way that makes it looser.

mod rules;

pub(super) use rules::{of_fault, of_trip};

use monitor_core::{Acceleration, Channel, Position, Span, Speed, Value};

use crate::setup::{ChannelSetup, Setting, Setup, Source};

/// Steps of a value in one unit: a thousandth of it.
const STEPS: i128 = 1000;

/// Nanoseconds in one step of a time: a microsecond.
const TIME_STEP: i64 = 1000;

/// ULPs in one unit.
const ULPS: i128 = 1 << 24;

/// A numeric setting in a setup.
pub(super) enum Lens<'a> {
    Time(&'a mut Setting<Span>),
    Position(&'a mut Setting<Position>),
    Speed(&'a mut Setting<Speed>),
    Acceleration(&'a mut Setting<Acceleration>),
    Value(&'a mut Setting<Value>),
}

/// Which way a setting gets looser.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Looser {
    Up,
    Down,
}

/// Finds a setting in a setup; `None` where there is no such one.
type Find = Box<dyn for<'a> Fn(&'a mut Setup) -> Option<Lens<'a>> + Send + Sync>;

/// A setting that a trip or a fault hangs on.
pub(super) struct Knob {
    /// Its place in the setup file.
    pub(super) path: String,
    pub(super) looser: Looser,
    /// It changes how speeds are measured: what was measured before cannot be gone on with.
    pub(super) anew: bool,
    /// What is set counts from the demand on, so nothing later than that can be gone on with.
    pub(super) from_demand: bool,
    /// The loosest value that makes sense, in steps.
    pub(super) most: i64,
    find: Find,
}

impl Knob {
    fn new(
        path: impl Into<String>,
        looser: Looser,
        find: impl for<'a> Fn(&'a mut Setup) -> Option<Lens<'a>> + Send + Sync + 'static,
    ) -> Self {
        let most = match looser {
            Looser::Up => 1 << 32,
            Looser::Down => 0,
        };
        Self { path: path.into(), looser, anew: false, from_demand: false, most, find: Box::new(find) }
    }

    fn counted_from_demand(self) -> Self {
        Self { from_demand: true, ..self }
    }

    /// No faster than the mechanics can move.
    fn below_max_speed(self, setup: &Setup) -> Self {
        let fastest = setup.a.max_speed.value.max(setup.b.max_speed.value);
        let most = i128::from(fastest.to_bits()) * STEPS / ULPS;
        Self { most: i64::try_from(most).unwrap_or(i64::MAX), ..self }
    }

    fn at_most(self, most: i64) -> Self {
        Self { most, ..self }
    }

    /// The value in force, in steps, rounded to the stricter side.
    pub(super) fn steps(&self, setup: &Setup) -> Option<i64> {
        let mut setup = setup.clone();
        let of_bits = |bits: i64| {
            let scaled = i128::from(bits) * STEPS;
            let steps = match self.looser {
                Looser::Up => scaled.div_euclid(ULPS),
                Looser::Down => -(-scaled).div_euclid(ULPS),
            };
            i64::try_from(steps).ok()
        };
        match (self.find)(&mut setup)? {
            Lens::Time(setting) => {
                i64::try_from(setting.value.as_nanos()).ok().map(|nanos| nanos / TIME_STEP)
            }
            Lens::Position(setting) => of_bits(setting.value.to_bits()),
            Lens::Speed(setting) => of_bits(setting.value.to_bits()),
            Lens::Acceleration(setting) => of_bits(setting.value.to_bits()),
            Lens::Value(setting) => of_bits(setting.value.to_bits()),
        }
    }

    /// The setup with another value, rounded as its file would be; `None` for one that cannot be.
    pub(super) fn set(&self, setup: &Setup, steps: i64) -> Option<Setup> {
        let mut changed = setup.clone();
        let bits = {
            let scaled = i128::from(steps) * ULPS;
            let bits = match self.looser {
                Looser::Up => scaled.div_euclid(STEPS),
                Looser::Down => -(-scaled).div_euclid(STEPS),
            };
            i64::try_from(bits).ok()?
        };
        match (self.find)(&mut changed)? {
            Lens::Time(setting) => {
                let nanos = u64::try_from(steps.checked_mul(TIME_STEP)?).ok()?;
                setting.value = Span::from_nanos(nanos);
            }
            Lens::Position(setting) => setting.value = Position::from_bits(bits),
            Lens::Speed(setting) => setting.value = Speed::from_bits(bits),
            Lens::Acceleration(setting) => setting.value = Acceleration::from_bits(bits),
            Lens::Value(setting) => setting.value = Value::from_bits(bits),
        }
        Some(changed)
    }

    /// The value in force to the nearest step, in the unit in which others are written.
    pub(super) fn shown(&self, setup: &Setup, value_unit: &str) -> Option<String> {
        self.written(setup, self.nearest(setup)?, value_unit)
    }

    /// The value in force, in steps, to the nearest.
    fn nearest(&self, setup: &Setup) -> Option<i64> {
        let mut setup = setup.clone();
        let of_bits =
            |bits: i64| i64::try_from((i128::from(bits) * STEPS * 2 + ULPS).div_euclid(2 * ULPS)).ok();
        match (self.find)(&mut setup)? {
            Lens::Time(setting) => {
                i64::try_from(setting.value.as_nanos()).ok().map(|nanos| (nanos + TIME_STEP / 2) / TIME_STEP)
            }
            Lens::Position(setting) => of_bits(setting.value.to_bits()),
            Lens::Speed(setting) => of_bits(setting.value.to_bits()),
            Lens::Acceleration(setting) => of_bits(setting.value.to_bits()),
            Lens::Value(setting) => of_bits(setting.value.to_bits()),
        }
    }

    /// What a value beyond that of the setup allows besides, in words.
    pub(super) fn allows(&self, setup: &Setup, steps: i64, value_unit: &str) -> Option<String> {
        let by = self.nearest(setup)?.abs_diff(steps);
        let more = self.written(setup, i64::try_from(by).ok()?, value_unit)?;
        let mut changed = setup.clone();
        Some(match ((self.find)(&mut changed)?, self.looser) {
            (Lens::Time(_), _) => format!("{more} longer"),
            (_, Looser::Up) => format!("{more} more, for any time"),
            (_, Looser::Down) => format!("{more} less, for any time"),
        })
    }

    /// So many steps as the file would have them.
    pub(super) fn written(&self, setup: &Setup, steps: i64, value_unit: &str) -> Option<String> {
        let mut setup = setup.clone();
        let unit = setup.unit.symbol();
        let thousandths = thousandths(steps);
        Some(match (self.find)(&mut setup)? {
            Lens::Time(_) => format!("{thousandths} ms"),
            Lens::Position(_) => format!("{thousandths} {unit}"),
            Lens::Speed(_) => format!("{thousandths} {unit}/s"),
            Lens::Acceleration(_) => format!("{thousandths} {unit}/s^2"),
            Lens::Value(_) => format!("{thousandths} {value_unit}"),
        })
    }
}

/// Thousandths as a decimal without zeros at its end.
fn thousandths(steps: i64) -> String {
    let size = steps.unsigned_abs();
    let sign = if steps < 0 { "-" } else { "" };
    let text = format!("{sign}{}.{:03}", size / 1000, size % 1000);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
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
