//! The frames of an excerpt evaluated again: what the core saw at each of them.

use monitor_core::{
    Acceleration, Bound, Channel, Check, Evidence, Frame, Instant, Levels, MonitorId, Position, Reading,
    Speed, Value,
};

use super::excerpt::Excerpt;
use super::rerun::index;
use crate::replay::{ReplayAxis, TripRule, analogue_id};

/// ULPs in one unit.
const ULPS: f64 = 16_777_216.0;

/// A fixed-point value of 24 fractional bits as a number to explain with: what decides was decided by the core.
#[expect(clippy::cast_precision_loss, reason = "an explanation needs no more than 53 bits")]
pub(crate) fn number(bits: i64) -> f64 {
    bits as f64 / ULPS
}

/// A channel at one frame.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Seen {
    /// In the axis unit.
    pub(super) position: f64,
    /// With its sign, to nearest; `None` while unknown.
    pub(super) speed: Option<f64>,
    /// What it was taken over, in ns; 0 while unknown.
    pub(super) window: u64,
}

/// What was observed against what was allowed, each in its unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Held {
    pub(crate) observed: f64,
    pub(crate) limit: f64,
    /// Whether it is violated where the observed value is below the limit.
    pub(crate) below: bool,
}

impl Held {
    fn of(bits: impl Fn() -> (i64, i64), below: bool) -> Self {
        let (observed, limit) = bits();
        Self { observed: number(observed), limit: number(limit), below }
    }

    /// What a monitor compared of one quantity.
    pub(crate) fn compared(check: &Check, quantity: Quantity) -> Option<Self> {
        fn of<T: Copy>(bound: Option<Bound<T>>, bits: impl Fn(T) -> i64) -> Option<Held> {
            let bound = bound?;
            let below = bound.side == monitor_core::Side::Below;
            Some(Held::of(|| (bits(bound.observed), bits(bound.limit)), below))
        }
        match quantity {
            Quantity::Position => of(check.position, Position::to_bits),
            Quantity::Speed => of(check.speed, Speed::to_bits),
            Quantity::Acceleration => of(check.acceleration, Acceleration::to_bits),
            Quantity::Value => of(check.value, Value::to_bits),
        }
    }

    /// How far beyond the limit; negative within it.
    pub(super) fn excess(&self) -> f64 {
        if self.below { self.limit - self.observed } else { self.observed - self.limit }
    }
}

/// One frame.
#[derive(Clone, Copy, Debug)]
pub(super) struct Point {
    pub(super) now: Instant,
    /// The readings that came with it.
    pub(super) readings: [Option<Reading>; 2],
    pub(super) levels: Levels,
    /// Both channels; `None` while the position is unknown.
    pub(super) seen: [Option<Seen>; 2],
    /// The rule in question on both channels, where it compared something.
    pub(super) held: [Option<Held>; 2],
    /// The two lines of the analogue value in question.
    pub(super) values: [Option<f64>; 2],
    pub(super) permit: bool,
    pub(super) reset: bool,
}

/// The rule in question, and what it compares.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Question {
    pub(crate) rule: TripRule,
    pub(crate) quantity: Quantity,
}

/// What a rule compares.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Quantity {
    Position,
    Speed,
    Acceleration,
    Value,
}

impl Question {
    /// What a trip was decided by. What is travelled beyond a limit on the speed begins with that.
    pub(crate) const fn of(rule: TripRule, evidence: &Evidence) -> Self {
        let quantity = match evidence {
            Evidence::Position(_) => Quantity::Position,
            Evidence::Speed(_) | Evidence::Overrun(_) => Quantity::Speed,
            Evidence::Acceleration(_) => Quantity::Acceleration,
            Evidence::Value(_) => Quantity::Value,
        };
        Self { rule, quantity }
    }
}

/// Evaluates the frames from the chunk of `from` on. What the rule in question compares is told of each frame.
pub(super) fn track(excerpt: &Excerpt, from: Instant, question: Option<Question>) -> Vec<Point> {
    let chunks = excerpt.from(from);
    let Some(first) = chunks.first() else { return Vec::new() };
    let mut axis = first.axis.clone();
    let mut points = Vec::with_capacity(chunks.iter().map(|chunk| chunk.frames.len()).sum());
    for chunk in chunks {
        chunk.each_frame(|frame, offered| {
            for (of, channel, reading) in offered {
                if let Some(id) = analogue_id(*of) {
                    axis.offer(id, *channel, *reading);
                }
            }
            points.push(point(&mut axis, frame, question));
        });
    }
    points
}

fn point(axis: &mut ReplayAxis, frame: &Frame, question: Option<Question>) -> Point {
    let rule = question.map(|question| question.rule);
    let mut held = [None; 2];
    let outcome = axis.step_watched(frame, &mut |id: MonitorId, channel, check: &Check| {
        if let Some(Question { rule: TripRule::Monitor(monitor, _), quantity }) = question
            && usize::from(id.index()) == monitor
        {
            held[index(channel)] = Held::compared(check, quantity);
        }
    });
    if let Some(TripRule::SpeedDiscrepancy) = rule {
        held = [axis.speeds_apart().map(bound_of_speeds); 2];
    }
    if let Some(TripRule::PositionDiscrepancy) = rule {
        held = [axis
            .apart()
            .map(|apart| Held::of(|| (apart.bound.observed.to_bits(), apart.bound.limit.to_bits()), false));
            2];
    }
    Point {
        now: frame.now,
        readings: [frame.a, frame.b],
        levels: frame.levels,
        seen: Channel::BOTH.map(|channel| seen(axis, channel)),
        held,
        values: values(axis, rule),
        permit: outcome.permit,
        reset: outcome.reset == Some(monitor_core::Reset::Accepted),
    }
}

fn values(axis: &ReplayAxis, rule: Option<TripRule>) -> [Option<f64>; 2] {
    let Some(TripRule::Analogue(of)) = rule else { return [None; 2] };
    let Some(id) = analogue_id(of) else { return [None; 2] };
    Channel::BOTH.map(|line| Some(number(axis.state().analogue_reading(id, line)?.value?.to_bits())))
}

fn bound_of_speeds(bound: Bound<Speed>) -> Held {
    Held::of(|| (bound.observed.to_bits(), bound.limit.to_bits()), false)
}

fn seen(axis: &ReplayAxis, channel: Channel) -> Option<Seen> {
    let position = number(axis.position(channel)?.to_bits());
    let speed = axis.speed(channel).map(|speed| {
        let size =
            f64::midpoint(number(speed.magnitude().to_bits()), number(speed.magnitude_down().to_bits()));
        if speed.is_negative() { -size } else { size }
    });
    let travel = axis.state().glimpse(channel).and_then(|glimpse| glimpse.travel);
    Some(Seen { position, speed, window: travel.map_or(0, |travel| travel.elapsed().as_nanos()) })
}
