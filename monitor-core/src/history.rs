//! The bounded history that a windowed speed is taken from.

use crate::units::{Instant, Span};
use crate::wide::divide_to_u64;
use crate::widen::{u32_to_u64, u64_to_low_u32, u64_to_u128, usize_to_u64};

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
    /// In nanoseconds; below 2³¹.
    window: u32,
    step: u32,
}

impl Spacing {
    /// Spacing for `POINTS` stored points: with M = (POINTS − 1)/2, neighbours are at most `window / M` apart where
    /// the readings are not further apart themselves. Any two neighbouring gaps together are then more than
    /// `window / M`, so 2 M points and the base always span the window.
    pub(crate) const fn new<const POINTS: usize>(window: Span) -> Self {
        const { assert!(Self::has_points(POINTS), "an odd number of points, 3 to 1025") };
        Self::of_points(POINTS, window)
    }

    /// Whether a history may have so many points: an odd number, 3 to 1025.
    pub(crate) const fn has_points(points: usize) -> bool {
        points >= 3 && points % 2 == 1 && points <= 1025
    }

    /// As [`new`](Self::new), for a number of points that [`has_points`](Self::has_points) lets through.
    pub(crate) const fn of_points(points: usize, window: Span) -> Self {
        Self::of_parts(usize_to_u64(points >> 1), window)
    }

    /// Whether so many points, of those that a history may have, last for [`for_two_windows`](Self::for_two_windows).
    pub(crate) const fn has_points_for_two_windows(points: usize) -> bool {
        points >= 7
    }

    /// Spacing for a history that also holds the window before the last one: with M = (points − 3)/4 there are at most 2 M + 1 points less
    /// than a window old and as many less than a window older than the base, and then the one that is wanted: 4 M + 3.
    pub(crate) const fn for_two_windows(points: usize, window: Span) -> Self {
        Self::of_parts(usize_to_u64(points.saturating_sub(3) >> 2), window)
    }

    const fn of_parts(m: u64, window: Span) -> Self {
        // `None` is not reached: m is not 0.
        let step = match divide_to_u64(u64_to_u128(window.as_nanos()), u64_to_u128(m)) {
            Some(step) => step,
            None => 0,
        };
        // Cuts nothing off: a window is at most 2 s.
        Self { window: u64_to_low_u32(window.as_nanos()), step: u64_to_low_u32(step) }
    }

    pub(crate) const fn step(self) -> Span {
        Span::from_nanos(u32_to_u64(self.step))
    }

    pub(crate) const fn window(self) -> u64 {
        u32_to_u64(self.window)
    }

    /// Whether a point is a window old. It may lie far in the future.
    #[inline(always)]
    fn is_due(self, point: Instant, now: Instant) -> bool {
        // Bounded because a window is at most 2 s.
        nanos(point, now).cast_signed() >= i64::from(self.window)
    }
}

/// The base of the speed, the points that may become the base, and the newest reading.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct History<const POINTS: usize> {
    newest: Point,
    /// Capture time of the last stored point; long ago before the first.
    last_at: Instant,
    /// The newest stored point at least one window older than the newest reading. Meaningless without `has_base`.
    base: Point,
    has_base: bool,
    /// Capture time of the oldest waiting point; without one, a time that no reading is a window later than.
    next_at: Instant,
    /// Stored points that are not yet one window old: a ring, from `next` to just before `free`. One place always stays
    /// empty, see [`Spacing::new`]. Invariant: both are below POINTS.
    waiting: [Point; POINTS],
    next: usize,
    free: usize,
    /// Points stored since the start, those that became the base included; not counted beyond POINTS. The ring still holds the last of them.
    stored: u16,
    /// The place of the base of the base in the ring, as of the last time that somebody asked; it has to be followed from reading to
    /// reading.
    second: u16,
}

/// Longer than any spacing, and with any time between two readings of one stretch far below 2⁶³.
const LONG: u64 = 1 << 62;

fn long_before(at: Instant) -> Instant {
    Instant::from_nanos(at.as_nanos().wrapping_sub(LONG))
}

/// Until the next point is stored, no reading is a window later.
#[inline(always)]
fn long_after(at: Instant) -> Instant {
    Instant::from_nanos(at.as_nanos().wrapping_add(LONG))
}

/// What a reading will make of the base, when at most one waiting point becomes it.
#[derive(Clone, Copy)]
pub(crate) struct Ahead {
    pub(crate) base: Point,
    next: usize,
    next_at: Instant,
}

