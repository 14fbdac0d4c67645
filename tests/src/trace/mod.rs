//! Random setups and frames, seeded: a case is its seed and its length, and a longer case begins like a shorter one.
//!
//! The cases are made to be interesting: counters that start next to their wrap, both directions, limits that are
//! met exactly, readings that are missing, repeated, invalid, late, early or impossible, lines that bounce and
//! disagree, resets at all moments, frames whose clock stands still.

mod extras;
mod frames;
mod offers;
mod rng;
mod setups;

use crate::model::{Demand, Q, Referencing, Setup, Source, Term, as_signed, nearest_ulp, q, ulps};
use monitor_core::{Frame, Sample};
use num_traits::Signed;
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

/// A reading of an analogue value that is handed in before a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Offer {
    /// Index of the analogue value.
    pub analogue: usize,
    /// Channel A or B: 0 or 1.
    pub channel: usize,
    /// When it was captured, in nanoseconds.
    pub captured_at: u64,
    /// The value in ULPs; `None` when it is marked invalid.
    pub value: Option<i64>,
}

impl Offer {
    /// The value as the model takes it.
    #[must_use]
    pub fn value(&self) -> Option<Q> {
        self.value.map(|value| ulps(value.into()))
    }
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
    /// What is handed in of analogue values before each frame; nothing before those that it is too short for.
    pub offers: Vec<Vec<Offer>>,
}

impl Case {
    /// What is handed in of analogue values before a frame.
    #[must_use]
    pub fn offers(&self, frame: usize) -> &[Offer] {
        self.offers.get(frame).map_or(&[], Vec::as_slice)
    }
}

/// The case of `seed` with `length` frames, for a history of `points` stored points. A quarter of them have outputs, places of
/// the machine, analogue values or stops as reactions.
///
/// # Panics
/// When `points` is not an odd number from 3.
#[must_use]
pub fn case(seed: u64, length: usize, points: usize) -> Case {
    drawn(seed, length, points, true)
}

/// The same with rules on the motion only, whose trips all withdraw the permit.
///
/// # Panics
/// When `points` is not an odd number from 3.
#[must_use]
pub fn plain_case(seed: u64, length: usize, points: usize) -> Case {
    drawn(seed, length, points, false)
}

fn drawn(seed: u64, length: usize, points: usize, has_extras: bool) -> Case {
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
    let (mut setup, typical) = setups::setup(&mut rng, &timing, points, has_extras);
    if let Err(reason) = setup.check() {
        panic!("seed {seed} made a setup that cannot run: {reason}");
    }
    let frames = frames::frames(&mut rng, &setup, &timing, typical, mood, length);
    let offers = offers::offers(&mut rng, &setup, &timing, mood, &frames);
    for (channel, source) in [setup.a.clone(), setup.b.clone()].iter().enumerate() {
        let readings = frames.iter().map(|frame| if channel == 0 { frame.a } else { frame.b });
        let mut counts = readings.flatten().filter_map(|reading| match reading.sample {
            Sample::Count(count) => Some(count),
            Sample::Invalid => None,
        });
        let first = counts.next();
        bring_near(&mut setup.referencing[channel], source, first.unwrap_or(0));
    }
    Case { seed, mood, setup, frames, offers }
}

/// Moves the offset of an absolute source so that its position at a count is what the offset was: its counter may start
/// anywhere, and the limits are near 0.
fn bring_near(referencing: &mut Referencing, source: &Source, count: u64) {
    if let Referencing::Absolute { offset } = referencing {
        let count = Q::from_integer(as_signed(count, source.counter_bits).into());
        let near = &*offset - nearest_ulp(&(count * &source.unit_per_count));
        // An offset is a position, and has its range.
        *offset = if near.abs() < q(1 << 39, 1) { near } else { q(0, 1) };
    }
}

/// Cases of 50 to 2000 frames; a failing one shrinks to fewer frames.
pub fn cases(points: usize) -> impl Strategy<Value = Case> {
    (any::<u64>().no_shrink(), 50_usize..=2000).prop_map(move |(seed, length)| case(seed, length, points))
}

/// The smallest case found that still `fails`: without the frames, demands, reactions, monitors and
/// discrepancies it does not need.
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
            smaller.offers.drain(begin.min(smaller.offers.len())..end.min(smaller.offers.len()));
            attempt(&mut best, smaller);
            end = begin;
        }
        chunk /= 2;
    }
    for index in 0..best.setup.monitors.len() {
        let mut smaller = best.clone();
        smaller.setup.monitors[index].reaction = None;
        attempt(&mut best, smaller);
        // What demands it, one by one; what nothing demands any more is demanded always.
        for term in (0..best.setup.monitors[index].demand.terms().len()).rev() {
            let mut smaller = best.clone();
            if let Demand::Any(terms) = &mut smaller.setup.monitors[index].demand {
                terms.remove(term);
            }
            if smaller.setup.monitors[index].demand.terms().is_empty() {
                smaller.setup.monitors[index].demand = Demand::Always;
            }
            attempt(&mut best, smaller);
        }
    }
    for index in (0..best.setup.monitors.len()).rev() {
        let mut smaller = best.clone();
        if remove_monitor(&mut smaller.setup, index) {
            attempt(&mut best, smaller);
        }
    }
    let mut smaller = best.clone();
    smaller.setup.discrepancy = None;
    attempt(&mut best, smaller);
    let mut smaller = best.clone();
    smaller.setup.speed_discrepancy = None;
    attempt(&mut best, smaller);
    best
}

/// Takes a monitor out, unless another one refers to it.
fn remove_monitor(setup: &mut Setup, index: usize) -> bool {
    setup.monitors.remove(index);
    let mut is_needed = false;
    let mut renumber = |place: &mut usize| {
        is_needed |= *place == index;
        *place -= usize::from(*place > index);
    };
    for monitor in &mut setup.monitors {
        monitor.reaction.iter_mut().for_each(&mut renumber);
        if let Demand::Any(terms) = &mut monitor.demand {
            for term in terms {
                match term {
                    Term::Output(place) | Term::NotOutput(place) => renumber(place),
                    Term::Input(_) | Term::NotInput(_) => {}
                }
            }
        }
    }
    !is_needed
}

#[cfg(test)]
mod tests;
