//! From counter to position: the unwrapped count, the channel faults, the continuity.

use super::exact::{Q, in_range, seconds, ulp_down, ulp_up};
use super::setup::{Referencing, Source};
use super::speed::{History, Point, Windows};
use monitor_core::{Reading, Sample};
use num_traits::Signed;

/// Why a channel is faulted at a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// The source marked its newest reading as invalid.
    Invalid,
    /// A reading from the future, from before the one before it, or another value at the same instant.
    OutOfOrder,
    /// The newest reading is too old, or came too long after the one before it, or none ever came.
    Stale,
    /// The count changed by more than the mechanics can.
    Implausible,
    /// Count, position, travel or speed left its range.
    Range,
}

/// The value of a counter of `bits` bits, read as a two's-complement number.
#[must_use]
pub fn as_signed(value: u64, bits: u32) -> i128 {
    let modulus = 1_i128 << bits;
    let residue = i128::from(value).rem_euclid(modulus);
    if residue >= modulus / 2 { residue - modulus } else { residue }
}

/// The change of a counter of `bits` bits between two readings: the two's-complement difference.
#[must_use]
pub fn change(from: u64, to: u64, bits: u32) -> i128 {
    let modulus = 1_i128 << bits;
    let half = modulus / 2;
    (i128::from(to) - i128::from(from) + half).rem_euclid(modulus) - half
}

/// A place on the axis that later positions are measured from. It is worth nothing once continuity is lost.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Reference {
    pub epoch: u64,
    pub count: i128,
}

/// The last reading that was taken. It outlives a loss of continuity: order and gaps are judged against it.
#[derive(Clone, Copy, Debug)]
struct Taken {
    at: u64,
    value: u64,
}

/// One channel's source with everything known about it.
#[derive(Clone, Debug)]
pub(super) struct Tracker {
    pub source: Source,
    referencing: Referencing,
    /// A place with the position that was declared for it.
    declared: Option<(Reference, Q)>,
    window_ns: u64,
    spacing_ns: u64,
    /// Whether a rule compares an acceleration.
    accelerates: bool,
    first_frame: Option<u64>,
    taken: Option<Taken>,
    invalid_stands: bool,
    /// The newest reading was a first one and its position is out of range.
    range_stands: bool,
    /// Readings since continuity began; `None` while it is lost or never began.
    history: Option<History>,
    /// How many first readings there have been.
    epoch: u64,
    /// The speed in units per second, kept between readings.
    speed: Option<Q>,
    /// What the acceleration is taken from, kept between readings; `None` while it is unknown or nobody needs it.
    windows: Option<Windows>,
    pub fault: Option<Fault>,
    pub latched: Option<Fault>,
}

impl Tracker {
    pub fn new(
        source: Source,
        referencing: Referencing,
        window_ns: u64,
        spacing_ns: u64,
        accelerates: bool,
    ) -> Self {
        Self {
            source,
            referencing,
            declared: None,
            window_ns,
            spacing_ns,
            accelerates,
            first_frame: None,
            taken: None,
            invalid_stands: false,
            range_stands: false,
            history: None,
            epoch: 0,
            speed: None,
            windows: None,
            fault: None,
            latched: None,
        }
    }

    /// Takes what one frame says about this source.
    pub fn step(&mut self, now: u64, reading: Option<Reading>) {
        let first_frame = *self.first_frame.get_or_insert(now);
        self.fault = self.judge(now, first_frame, reading);
        if self.latched.is_none() {
            self.latched = self.fault;
        }
    }

    /// Takes the position that an input declares; `declares` says whether an input does at this frame.
    pub fn refer(&mut self, declares: impl Fn(usize) -> bool) {
        if let Referencing::Event { input, position } = &self.referencing
            && declares(*input)
            && self.fault.is_none()
            && let Some(place) = self.place()
        {
            self.declared = Some((place, position.clone()));
        }
    }

    /// The exact referenced position; `None` while it has none, continuity was lost since it was declared, or it leaves the range.
    pub fn referenced(&self) -> Option<Q> {
        self.unbounded().filter(|x| in_range(&ulp_down(x)) && in_range(&ulp_up(x)))
    }

    fn unbounded(&self) -> Option<Q> {
        match &self.referencing {
            Referencing::None => None,
            Referencing::Absolute { offset } => Some(offset + self.position()?),
            Referencing::Event { .. } => {
                let (place, position) = self.declared.as_ref()?;
                Some(position + self.travel_since(*place)?)
            }
        }
    }

    fn judge(&mut self, now: u64, first_frame: u64, reading: Option<Reading>) -> Option<Fault> {
        let mut fresh = None;
        if let Some(Reading { captured_at, sample }) = reading {
            let at = captured_at.as_nanos();
            let Sample::Count(value) = sample else {
                self.invalid_stands = true;
                self.lose_continuity();
                return Some(Fault::Invalid);
            };
            match self.taken {
                Some(taken) if taken.at == at && self.moved(taken.value, value) == 0 => {}
                Some(taken) if at <= taken.at => return Some(Fault::OutOfOrder),
                _ if at > now => return Some(Fault::OutOfOrder),
                _ => fresh = Some(Taken { at, value }),
            }
        }
        match fresh {
            None => self.without_reading(now, first_frame),
            Some(fresh) => self.with_reading(now, fresh),
        }
    }

