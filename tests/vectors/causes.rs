//! Implementations with one mistake each: what the comparison of their logs says of them.

use std::sync::LazyLock;

use host_harness::compare::{Comparison, compare};
use host_harness::replay::{ReplayAxis, axis};
use host_harness::vectors::columns::{COLUMNS, OUTCOMES, numbers};
use host_harness::vectors::{BUILT_IN_SETUP, Recorded, Vectors};
use monitor_core::{Channel, Check, Frame, Glimpse, Sample};

use crate::BUILT_IN;

static RECORDED: LazyLock<Recorded> =
    LazyLock::new(|| Recorded::parse(&BUILT_IN.to_csv(), "vectors.csv").expect("they were just written"));

/// What an implementation knows at a frame.
struct At<'a> {
    frame: &'a Frame,
    before: [Option<Glimpse>; 2],
    axis: &'a ReplayAxis,
    checks: &'a [(usize, Channel, Check)],
}

fn place(name: &str) -> usize {
    COLUMNS.iter().position(|column| column.name == name).expect("a column")
}

fn violated(channel: Channel) -> usize {
    place(if channel == Channel::A { "a_violated" } else { "b_violated" })
}

/// Compares the log of an implementation that comes to what the reference does, but for `mistake`.
fn compared(mistake: impl Fn(&At<'_>, &mut [u32; OUTCOMES])) -> Comparison {
    let names: Vec<&str> = COLUMNS.iter().map(|column| column.name).collect();
    let mut log = format!("case,frame,{}\n", names.join(","));
    let fresh = axis(&RECORDED.setup).expect("the core accepts it");
    for (number, case) in RECORDED.cases.iter().enumerate() {
        let mut axis = fresh.clone();
        for (index, (frame, _)) in case.rows.iter().enumerate() {
            let before = Channel::BOTH.map(|channel| axis.state().glimpse(channel));
            let mut checks = Vec::new();
            let outcome = axis.step_watched(frame, &mut |id, channel, check| {
                checks.push((usize::from(id.index()), channel, *check));
            });
            let mut values = numbers(&outcome);
            if !outcome.clock_fault {
                mistake(&At { frame, before, axis: &axis, checks: &checks }, &mut values);
            }
            let cells: Vec<String> = values.iter().map(ToString::to_string).collect();
            log += &format!("{number},{index},{}\n", cells.join(","));
        }
    }
    compare(&RECORDED, &log, "log.csv").expect("the log is good")
}

/// Exactly one cause is named, and says `wanted`.
fn only(comparison: &Comparison, wanted: &str) {
    assert!(comparison.different > 0);
    assert!(matches!(comparison.causes.as_slice(), [one] if one.contains(wanted)), "{comparison}");
}

#[test]
fn an_implementation_without_a_mistake_is_the_same() {
    let comparison = compared(|_, _| {});
    assert!(comparison.is_same() && comparison.compared == BUILT_IN.frames() as u64, "{comparison}");
    assert!(comparison.causes.is_empty());
}

#[test]
fn a_limit_that_counts_as_exceeded_when_it_is_reached_is_told() {
    let comparison = compared(|at, values| {
        for (number, channel, check) in at.checks {
            let speed = check.speed.is_some_and(|bound| bound.observed >= bound.limit);
            let position = check.position.is_some_and(|bound| bound.observed >= bound.limit);
            values[violated(*channel)] |= u32::from(speed || position) << number;
        }
    });
    only(&comparison, "`>=` where `>` is meant");
}

#[test]
fn a_sign_that_is_not_taken_off_is_told() {
    let comparison = compared(|at, values| {
        for (number, channel, _) in at.checks {
            if at.axis.speed(*channel).is_some_and(|speed| speed.signed().to_bits() < 0) {
                values[violated(*channel)] &= !(1 << number);
            }
        }
    });
    only(&comparison, "no violation backwards is seen");
}

#[test]
fn a_counter_whose_wrap_is_taken_for_a_jump_is_told() {
    let comparison = compared(|at, values| {
        // Channel A has 20 bits; the raw values are held against each other as they are.
        let raw = at.frame.a.and_then(|reading| match reading.sample {
            Sample::Count(raw) => Some(raw),
            Sample::Invalid => None,
        });
        let last = at.before[0].map(|before| before.mark.count().cast_unsigned() & 0xF_FFFF);
        let fault = place("a_fault");
        if let (Some(raw), Some(last), 0) = (raw, last, values[fault])
            && raw.abs_diff(last) >= 1 << 19
        {
            // Implausible.
            values[fault] = 4;
        }
    });
    only(&comparison, "a counter that wraps is not handled");
}

#[test]
fn a_timeout_that_counts_as_exceeded_when_it_is_reached_is_told() {
    let comparison = compared(|at, values| {
        let readings = [at.frame.a, at.frame.b];
        let setups = [&RECORDED.setup.a, &RECORDED.setup.b];
        for side in [0, 1] {
            let fault = place(["a_fault", "b_fault"][side]);
            let age = at.before[side].and_then(|before| at.frame.now.since(before.captured_at));
            if readings[side].is_none() && values[fault] == 0 && age == Some(setups[side].timeout.value) {
                // Stale.
                values[fault] = 3;
            }
        }
    });
    only(&comparison, "as old as its timeout counts as stale");
}

/// What is said of the first frame that waits for a speed while the permit is withheld, when its permit is logged the other way.
fn told_of_a_permit_while_warming_up(setup: &str) -> String {
    let written = Vectors::generate(setup, "warm.toml").unwrap_or_else(|error| panic!("{error}"));
    let vectors = Recorded::parse(&written.to_csv(), "vectors.csv").expect("they were just written");
    let (permit, warming_up) = (place("permit"), place("warming_up"));
    let mut log = "case,frame,permit\n".to_owned();
    let mut flipped = false;
    for (number, case) in vectors.cases.iter().enumerate() {
        for (index, (_, expected)) in case.rows.iter().enumerate() {
            let flips = !flipped && index > 0 && expected[permit] == 0 && expected[warming_up] == 1;
            log += &format!("{number},{index},{}\n", expected[permit] ^ u32::from(flips));
            flipped |= flips;
        }
    }
    assert!(flipped, "there is such a frame");
    compare(&vectors, &log, "log.csv").expect("the log is good").first.expect("a difference")
}

#[test]
fn warming_up_is_a_reason_for_no_permit_only_where_it_withholds_it() {
    let waits = "something is warming up";
    let withholds = told_of_a_permit_while_warming_up(BUILT_IN_SETUP);
    assert!(withholds.contains(waits), "{withholds}");
    let permits = BUILT_IN_SETUP.replacen("window = \"8 ms\"", "window = \"8 ms\"\nwarm_up = \"permit\"", 1);
    assert!(permits.contains("warm_up"));
    let permits = told_of_a_permit_while_warming_up(&permits);
    assert!(!permits.contains(waits) && permits.contains("permit: the reference says 0"), "{permits}");
}
