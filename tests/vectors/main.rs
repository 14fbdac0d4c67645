//! The vectors for firmware: what they cover, what they are sensitive to, and that the exact model expects the same.

mod causes;
mod model_of;

use std::sync::LazyLock;

use cowitness_tests::kinds_without_an_analogue_value;
use cowitness_tests::model::{Fault, Model, Refusal, Reset, Seen};
use host_harness::setup::{By, ChannelSetup, MonitorKind, ReferenceSetup, Setting, Setup, Source, Until};
use host_harness::vectors::columns::{COLUMNS, FAULTS, OUTCOMES, RESETS, numbers};
use host_harness::vectors::{
    BUILT_IN_PATH, BUILT_IN_SETUP, Coverage, FURTHER_PATH, FURTHER_SETUP, Recorded, State, Vectors,
    variations,
};
use monitor_core::Position;

static BUILT_IN: LazyLock<Vectors> = LazyLock::new(|| {
    Vectors::generate(BUILT_IN_SETUP, BUILT_IN_PATH, 129).expect("the built-in setup is good")
});

static FURTHER: LazyLock<Vectors> = LazyLock::new(|| {
    Vectors::generate(FURTHER_SETUP, FURTHER_PATH, 129).expect("the further built-in setup is good")
});

#[test]
fn between_them_the_built_in_setups_hold_every_kind_of_rule_on_the_motion() {
    let kinds: std::collections::BTreeSet<&str> = [&BUILT_IN.setup, &FURTHER.setup]
        .into_iter()
        .flat_map(|setup| setup.monitors.iter().map(|monitor| monitor.kind.name()))
        .collect();
    assert_eq!(kinds, kinds_without_an_analogue_value());
}

#[test]
fn the_vectors_of_the_further_setup_leave_nothing_uncovered() {
    let coverage = Coverage::of(&FURTHER).expect("the core accepts it");
    let missing: Vec<_> = coverage.not_covered().collect();
    assert!(missing.is_empty(), "{missing:#?}");
    // What is new is shown on both channels, and in each direction.
    for what in [
        "the last count within the limit, forwards",
        "the first count beyond the limit, backwards",
        "exactly the limit, no violation",
        "begins to demand at the first count, backwards end",
        "becomes false at the first count, forwards end",
        "trip by its overrun, before the delay ends",
        "its trip demands a stop, and the permit stays",
        "complete at its standstill speed",
    ] {
        let seen = coverage.transitions.iter().filter(|one| one.what == what);
        let seen = seen.filter(|one| matches!(one.state, State::Seen(_)));
        assert!(seen.count() >= 2, "{what}");
    }
}

#[test]
fn an_edge_whose_cases_are_left_out_is_not_covered() {
    let mut few = FURTHER.clone();
    few.cases.retain(|case| !case.about.starts_with("gently, channel A, backwards"));
    let coverage = Coverage::of(&few).expect("the core accepts it");
    let missing = |what: &str| coverage.not_covered().any(|one| one.what == what);
    assert!(missing("the last count within the limit, backwards"), "{coverage}");
    assert!(!missing("the last count within the limit, forwards"), "{coverage}");
}

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

/// The places at which something of a setup changes, in ULP, and whether each is the upper end of something.
fn places(setup: &Setup) -> Vec<(i128, bool)> {
    let bits = |setting: &Setting<Position>| i128::from(setting.value.to_bits());
    let mut places = Vec::new();
    for monitor in &setup.monitors {
        match &monitor.kind {
            MonitorKind::PositionRange(range) => {
                places.extend([(bits(&range.low), false), (bits(&range.high), true)]);
            }
            MonitorKind::CamOutput { range, hysteresis } => {
                for by in [-bits(hysteresis), 0, bits(hysteresis)] {
                    places.extend([(bits(&range.low) + by, false), (bits(&range.high) + by, true)]);
                }
            }
            _ => {}
        }
    }
    places
}

/// Nothing but the declared position was moved, and on each channel that goes by it as many counts lie before every place as did.
fn no_place_is_reached(setup: &Setup, varied: &Setup) -> Option<&'static str> {
    let (before, after) = (setup.reference.as_ref()?, varied.reference.as_ref()?);
    let mut same = varied.clone();
    same.reference = setup.reference.clone();
    if before == after || same != *setup {
        return None;
    }
    let counts = |channel: &ChannelSetup, from: i64| -> Vec<i128> {
        let nano = match &channel.source {
            Source::Counter { unit_per_count, .. } => i128::from(unit_per_count.value).abs(),
            Source::Position { .. } => 1_000_000_000,
        };
        // A travel from where it was declared is a whole number of counts.
        let reach = |(place, is_upper): (i128, bool)| {
            let away = (place - i128::from(from)) * 1_000_000_000;
            if is_upper { away.div_euclid(nano) } else { -(-away).div_euclid(nano) }
        };
        places(setup).into_iter().map(reach).collect()
    };
    let channels = [&setup.a, &setup.b].into_iter();
    let mut told = channels.filter(|channel| channel.reference == ReferenceSetup::Event);
    let reached = |channel: &ChannelSetup| {
        let [one, other] = [before, after].map(|event| event.position.value.to_bits());
        counts(channel, one) != counts(channel, other)
    };
    let is_same = before.input == after.input && !told.any(reached);
    is_same.then_some("no count of a channel that goes by it lies between where it was and where it is")
}

/// Why no frame whatever can tell a variation from the setup, if that can be shown.
fn without_effect(setup: &Setup, varied: &Setup) -> Option<&'static str> {
    if let Some(why) = no_place_is_reached(setup, varied) {
        return Some(why);
    }
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

/// How many settings were moved and noticed, and which could not be moved.
fn noticed(vectors: &Vectors) -> (usize, Vec<String>) {
    let setup = &vectors.setup;
    let (mut noticed, mut refused) = (0, Vec::new());
    for variation in variations(setup, 129) {
        let Some(axis) = &variation.axis else {
            refused.push(variation.what);
            continue;
        };
        let effect = vectors.notice(axis);
        match (effect, without_effect(setup, &variation.setup)) {
            (None, Some(_)) => {}
            (Some(_), None) => noticed += 1,
            (None, None) => panic!("{}: no outcome depends on it", variation.what),
            (Some(place), Some(why)) => panic!("{}: noticed at {place:?}, though {why}", variation.what),
        }
    }
    (noticed, refused)
}

#[test]
fn every_setting_moved_by_its_smallest_step_changes_an_expected_outcome_or_provably_nothing() {
    let (noticed, refused) = noticed(&BUILT_IN);
    // A counter has at most 64 bits, and an input two different lines.
    let first = |input| format!("the next line for the first of input {input}");
    assert_eq!(refused[0], "counter_bits of [channel.b] one step up");
    assert_eq!(refused[1..], ["door", "emergency_stop", "gate"].map(first));
    assert!(noticed > 220, "{noticed} settings were moved");
}

#[test]
fn every_setting_of_the_further_rules_does_too() {
    let (noticed, refused) = noticed(&FURTHER);
    assert_eq!(refused, ["the next line for the first of input enable"]);
    assert!(noticed > 280, "{noticed} settings were moved");
}

#[test]
fn the_exact_model_expects_the_same_at_every_frame() {
    agrees_with_the_model(&BUILT_IN);
}

#[test]
fn the_exact_model_expects_the_same_of_the_further_rules_at_every_frame() {
    agrees_with_the_model(&FURTHER);
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
