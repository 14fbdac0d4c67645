//! A cause is told as certain only when it is: what the samples cannot tell apart is said to be so.

use host_harness::causes::{Cause, CauseKind, Decomposition, Side};

use super::machine::{Run, run};
use super::nuisance::SETUP;
use super::{main_cause, texts};

const MOTION: &str = "[motion]\nspeed = \"800 mm/s\"\nacceleration = \"2 m/s^2\"\njerk = \"20 m/s^3\"\n";
const MOVES: &str = "[[move]]\nat = \"0.3 s\"\nto = \"1500 mm\"\n[[move]]\nat = \"3.3 s\"\nto = \"0 mm\"\n\
     [[move]]\nat = \"6.3 s\"\nto = \"1500 mm\"\n[[move]]\nat = \"9.3 s\"\nto = \"0 mm\"\n";
/// The small errors of channel b.
const WORN: &str = "scale_error = \"80 ppm\"\nbacklash = \"0.03 mm\"\neccentricity = { amplitude = \"0.02 mm\", period = \"100 mm\" }\n";

/// An invented axis with its moves, what its encoders have besides, and its faults.
struct Axis<'a> {
    seed: u32,
    duration: &'a str,
    moves: &'a str,
    a: &'a str,
    b: &'a str,
    faults: &'a str,
}

impl Default for Axis<'_> {
    fn default() -> Self {
        Self {
            seed: 1,
            duration: "12 s",
            moves: MOVES,
            a: "noise = \"0.4 um\"\n",
            b: LATE_AS_SET_UP,
            faults: "",
        }
    }
}

const LATE_AS_SET_UP: &str = "latency = \"0.25 ms\"\n";

impl Axis<'_> {
    fn scenario(&self) -> String {
        let Self { seed, duration, moves, a, b, faults } = self;
        format!(
            "title = \"Invented axis\"\nseed = {seed}\nunit = \"mm\"\nduration = \"{duration}\"\nrate = \"1 kHz\"\n\
             {MOTION}{moves}\
             [encoder.a]\ncolumn = \"a\"\nunit_per_count = \"0.0005 mm\"\ncounter_bits = 32\nstart_count = 200_000\n{a}\
             [encoder.b]\ncolumn = \"b\"\nunit_per_count = \"0.001 mm\"\ncounter_bits = 24\nstart_count = 100_000\n{b}\
             {faults}[output]\ntime_decimals = 3\n"
        )
    }

    fn run(&self) -> Run {
        run(SETUP, &self.scenario())
    }

    fn decompose(&self) -> Decomposition {
        let run = self.run();
        assert!(run.has_tripped);
        run.decompose()
    }
}

fn fault(side: Side, kind: &str, at: &str, more: &str) -> String {
    format!("[[fault]]\nsource = \"{}\"\nkind = \"{kind}\"\nat = \"{at} s\"\n{more}\n", side.letter())
}

fn has_alternative(found: &Decomposition, chosen: CauseKind, instead: CauseKind) -> bool {
    found.alternatives.iter().any(|other| other.chosen == chosen && other.instead == instead)
}

#[test]
fn a_channel_that_stuck_at_rest_is_frozen_once_the_axis_moves_and_never_the_other_one_reversed() {
    for seed in [3, 11, 12, 13] {
        for side in Side::BOTH {
            let faults = fault(side, "stuck", "0.1", "");
            let found = Axis { seed, faults: &faults, ..Axis::default() }.decompose();
            assert!(
                matches!(main_cause(&found), Cause::Frozen { side: frozen, .. } if *frozen == side),
                "{found}"
            );
            // It never moved with the other one.
            assert!(has_alternative(&found, CauseKind::Frozen, CauseKind::Slip), "{found}");
        }
    }
}

#[test]
fn a_drift_at_rest_is_not_told_from_a_channel_that_is_frozen() {
    let faults = fault(Side::B, "drift", "1", "speed = \"0.75 mm/s\"");
    let found = Axis { moves: "", faults: &faults, ..Axis::default() }.decompose();
    let Cause::Slip { rate, from_ns, until_ns: None, .. } = main_cause(&found) else { panic!("{found}") };
    assert!((rate + 0.75).abs() < 0.005 && (from_ns - 1_000_000_000).abs() < 20_000_000, "{found}");
    assert!(has_alternative(&found, CauseKind::Slip, CauseKind::Frozen), "{found}");
    assert!(found.to_string().contains("frozen only if the axis moves"), "{found}");
}

