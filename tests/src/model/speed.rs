//! The history of one channel the speed over its window and the acceleration from one to the next.

use super::exact::{Q, largest, seconds, ulp_down, ulp_up};
use num_traits::Signed;

/// A count at the instant it was captured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Point {
    pub at: u64,
    pub count: i128,
}

/// All readings that were ever stored since continuity began, and the newest reading.
///
/// The real history is bounded. That a capacity of `2 M + 1` points loses nothing needs no modelling: of three
/// neighbouring stored points the outer two are at least `spacing + 1` ns apart, so `2 M + 1` of them span
/// `M × (spacing + 1)` ns, which exceeds the window. Two windows take `4 M + 3` points likewise.
#[derive(Clone, Debug)]
pub(super) struct History {
    window_ns: u64,
    spacing_ns: u64,
    stored: Vec<Point>,
    newest: Point,
}

impl History {
    /// Starts with a first reading, which is stored.
    pub fn starting(window_ns: u64, spacing_ns: u64, first: Point) -> Self {
        Self { window_ns, spacing_ns, stored: vec![first], newest: first }
    }

    /// Takes the next reading.
    pub fn take(&mut self, next: Point) {
        let last = *self.stored.last().expect("the first reading is stored");
        if next.at - last.at > self.spacing_ns && self.newest != last {
            self.stored.push(self.newest);
        }
        self.newest = next;
    }

    /// The newest reading.
    pub fn newest(&self) -> Point {
        self.newest
    }

    /// The newest stored reading that is at least the window older than the newest reading.
    pub fn base(&self) -> Option<Point> {
        self.before(self.newest)
    }

    /// The newest stored reading that is at least the window older than `point`.
    fn before(&self, point: Point) -> Option<Point> {
        self.stored.iter().rev().find(|older| older.at + self.window_ns <= point.at).copied()
    }

    /// Counts per second between base and newest, exactly.
    pub fn counts_per_second(&self) -> Option<Q> {
        Some(rate(self.base()?, self.newest))
    }

    /// The two neighbouring windows that end at the newest reading, with `unit` axis units to a count.
    pub fn windows(&self, unit: &Q) -> Option<Windows> {
        let base = self.base()?;
        let before = self.before(base)?;
        Some(Windows {
            speed: rate(base, self.newest) * unit,
            speed_before: rate(before, base) * unit,
            // Half the sum of the two elapsed times.
            apart_ns: (self.newest.at - before.at) / 2,
        })
    }

    /// How many points would be needed to hold the base and everything stored after it.
    #[cfg(test)]
    pub fn points_in_use(&self) -> Option<usize> {
        Some(self.points_from(self.base()?))
    }

    /// How many points would be needed to hold the base of the base and everything stored after it.
    #[cfg(test)]
    pub fn points_in_use_of_two_windows(&self) -> Option<usize> {
        Some(self.points_from(self.before(self.base()?)?))
    }

    #[cfg(test)]
    fn points_from(&self, first: Point) -> usize {
        self.stored.iter().filter(|point| point.at >= first.at).count()
    }
}

/// Counts per second from one reading to another, exactly.
fn rate(from: Point, to: Point) -> Q {
    Q::from_integer((to.count - from.count).into()) / seconds(to.at - from.at)
}

/// The speeds of two neighbouring windows, from which the acceleration is taken.
#[derive(Clone, Debug)]
pub(super) struct Windows {
    /// From the base to the newest reading, units per second.
    pub speed: Q,
    /// From the base of the base to the base, units per second.
    pub speed_before: Q,
    /// Time between the middles of the two, in whole nanoseconds.
    pub apart_ns: u64,
}

impl Windows {
    /// The acceleration, units per second squared.
    pub fn acceleration(&self) -> Q {
        (&self.speed - &self.speed_before) / seconds(self.apart_ns)
    }

    /// The acceleration rounded down and rounded up as the rules name it.
    pub fn acceleration_between(&self) -> [Q; 2] {
        change_between(&self.speed_before, &self.speed, self.apart_ns)
    }

    /// By how much the magnitude of the speed falls, units per second squared.
    pub fn deceleration(&self) -> Q {
        (self.speed_before.abs() - self.speed.abs()) / seconds(self.apart_ns)
    }

    /// The same rounded down.
    pub fn deceleration_down(&self) -> Q {
        let [down, _] = change_between(&self.speed.abs(), &self.speed_before.abs(), self.apart_ns);
        down
    }
}

/// The change from one speed to another over a time, with each speed rounded to the side that makes the change smaller, or
/// larger, and the quotient too. What is beyond the range counts as the largest there is.
fn change_between(from: &Q, to: &Q, time_ns: u64) -> [Q; 2] {
    let time = seconds(time_ns);
    let down = ulp_down(&((ulp_down(to) - ulp_up(from)) / &time));
    let up = ulp_up(&((ulp_up(to) - ulp_down(from)) / &time));
    [down, up].map(|value| value.clamp(-largest(), largest()))
}
