//! What a setting must leave room for, term by term.

use monitor_core::{Channel, Position, Span, Speed};

use super::amount::{Amount, Figure, Kind};
use crate::setup::{Setting, Setup};

/// What a setting is about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Subject {
    /// Whose it is: a section, or the name of a monitor.
    pub of: String,
    /// The key, as in the setup file.
    pub key: &'static str,
    /// The channel, where it is one channel alone.
    pub channel: Option<Channel>,
    /// The monitor, an index into [`Setup::monitors`].
    pub monitor: Option<usize>,
}

/// What is found of a setting.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Finding {
    /// There is room for everything.
    Fine,
    /// What is known of sensors and operation already takes more than there is: it trips although nothing is wrong.
    TripsForNothing,
    /// It looks like a slip of a unit: nothing needs it to be so.
    Slip,
    /// Nothing speaks against it so far, but something is not known that takes room too.
    Unknown,
}

/// A thing that takes room.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Share {
    /// What it is.
    pub name: String,
    /// How much.
    pub figure: Figure,
    /// It is over before the delay of the rule is, and takes no room.
    pub passes: bool,
}

/// A setting, and what it must leave room for in the worst case.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Need {
    /// Which.
    pub subject: Subject,
    /// What takes room; those that are zero are left out.
    pub shares: Vec<Share>,
    /// All of it that does not pass. `None`: too large to be worked out.
    pub needed: Option<Figure>,
    /// What is set.
    pub set: Figure,
    /// What is set, as it is written.
    pub written: String,
    /// The keys of the setup that would have to be there to say it for certain.
    pub missing: Vec<String>,
    /// What is found.
    pub finding: Finding,
}

/// Adds up what takes room.
pub(super) struct Needs {
    kind: Kind,
    shares: Vec<Share>,
    sum: Amount,
    pub(super) missing: Vec<String>,
}

impl Needs {
    pub(super) fn new(kind: Kind) -> Self {
        Self { kind, shares: Vec::new(), sum: Amount::ZERO, missing: Vec::new() }
    }

    /// Adds a share that takes room; each is rounded up, and the sum is that of the rounded ones.
    pub(super) fn takes(&mut self, name: impl Into<String>, amount: Amount) {
        self.add(name.into(), amount, false);
    }

    /// Adds one that may be over in time.
    pub(super) fn takes_unless(&mut self, passes: bool, name: impl Into<String>, amount: Amount) {
        self.add(name.into(), amount, passes);
    }

    fn add(&mut self, name: String, amount: Amount, passes: bool) {
        let Some(figure) = self.kind.of(amount) else {
            self.sum = Amount(None);
            return;
        };
        if is_zero(figure) {
            return;
        }
        if !passes {
            self.sum = self.sum + exact(figure);
        }
        self.shares.push(Share { name, figure, passes });
    }

    /// A key that is not there.
    pub(super) fn lacks(&mut self, key: &str, of: &str) {
        let text = format!("`{key}` of {of}");
        if !self.missing.contains(&text) {
            self.missing.push(text);
        }
    }

    /// The value of a key, or zero and a note that it is missing.
    pub(super) fn want<T: Copy + Into<Amount>>(
        &mut self,
        setting: Option<&Setting<T>>,
        key: &str,
        of: &str,
    ) -> Amount {
        if setting.is_none() {
            self.lacks(key, of);
        }
        setting.map_or(Amount::ZERO, |setting| setting.value.into())
    }

    /// All of it so far.
    pub(super) fn sum(&self) -> Amount {
        self.sum
    }

    /// What is found, beside what is set. The set value was rounded down, so that a value of exactly what is needed is not held
    /// against it.
    pub(super) fn beside(self, subject: Subject, set: Figure, written: &str) -> Need {
        let too_much = self.sum.0.is_none() || self.sum.0 > (exact(set) + step(set)).0;
        let finding = match (too_much, self.missing.is_empty()) {
            (true, _) => Finding::TripsForNothing,
            (false, true) => Finding::Fine,
            (false, false) => Finding::Unknown,
        };
        Need {
            subject,
            shares: self.shares,
            needed: self.kind.of(self.sum),
            set,
            written: written.to_owned(),
            missing: self.missing,
            finding,
        }
    }
}

fn is_zero(figure: Figure) -> bool {
    exact(figure) == Amount::ZERO
}

/// The step to which a setting is rounded.
fn step(figure: Figure) -> Amount {
    match figure {
        Figure::Time(_) => Span::from_nanos(1).into(),
        _ => Position::from_bits(1).into(),
    }
}

pub(super) fn exact(figure: Figure) -> Amount {
    match figure {
        Figure::Position(value) => value.into(),
        Figure::Speed(value) => value.into(),
        Figure::Acceleration(value) => value.into(),
        Figure::Time(value) => value.into(),
    }
}

/// `[sensors.a]` or `[sensors.b]`.
pub(super) const fn section(channel: Channel) -> &'static str {
    match channel {
        Channel::A => "[sensors.a]",
        Channel::B => "[sensors.b]",
    }
}

/// The letter of a channel.
pub(super) const fn letter(channel: Channel) -> &'static str {
    match channel {
        Channel::A => "a",
        Channel::B => "b",
    }
}

/// One count of a source. A column of positions has a resolution that nobody has told: its own step of 2⁻²⁴.
pub(super) fn count(setup: &Setup, channel: Channel) -> Amount {
    match setup.channel(channel).count_nano_ulps() {
        Some(steps) => {
            let below = i128::from(crate::decimal::NANO_ULPS_PER_UNIT);
            Amount(Some(crate::decimal::Exact::new(i128::from(steps), below)))
        }
        None => Position::from_bits(1).into(),
    }
}

/// The magnitude of a speed.
pub(super) fn magnitude(speed: Speed) -> Amount {
    Speed::from_bits(speed.to_bits().saturating_abs()).into()
}