#[test]
fn a_drift_that_begins_at_an_instant_begins_there() {
    let faults = fault(Side::B, "drift", "1", "speed = \"0.75 mm/s\"");
    let b = format!("{LATE_AS_SET_UP}{WORN}");
    let found = Axis { b: &b, faults: &faults, ..Axis::default() }.decompose();
    let Cause::Slip { rate, from_ns, until_ns: None, .. } = main_cause(&found) else { panic!("{found}") };
    assert!((rate + 0.75).abs() < 0.005 && (from_ns - 1_000_000_000).abs() < 20_000_000, "{found}");
    // Nothing else changes d by more than the play of 0.03 mm does, which is a step as well.
    let others = found.terms.iter().skip(1);
    let mut changes = others.filter(|term| matches!(term.cause, Cause::Slip { .. } | Cause::Drift { .. }));
    assert!(changes.all(|term| term.share.value.abs() < 0.02), "{found}");
    assert!(found.to_string().contains("slip: channel b gained"), "{found}");
}

/// The demo with readings at their own times, with other moves and a fault.
fn asynchronous(scale: &str, faults: &str) -> Run {
    let [setup, scenario] = texts("asynchronous-readings");
    let (start, rest) = scenario.split_once("[[move]]").expect("a move");
    let (_, encoders) = rest.split_once("[encoder.a]").expect("an encoder");
    let (encoders, faults_of_demo) = encoders.split_once("[[fault]]").expect("a fault");
    let (_, output) = faults_of_demo.split_once("[output]").expect("an output");
    let encoders = encoders.replace("80 ppm", scale);
    run(&setup, &format!("{start}{MOVES}[encoder.a]{encoders}{faults}[output]{output}"))
}

#[test]
fn a_channel_that_fails_at_full_speed_is_found_where_most_frames_bring_no_reading() {
    let found = asynchronous("80 ppm", &fault(Side::B, "stuck", "1.5", "")).decompose();
    let Cause::Frozen { side: Side::B, since_ns, .. } = main_cause(&found) else { panic!("{found}") };
    assert!((since_ns - 11_500_000_000).abs() <= 2_000_000, "{found}");
    assert_eq!(
        found.terms.iter().filter(|term| term.share.value.abs() > 0.1 * found.apart.abs()).count(),
        1,
        "{found}"
    );
    let found = asynchronous("80 ppm", &fault(Side::A, "reversed", "1.5", "")).decompose();
    let Cause::Reversed { side: Side::A, since_ns, ratio } = main_cause(&found) else { panic!("{found}") };
    assert!((since_ns - 11_500_000_000).abs() <= 2_000_000 && (ratio.value + 1.0).abs() < 0.01, "{found}");
}

#[test]
fn aligned_positions_are_decomposed_as_they_are_compared() {
    let run = asynchronous("700 ppm", "");
    assert!(run.has_tripped);
    let found = run.decompose();
    // 0.5 mm of tolerance and 0.1 ms of the speed, and the time until it trips.
    assert!((-0.62..-0.57).contains(&found.apart), "{found}");
    let Cause::Scale { ppm } = main_cause(&found) else { panic!("{found}") };
    assert!(ppm.holds(-700.0) && (ppm.value + 700.0).abs() < 5.0, "{found}");
    let ages = found.terms.iter().find(|term| matches!(term.cause, Cause::KnownAges { .. }));
    assert!(ages.is_none_or(|term| term.share.value.abs() < 0.01), "{found}");
}

#[test]
fn the_known_ages_are_those_at_the_trip() {
    // The setup knows 0.25 ms of channel b; the trip is at 800 mm/s.
    let b = "latency = \"4 ms\"\n";
    let found = Axis { b, ..Axis::default() }.decompose();
    let ages =
        found.terms.iter().find(|term| matches!(term.cause, Cause::KnownAges { .. })).expect("known ages");
    let Cause::KnownAges { difference } = ages.cause else { panic!("{found}") };
    assert!((difference - 0.000_25).abs() < 1e-9, "{found}");
    let trip = found.apart - found.rest - found.terms.iter().map(|term| term.share.value).sum::<f64>();
    assert!(trip.abs() < 1e-9, "{found}");
}

#[test]
fn compliance_in_one_direction_is_not_patched_by_spikes() {
    let a = "noise = \"0.4 um\"\ncompliance = { by = \"1.5 mm\", per = \"1 m/s^2\" }\n";
    let b = format!("{LATE_AS_SET_UP}{WORN}");
    let moves = "[[move]]\nat = \"0.3 s\"\nto = \"1500 mm\"\n";
    let found = Axis { duration: "6 s", moves, a, b: &b, ..Axis::default() }.decompose();
    let Cause::Compliance { per_acceleration } = main_cause(&found) else { panic!("{found}") };
    assert!((per_acceleration.value - 0.0015).abs() < 0.00004 && per_acceleration.holds(0.0015), "{found}");
    assert!(!found.terms.iter().any(|term| matches!(term.cause, Cause::Spike { .. })), "{found}");
}

