//! The greatest speed of a channel, without working out every speed.

use monitor_core::{CountRate, Instant, Scale, Speed, WindowTravel};

/// See the module.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Fastest {
    seen: Option<Seen>,
}

#[derive(Clone, Copy, Debug)]
struct Seen {
    magnitude: Speed,
    at: Instant,
    counts: u64,
    /// Over which it travelled that many.
    travel: WindowTravel,
    /// What is within this is not faster.
    rate: CountRate,
}

impl Fastest {
    /// Takes in one frame; false when it certainly is not the fastest.
    #[inline]
    pub(super) fn update(&mut self, now: Instant, travel: WindowTravel, scale: &Scale) -> bool {
        if let Some(seen) = &self.seen {
            let is_as_long = travel.elapsed() == seen.travel.elapsed();
            if (is_as_long && travel.counts().unsigned_abs() <= seen.counts) || travel.is_within(seen.rate) {
                return false;
            }
        }
        self.look_at(now, travel, scale);
        true
    }

    #[inline(never)]
    fn look_at(&mut self, now: Instant, travel: WindowTravel, scale: &Scale) {
        let Some(magnitude) = scale.speed(travel).map(|speed| speed.magnitude()) else { return };
        if self.seen.is_none_or(|seen| magnitude > seen.magnitude) {
            let counts = travel.counts().unsigned_abs();
            self.seen = Some(Seen { magnitude, at: now, counts, travel, rate: scale.rate_within(magnitude) });
        }
    }

    /// The greatest speed, and the first frame that had it.
    pub(super) fn speed(&self) -> Option<(Speed, Instant)> {
        self.seen.map(|seen| (seen.magnitude, seen.at))
    }
}
