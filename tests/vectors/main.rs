//! The vectors for firmware: what they cover, what they are sensitive to, and that the exact model expects the same.

mod causes;
mod model_of;

use std::sync::LazyLock;

use cowitness_tests::model::{Fault, Model, Refusal, Reset, Seen};
use host_harness::setup::{By, MonitorKind, Setting, Setup, Source, Until};
use host_harness::vectors::columns::{COLUMNS, FAULTS, OUTCOMES, RESETS, numbers};
use host_harness::vectors::{BUILT_IN_PATH, BUILT_IN_SETUP, Coverage, Recorded, Vectors, variations};
use monitor_core::Position;

static BUILT_IN: LazyLock<Vectors> = LazyLock::new(|| {
    Vectors::generate(BUILT_IN_SETUP, BUILT_IN_PATH, 129).expect("the built-in setup is good")
});

#[test]
fn the_vectors_of_the_built_in_setup_leave_nothing_uncovered() {
    let coverage = Coverage::of(&BUILT_IN).expect("the core accepts it");
    let missing: Vec<_> = coverage.not_covered().collect();
    assert!(missing.is_empty(), "{missing:#?}");
    assert!(coverage.transitions.len() > 500, "there is something to cover");
}

#[test]
fn a_transition_whose_cases_are_left_out_is_not_covered() {
    let mut few = BUILT_IN.clone();
    few.cases.retain(|case| !case.about.contains("the clock"));
    let coverage = Coverage::of(&few).expect("the core accepts it");
    assert!(coverage.not_covered().any(|one| one.what == "the clock goes back"), "{coverage}");
}

fn window_of(kind: &MonitorKind) -> Option<&Setting<Position>> {
    match kind {
        MonitorKind::Standstill(windows) | MonitorKind::Stop { until: Until::Standstill(windows), .. } => {
            Some(&windows.position_window)
        }
        _ => None,
    }
}

fn window_of_mut(kind: &mut MonitorKind) -> Option<&mut Setting<Position>> {
    match kind {
        MonitorKind::Standstill(windows) | MonitorKind::Stop { until: Until::Standstill(windows), .. } => {
            Some(&mut windows.position_window)
        }
        _ => None,
    }
}

/// Counts of each source that a position window allows.
fn counts_within(setup: &Setup, monitor: usize) -> Option<[i128; 2]> {
    let window = window_of(&setup.monitors[monitor].kind)?;
    // In steps of a billionth of the last place, as the length of a count is.
    let window = i128::from(window.value.to_bits()) * 1_000_000_000;
    let nano = |source: &Source| match source {
        Source::Counter { unit_per_count, .. } => i128::from(unit_per_count.value).abs(),
        Source::Position { .. } => 1_000_000_000,
    };
    Some([window / nano(&setup.a.source), window / nano(&setup.b.source)])
}

/// Why no frame whatever can tell a variation from the setup, if that can be shown.
fn without_effect(setup: &Setup, varied: &Setup) -> Option<&'static str> {
    for (number, (one, other)) in setup.monitors.iter().zip(&varied.monitors).enumerate() {
        if one == other {
            continue;
        }
        let never_violated = match &one.kind {
            MonitorKind::TorqueOff => true,
            MonitorKind::Stop { until: Until::TorqueOff, by } => {
                matches!(by, By::Time { .. })
            }
            _ => false,
        };
        if one.kind == other.kind && one.demand == other.demand && never_violated {
            return Some(
                "its on-delay begins with a violation, and it watches nothing that could be violated",
            );
        }
        // Nothing but the window was moved, and both sources have as many counts in it as before.
        let mut same = other.clone();
        match (window_of(&one.kind), window_of_mut(&mut same.kind)) {
            (Some(before), Some(after)) => *after = before.clone(),
            _ => return None,
        }
        if same == *one && counts_within(setup, number) == counts_within(varied, number) {
            return Some("a travel is a whole number of counts, and no more and no fewer of them fit");
        }
    }
    None
}