#[test]
fn a_scale_error_is_relative_to_channel_a_however_large_it_is() {
    let b = format!("{LATE_AS_SET_UP}{}", WORN.replace("80 ppm", "100000 ppm"));
    let found = Axis { b: &b, ..Axis::default() }.decompose();
    let Cause::Scale { ppm } = main_cause(&found) else { panic!("{found}") };
    assert!(ppm.holds(-100_000.0) && (ppm.value + 100_000.0).abs() < 100.0, "{found}");
    assert!(found.to_string().contains("of the travel of channel a"), "{found}");
}

#[test]
fn intervals_of_traces_that_end_about_the_trip_hold_the_truth() {
    let b = format!("latency = \"4 ms\"\n{WORN}");
    let moves = "[[move]]\nat = \"0.3 s\"\nto = \"1500 mm\"\n";
    let (mut held, mut all) = (0, 0);
    for seed in 1..=4 {
        for duration in ["0.62 s", "0.66 s", "0.69 s", "0.70 s", "0.72 s"] {
            let found = Axis { seed, duration, moves, b: &b, ..Axis::default() }.run().decompose();
            let Cause::TimeSkew { late: Side::B, by, .. } = main_cause(&found) else {
                panic!("{duration} {found}")
            };
            all += 1;
            held += i32::from(by.holds(0.003_75));
            assert!((by.value - 0.003_75).abs() < 0.000_2, "{duration} {found}");
            println!("{seed} {duration}: {} +-{}", by.value, by.margin());
        }
    }
    assert!(held >= 16, "{held} of {all}");
}

#[test]
fn counts_lost_for_a_while_at_constant_speed_and_a_slip_are_not_told_apart() {
    let faults = fault(Side::B, "lost-counts", "1.2", "until = \"1.5 s\"\nrate = \"2 %\"");
    let b = format!("{LATE_AS_SET_UP}{WORN}");
    let found = Axis { b: &b, faults: &faults, ..Axis::default() }.decompose();
    assert_eq!(main_cause(&found).kind(), CauseKind::Slip, "{found}");
    assert!(has_alternative(&found, CauseKind::Slip, CauseKind::LostCounts), "{found}");
}

const ROTARY: &str = r#"
title = "Invented table"
unit  = "deg"

[time]
column = "time"
unit   = "s"

[channel.a]
column         = "a"
counter_bits   = 16
unit_per_count = "360/65536 deg"
max_speed      = "400 deg/s"
timeout        = "4 ms"

[channel.b]
column         = "b"
counter_bits   = 13
unit_per_count = "360/8192 deg"
max_speed      = "400 deg/s"
timeout        = "4 ms"

[speed]
window = "16 ms"

[discrepancy]
tolerance        = "0.6 deg"
skew_allowance   = "0.5 ms"
discrepancy_time = "20 ms"

[[monitor]]
name  = "slow"
kind  = "speed-limit"
limit = "300 deg/s"
"#;

fn table(speed: &str, to: &str, b: &str) -> Decomposition {
    let scenario = format!(
        "title = \"Invented table\"\nseed = 5\nunit = \"deg\"\nduration = \"9 s\"\nrate = \"1 kHz\"\n\
         [motion]\nspeed = \"{speed} deg/s\"\nacceleration = \"600 deg/s^2\"\njerk = \"6000 deg/s^3\"\n\
         [[move]]\nat = \"0.3 s\"\nto = \"{to} deg\"\n\
         [encoder.a]\ncolumn = \"a\"\nunit_per_count = \"360/65536 deg\"\ncounter_bits = 16\n\
         [encoder.b]\ncolumn = \"b\"\nunit_per_count = \"360/8192 deg\"\ncounter_bits = 13\n{b}\n[output]\ntime_decimals = 3\n"
    );
    let run = run(ROTARY, &scenario);
    assert!(run.has_tripped);
    run.decompose()
}

#[test]
fn an_eccentricity_of_a_rotary_axis_is_named_or_offered_before_a_turn_is_made() {
    let eccentric = "eccentricity = { amplitude = \"0.9 deg\", period = \"360 deg\" }";
    for to in ["80", "150", "300", "400"] {
        let found = table("60", to, eccentric);
        let is_named = main_cause(&found).kind() == CauseKind::Eccentricity;
        let is_offered = found.alternatives.iter().any(|other| other.instead == CauseKind::Eccentricity);
        assert!(is_named || is_offered, "{to}: {found}");
    }
    // After more than one turn it is named.
    assert_eq!(main_cause(&table("60", "400", eccentric)).kind(), CauseKind::Eccentricity);
    // A scale error over a ninth of a turn: a sine is as straight there.
    let found = table("60", "40", "scale_error = \"20000 ppm\"");
    let kinds: Vec<_> = found.terms.iter().map(|term| term.cause.kind()).collect();
    let others: Vec<_> = found.alternatives.iter().map(|other| other.instead).collect();
    assert!([kinds, others].concat().contains(&CauseKind::Eccentricity), "{found}");
}

