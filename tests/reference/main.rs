//! The core against the exact reference model, frame by frame, on random traces; and small cases of each rule on which the
//! two once differed.

mod cases;
mod compare;

use cowitness_tests::trace::{Case, case, minimised};
use monitor_core::{Reading, Sample};

use compare::{Tally, first_difference};

/// How many traces, of which most have this length. `COWITNESS_CASES` in the environment replaces the number, `COWITNESS_SEED`
/// says where the seeds begin.
const CASES: u64 = 2400;
const FRAMES: usize = 150;

/// Runs traces, each changed by `change`, on an axis with `POINTS` stored points.
fn run_changed<const POINTS: usize>(
    seeds: std::ops::Range<u64>,
    length: usize,
    change: impl Fn(&mut Case),
) -> Tally {
    let mut tally = Tally::default();
    for seed in seeds {
        let mut one = case(seed, length, POINTS);
        change(&mut one);
        if let Some(difference) = first_difference::<POINTS>(&one, &mut tally) {
            let smallest = minimised(&one, |smaller| {
                first_difference::<POINTS>(smaller, &mut Tally::default())
                    .is_some_and(|found| found.what == difference.what)
            });
            let left = first_difference::<POINTS>(&smallest, &mut Tally::default());
            panic!(
                "seed {seed}, {length} frames, {POINTS} points: {difference}\nminimised: {}\n{:#?}\n{:#?}\n{:?}",
                left.map_or_else(String::new, |difference| difference.to_string()),
                smallest.setup,
                smallest.frames,
                smallest.offers,
            );
        }
    }
    tally
}

fn run<const POINTS: usize>(seeds: std::ops::Range<u64>, length: usize) -> Tally {
    run_changed::<POINTS>(seeds, length, |_| {})
}

/// Adds an offset to every count of both sources, in their width.
fn shift(case: &mut Case, offset: u64) {
    let of = |reading: &mut Option<Reading>, bits: u32| {
        if let Some(Reading { sample: Sample::Count(raw), .. }) = reading {
            *raw = raw.wrapping_add(offset) & (u64::MAX >> (64 - bits));
        }
    };
    for frame in &mut case.frames {
        of(&mut frame.a, case.setup.a.counter_bits);
        of(&mut frame.b, case.setup.b.counter_bits);
    }
}

/// The number of traces wanted: as many as the variable says, or the usual number.
fn wanted() -> u64 {
    match std::env::var("COWITNESS_CASES") {
        Ok(text) => text.parse().expect("COWITNESS_CASES is a number of traces"),
        Err(_) => CASES,
    }
}

/// Where the seeds of a run begin, for further runs with new ones.
fn first_seed() -> u64 {
    match std::env::var("COWITNESS_SEED") {
        Ok(text) => text.parse().expect("COWITNESS_SEED is a number"),
        Err(_) => 0,
    }
}

fn compared<const POINTS: usize>(share: u64, offset: u64) {
    let begin = first_seed() + offset;
    let tally = run::<POINTS>(begin..begin + wanted() / share, FRAMES);
    println!("{POINTS} points, seeds from {begin}: {tally:?}");
    assert!(tally.near * 400 < tally.compared, "less than one comparison in 400 may be near: {tally:?}");
    assert!(tally.trips > 0 && tally.resets_accepted > 0, "the traces show something: {tally:?}");
    assert!(tally.quiet * 20 > tally.frames, "the way of quiet frames is compared as well: {tally:?}");
}

#[test]
fn the_core_follows_the_model_frame_by_frame_with_17_points() {
    compared::<17>(2, 0);
}

#[test]
fn the_core_follows_the_model_frame_by_frame_with_3_points() {
    compared::<3>(4, 1_000_000_000);
}

#[test]
fn the_core_follows_the_model_frame_by_frame_with_33_points() {
    compared::<33>(8, 2_000_000_000);
}

/// A count beyond 2⁶² is near half the range of a counter of 64 bits, where differences of counts need all of them.
#[test]
fn the_core_follows_the_model_where_the_counts_are_far_from_zero() {
    let begin = first_seed() + 4_000_000_000;
    for (place, offset) in (0..).zip([1 << 62, (1 << 62) - 1000, 3 << 61, (1 << 63) - 100_000, 3 << 62]) {
        let seeds = begin + place * wanted()..begin + place * wanted() + wanted() / 20;
        let tally = run_changed::<9>(seeds, FRAMES, |case| shift(case, offset));
        assert!(tally.trips > 0, "{tally:?}");
    }
}

#[test]
fn the_core_follows_the_model_over_long_traces() {
    let begin = first_seed() + 3_000_000_000;
    let tally = run::<9>(begin..begin + wanted() / 40, 1500);
    println!("9 points, long, seeds from {begin}: {tally:?}");
    assert!(tally.trips > 0, "{tally:?}");
}