impl<const POINTS: usize> History<POINTS> {
    pub(crate) const fn new() -> Self {
        let zero = Point { captured_at: Instant::from_nanos(0), count: 0 };
        Self {
            newest: zero,
            last_at: zero.captured_at,
            base: zero,
            has_base: false,
            next_at: zero.captured_at,
            waiting: [zero; POINTS],
            next: 0,
            free: 0,
            stored: 0,
            second: 0,
        }
    }

    /// Nothing has been read yet, and it is waited for from now on.
    pub(crate) fn watch_from(&mut self, now: Instant) {
        self.newest.captured_at = now;
    }

    /// Forgets everything and starts with this reading. It is stored when the next one comes.
    pub(crate) fn start(&mut self, point: Point) {
        self.newest = point;
        self.last_at = long_before(point.captured_at);
        self.has_base = false;
        self.next_at = long_after(point.captured_at);
        self.next = 0;
        self.free = 0;
        self.stored = 0;
    }

    #[inline(always)]
    fn after(index: usize) -> usize {
        // Bounded because an index is below POINTS ≤ 1025.
        let after = index.wrapping_add(1);
        if after >= POINTS { 0 } else { after }
    }

    /// Stores the newest reading when the one that comes next would leave too wide a space, and takes that one.
    #[inline(always)]
    fn append(&mut self, spacing: Spacing, point: Point) {
        if nanos(self.last_at, point.captured_at) > u64::from(spacing.step) {
            if self.next == self.free {
                self.next_at = self.newest.captured_at;
            }
            if let Some(slot) = self.waiting.get_mut(self.free) {
                *slot = self.newest;
            }
            self.free = Self::after(self.free);
            if usize::from(self.stored) < POINTS {
                // Bounded because it is below POINTS.
                self.stored = self.stored.wrapping_add(1);
            }
            self.last_at = self.newest.captured_at;
        }
        self.newest = point;
    }

    /// Takes a reading captured later than the newest one, and moves the base on.
    pub(crate) fn push(&mut self, spacing: Spacing, point: Point) {
        self.append(spacing, point);
        // Bounded because fewer than POINTS wait.
        for _ in 0..POINTS {
            if !spacing.is_due(self.next_at, point.captured_at) {
                break;
            }
            let Some(ahead) = self.beyond(point.captured_at) else { break };
            self.go(ahead);
            self.has_base = true;
        }
    }

    /// Where the oldest waiting point is the base.
    #[inline(always)]
    fn beyond(&self, at: Instant) -> Option<Ahead> {
        let base = *self.waiting.get(self.next)?;
        let next = Self::after(self.next);
        let next_at = if next == self.free { long_after(at) } else { self.waiting.get(next)?.captured_at };
        Some(Ahead { base, next, next_at })
    }

    #[inline(always)]
    fn go(&mut self, ahead: Ahead) {
        self.base = ahead.base;
        self.next = ahead.next;
        self.next_at = ahead.next_at;
    }

    /// What a reading captured less than a window after the newest one will make of the base there is. `None` when several points
    /// become it in turn: the readings became rarer.
    #[inline(always)]
    pub(crate) fn look_ahead(&self, spacing: Spacing, at: Instant) -> Option<Ahead> {
        if !spacing.is_due(self.next_at, at) {
            return Some(Ahead { base: self.base, next: self.next, next_at: self.next_at });
        }
        self.beyond(at).filter(|ahead| !spacing.is_due(ahead.next_at, at))
    }

    /// Takes the reading that was looked ahead to.
    #[inline(always)]
    pub(crate) fn go_ahead(&mut self, spacing: Spacing, point: Point, ahead: Ahead) {
        self.go(ahead);
        self.append(spacing, point);
    }

    /// The newest stored point at least one window older than the newest reading.
    #[inline]
    pub(crate) const fn base(&self) -> Option<Point> {
        if self.has_base { Some(self.base) } else { None }
    }

    #[inline(always)]
    fn before(index: usize) -> usize {
        match index.checked_sub(1) {
            Some(before) => before,
            // Bounded because POINTS is at least 3.
            None => POINTS.wrapping_sub(1),
        }
    }