#[test]
fn a_jump_of_an_axis_at_rest_is_no_play_wider_than_all_that_moved() {
    for (moves, noise) in [("", ""), ("", "noise = \"0.4 um\"\n"), (MOVES, "noise = \"0.4 um\"\n")] {
        for side in Side::BOTH {
            let faults = fault(side, "jump", "0.1", "by = \"2.5 mm\"");
            let found = Axis { moves, a: noise, faults: &faults, ..Axis::default() }.decompose();
            let Cause::Jump { side: jumped, by, .. } = main_cause(&found) else {
                panic!("{moves:?} {side:?}: {found}")
            };
            assert!((by.value.abs() - 2.5).abs() < 0.02, "{found}");
            assert!(jumped.is_none_or(|jumped| jumped == side), "{found}");
        }
    }
}

#[test]
fn what_jumps_or_drifts_at_rest_does_not_make_the_channel_that_stands_a_frozen_one() {
    // Both come to rest at 2.7 s; the next move begins at 3.3 s.
    for side in Side::BOTH {
        let jump = fault(side, "jump", "3", "by = \"2.5 mm\"");
        let found = Axis { faults: &jump, ..Axis::default() }.decompose();
        let Cause::Jump { side: Some(jumped), by, .. } = main_cause(&found) else { panic!("{found}") };
        assert!(*jumped == side && (by.value.abs() - 2.5).abs() < 0.01, "{found}");

        let moves = MOVES.split("[[move]]").nth(1).map(|first| format!("[[move]]{first}")).expect("a move");
        let drift = fault(side, "drift", "3", "speed = \"1.5 mm/s\"");
        let found = Axis { moves: &moves, faults: &drift, ..Axis::default() }.decompose();
        let Cause::Slip { rate, .. } = main_cause(&found) else { panic!("{found}") };
        assert!((rate.abs() - 1.5).abs() < 0.01, "{found}");
    }
}

#[test]
fn a_channel_that_is_dead_or_counts_backwards_from_the_start_is_told_as_such() {
    for side in Side::BOTH {
        let stuck = fault(side, "stuck", "0", "");
        let found = Axis { faults: &stuck, ..Axis::default() }.decompose();
        let Cause::Frozen { side: frozen, .. } = main_cause(&found) else { panic!("{found}") };
        assert_eq!(*frozen, side, "{found}");
        // Something may as well have slipped from the first instant on.
        assert!(has_alternative(&found, CauseKind::Frozen, CauseKind::Slip), "{found}");
    }
    let b = format!("{LATE_AS_SET_UP}reversed = true\n");
    let found = Axis { b: &b, ..Axis::default() }.decompose();
    let Cause::Reversed { ratio, .. } = main_cause(&found) else { panic!("{found}") };
    assert!((ratio.value + 1.0).abs() < 0.001, "{found}");
}

#[test]
fn a_count_that_is_worth_twice_or_half_as_much_from_the_start_is_a_scale() {
    for (unit, ppm) in [
        ("0.0005 mm", -1e6),
        ("0.002 mm", 0.5e6),
        ("0.00125 mm", 0.2e6),
        ("0.000769231 mm", -0.3e6),
        ("0.000714286 mm", -0.4e6),
    ] {
        // The setup says 0.001 mm: a channel of finer counts shows more of them.
        let scenario = Axis::default()
            .scenario()
            .replace("unit_per_count = \"0.001 mm\"", &format!("unit_per_count = \"{unit}\""));
        let run = run(SETUP, &scenario);
        assert!(run.has_tripped);
        let found = run.decompose();
        let Cause::Scale { ppm: found_ppm } = main_cause(&found) else { panic!("{unit}: {found}") };
        assert!((found_ppm.value - ppm).abs() < 0.01 * ppm.abs(), "{unit}: {found}");
    }
}

#[test]
fn a_worn_wheel_is_not_said_to_lose_counts_whatever_the_noise() {
    let [setup, scenario] = texts("worn-measuring-wheel");
    for seed in 101..105 {
        let line = scenario.lines().find(|line| line.starts_with("seed")).expect("a seed");
        let run = run(&setup, &scenario.replacen(line, &format!("seed = {seed}"), 1));
        let found = run.decompose();
        assert!(matches!(main_cause(&found), Cause::Scale { .. }), "{seed}: {found}");
        assert!(!has_alternative(&found, CauseKind::Scale, CauseKind::LostCounts), "{seed}: {found}");
    }
}
