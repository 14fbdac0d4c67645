//! Random setups and frames, seeded: a case is its seed and its length, and a longer case begins like a shorter one.
//!
//! The cases are made to be interesting: counters that start next to their wrap, both directions, limits that are
//! met exactly, readings that are missing, repeated, invalid, late, early or impossible, lines that bounce and
//! disagree, resets at all moments, frames whose clock stands still.

mod frames;
mod rng;
mod setups;

use crate::model::Setup;
use monitor_core::Frame;
use proptest::prelude::{Strategy, any};
pub use rng::Rng;

/// The line of the reset in every generated setup.
pub const RESET_LINE: u8 = 31;

/// How the frames follow each other.
#[derive(Clone, Copy, Debug)]
struct Timing {
    start_ns: u64,
    period_ns: u64,
    /// The period varies by up to this much either way.
    jitter_ns: u64,
}

/// How much goes wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mood {
    /// The sources are perfect; only the motion and the lines break rules.
    Clean,
    /// A fault now and then, with long stretches in between.
    Light,
    /// Faults all the time, of the clock too.
    Heavy,
}

/// A setup and the frames to run it on.
#[derive(Clone, Debug)]
pub struct Case {
    /// What it was generated from.
    pub seed: u64,
    /// How much goes wrong.
    pub mood: Mood,
    /// The setup as it is held.
    pub setup: Setup,
    /// The frames.
    pub frames: Vec<Frame>,
}

/// The case of `seed` with `length` frames, for a history of `points` stored points.
///
/// # Panics
/// When `points` is not an odd number from 3.
#[must_use]
pub fn case(seed: u64, length: usize, points: usize) -> Case {
    let mut rng = Rng::new(seed);
    let period_ns = rng.pick(&[100_000, 125_000, 250_000, 1_000_000, 1_000_000, 2_000_000, 4_000_000]);
    let jitter_ns = match rng.range(0, 3) {
        0 | 1 => 0,
        2 => period_ns / 10,
        _ => period_ns - 1,
    };
    let start_ns = rng.pick(&[0, 1_000_000_000, 1 << 40, 1 << 62]);
    let timing = Timing { start_ns, period_ns, jitter_ns };
    let mood = rng.pick(&[Mood::Clean, Mood::Light, Mood::Light, Mood::Heavy]);
    let (setup, typical) = setups::setup(&mut rng, &timing, points);
    if let Err(reason) = setup.check() {
        panic!("seed {seed} made a setup that cannot run: {reason}");
    }
    let frames = frames::frames(&mut rng, &setup, &timing, typical, mood, length);
    Case { seed, mood, setup, frames }
}

/// Cases of 50 to 2000 frames; a failing one shrinks to fewer frames.
pub fn cases(points: usize) -> impl Strategy<Value = Case> {
    (any::<u64>().no_shrink(), 50_usize..=2000).prop_map(move |(seed, length)| case(seed, length, points))
}

/// The smallest case found that still `fails`: without the frames, monitors and discrepancies it does not need.
#[must_use]
pub fn minimised(case: &Case, mut fails: impl FnMut(&Case) -> bool) -> Case {
    let mut best = case.clone();
    let mut attempt = |best: &mut Case, smaller: Case| {
        let kept = fails(&smaller);
        if kept {
            *best = smaller;
        }
        kept
    };
    let mut chunk = best.frames.len().next_power_of_two();
    while chunk > 0 {
        let mut end = best.frames.len();
        while end > 0 {
            let begin = end.saturating_sub(chunk);
            let mut smaller = best.clone();
            smaller.frames.drain(begin..end);
            attempt(&mut best, smaller);
            end = begin;
        }
        chunk /= 2;
    }
    for index in (0..best.setup.monitors.len()).rev() {
        let mut smaller = best.clone();
        smaller.setup.monitors.remove(index);
        attempt(&mut best, smaller);
    }
    let mut smaller = best.clone();
    smaller.setup.discrepancy = None;
    attempt(&mut best, smaller);
    let mut smaller = best.clone();
    smaller.setup.speed_discrepancy = None;
    attempt(&mut best, smaller);
    best
}

#[cfg(test)]
mod tests;
