//! Takes in what an axis sees and is held against, frame by frame.

use monitor_core::{Channel, Glimpse, Instant, Mark, Position, Span, Speed};

use super::buckets::{Buckets, Finished};
use super::series::{SERIES, Series};
use crate::explain::number;
use crate::replay::{Follower, ReplayAxis, Room, Shown, analogue_id};
use crate::setup::{ChannelSetup, Setup, Source};

/// Billionths of a ULP in one axis unit.
const NANO_PER_UNIT: f64 = 1e9 * (1_u64 << monitor_core::FRACTION_BITS) as f64;

/// The groups of lanes: see [`super::Lane`].
pub(super) const LEVELS: usize = 0;
pub(super) const DEMANDING: usize = 1;
pub(super) const ACTIVE: usize = 2;
pub(super) const VIOLATED: usize = 3;
pub(super) const OUTPUTS: usize = 4;
pub(super) const OTHERS: usize = 5;
/// Bits of the last group.
pub(super) const PERMIT: u32 = 1;
pub(super) const WARMING_UP: u32 = 1 << 1;
pub(super) const FAULTS: [u32; 2] = [1 << 2, 1 << 3];

/// One channel.
#[derive(Clone, Copy, Debug)]
struct Side {
    /// Axis units per count.
    unit: f64,
    /// What one count over the last window is as a speed, and how long that window was.
    rate: (Span, f64),
    /// Its position at the last frame that was looked at closely.
    here: Option<(i64, f64)>,
}

impl Side {
    fn new(channel: &ChannelSetup) -> Self {
        let nano = match &channel.source {
            Source::Counter { unit_per_count, .. } => unit_per_count.value,
            Source::Position { .. } => 1_000_000_000,
        };
        Self { unit: to_f64(nano) / NANO_PER_UNIT, rate: (Span::ZERO, 0.0), here: None }
    }

    #[inline(always)]
    fn speed(&mut self, seen: &Glimpse) -> Option<f64> {
        let travel = seen.travel?;
        if travel.elapsed() != self.rate.0 {
            let elapsed = travel.elapsed();
            self.rate = (elapsed, self.unit * 1e9 / to_f64(elapsed.as_nanos().cast_signed()));
        }
        Some(to_f64(travel.counts()) * self.rate.1)
    }

    #[inline(always)]
    fn position(&self, mark: Mark) -> Option<f64> {
        let (count, position) = self.here?;
        Some(position + to_f64(mark.count().wrapping_sub(count)) * self.unit)
    }
}

/// A picture needs no more than 53 bits.
#[inline(always)]
#[expect(clippy::cast_precision_loss, reason = "a picture needs no more than 53 bits")]
const fn to_f64(whole: i64) -> f64 {
    whole as f64
}

/// See the module.
#[derive(Clone, Debug)]
pub(crate) struct Collector {
    buckets: Buckets<SERIES>,
    sides: [Side; 2],
    /// What is tolerated of the positions, in axis units, and what each axis unit per second adds; `None`: they are not held against each other.
    tolerance: Option<(f64, f64)>,
    is_aligned: bool,
    has_speeds_apart: bool,
    /// How far the channels were apart at the last frame that was looked at closely, with their counts.
    apart: Option<(f64, [i64; 2])>,
    analogues: usize,
}

impl Collector {
    /// In bounded memory.
    pub(crate) fn new(setup: &Setup) -> Self {
        Self::of(setup, Buckets::new(Series::of(setup).len()))
    }

    /// Of every frame.
    pub(super) fn raw(setup: &Setup) -> Self {
        Self::of(setup, Buckets::raw(Series::of(setup).len()))
    }

    pub(super) fn of(setup: &Setup, buckets: Buckets<SERIES>) -> Self {
        let tolerance = setup.discrepancy.as_ref().map(|rule| {
            let skew = to_f64(rule.skew_allowance.value.as_nanos().cast_signed()) / 1e9;
            (number(rule.tolerance.value.to_bits()), skew)
        });
        Self {
            buckets,
            sides: [&setup.a, &setup.b].map(Side::new),
            tolerance,
            is_aligned: setup.discrepancy.as_ref().is_some_and(|rule| rule.align),
            has_speeds_apart: setup.speed_discrepancy.is_some(),
            apart: None,
            analogues: setup.analogues.len(),
        }
    }

    pub(super) fn finish(self) -> Finished {
        self.buckets.finish()
    }