#[test]
fn every_setting_moved_by_its_smallest_step_changes_an_expected_outcome_or_provably_nothing() {
    let setup = &BUILT_IN.setup;
    let (mut noticed, mut refused) = (0, Vec::new());
    for variation in variations(setup, 129) {
        let Some(axis) = &variation.axis else {
            refused.push(variation.what);
            continue;
        };
        let effect = BUILT_IN.notice(axis);
        match (effect, without_effect(setup, &variation.setup)) {
            (None, Some(_)) => {}
            (Some(_), None) => noticed += 1,
            (None, None) => panic!("{}: no outcome depends on it", variation.what),
            (Some(place), Some(why)) => panic!("{}: noticed at {place:?}, though {why}", variation.what),
        }
    }
    // A counter has at most 64 bits, and an input two different lines.
    let first = |input| format!("the next line for the first of input {input}");
    assert_eq!(refused[0], "counter_bits of [channel.b] one step up");
    assert_eq!(refused[1..], ["door", "emergency_stop", "gate"].map(first));
    assert!(noticed > 210, "{noticed} settings were moved");
}

#[test]
fn the_exact_model_expects_the_same_at_every_frame() {
    agrees_with_the_model(&BUILT_IN);
}

/// A setup with these two sources and nothing that is not asked for.
fn small(unit: &str, a: &str, b: &str, more: &str) -> String {
    format!(
        r#"
        title = "Small, invented"
        unit = "{unit}"
        [time]
        column = "time"
        unit = "s"
        [channel.a]
        column = "a"
        {a}
        [channel.b]
        column = "b"
        {b}
        [speed]
        window = "6 ms"
        {more}
        "#
    )
}

#[test]
fn the_exact_model_expects_the_same_for_other_counters_units_and_rules() {
    let positions = r#"column_unit = "deg"
        max_speed = "720 deg/s"
        timeout = "5 ms""#;
    let narrow = r#"counter_bits = 8
        unit_per_count = "-0.01 mm"
        max_speed = "200 mm/s"
        timeout = "3 ms""#;
    let coarse = r#"counter_bits = 64
        unit_per_count = "0.2 mm"
        max_speed = "250 mm/s"
        timeout = "9 ms""#;
    let aligned = r#"warm_up = "permit"
        [discrepancy]
        tolerance = "3 mm"
        discrepancy_time = "4 ms"
        align = true
        [input.gate]
        columns = ["g1", "g2"]
        pairing = "antivalent"
        discrepancy_time = "0 ms"
        [[monitor]]
        name = "stay"
        kind = "standstill"
        demand = ["gate"]
        position_window = "1 mm"
        speed_window = "50 mm/s""#;
    let turning = r#"[speed_discrepancy]
        tolerance = "20 deg/s"
        discrepancy_time = "0 ms"
        [reset]
        column = "reset"
        [[monitor]]
        name = "slow"
        kind = "speed-limit"
        limit = "90 deg/s""#;
    let torque_off = r#"[input.gate]
        columns = ["gate"]
        [[monitor]]
        name = "no torque"
        kind = "torque-off"
        demand = ["gate"]"#;
    for text in [
        small("mm", narrow, coarse, aligned),
        small("deg", positions, &positions.replace("5 ms", "2 ms"), turning),
        small("deg", positions, positions, torque_off),
    ] {
        let vectors = Vectors::generate(&text, "small.toml", 129).unwrap_or_else(|error| panic!("{error}"));
        assert!(vectors.frames() > 1000, "{}", vectors.frames());
        agrees_with_the_model(&vectors);
        let coverage = Coverage::of(&vectors).expect("the core accepts it");
        let missing: Vec<_> = coverage.not_covered().collect();
        assert!(missing.is_empty(), "{missing:#?}\n{text}");
    }
}

