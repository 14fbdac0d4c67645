//! The motion of one channel while its monitors are calm.
//!
//! The core passes over a monitor whose limits stay as they are and that the motion cannot violate. What the monitor observed
//! meanwhile is told from the extremes of the motion once that ends.

use monitor_core::{Bound, Channel, Glimpse, Instant, Mark, Position, Scale, Speed, WindowTravel};

use super::axis::ReplayAxis;
use super::fastest::Fastest;
use super::margin::Margin;

/// The extremes of a motion since a set of monitors became calm.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lull {
    /// The calm monitors, a bit each.
    pub(super) monitors: u32,
    /// One of them is to stay at its place.
    has_place: bool,
    motion: Option<Motion>,
}

#[derive(Clone, Copy, Debug)]
struct Motion {
    fastest: Fastest,
    lowest: (Mark, Instant),
    highest: (Mark, Instant),
}

/// What a monitor held the motion against when it was last shown.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Bounds {
    pub(super) position: Option<(Position, Mark)>,
    pub(super) speed: Option<Speed>,
}

impl Lull {
    pub(super) const NONE: Self = Self::of(0, false);

    /// These monitors are calm from here on.
    pub(super) const fn of(monitors: u32, has_place: bool) -> Self {
        Self { monitors, has_place, motion: None }
    }

    /// Takes in one frame; tells whether its speed may be the greatest of the lull.
    #[inline]
    pub(super) fn update(&mut self, now: Instant, travel: WindowTravel, here: Mark, scale: &Scale) -> bool {
        match &mut self.motion {
            None => {
                let place = (here, now);
                let mut fastest = Fastest::default();
                fastest.update(now, travel, scale);
                self.motion = Some(Motion { fastest, lowest: place, highest: place });
                true
            }
            Some(motion) => {
                if self.has_place {
                    if here.count() < motion.lowest.0.count() {
                        motion.lowest = (here, now);
                    }
                    if here.count() > motion.highest.0.count() {
                        motion.highest = (here, now);
                    }
                }
                motion.fastest.update(now, travel, scale)
            }
        }
    }

    /// Brings the margins of a calm monitor up to date. `seen` was the channel at the last frame of the lull.
    pub(super) fn settle(
        &self,
        axis: &ReplayAxis,
        channel: Channel,
        (seen, last): (Glimpse, Instant),
        bounds: &Bounds,
        position: &mut Margin,
        speed: &mut Margin,
    ) {
        let Some(motion) = &self.motion else { return };
        let of = |travel| axis.config().source(channel).scale().speed(travel);
        if let (Some(limit), Some((fastest, at))) = (bounds.speed, motion.fastest.speed())
            && let Some(observed) = seen.travel.and_then(of)
        {
            speed.update(at, Bound::at_most(fastest, limit));
            speed.pass(last, Bound::at_most(observed.magnitude(), limit));
        }
        if let Some((limit, from)) = bounds.position {
            // Beyond the range counts as the farthest; a calm monitor is within its window, so it is not reached.
            let travel = |to| axis.length(channel, from, to).unwrap_or(Position::MAX);
            let (low, high) = (motion.lowest, motion.highest);
            let mut ends = [(travel(low.0), low.1), (travel(high.0), high.1)];
            // Of two that are as far, the earlier one is reported.
            ends.sort_by_key(|&(travel, at)| (std::cmp::Reverse(travel), at));
            position.update(ends[0].1, Bound::at_most(ends[0].0, limit));
            position.pass(last, Bound::at_most(travel(seen.mark), limit));
        }
    }
}