    /// Where the base of the base will be, and what it is, when the base becomes `base`. For whoever has asked for it at every reading since
    /// [`base_of_base`](Self::base_of_base) found it; `None` when it moves on by more than a few points.
    #[inline(always)]
    pub(crate) fn second_ahead(&self, spacing: Spacing, base: Point) -> Option<(usize, Point)> {
        let mut second = usize::from(self.second);
        for _ in 0..4 {
            let next = Self::after(second);
            if !spacing.is_due(self.waiting.get(next)?.captured_at, base.captured_at) {
                return Some((second, *self.waiting.get(second)?));
            }
            second = next;
        }
        None
    }

    /// Follows the base of the base to where it [will be](Self::second_ahead).
    #[inline(always)]
    pub(crate) fn follow(&mut self, second: usize) {
        // Fits, because an index is below POINTS ≤ 1025.
        self.second = u16::try_from(second).unwrap_or(0);
    }

    /// The newest stored point at least one window older than the base. For a spacing [`for_two_windows`](Spacing::for_two_windows).
    #[inline(never)]
    pub(crate) fn base_of_base(&mut self, spacing: Spacing) -> Option<Point> {
        let base = self.base()?;
        // Bounded because an index is below POINTS ≤ 1025.
        let waiting = match self.free.checked_sub(self.next) {
            Some(waiting) => waiting,
            None => self.free.wrapping_add(POINTS).wrapping_sub(self.next),
        };
        // The last of those that do not wait is the base itself.
        let older = usize::from(self.stored).checked_sub(waiting)?.checked_sub(1)?;
        let mut index = Self::before(self.next);
        for _ in 0..older {
            index = Self::before(index);
            let point = *self.waiting.get(index)?;
            if spacing.is_due(point.captured_at, base.captured_at) {
                self.follow(index);
                return Some(point);
            }
        }
        None
    }

    #[inline]
    pub(crate) const fn newest(&self) -> Point {
        self.newest
    }
}

/// Nanoseconds from `earlier` to `later`, modulo 2⁶⁴.
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
            if let Some(base) = history.base() {
                ages.push(t - base.captured_at.as_nanos());
            }
        }
        ages
    }

    #[test]
    fn the_base_of_the_base_is_the_newest_point_a_window_before_it_at_any_rate() {
        for period in [20_u64, 77, 250, 499, 667, 1000, 1001, 1143, 3000, 7999, 9000] {
            let times = (0..3000_u64).map(|i| i * period + ((i * i * 2_654_435_761) >> 7) % (period / 2 + 1));
            let spacing = Spacing::for_two_windows(33, Span::from_nanos(8000));
            let mut history = History::<33>::new();
            // What is stored, told anew: the reading before one that is more than a step after the last stored one.
            let mut stored: Vec<u64> = Vec::new();
            let (mut newest, mut met) = (None, 0);
            // Asked once, and from then on followed.
            let (mut follower, mut follows, mut followed) = (History::<33>::new(), false, 0);
            for (i, t) in times.enumerate() {
                if i == 1500 {
                    // A broken count.
                    (stored, newest) = (Vec::new(), None);
                }
                match newest {
                    None => {
                        history.start(point(t));
                        follower.start(point(t));
                        follows = false;
                    }
                    Some(before) => {
                        if stored.last().is_none_or(|last| t - last > 8000 / 7) {
                            stored.push(before);
                        }
                        history.push(spacing, point(t));
                        follower.push(spacing, point(t));
                    }
                }
                newest = Some(t);
                let base = stored.iter().rev().find(|&&at| t - at >= 8000);
                let wanted = base.and_then(|base| stored.iter().rev().find(|&&at| at + 8000 <= *base));
                let found = history.base_of_base(spacing).map(|point| point.captured_at.as_nanos());
                assert_eq!(found, wanted.copied(), "period {period} at {t}");
                met += u32::from(wanted.is_some());
                let ahead =
                    follower.base().filter(|_| follows).and_then(|base| follower.second_ahead(spacing, base));
                if let Some((place, second)) = ahead {
                    assert_eq!(
                        Some(second.captured_at.as_nanos()),
                        wanted.copied(),
                        "period {period} at {t}"
                    );
                    follower.follow(place);
                    followed += 1;
                } else {
                    follows = follower.base_of_base(spacing).is_some();
                }
            }
            assert!(followed + 100 > met, "period {period}: {followed} of {met}");
            // Two windows and what they are exceeded by, at either start.
            let unknown = 2 * (2 * 9300 / period as u32 + 3);
            assert!(met > 3000_u32.saturating_sub(unknown), "period {period}: {met}");
        }
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