#[test]
fn the_exact_model_expects_the_same_of_outputs_places_reactions_and_each_of_the_newer_rules() {
    let places = r#"counter_bits = 24
        unit_per_count = "0.001 mm"
        max_speed = "400 mm/s"
        timeout = "5 ms"
        reference = "event""#;
    let known = r#"column_unit = "mm"
        max_speed = "400 mm/s"
        timeout = "5 ms"
        reference = "absolute"
        offset = "3 mm""#;
    let told = r#"[reference]
        input = "home"
        position = "3 mm"
        [reset]
        column = "reset"
        [[monitor]]
        name = "zone"
        kind = "cam-output"
        low = "2 mm"
        high = "5 mm"
        hysteresis = "0.5 mm"
        [[monitor]]
        name = "slow"
        kind = "speed-output"
        threshold = "40 mm/s"
        hysteresis = "5 mm/s"
        [[monitor]]
        name = "brake"
        kind = "brake-output"
        delay = "4 ms"
        [[monitor]]
        name = "each way"
        kind = "speed-limit"
        demand = ["zone", "each"]
        positive = "60 mm/s"
        negative = "30 mm/s"
        on_delay = "2 ms"
        allowed_overrun = "0.1 mm"
        reaction = "stop"
        [[monitor]]
        name = "places"
        kind = "position-range"
        demand = ["not slow", "not work"]
        low = "-20 mm"
        high = "60 mm"
        [[monitor]]
        name = "gentle"
        kind = "acceleration-limit"
        limit = "4 m/s^2"
        reaction = "stop"
        demand = ["gentle"]
        [[monitor]]
        name = "not far"
        kind = "travel-limit"
        increment = "2 mm"
        demand = ["not zone"]
        [[monitor]]
        name = "forwards"
        kind = "direction"
        allowed = "positive"
        tolerance = "1 mm"
        demand = ["forwards"]
        [[monitor]]
        name = "stop"
        kind = "stop"
        until = "torque-off"
        by = "ramp"
        ramp = { delay = "5 ms", deceleration = "2 m/s^2", margin = "20 mm/s", jerk = "100 m/s^3" }
        standstill_speed = "10 mm/s"
        within = "200 ms"
        [[monitor]]
        name = "brake hard"
        kind = "stop"
        demand = ["hard"]
        until = "torque-off"
        by = "deceleration"
        braking = { delay = "15 ms", deceleration = "1 m/s^2", margin = "0.2 m/s^2" }
        standstill_speed = "10 mm/s"
        within = "200 ms""#;
    let text = small("mm", known, places, told);
    let vectors = Vectors::generate(&text, "small.toml", 129).unwrap_or_else(|error| panic!("{error}"));
    let seen = |wanted: fn(&monitor_core::Outcome) -> bool| {
        let rows = vectors.cases.iter().flat_map(|case| &case.rows);
        rows.filter(|row| wanted(&row.outcome)).count()
    };
    assert!(seen(|outcome| !outcome.outputs.is_empty()) > 100);
    assert!(seen(|outcome| !outcome.unreferenced.b.is_empty()) > 10);
    assert!(seen(|outcome| outcome.reset == Some(monitor_core::Reset::Stopping)) > 0);
    agrees_with_the_model(&vectors);
}

fn agrees_with_the_model(vectors: &Vectors) {
    let setup = model_of::setup(&vectors.setup);
    let mut frames = 0;
    for (number, case) in vectors.cases.iter().enumerate() {
        let mut model = Model::new(&setup);
        for (frame, row) in case.rows.iter().enumerate() {
            let seen = model.step(&row.frame);
            let expected = numbers(&row.outcome);
            let found = of_model(&seen);
            for ((column, expected), found) in COLUMNS.iter().zip(expected).zip(found) {
                assert_eq!(expected, found, "case {number} ({}), frame {frame}: {}", case.about, column.name);
            }
            frames += 1;
        }
    }
    assert_eq!(frames, vectors.frames());
}

fn bits(values: impl Iterator<Item = bool>) -> u32 {
    values.enumerate().map(|(place, value)| u32::from(value) << place).sum()
}

fn word(words: &[&str], wanted: &str) -> u32 {
    u32::try_from(words.iter().position(|word| *word == wanted).expect("a word of the columns"))
        .expect("few words")
}