    fn without_reading(&mut self, now: u64, first_frame: u64) -> Option<Fault> {
        if self.invalid_stands {
            return Some(Fault::Invalid);
        }
        let since = self.taken.map_or(first_frame, |taken| taken.at);
        if now - since > self.source.timeout_ns {
            self.lose_continuity();
            return Some(Fault::Stale);
        }
        self.range_stands.then_some(Fault::Range)
    }

    fn with_reading(&mut self, now: u64, fresh: Taken) -> Option<Fault> {
        let before = self.taken.replace(fresh);
        self.invalid_stands = false;
        let timeout = self.source.timeout_ns;
        if now - fresh.at > timeout {
            // Too old already: not a good reading, so not a first one either.
            self.lose_continuity();
            return Some(Fault::Stale);
        }
        if self.history.is_some() && before.is_some_and(|before| fresh.at - before.at > timeout) {
            self.take_first(fresh);
            return Some(Fault::Stale);
        }
        match (before, self.history.take()) {
            (Some(before), Some(history)) => {
                let moved = self.moved(before.value, fresh.value);
                if self.is_implausible(moved, fresh.at - before.at) {
                    self.take_first(fresh);
                    return Some(Fault::Implausible);
                }
                let count = history.newest().count + moved;
                if !self.take_next(history, Point { at: fresh.at, count }) {
                    self.take_first(fresh);
                    return Some(Fault::Range);
                }
                None
            }
            _ => {
                self.take_first(fresh);
                self.range_stands.then_some(Fault::Range)
            }
        }
    }

    fn moved(&self, from: u64, to: u64) -> i128 {
        change(from, to, self.source.counter_bits)
    }

    /// Whether the change, less the one count of uncertainty, is more than the mechanics can in `elapsed`.
    fn is_implausible(&self, moved: i128, elapsed_ns: u64) -> bool {
        let travel = Q::from_integer((moved.abs() - 1).into()) * self.source.unit_per_count.abs();
        travel > &self.source.max_speed * seconds(elapsed_ns)
    }

    fn lose_continuity(&mut self) {
        self.history = None;
        self.speed = None;
        self.windows = None;
    }

    fn take_first(&mut self, taken: Taken) {
        let count = as_signed(taken.value, self.source.counter_bits);
        let point = Point { at: taken.at, count };
        let position = Q::from_integer(count.into()) * &self.source.unit_per_count;
        // A first reading out of range is no place to count from: the next one is a first reading again.
        self.range_stands = !in_range(&position);
        self.history =
            (!self.range_stands).then(|| History::starting(self.window_ns, self.spacing_ns, point));
        self.speed = None;
        self.windows = None;
        self.epoch += 1;
    }

    /// Takes a reading that continues the history; `false`, and nothing taken, when something leaves its range.
    fn take_next(&mut self, mut history: History, point: Point) -> bool {
        let unit = &self.source.unit_per_count;
        let position = Q::from_integer(point.count.into()) * unit;
        if point.count.unsigned_abs() > u128::from(i64::MAX.unsigned_abs()) || !in_range(&position) {
            return false;
        }
        history.take(point);
        let speed = history.counts_per_second().map(|rate| rate * unit);
        if let (Some(base), Some(speed)) = (history.base(), &speed) {
            let travel = Q::from_integer((point.count - base.count).into()) * unit;
            if !in_range(&travel) || !in_range(&ulp_up(&speed.abs())) {
                return false;
            }
        }
        self.windows = if self.accelerates { history.windows(unit) } else { None };
        self.history = Some(history);
        self.speed = speed;
        true
    }

    /// Whether a reading was ever taken.
    pub fn has_begun(&self) -> bool {
        self.taken.is_some()
    }

    /// The signed speed over the window, units per second; `None` while it is unknown.
    pub fn speed(&self) -> Option<&Q> {
        self.speed.as_ref()
    }

    /// The two windows of the acceleration; `None` while it is unknown, or when no rule of the axis needs it.
    pub fn windows(&self) -> Option<&Windows> {
        self.windows.as_ref()
    }

    /// The newest reading's place; `None` while continuity is lost.
    pub fn place(&self) -> Option<Reference> {
        let count = self.history.as_ref()?.newest().count;
        Some(Reference { epoch: self.epoch, count })
    }

    /// When the newest reading was captured; `None` while continuity is lost.
    pub fn captured_at(&self) -> Option<u64> {
        Some(self.history.as_ref()?.newest().at)
    }

    /// The exact position; `None` while continuity is lost.
    pub fn position(&self) -> Option<Q> {
        Some(Q::from_integer(self.place()?.count.into()) * &self.source.unit_per_count)
    }

    /// Exact travel since `reference`; `None` while continuity is lost, or was lost in between.
    pub fn travel_since(&self, reference: Reference) -> Option<Q> {
        let place = self.place().filter(|place| place.epoch == reference.epoch)?;
        Some(Q::from_integer((place.count - reference.count).into()) * &self.source.unit_per_count)
    }

    /// Takes `reference` anew when there is none, or continuity was lost since it was taken.
    pub fn renew(&self, reference: &mut Option<Reference>) {
        if let Some(place) = self.place()
            && reference.is_none_or(|known| known.epoch != place.epoch)
        {
            *reference = Some(place);
        }
    }
}
