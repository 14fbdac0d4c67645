//! What each channel alone says of the motion, and what they share.

use monitor_core::{Channel, Instant};
use schemars::JsonSchema;
use serde::Serialize;

use super::raw::seconds;
use super::rerun::index;
use super::track::Point;
use crate::causes::Side;
use crate::report::Seconds;

/// What one channel says of the motion around it, in the unit of the axis and per second. Null: it could not be seen, or not yet.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Witness {
    /// The channel.
    pub channel: Side,
    /// Its speed when what is observed crossed the limit.
    pub speed_at_crossing: Option<f64>,
    /// Its speed at the trip or fault.
    pub speed: Option<f64>,
    /// What it travelled from the crossing to there.
    pub travel: Option<f64>,
    /// The mean acceleration from the demand to there, or over the last 40 ms or three windows of the speed before it.
    pub acceleration: Option<f64>,
    /// What the rule in question observed on it then, against what it allowed.
    pub observed: Option<f64>,
    /// See `observed`.
    pub limit: Option<f64>,
    /// The analogue value on this line then, where the lines are in question.
    pub value: Option<f64>,
    /// The furthest it was beyond the limit around it; negative: always within.
    pub beyond: Option<f64>,
    /// The first frame around it at which it was beyond, on the clock of the trace.
    pub beyond_since_s: Option<Seconds>,
    /// How long it was beyond the limit around it, in seconds.
    pub beyond_for_s: f64,
    /// Whether the rule compared something on it at every frame of the violation: else it neither confirms nor contradicts.
    pub seen_throughout: bool,
}

/// The stretch that is looked at.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stretch {
    pub(super) demanded: Instant,
    pub(super) crossed: Instant,
    pub(super) violated_since: Instant,
    pub(super) at: Instant,
    /// The channel that tripped.
    pub(super) own: Option<Channel>,
    /// That of the speed, in ns.
    pub(super) window: u64,
    pub(super) origin_ns: i128,
}

/// Accelerations are told over so long before a trip, where the demand does not begin later: 40 ms, or three windows.
const LOOKS_BACK: u64 = 40_000_000;

/// How much later than the violation of the one the other channel may come to the same: 20 ms, or two windows.
const SLACK: u64 = 20_000_000;

/// Both channels, A first.
pub(super) fn witnesses(points: &[Point], stretch: Stretch) -> [Witness; 2] {
    Channel::BOTH.map(|channel| witness(points, stretch, channel))
}

/// The last frame of the stretch in which the channel that tripped was beyond its limit.
fn end_of(points: &[Point], stretch: Stretch) -> Instant {
    let Some(own) = stretch.own else { return stretch.at };
    let from = points.partition_point(|point| point.now < stretch.at);
    let is_beyond = |point: &&Point| point.held[index(own)].is_some_and(|held| held.excess() > 0.0);
    points[from..].iter().take_while(is_beyond).last().map_or(stretch.at, |point| point.now)
}

fn witness(points: &[Point], stretch: Stretch, channel: Channel) -> Witness {
    let place =
        |at: Instant| points.partition_point(|point| point.now < at).min(points.len().saturating_sub(1));
    let seen = |at: Instant| points.get(place(at)).and_then(|point| point.seen[index(channel)]);
    let (crossing, trip) = (seen(stretch.crossed), seen(stretch.at));
    let held = points.get(place(stretch.at)).and_then(|point| point.held[index(channel)]);
    let looks_back =
        Instant::from_nanos(stretch.at.as_nanos().saturating_sub(LOOKS_BACK.max(3 * stretch.window)));
    let from = stretch.demanded.max(looks_back);
    let passed = stretch.at.since(from).map_or(0, |span| span.as_nanos());
    let acceleration = match (seen(from).and_then(|seen| seen.speed), trip.and_then(|seen| seen.speed)) {
        (Some(before), Some(now)) if passed > 0 => Some((now - before) / seconds(passed)),
        _ => None,
    };
    // What the other one saw belongs to it while this one was beyond, and a window before and after.
    let first = place(Instant::from_nanos(stretch.violated_since.as_nanos().saturating_sub(stretch.window)));
    let slack = SLACK.max(2 * stretch.window);
    let last = place(Instant::from_nanos(end_of(points, stretch).as_nanos().saturating_add(slack)));
    let around = points.get(first..=last).unwrap_or_default();
    let excess = |point: &Point| point.held[index(channel)].map(|held| held.excess());
    let beyond = around.iter().filter_map(excess).max_by(f64::total_cmp);
    let is_beyond = |point: &Point| excess(point).is_some_and(|excess| excess > 0.0);
    let since = around.iter().find(|point| is_beyond(point)).map(|point| point.now);
    let lasted: u64 = around
        .windows(2)
        .filter(|pair| is_beyond(&pair[0]))
        .map(|pair| pair[1].now.as_nanos() - pair[0].now.as_nanos())
        .sum();
    let violated = points.get(place(stretch.violated_since)..=place(stretch.at)).unwrap_or_default();
    Witness {
        channel: channel.into(),
        speed_at_crossing: crossing.and_then(|seen| seen.speed),
        speed: trip.and_then(|seen| seen.speed),
        travel: crossing.zip(trip).map(|(from, to)| to.position - from.position),
        acceleration,
        observed: held.map(|held| held.observed),
        limit: held.map(|held| held.limit),
        value: points.get(place(stretch.at)).and_then(|point| point.values[index(channel)]),
        beyond,
        beyond_since_s: since.map(|at| Seconds(i128::from(at.as_nanos()) + stretch.origin_ns)),
        beyond_for_s: seconds(lasted),
        seen_throughout: !violated.is_empty()
            && violated.iter().all(|point| point.held[index(channel)].is_some()),
    }
}