fn fault(fault: Option<Fault>) -> u32 {
    let name = match fault {
        None => "none",
        Some(Fault::Invalid) => "invalid",
        Some(Fault::OutOfOrder) => "out-of-order",
        Some(Fault::Stale) => "stale",
        Some(Fault::Implausible) => "implausible",
        Some(Fault::Range) => "range",
    };
    word(&FAULTS, name)
}

fn reset(reset: Reset) -> u32 {
    let name = match reset {
        Reset::None => "none",
        Reset::Accepted => "accepted",
        Reset::Refused(Refusal::Channel) => "refused-channel",
        Reset::Refused(Refusal::WarmingUp) => "refused-warming-up",
        Reset::Refused(Refusal::Violation) => "refused-violation",
        Reset::Refused(Refusal::Input) => "refused-input",
        Reset::Refused(Refusal::Analogue) => "refused-analogue",
        Reset::Refused(Refusal::Stop) => "refused-stop",
        Reset::Refused(Refusal::Reference) => "refused-reference",
    };
    word(&RESETS, name)
}

/// What the model saw, as the numbers of the columns. `input_faults` is told of inputs that became faulted at this frame.
fn of_model(seen: &Seen) -> [u32; OUTCOMES] {
    if seen.clock_fault {
        let mut nothing = [0; OUTCOMES];
        nothing[1] = 1;
        return nothing;
    }
    let lanes = |side: usize, wanted: fn(&cowitness_tests::model::LaneSeen) -> bool| {
        bits(seen.monitors.iter().map(|monitor| wanted(&monitor.lanes[side])))
    };
    let unread = seen.channels.iter().any(|channel| channel.fault.is_none() && channel.warming_up);
    let waits = seen.monitors.iter().flat_map(|monitor| &monitor.lanes).any(|lane| lane.warming_up);
    let warming_up = unread || waits;
    let tripped = |rule: &Option<cowitness_tests::model::DiscrepancySeen>| {
        u32::from(rule.as_ref().is_some_and(|rule| rule.tripped_now.is_some()))
    };
    [
        seen.permit.into(),
        0,
        warming_up.into(),
        fault(seen.channels[0].fault),
        fault(seen.channels[1].fault),
        bits(seen.inputs.iter().map(|input| input.demanding)),
        bits(seen.inputs.iter().map(|input| input.became_faulted)),
        bits(seen.monitors.iter().map(|monitor| monitor.active)),
        bits(seen.monitors.iter().map(|monitor| monitor.output)),
        lanes(0, |lane| lane.unreferenced),
        lanes(1, |lane| lane.unreferenced),
        lanes(0, |lane| lane.violated),
        lanes(1, |lane| lane.violated),
        lanes(0, |lane| lane.tripped_now.is_some()),
        lanes(1, |lane| lane.tripped_now.is_some()),
        tripped(&seen.discrepancy),
        tripped(&seen.speed_discrepancy),
        reset(seen.reset),
    ]
}

#[test]
fn vectors_for_fewer_stored_readings_are_what_an_axis_of_that_size_comes_to() {
    let small = Vectors::generate(BUILT_IN_SETUP, BUILT_IN_PATH, 17).expect("the built-in setup is good");
    let config = host_harness::replay::config::<17, 16, 16>(&small.setup).expect("the core takes it");
    for (number, case) in small.cases.iter().enumerate() {
        let mut axis = monitor_core::Axis::new(config.clone());
        for (place, row) in case.rows.iter().enumerate() {
            assert_eq!(axis.step(&row.frame), row.outcome, "case {number}, frame {place}: {}", case.about);
        }
    }
    // The number matters, and it is told.
    let large = host_harness::replay::axis(&small.setup).expect("the core takes it");
    assert!(small.notice(&large).is_some());
    let read = Recorded::parse(&small.to_csv(), "small.csv").unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(read.points, 17);
    assert!(small.to_c().contains("#define COWITNESS_POINTS 17 "));
    for points in [0, 2, 4, 131] {
        let refused = Vectors::generate(BUILT_IN_SETUP, BUILT_IN_PATH, points).expect_err("no such number");
        assert!(refused.to_string().contains("from 3 to 129"), "{refused}");
    }
}
