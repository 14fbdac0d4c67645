//! Whether an analogue value stepped over its limit, or ran into it.

use monitor_core::Evidence;

use super::track::{Point, number};
use crate::replay::{Trip, TripRule};

/// What changed by less than this share of the step before it did not move before it.
const STILL: f64 = 0.1;

/// So many frames before it tell whether it moved: one alone may be between two values of a line that shows a new one now and then.
const FRAMES: u8 = 20;

/// The step with which a value went beyond its limit, from one frame to the next: before and after, and the limit. `None` where it moved
/// before, too, so that something can be said of the time between the two frames.
pub(super) fn step(points: &[Point], trip: &Trip) -> Option<[f64; 3]> {
    let Evidence::Value(bound) = trip.evidence else { return None };
    let place = points.partition_point(|point| point.now < trip.violated_since);
    let observed = |place: usize| {
        let point = points.get(place)?;
        match trip.rule {
            TripRule::Monitor(_, channel) => Some(point.held[super::rerun::index(channel)]?.observed),
            _ => Some((point.values[0]? - point.values[1]?).abs()),
        }
    };
    let (before, after) = (observed(place.checked_sub(1)?)?, observed(place)?);
    let size = (after - before).abs();
    let earlier = observed(place.checked_sub(2)?)?;
    let stood = |frames: u8| {
        let then = place.checked_sub(usize::from(frames) + 1).and_then(observed);
        then.is_none_or(|then| (before - then).abs() <= f64::from(frames) * STILL * size)
    };
    let is_step = (before - earlier).abs() <= STILL * size && stood(FRAMES);
    is_step.then(|| [before, after, number(bound.limit.to_bits())])
}
