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
    /// Its count at the last frame that was looked at closely.
    count: i64,
    /// Its position there; NaN: it had none.
    position: f64,
}

impl Side {
    fn new(channel: &ChannelSetup) -> Self {
        let nano = match &channel.source {
            Source::Counter { unit_per_count, .. } => unit_per_count.value,
            Source::Position { .. } => 1_000_000_000,
        };
        Self { unit: to_f64(nano) / NANO_PER_UNIT, rate: (Span::ZERO, 0.0), count: 0, position: f64::NAN }
    }

    /// NaN: there is none.
    #[inline(always)]
    fn speed(&mut self, seen: &Glimpse) -> f64 {
        let Some(travel) = seen.travel else { return f64::NAN };
        if travel.elapsed() != self.rate.0 {
            let elapsed = travel.elapsed();
            self.rate = (elapsed, self.unit * 1e9 / to_f64(elapsed.as_nanos().cast_signed()));
        }
        to_f64(travel.counts()) * self.rate.1
    }

    /// How far it went since the last frame that was looked at closely.
    #[inline(always)]
    fn moved(&self, mark: Mark) -> f64 {
        to_f64(mark.count().wrapping_sub(self.count)) * self.unit
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
    /// What is tolerated of the positions, in axis units, and what each axis unit per second adds.
    tolerance: (f64, f64),
    is_aligned: bool,
    has_speeds_apart: bool,
    /// How far the positions were apart at the last frame that was looked at closely; NaN: they were not held against each other.
    apart: f64,
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
        let tolerance = setup.discrepancy.as_ref().map_or((f64::NAN, 0.0), |rule| {
            let skew = to_f64(rule.skew_allowance.value.as_nanos().cast_signed()) / 1e9;
            (number(rule.tolerance.value.to_bits()), skew)
        });
        Self {
            buckets,
            sides: [&setup.a, &setup.b].map(Side::new),
            tolerance,
            is_aligned: setup.discrepancy.as_ref().is_some_and(|rule| rule.align),
            has_speeds_apart: setup.speed_discrepancy.is_some(),
            apart: f64::NAN,
            analogues: setup.analogues.len(),
        }
    }

    pub(super) fn finish(self) -> Finished {
        self.buckets.finish()
    }

    fn look_at(&mut self, axis: &ReplayAxis, channel: Channel, shown: &Shown<'_>) {
        let place = usize::from(channel == Channel::B);
        let side = &mut self.sides[place];
        let glimpse = axis.state().glimpse(channel).filter(|_| shown.outcome.faults.of(channel).is_none());
        side.position = f64::NAN;
        if let Some(seen) = glimpse {
            side.count = seen.mark.count();
            side.position = axis.position(channel).map_or(f64::NAN, |position| number(position.to_bits()));
            self.buckets.put(Series::Speed(channel).place(), side.speed(&seen));
            self.buckets.put(Series::Position(channel).place(), side.position);
        }
        let speeds = shown.speeds[place];
        let of = |end: Option<Speed>| end.map(|end| number(end.to_bits()));
        self.buckets.last(Series::SpeedLow(channel).place(), of(speeds.map(|(low, _)| low)));
        self.buckets.last(Series::SpeedHigh(channel).place(), of(speeds.map(|(_, high)| high)));
        let end = |of: fn(&Room) -> Option<Position>| {
            let room = shown.rooms[place]?;
            Some(side.position + side.moved(room.from) + number(of(&room)?.to_bits()))
        };
        let (low, high) = (end(|room| room.low), end(|room| room.high));
        self.buckets.last(Series::WindowLow(channel).place(), low);
        self.buckets.last(Series::WindowHigh(channel).place(), high);
    }

    fn compare(&mut self, axis: &ReplayAxis) {
        let apart = axis.apart();
        if let Some(apart) = apart {
            self.buckets.put(Series::Apart.place(), number(apart.d.to_bits()));
            self.buckets.put(Series::Allowed.place(), number(apart.bound.limit.to_bits()));
        }
        self.apart = apart.map_or(f64::NAN, |apart| number(apart.d.to_bits()));
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
        let (moved_a, moved_b) = (side_a.moved(a.mark), side_b.moved(b.mark));
        let (mut apart, mut allowed) = (f64::NAN, f64::NAN);
        if self.is_aligned {
            // Both are of another time than the frame.
            if let Some(bound) = axis.apart() {
                (apart, allowed) = (number(bound.d.to_bits()), number(bound.bound.limit.to_bits()));
            }
        } else {
            let (tolerance, skew) = self.tolerance;
            apart = self.apart + moved_a - moved_b;
            allowed = tolerance + skew * speed_a.abs().min(speed_b.abs());
        }
        let speeds_apart = if self.has_speeds_apart { (speed_a - speed_b).abs() } else { f64::NAN };
        let (position_a, position_b) = (side_a.position + moved_a, side_b.position + moved_b);
        self.buckets.put_first(&[speed_a, speed_b, position_a, position_b, apart, allowed, speeds_apart]);
        self.buckets.end_frame(now.as_nanos());
    }

    fn frame(&mut self, axis: &ReplayAxis, now: Instant, shown: &Shown<'_>) {
        for channel in Channel::BOTH {
            self.look_at(axis, channel, shown);
        }
        self.compare(axis);
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
