//! The bounded history that a windowed speed is taken from.

use crate::units::{Instant, Span};

/// What the history keeps of one reading.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Point {
    pub(crate) captured_at: Instant,
    pub(crate) count: i64,
}

/// The window of a speed and how its history is spaced.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Spacing {
    window: u64,
    step: u64,
}

impl Spacing {
    /// Spacing for `POINTS` stored points: with M = (POINTS − 1)/2, neighbours are at most `window / M` apart where
    /// the readings are not further apart themselves. Any two neighbouring gaps together are then more than
    /// `window / M`, so 2 M points and the base always span the window.
    pub(crate) const fn new<const POINTS: usize>(window: Span) -> Self {
        const { assert!(POINTS >= 3 && POINTS % 2 == 1 && POINTS <= 1025, "an odd number of points, 3 to 1025") };
        #[expect(clippy::as_conversions, reason = "at most 512; u64::from does not take usize")]
        let m = (POINTS >> 1) as u64;
        // `None` is not reached: there are at least three points.
        let step = match window.as_nanos().checked_div(m) {
            Some(step) => step,
            None => 0,
        };
        Self { window: window.as_nanos(), step }
    }

    pub(crate) const fn step(self) -> Span {
        Span::from_nanos(self.step)
    }
}

/// The stored points, oldest first in a ring; the oldest is the base of the speed once it is old enough.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct History<const POINTS: usize> {
    points: [Point; POINTS],
    /// Where the oldest stored point is. Invariant: below POINTS.
    first: usize,
    /// How many are stored. Invariant: at most POINTS.
    len: usize,
    /// The last stored point, kept beside the ring because every reading is compared with it.
    last: Point,
    newest: Point,
}

impl<const POINTS: usize> History<POINTS> {
    pub(crate) const fn new() -> Self {
        let zero = Point { captured_at: Instant::from_nanos(0), count: 0 };
        Self { points: [zero; POINTS], first: 0, len: 0, last: zero, newest: zero }
    }

    /// Forgets everything and starts with this reading.
    pub(crate) fn start(&mut self, point: Point) {
        self.first = 0;
        self.len = 0;
        self.newest = point;
        self.store(point);
    }

    #[inline]
    fn wrap(index: usize) -> usize {
        // Bounded because both terms are at most POINTS ≤ 1025, and one subtraction suffices for a sum below 2 POINTS.
        if index >= POINTS { index.wrapping_sub(POINTS) } else { index }
    }

    #[inline]
    fn store(&mut self, point: Point) {
        let place = Self::wrap(self.first.wrapping_add(self.len));
        if let Some(slot) = self.points.get_mut(place) {
            *slot = point;
        }
        self.last = point;
        if self.len < POINTS {
            self.len = self.len.wrapping_add(1);
        } else {
            // Not reached while the spacing holds (see `Spacing::new`); dropping the oldest keeps the invariant.
            self.first = Self::wrap(self.first.wrapping_add(1));
        }
    }

    /// Takes a reading captured later than the newest one, and moves the base on.
    #[inline]
    pub(crate) fn push(&mut self, spacing: Spacing, point: Point) {
        let since_last = nanos(self.last.captured_at, point.captured_at);
        if since_last > spacing.step && self.newest.captured_at != self.last.captured_at {
            self.store(self.newest);
        }
        self.newest = point;
        // The base is the newest point at least one window old: drop what is older than a point that qualifies too.
        // Bounded because at most POINTS are stored; in the steady state one is dropped for one stored.
        for _ in 0..POINTS {
            if self.len < 2 {
                break;
            }
            let second = Self::wrap(self.first.wrapping_add(1));
            match self.points.get(second) {
                Some(next) if nanos(next.captured_at, point.captured_at) >= spacing.window => {
                    self.first = second;
                    self.len = self.len.wrapping_sub(1);
                }
                _ => break,
            }
        }
    }

    /// The newest stored point at least one window older than the newest reading.
    #[inline]
    pub(crate) fn base(&self, spacing: Spacing) -> Option<Point> {
        let oldest = self.points.get(self.first)?;
        (nanos(oldest.captured_at, self.newest.captured_at) >= spacing.window).then_some(*oldest)
    }

    #[inline]
    pub(crate) const fn newest(&self) -> Point {
        self.newest
    }
}

/// Nanoseconds from `earlier` to `later`. Readings are pushed in the order of their capture, so it cannot be negative.
#[inline]
fn nanos(earlier: Instant, later: Instant) -> u64 {
    later.as_nanos().wrapping_sub(earlier.as_nanos())
}

#[cfg(test)]
mod tests {
    use std::vec::Vec;

    use super::*;

    fn point(nanos: u64) -> Point {
        Point { captured_at: Instant::from_nanos(nanos), count: nanos as i64 }
    }

    /// Replays capture times and returns every age of the base.
    fn ages<const POINTS: usize>(window: u64, times: impl Iterator<Item = u64>) -> Vec<u64> {
        let spacing = Spacing::new::<POINTS>(Span::from_nanos(window));
        let mut history = History::<POINTS>::new();
        let mut ages = Vec::new();
        for (i, t) in times.enumerate() {
            if i == 0 {
                history.start(point(t))
            } else {
                history.push(spacing, point(t))
            }
            if let Some(base) = history.base(spacing) {
                ages.push(t - base.captured_at.as_nanos());
            }
        }
        ages
    }

    #[test]
    fn a_window_of_whole_periods_is_exact_while_every_reading_fits() {
        let ages = ages::<17>(8_000_000, (0..100).map(|i| i * 1_000_000));
        assert_eq!(ages.len(), 92);
        assert!(ages.iter().all(|&age| age == 8_000_000));
    }

    #[test]
    fn the_window_is_exceeded_by_at_most_one_part_in_m_at_any_rate() {
        for period in [10, 77, 250, 499, 500, 501, 999, 1000, 1001, 3000, 7999] {
            // A little jitter, so that the readings do not fall on a grid.
            let times = (0..5000_u64).map(|i| i * period + ((i * i * 2_654_435_761) >> 7) % (period / 2 + 1));
            let ages = ages::<17>(8000, times);
            let most = 8000 + 1000.max(period + period / 2);
            assert!(ages.iter().all(|&age| (8000..=most).contains(&age)), "period {period}");
            assert!(ages.len() as u64 > 5000 - 8000 / period * 2 - 2, "period {period}: the window was lost");
        }
    }
}
