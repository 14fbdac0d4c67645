//! Implementations with one mistake each: what the comparison of their logs says of them.

use std::sync::LazyLock;

use host_harness::compare::{Cause, Comparison, compare};
use host_harness::replay::{ReplayAxis, axis};
use host_harness::setup::Setup;
use host_harness::vectors::columns::{COLUMNS, OUTCOMES, numbers};
use host_harness::vectors::{BUILT_IN_SETUP, Recorded, Vectors};
use monitor_core::{Channel, Check, Frame, Glimpse, Outcome, Sample};

use crate::BUILT_IN;

static RECORDED: LazyLock<Recorded> =
    LazyLock::new(|| Recorded::parse(&BUILT_IN.to_csv(), "vectors.csv").expect("they were just written"));

/// What an implementation knows at a frame.
struct At<'a> {
    /// The first frame of a case.
    first: bool,
    frame: &'a Frame,
    before: [Option<Glimpse>; 2],
    axis: &'a ReplayAxis,
    outcome: Outcome,
    checks: &'a [(usize, Channel, Check)],
}

fn place(name: &str) -> usize {
    COLUMNS.iter().position(|column| column.name == name).expect("a column")
}

fn violated(channel: Channel) -> usize {
    place(if channel == Channel::A { "a_violated" } else { "b_violated" })
}

/// Compares a log with these rows: case, frame, outcome.
fn compared_rows(rows: impl IntoIterator<Item = (usize, usize, [u32; OUTCOMES])>) -> Comparison {
    let names: Vec<&str> = COLUMNS.iter().map(|column| column.name).collect();
    let mut log = format!("case,frame,{}\n", names.join(","));
    for (number, index, values) in rows {
        let cells: Vec<String> = values.iter().map(ToString::to_string).collect();
        log += &format!("{number},{index},{}\n", cells.join(","));
    }
    compare(&RECORDED, &log, "log.csv").expect("the log is good")
}

/// What is expected, in the form of [`compared_rows`].
fn expected() -> Vec<(usize, usize, [u32; OUTCOMES])> {
    let cases = RECORDED.cases.iter().enumerate();
    cases
        .flat_map(|(number, case)| {
            case.rows.iter().enumerate().map(move |(index, (_, values))| (number, index, *values))
        })
        .collect()
}

/// What an axis comes to that is shown the frames after `change` has had its way with them.
fn of_axis(fresh: &ReplayAxis, change: impl Fn(&Frame) -> Frame) -> Comparison {
    let mut rows = Vec::new();
    for (number, case) in RECORDED.cases.iter().enumerate() {
        let mut axis = fresh.clone();
        for (index, (frame, _)) in case.rows.iter().enumerate() {
            rows.push((number, index, numbers(&axis.step(&change(frame)))));
        }
    }
    compared_rows(rows)
}

/// Compares the log of an implementation that comes to what the reference does, but for `mistake`.
fn compared(mut mistake: impl FnMut(&At<'_>, &mut [u32; OUTCOMES])) -> Comparison {
    let mut rows = Vec::new();
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
                let at = At { first: index == 0, frame, before, axis: &axis, outcome, checks: &checks };
                mistake(&at, &mut values);
            }
            rows.push((number, index, values));
        }
    }
    compared_rows(rows)
}

/// Exactly one cause is named, says `wanted`, and explains every difference.
fn only(comparison: &Comparison, wanted: &str) {
    assert!(comparison.different > 0);
    let [cause] = comparison.causes.as_slice() else { panic!("{comparison}") };
    assert!(cause.text.contains(wanted), "{comparison}");
    assert_eq!((cause.explains, cause.of), (comparison.different, comparison.different), "{comparison}");
    assert!(comparison.to_string().contains(&format!("explains all {} differing frames", cause.of)));
}

