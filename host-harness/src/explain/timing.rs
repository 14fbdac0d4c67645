//! How much of its time the reaction took in each of its parts, beside the worst case from the setup.

use monitor_core::{Channel, Evidence, Span};
use schemars::JsonSchema;
use serde::Serialize;

use super::raw::seconds;
use super::rerun::index;
use super::track::Point;
use crate::margins::{self, Broken, Part, Path};
use crate::replay::{StopEnd, Trip, TripRule};
use crate::setup::Setup;

/// One part of a reaction.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct PartOfReaction {
    /// What it is.
    pub part: String,
    /// What it took here, in seconds; null: it is not in the trace.
    pub took_s: Option<f64>,
    /// What it takes at the worst by the setup, in seconds; null where nothing bounds it.
    pub worst_s: Option<f64>,
}

/// The parts of the reaction of a trip, in the order in which they pass; empty where there is no such motion.
pub(super) fn parts(setup: &Setup, points: &[Point], trip: &Trip, period: Span) -> Vec<PartOfReaction> {
    let channel = match trip.rule {
        TripRule::Monitor(_, channel) => Some(channel),
        _ => None,
    };
    let channels = channel.map_or_else(|| Channel::BOTH.to_vec(), |channel| vec![channel]);
    let broken = broken(trip);
    let reaction = margins::reaction(setup, period, trip.rule);
    let worst = reaction.path(broken);
    let place = points.partition_point(|point| point.now < trip.violated_since);
    let point = points.get(place);
    let limit = |place: usize| points.get(place)?.held[channel.map_or(0, index)].map(|held| held.limit);
    let before = place.checked_sub(1).and_then(limit);
    // A falling limit comes down to the motion, not the other way round: then the lag of measuring is no delay.
    let falls = before.zip(limit(place)).is_some_and(|(before, now)| now < before);
    let window = point.and_then(|point| {
        let seen = channels.iter().filter_map(|channel| point.seen[index(*channel)]);
        seen.map(|seen| seen.window).max().map(seconds)
    });
    // Of both the older one: what they are compared by is as old.
    let before = &points[..(place + 1).min(points.len())];
    let age = channels.iter().filter_map(|channel| age(before, *channel)).max_by(f64::total_cmp);
    let since = |from: monitor_core::Instant, to: monitor_core::Instant| {
        to.since(from).map(|span| seconds(span.as_nanos()))
    };
    // Beyond already when it was demanded: nothing had to be measured anew.
    let anew = match trip.rule {
        TripRule::Monitor(monitor, _) => {
            setup.monitors[monitor].is_always_active() || trip.violated_since != trip.demanded_at
        }
        _ => true,
    };
    let of_lines = matches!(trip.evidence, Evidence::Value(_));
    // Where it stepped nothing is known of the time between the two frames.
    let stepped = super::step::step(points, trip).is_some();
    let mut parts = Vec::new();
    let mut add = |part: &str, took: Option<f64>, of: &[Part]| {
        let worst =
            worst.map(|path| of.iter().map(|part| seconds(path.time_of(*part).as_nanos())).sum::<f64>());
        if took.is_some_and(|took| took > 0.0) || worst.is_some_and(|worst| worst > 0.0) {
            parts.push(PartOfReaction { part: part.to_owned(), took_s: took, worst_s: worst });
        }
    };
    match broken {
        Broken::Speed | Broken::SpeedsApart => {
            add(
                "half the window of the speed",
                window.filter(|_| !falls && anew).map(|window| window / 2.0),
                &[Part::HalfWindow],
            );
        }
        Broken::Acceleration => {
            let took = window.filter(|_| anew).map(|window| 2.0 * window);
            add("two windows of the speed", took, &[Part::TwoWindows]);
        }
        _ => {}
    }
    if trip_has_a_reading(broken) {
        let ages = [Part::Latency, Part::Delay, Part::Age, Part::Jitter, Part::UnseenTurn];
        // The readings of the channels are not those of the lines.
        add("age of the reading", age.filter(|_| !of_lines), &ages);
    }
    let until_seen = since(trip.crossed_at, trip.violated_since).filter(|_| !stepped);
    add("until a frame sees it", until_seen, &[Part::FrameSees]);
    let delay = [Part::OnDelay, Part::DiscrepancyTime, Part::FrameDelay];
    let delayed = match trip.evidence {
        Evidence::Overrun(_) => "until it had gone too far beyond",
        _ => "on-delay and its frame",
    };
    add(delayed, since(trip.violated_since, trip.tripped_at), &delay);
    let stop = [Part::FrameReaction, Part::Stop, Part::FrameStop];
    let stopped = trip.reaction.and_then(|reaction| match reaction.end {
        StopEnd::Complete(at) | StopEnd::Violated(at) | StopEnd::Lost(at) => since(trip.tripped_at, at),
        StopEnd::Off | StopEnd::Open => None,
    });
    add("the stop that it demands", stopped, &stop);
    add("output, until the torque is gone", None, &[Part::OutputDelay]);
    let took: f64 = parts.iter().filter_map(|part| part.took_s).sum();
    let total = worst.map(Path::total).map(|total| seconds(total.as_nanos()));
    parts.push(PartOfReaction { part: "together".to_owned(), took_s: Some(took), worst_s: total });
    parts
}

/// What its reaction counts from.
pub(super) const fn broken(trip: &Trip) -> Broken {
    match (trip.rule, &trip.evidence) {
        (TripRule::SpeedDiscrepancy, _) => Broken::SpeedsApart,
        (TripRule::PositionDiscrepancy | TripRule::Analogue(_), _) => Broken::Apart,
        (_, Evidence::Position(_)) => Broken::Position,
        (_, Evidence::Speed(_) | Evidence::Overrun(_)) => Broken::Speed,
        (_, Evidence::Acceleration(_)) => Broken::Acceleration,
        (_, Evidence::Value(_)) => Broken::Value,
    }
}

const fn trip_has_a_reading(broken: Broken) -> bool {
    !matches!(broken, Broken::Value | Broken::Permit | Broken::Demand | Broken::Stop)
}

/// How old the newest reading was at the last of these frames.
fn age(points: &[Point], channel: Channel) -> Option<f64> {
    let now = points.last()?.now;
    let reading = points.iter().rev().find_map(|point| point.readings[index(channel)])?;
    now.since(reading.captured_at).map(|span| seconds(span.as_nanos()))
}
