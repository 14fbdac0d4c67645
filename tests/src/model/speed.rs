//! The history of one channel and the speed over its window.

use super::exact::{Q, seconds};

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
/// `M × (spacing + 1)` ns, which exceeds the window.
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
        self.stored.iter().rev().find(|point| self.newest.at - point.at >= self.window_ns).copied()
    }

    /// Counts per second between base and newest, exactly.
    pub fn counts_per_second(&self) -> Option<Q> {
        let base = self.base()?;
        let travel = Q::from_integer((self.newest.count - base.count).into());
        Some(travel / seconds(self.newest.at - base.at))
    }

    /// How many points would be needed to hold the base and everything stored after it.
    #[cfg(test)]
    pub fn points_in_use(&self) -> Option<usize> {
        let base = self.base()?;
        Some(self.stored.iter().filter(|point| point.at >= base.at).count())
    }
}