/// Exactly one cause is named, says `wanted`, and explains some of the differences only.
fn partly(comparison: &Comparison, wanted: &str) {
    let [cause] = comparison.causes.as_slice() else { panic!("{comparison}") };
    assert!(cause.text.contains(wanted), "{comparison}");
    let (explains, of) = (cause.explains, comparison.different);
    assert!(explains < of, "{comparison}");
    let told = format!("explains {explains} of {of} differing frames, not the others");
    assert!(comparison.to_string().contains(&told), "{comparison}");
    assert!(comparison.to_string().contains("No single kind of mistake explains the whole log."));
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

/// The permit of an implementation that latches nothing.
fn unlatched(at: &At<'_>) -> bool {
    let outcome = at.outcome;
    let faulted = outcome.faults.a.is_some() || outcome.faults.b.is_some();
    let planned = at.checks.iter().any(|(_, _, check)| check.withdraws);
    !(faulted || planned || outcome.warming_up || outcome.has_trip())
}

#[test]
fn a_permit_that_is_not_latched_is_told() {
    let comparison = compared(|at, values| values[place("permit")] = unlatched(at).into());
    only(&comparison, "a trip or a fault is not latched");
}

#[test]
fn what_follows_from_a_mistake_is_explained_by_it_too() {
    let mut tripped = false;
    let comparison = compared(|at, values| {
        tripped &= !at.first;
        for (number, channel, check) in at.checks {
            let reached = check.speed.is_some_and(|bound| bound.observed >= bound.limit)
                || check.position.is_some_and(|bound| bound.observed >= bound.limit);
            values[violated(*channel)] |= u32::from(reached) << number;
            // A trip that should not be, for the rest of the case.
            tripped |= reached && !check.is_violated();
        }
        if tripped {
            values[place("permit")] = 0;
        }
    });
    only(&comparison, "`>=` where `>` is meant");
}

#[test]
fn an_inverted_permit_is_told_and_nothing_else() {
    let comparison = compared_rows(expected().into_iter().map(|(number, index, mut values)| {
        values[place("permit")] ^= 1;
        (number, index, values)
    }));
    assert_eq!(comparison.different, comparison.expected);
    only(&comparison, "the permit is inverted");
}

#[test]
fn an_inverted_permit_beside_another_mistake_is_told_with_its_share() {
    let comparison = compared(|at, values| {
        values[place("permit")] ^= 1;
        for (number, channel, check) in at.checks.iter().filter(|(_, _, check)| check.is_violated()) {
            // Violations of one monitor are not logged.
            values[violated(*channel)] &= !(u32::from(*number == 0 && check.is_violated()) << number);
        }
    });
    partly(&comparison, "the permit is inverted");
}

#[test]
fn a_permit_that_is_always_the_same_is_not_taken_for_a_known_mistake() {
    for constant in [0, 1] {
        let comparison = compared_rows(expected().into_iter().map(|(number, index, mut values)| {
            values[place("permit")] = constant;
            (number, index, values)
        }));
        assert!(!comparison.causes.iter().any(Cause::is_whole), "{comparison}");
    }
    let zeros =
        compared_rows(expected().into_iter().map(|(number, index, _)| (number, index, [0; OUTCOMES])));
    assert!(zeros.causes.is_empty(), "{zeros}");
}

#[test]
fn channels_that_are_swapped_in_the_log_are_told() {
    let comparison = compared(|_, values| {
        for pair in [["a_fault", "b_fault"], ["a_violated", "b_violated"], ["a_tripped", "b_tripped"]] {
            let [a, b] = pair.map(place);
            values.swap(a, b);
        }
    });
    only(&comparison, "channels A and B are swapped in the log");
}

#[test]
fn sources_that_are_swapped_at_the_inputs_are_told() {
    let fresh = axis(&RECORDED.setup).expect("the core accepts it");
    let comparison = of_axis(&fresh, |frame| Frame { a: frame.b, b: frame.a, ..*frame });
    only(&comparison, "channels A and B are swapped at their inputs");
}

#[test]
fn numbers_from_one_are_told_as_such_and_nothing_is_made_of_what_is_then_compared() {
    for (case, frame, wanted) in [
        (
            0,
            1,
            "frames are numbered from 1, those of the vectors from 0: the log has no frame 0, and 660 frames beyond the last",
        ),
        (1, 0, "cases are numbered from 1, those of the vectors from 0: the log has no case 0, and "),
        (
            1,
            1,
            "cases and frames are numbered from 1, those of the vectors from 0: the log has no case or frame 0, and ",
        ),
    ] {
        let rows =
            expected().into_iter().map(|(number, index, values)| (number + case, index + frame, values));
        let comparison = compared_rows(rows);
        only(&comparison, wanted);
        assert!(comparison.to_string().contains("with 1 taken off, 0 of "), "{comparison}");
    }
    // A mistake beside it stays.
    let comparison = compared_rows(expected().into_iter().map(|(number, index, mut values)| {
        values[place("permit")] ^= u32::from(number == 7);
        (number, index + 1, values)
    }));
    partly(&comparison, "frames are numbered from 1");
}

#[test]
fn a_frame_too_many_is_no_numbering_from_one() {
    let mut rows = expected();
    let (number, index, values) = rows[rows.len() - 1];
    rows.push((number, index + 1, values));
    let comparison = compared_rows(rows);
    assert_eq!(comparison.extra.count, 1);
    assert!(comparison.causes.is_empty() && !comparison.is_same(), "{comparison}");
}

/// What the built-in axis would log with these settings instead of its own.
fn of_another_setup(other: &[(&str, &str)]) -> Comparison {
    let text = other.iter().fold(BUILT_IN_SETUP.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "{from}");
        text.replacen(from, to, 1)
    });
    let setup = Setup::parse(&text, "other.toml").unwrap_or_else(|error| panic!("{error}"));
    of_axis(&axis(&setup).expect("the core accepts it"), |frame| *frame)
}

#[test]
fn the_log_of_another_setup_is_not_taken_for_a_mistake_and_a_way_to_see_it_is_told() {
    let wider = ("counter_bits   = 20", "counter_bits   = 32");
    let longer = ("unit_per_count = \"0.0005 mm\"", "unit_per_count = \"0.0011 mm\"");
    let comparison = of_another_setup(&[wider, longer, ("window = \"8 ms\"", "window = \"6 ms\"")]);
    assert!(comparison.causes.is_empty(), "{comparison}");
    let told = format!("with the line `# setup checksum: {:08x}` in it", RECORDED.setup.checksum());
    assert!(comparison.to_string().contains(&told), "{comparison}");
}

#[test]
fn a_width_that_is_wrong_in_the_setup_is_told_as_what_it_does_and_how_much_that_explains() {
    let wider = ("counter_bits   = 20", "counter_bits   = 32");
    only(&of_another_setup(&[wider]), "a counter that wraps is not handled");
    let slower = ("limit    = \"1.2 m/s\"", "limit    = \"0.7 m/s\"");
    partly(&of_another_setup(&[wider, slower]), "a counter that wraps is not handled");
}

/// What is said of the first frame that waits for a speed while the permit is withheld, when its permit is logged the other way.
fn told_of_a_permit_while_warming_up(setup: &str) -> String {
    let written = Vectors::generate(setup, "warm.toml", 129).unwrap_or_else(|error| panic!("{error}"));
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