    fn look_at(&mut self, axis: &ReplayAxis, channel: Channel, shown: &Shown<'_>) -> Option<Glimpse> {
        let place = usize::from(channel == Channel::B);
        let side = &mut self.sides[place];
        let glimpse = axis.state().glimpse(channel).filter(|_| shown.outcome.faults.of(channel).is_none());
        side.here =
            glimpse.and_then(|seen| Some((seen.mark.count(), number(axis.position(channel)?.to_bits()))));
        if let Some(seen) = glimpse {
            if let Some(speed) = side.speed(&seen) {
                self.buckets.put(Series::Speed(channel).place(), speed);
            }
            if let Some(position) = side.position(seen.mark) {
                self.buckets.put(Series::Position(channel).place(), position);
            }
        }
        let speeds = shown.speeds[place];
        let of = |end: Option<Speed>| end.map(|end| number(end.to_bits()));
        self.buckets.last(Series::SpeedLow(channel).place(), of(speeds.map(|(low, _)| low)));
        self.buckets.last(Series::SpeedHigh(channel).place(), of(speeds.map(|(_, high)| high)));
        let end = |of: fn(&Room) -> Option<Position>| {
            let room = shown.rooms[place]?;
            Some(side.position(room.from)? + number(of(&room)?.to_bits()))
        };
        let (low, high) = (end(|room| room.low), end(|room| room.high));
        self.buckets.last(Series::WindowLow(channel).place(), low);
        self.buckets.last(Series::WindowHigh(channel).place(), high);
        glimpse
    }

    fn compare(&mut self, axis: &ReplayAxis, seen: [Option<Glimpse>; 2]) {
        let apart = axis.apart();
        if let Some(apart) = apart {
            self.buckets.put(Series::Apart.place(), number(apart.d.to_bits()));
            self.buckets.put(Series::Allowed.place(), number(apart.bound.limit.to_bits()));
        }
        self.apart = apart.and_then(|apart| {
            let [a, b] = seen;
            Some((number(apart.d.to_bits()), [a?.mark.count(), b?.mark.count()]))
        });
        if let Some(apart) = axis.speeds_apart() {
            self.buckets.put(Series::SpeedsApart.place(), number(apart.observed.to_bits()));
        }
    }
}

impl Follower for Collector {
    const FOLLOWS: bool = true;

    #[inline(always)]
    fn quiet_frame(&mut self, axis: &ReplayAxis, now: Instant, seen: [Option<Glimpse>; 2]) {
        let [Some(a), Some(b)] = seen else { return };
        self.buckets.go_on();
        let [side_a, side_b] = &mut self.sides;
        let (speed_a, speed_b) = (side_a.speed(&a), side_b.speed(&b));
        if let Some(position) = side_a.position(a.mark) {
            self.buckets.put(Series::Position(Channel::A).place(), position);
        }
        if let Some(position) = side_b.position(b.mark) {
            self.buckets.put(Series::Position(Channel::B).place(), position);
        }
        if let (Some(a), Some(b)) = (speed_a, speed_b) {
            self.buckets.put(Series::Speed(Channel::A).place(), a);
            self.buckets.put(Series::Speed(Channel::B).place(), b);
            if self.has_speeds_apart {
                self.buckets.put(Series::SpeedsApart.place(), (a - b).abs());
            }
        }
        if self.is_aligned {
            self.compare(axis, seen);
        } else if let (Some((tolerance, skew)), Some((then, counts))) = (self.tolerance, self.apart) {
            let moved = |mark: Mark, count: i64, unit: f64| to_f64(mark.count().wrapping_sub(count)) * unit;
            let d = then + moved(a.mark, counts[0], self.sides[0].unit)
                - moved(b.mark, counts[1], self.sides[1].unit);
            self.buckets.put(Series::Apart.place(), d);
            let slower = speed_a.zip(speed_b).map_or(0.0, |(a, b)| a.abs().min(b.abs()));
            self.buckets.put(Series::Allowed.place(), tolerance + skew * slower);
        }
        self.buckets.end_frame(now.as_nanos());
    }

    fn frame(&mut self, axis: &ReplayAxis, now: Instant, shown: &Shown<'_>) {
        let seen = Channel::BOTH.map(|channel| self.look_at(axis, channel, shown));
        self.compare(axis, seen);
        for of in 0..self.analogues {
            let Some(id) = analogue_id(of) else { continue };
            for line in Channel::BOTH {
                let reading = axis.state().analogue_reading(id, line).and_then(|reading| reading.value);
                if let Some(value) = reading.filter(|_| axis.state().analogue_fault(id, line).is_none()) {
                    self.buckets.put(Series::Analogue(of, line).place(), number(value.to_bits()));
                }
            }
        }
        let outcome = shown.outcome;
        let [fault_a, fault_b] = FAULTS;
        let others = (if outcome.permit { PERMIT } else { 0 })
            | (if outcome.warming_up { WARMING_UP } else { 0 })
            | (if outcome.faults.a.is_some() { fault_a } else { 0 })
            | (if outcome.faults.b.is_some() { fault_b } else { 0 });
        self.buckets.lanes([
            shown.levels.to_bits(),
            outcome.demanding.to_bits(),
            outcome.active.to_bits(),
            outcome.violated.a.to_bits() | outcome.violated.b.to_bits(),
            outcome.outputs.to_bits(),
            others,
        ]);
        self.buckets.end_frame(now.as_nanos());
    }
}
