//! Ranges of positions, outputs and what they demand in a setup file.
//!
//! Each is written below the example; its first line there is line 54.

use host_harness::setup::{DemandSetup, DemandSource, MonitorKind};
use monitor_core::Span;

use super::support::{
    CAM, CREEP, EXAMPLE, SLOW, STOP, below, check, check_ways_out, error, one, other_place, parsed, placed,
    ulps, varied, way_out,
};

const fn by_input(input: usize, inverted: bool) -> DemandSetup {
    DemandSetup { source: DemandSource::Input(input), inverted }
}

const fn by_output(output: usize, inverted: bool) -> DemandSetup {
    DemandSetup { source: DemandSource::Output(output), inverted }
}

#[test]
fn a_range_of_positions_and_the_outputs_are_rounded_to_the_stricter_side() {
    let last = |body: &str| {
        let mut setup = parsed(&below(&placed(), &one("m", body)));
        let monitor = setup.monitors.pop().expect("a monitor");
        assert_eq!(
            (monitor.on_delay.value, monitor.reaction, monitor.by_reactions_only),
            (Span::ZERO, None, false)
        );
        monitor.kind
    };
    let range = last("kind = \"position-range\"\nlow = \"-1000/3 mm\"\nhigh = \"1000/3 mm\"");
    assert_eq!(range.name(), "position-range");
    assert!(!range.is_output());
    let MonitorKind::PositionRange(range) = range else { panic!("a range") };
    assert_eq!((range.low.value.to_bits(), range.high.value.to_bits()), (-(ulps(1000) / 3), ulps(1000) / 3));

    let cam = last("kind = \"cam-output\"\nlow = \"1/3 mm\"\nhigh = \"200/3 mm\"\nhysteresis = \"1/3 mm\"");
    assert_eq!((cam.name(), cam.is_output()), ("cam-output", true));
    let MonitorKind::CamOutput { range, hysteresis } = cam else { panic!("a cam") };
    assert_eq!((range.low.value.to_bits(), range.high.value.to_bits()), (ulps(1) / 3 + 1, ulps(200) / 3));
    assert_eq!(hysteresis.value.to_bits(), ulps(1) / 3 + 1);
    let MonitorKind::CamOutput { hysteresis, .. } = last(CAM) else { panic!("a cam") };
    assert_eq!((hysteresis.value.to_bits(), hysteresis.text.as_str()), (0, "0 mm"));

    let speed = last("kind = \"speed-output\"\nthreshold = \"1000/3 mm/s\"\nhysteresis = \"100/3 mm/s\"");
    assert_eq!((speed.name(), speed.is_output()), ("speed-output", true));
    let MonitorKind::SpeedOutput { threshold, hysteresis } = speed else { panic!("a speed") };
    assert_eq!((threshold.value.to_bits(), hysteresis.value.to_bits()), (ulps(1000) / 3, ulps(100) / 3 + 1));
    let MonitorKind::SpeedOutput { hysteresis, .. } = last(CREEP) else { panic!("a speed") };
    assert_eq!((hysteresis.value.to_bits(), hysteresis.text.as_str()), (0, "0 mm/s"));

    let brake = last("kind = \"brake-output\"\ndelay = \"100/3 ns\"");
    assert_eq!((brake.name(), brake.is_output()), ("brake-output", true));
    let MonitorKind::BrakeOutput { delay } = brake else { panic!("a brake") };
    assert_eq!(delay.value, Span::from_nanos(33));
    let MonitorKind::BrakeOutput { delay } = last("kind = \"brake-output\"") else { panic!("a brake") };
    assert_eq!((delay.value, delay.text.as_str()), (Span::ZERO, "0 ms"));
}

#[test]
fn what_is_wrong_with_a_range_of_positions_or_an_output_is_found() {
    let wrong =
        |body: &str, expected: &[(&str, &str)]| check_ways_out(&below(&placed(), &one("m", body)), expected);
    let of = "of monitor \"m\"";
    for kind in ["position-range", "cam-output"] {
        wrong(
            &format!("kind = \"{kind}\""),
            &[
                ("56:1: monitor \"m\" has no `low`", "add it, for example: low = \"-100 mm\""),
                ("56:1: monitor \"m\" has no `high`", "add it, for example: high = \"100 mm\""),
            ],
        );
        wrong(
            &format!("kind = \"{kind}\"\nlow = \"2 mm\"\nhigh = \"1 mm\""),
            &[(
                &format!("59:7: `low` {of} is above its `high`"),
                "lower `low` or raise `high`, signs included",
            )],
        );
        wrong(
            &format!("kind = \"{kind}\"\nlow = \"-549755813888 mm\"\nhigh = \"549755813887.99999999 mm\""),
            &[
                (&format!("59:7: `low` {of} is too large"), "write -549755813887 mm or more"),
                (&format!("60:8: `high` {of} is too large"), "write at most 549755813887 mm"),
            ],
        );
    }
    let cam = |hysteresis: &str| format!("{CAM}\nhysteresis = \"{hysteresis}\"");
    let too_wide = below(&placed(), &one("m", &cam("5.0000001 mm")));
    check_ways_out(
        &too_wide,
        &[(
            &format!("61:14: `hysteresis` {of} leaves nothing of its range"),
            "lower `hysteresis` to at most half of what is between `low` and `high`",
        )],
    );
    assert_eq!(other_place(&too_wide), (59, "the range begins here".to_owned()));
    parsed(&below(&placed(), &one("m", &cam("5 mm"))));
    wrong(
        &cam("0.0009999 mm"),
        &[(
            &format!("61:14: `hysteresis` {of} is finer than channel b can resolve"),
            "one count of channel b is 0.001 mm: raise `hysteresis` to at least that, leave it out, or use a finer sensor",
        )],
    );
    parsed(&below(&placed(), &one("m", &cam("0.001 mm"))));
    wrong(
        &cam("-1 mm"),
        &[(&format!("61:14: `hysteresis` {of} must not be negative"), "write zero or a positive value")],
    );
    let wide =
        "kind = \"cam-output\"\nlow = \"-549755813000 mm\"\nhigh = \"549755813000 mm\"\nhysteresis = \"1 m\"";
    let wide = below(&placed(), &one("m", wide));
    check_ways_out(
        &wide,
        &[(
            &format!("59:7: `low` {of} and its `hysteresis` are together too large"),
            "keep both together within 549755813887 mm",
        )],
    );
    assert_eq!(other_place(&wide), (61, "is still near so far outside".to_owned()));
    // Two ends that are nearer to each other than the sensor resolves are two places all the same.
    parsed(&below(&placed(), &one("m", "kind = \"position-range\"\nlow = \"1 mm\"\nhigh = \"1.0001 mm\"")));

    wrong(
        "kind = \"speed-output\"",
        &[("56:1: monitor \"m\" has no `threshold`", "add it, for example: threshold = \"10 mm/s\"")],
    );
    let speed = |threshold: &str, hysteresis: &str| {
        format!("kind = \"speed-output\"\nthreshold = \"{threshold}\"\nhysteresis = \"{hysteresis}\"")
    };
    let too_high = below(&placed(), &one("m", &speed("10 mm/s", "10 mm/s")));
    check_ways_out(
        &too_high,
        &[(
            &format!("60:14: `hysteresis` {of} is not below its `threshold`"),
            "lower `hysteresis`, or leave it out",
        )],
    );
    assert_eq!(other_place(&too_high), (59, "is to be switched on below this".to_owned()));
    wrong(
        &speed("0.12 mm/s", "0.1 mm/s"),
        &[
            (
                &format!("59:13: `threshold` {of} is finer than channel b can resolve"),
                "one count of channel b over the 8 ms window is 0.125 mm/s; a speed below it can never be told from",
            ),
            (
                &format!("60:14: `hysteresis` {of} is finer than channel b can resolve"),
                "one count of channel b over the 8 ms window is 0.125 mm/s; with less, an axis that runs at one speed could \
                 switch the output on and off: raise `hysteresis` to at least that, leave it out, lengthen `window` of \
                 [speed] to at least 10 ms",
            ),
        ],
    );
    parsed(&below(&placed(), &one("m", &speed("0.5 mm/s", "0.125 mm/s"))));
    wrong(
        &speed("4 m/s", "1 mm/s"),
        &[(
            &format!("59:13: `threshold` {of} is above `max_speed` of channel a"),
            "lower `threshold` below 3000 mm/s",
        )],
    );
    wrong(
        &speed("400000000 m/s", "1 mm/s"),
        &[(&format!("59:13: `threshold` {of} is too large"), "write less than 274877906944 mm/s")],
    );
    wrong(
        &speed("0 mm/s", "0 mm/s"),
        &[(
            &format!("59:13: `threshold` {of} must be above zero"),
            "write a positive value, for example \"10 mm/s\"",
        )],
    );
    wrong(
        "kind = \"brake-output\"\ndelay = \"2600000 h\"",
        &[(&format!("59:9: `delay` {of} is too long"), "write what the brake takes to hold")],
    );
    wrong(
        "kind = \"brake-output\"\ndealy = \"1 ms\"",
        &[("59:1: unknown key `dealy` in monitor \"m\"", "did you mean `delay`?")],
    );
    wrong(
        "kind = \"cam-outptu\"",
        &[("58:8: \"cam-outptu\" is not a kind of monitor", "did you mean \"cam-output\"?")],
    );
}

#[test]
fn what_an_output_cannot_have_is_refused_with_the_reason() {
    let of = "of monitor \"m\": an output does not trip, so that there is nothing to";
    for kind in [CAM, CREEP, "kind = \"brake-output\""] {
        for (key, value, reason) in [
            ("on_delay", "0 ms", "delay"),
            ("allowed_overrun", "1 mm", "overrun"),
            ("reaction", "torque-off", "react to"),
        ] {
            check_ways_out(
                &below(&placed(), &one("m", &format!("{key} = \"{value}\"\n{kind}"))),
                &[(
                    &format!("58:1: `{key}` {of} {reason}"),
                    "leave it out; to watch a limit while the output is on",
                )],
            );
        }
    }
    check_ways_out(
        &below(EXAMPLE, &one("m", "demand = [\"door\"]\nkind = \"brake-output\"")),
        &[(
            "56:1: `demand` of monitor \"m\": the brake goes by the permit alone",
            "leave it out; what is to close the brake must withdraw the permit",
        )],
    );
    let overrun = "kind = \"position-range\"\nlow = \"0 mm\"\nhigh = \"1 m\"\non_delay = \"1 ms\"\nallowed_overrun = \"1 mm\"";
    check_ways_out(
        &below(&placed(), &one("m", overrun)),
        &[(
            "62:1: `allowed_overrun` of monitor \"m\": a position beyond its limit is no speed beyond a limit",
            "leave it out, and move `low` and `high`",
        )],
    );
}

#[test]
fn an_unknown_key_of_an_output_is_answered_with_what_belongs_there_and_no_more() {
    for (body, keys) in [
        (CAM, "name, kind, demand, low, high, hysteresis"),
        (CREEP, "name, kind, demand, threshold, hysteresis"),
        ("kind = \"brake-output\"", "name, kind, delay"),
        (
            "kind = \"position-range\"\nlow = \"0 mm\"\nhigh = \"1 m\"",
            "name, kind, demand, on_delay, reaction, low, high",
        ),
        ("kind = \"torque-off\"\ndemand = [\"off\"]", "name, kind, demand, on_delay"),
    ] {
        let error = error(&below(&placed(), &one("m", &format!("{body}\nzzzzzz = 1"))));
        let [one] = error.diagnostics() else { panic!("one mistake: {error}") };
        assert_eq!(one.way_out, format!("leave it out; known here are {keys}"), "{body}");
    }
}

#[test]
fn a_demand_may_be_inverted_and_go_by_an_output_that_stands_earlier() {
    let monitors = one("crossing", &format!("demand = [\"not door\"]\n{CAM}"))
        + &one("creeping", &format!("demand = [\"crossing\", \"lamp\"]\n{CREEP}"))
        + &one("m", &format!("demand = [\"not  creeping\", \"door\", \"crossing\", \"not lamp\"]\n{SLOW}"));
    let setup = parsed(&below(&placed(), &monitors));
    let demands: Vec<_> = setup.monitors.iter().map(|monitor| monitor.demand.as_slice()).collect();
    assert_eq!(
        demands,
        [
            [by_input(0, false)].as_slice(),
            &[by_input(1, false)],
            &[by_input(0, true)],
            &[by_output(2, false), by_input(2, false)],
            &[by_output(3, true), by_input(0, false), by_output(2, false), by_input(2, true)],
        ]
    );
    assert_eq!(setup.inputs[2].name, "lamp", "a plain column, however it is named first");
    let texts: Vec<_> = setup.monitors[4].demand.iter().map(|demand| setup.demand_text(demand)).collect();
    assert_eq!(texts, ["not creeping", "door", "crossing", "not lamp"]);
    assert!(setup.monitors.iter().all(|monitor| !monitor.is_always_active()));
    assert_eq!(setup.monitors[4].first_input(), Some((0, false)));
    assert_eq!(setup.monitors[2].first_input(), Some((0, true)));
    // A torque-off needs a demand, and an inverted one is one.
    parsed(&below(EXAMPLE, &one("m", "kind = \"torque-off\"\ndemand = [\"not ready\"]")));
}

#[test]
fn what_is_wrong_with_an_inverted_demand_is_found() {
    let slow = |demand: &str| below(EXAMPLE, &one("m", &format!("demand = [{demand}]\n{SLOW}")));
    let write = "write `not`, in small letters and once, and behind it the name";
    for text in ["not", "not ", "not  ", "NOT door", " not door", "not not door", "Not door", "not\\tdoor"] {
        let shown = text.replace("\\t", "\t");
        check_ways_out(
            &slow(&format!("\"{text}\"")),
            &[(&format!("56:11: `demand` of monitor \"m\" has `{shown}`"), write)],
        );
    }
    // Signs that mean the opposite elsewhere must not lead to the demand itself.
    for text in [
        "!door",
        "~door",
        "/door",
        "-door",
        "¬door",
        "! door",
        "not_door",
        "NOT-door",
        "door not",
        "not(door)",
        "notdoor",
        "NOT( door )",
    ] {
        check_ways_out(
            &slow(&format!("\"{text}\"")),
            &[(
                &format!("56:11: no input is called `{text}`"),
                "the opposite of `door` is written \"not door\"; if it is a column of the trace, declare it: [input.",
            )],
        );
    }
    check_ways_out(
        &slow("\"always\""),
        &[(
            "56:11: no input is called `always`",
            "leave `demand` out for a monitor that is always active; if it is a",
        )],
    );
    // What is advised can be typed as it stands.
    let spaced =
        one("gentle at the door", SLOW) + &one("m", &format!("demand = [\"gentle at the door\"]\n{SLOW}"));
    let advice = "; if a column of the trace is meant, declare it: \
                  [input.\"gentle at the door\"] columns = [\"gentle at the door\"]";
    let text = below(EXAMPLE, &spaced);
    check(&text, &["60:11: `demand` of monitor \"m\" names \"gentle at the door\", a speed-limit"]);
    assert!(way_out(&text).ends_with(advice), "{}", way_out(&text));
    let crossing = one("crossing", CAM) + &one("m", &format!("demand = [\"!crossing\"]\n{SLOW}"));
    check_ways_out(
        &below(&placed(), &crossing),
        &[(
            "63:11: no output is called `!crossing`",
            "the opposite of `crossing` is written \"not crossing\"; if it",
        )],
    );
    check_ways_out(&slow("\"not dor\""), &[("56:11: no input is called `dor`", "did you mean `door`?")]);
    check_ways_out(
        &slow("\"not door\", \"not door\""),
        &[("56:23: `demand` of monitor \"m\" names `not door` twice", "leave one of them out")],
    );
    let both = slow("\"door\", \"not door\"");
    check_ways_out(
        &both,
        &[(
            "56:19: `demand` of monitor \"m\" names `door` and `not door`",
            "leave one of them out, or leave out `demand` for a monitor that is always active",
        )],
    );
    assert_eq!(other_place(&both), (56, "the opposite".to_owned()));
    // `nothing` and `notice` are names like any other.
    parsed(&slow("\"nothing\", \"not notice\""));
    let named = "give it a name that does not begin with `not`";
    check_ways_out(
        &below(EXAMPLE, "[input.\"not ready\"]\ncolumns = [\"ready\"]"),
        &[("54:8: an input cannot be called `not ready`", named)],
    );
    check_ways_out(
        &below(&placed(), &one("not there", CAM)),
        &[("57:8: an output cannot be called `not there`", named)],
    );
    // What is no output cannot be meant in a demand.
    parsed(&below(EXAMPLE, &one("not too fast", SLOW)));
}

#[test]
fn an_output_that_stands_later_is_refused_with_both_places() {
    let monitors = one("m", &format!("demand = [\"not creeping\"]\n{SLOW}")) + &one("creeping", CREEP);
    let text = below(EXAMPLE, &monitors);
    check_ways_out(
        &text,
        &[(
            "56:11: the output \"creeping\" in the `demand` of monitor \"m\" stands later",
            "move it up: its [[monitor]] must stand above that of monitor \"m\"",
        )],
    );
    assert_eq!(other_place(&text), (60, "stands here".to_owned()));
    // An output may follow one that stands later as little as any other.
    let outputs = one("fast", &format!("demand = [\"creeping\"]\n{CREEP}")) + &one("creeping", CREEP);
    check_ways_out(
        &below(EXAMPLE, &outputs),
        &[(
            "56:11: the output \"creeping\" in the `demand` of monitor \"fast\" stands later",
            "move it up: its [[monitor]] must stand above that of monitor \"fast\"",
        )],
    );
}

#[test]
fn a_circular_demand_is_refused_with_its_links() {
    let output = |name: &str, demand: &str| one(name, &format!("demand = [\"{demand}\"]\n{CREEP}"));
    let circular = |text: &str, place: &str, links: &str| {
        let message = format!("{place}: `demand` of monitor \"a\" is circular");
        check_ways_out(
            text,
            &[(&message, "leave one of these names out: an output can only follow what is known before it")],
        );
        assert_eq!(error(text).diagnostics()[0].label, links);
    };
    let itself = below(EXAMPLE, &output("a", "not a"));
    circular(&itself, "56:11", "demanded are \"a\" by \"a\"");
    let two = below(EXAMPLE, &(output("a", "b") + &output("b", "not a")));
    circular(&two, "56:11", "demanded are \"a\" by \"b\", \"b\" by \"a\"");
    assert_eq!(other_place(&two), (60, "stands here".to_owned()));
    let three = below(EXAMPLE, &(output("b", "door") + &output("a", "c") + &output("c", "a")));
    circular(&three, "61:11", "demanded are \"a\" by \"c\", \"c\" by \"a\"");

    // Through another that stands between: what stands later is found at each place.
    let long = below(EXAMPLE, &(output("a", "b") + &output("b", "c") + &output("c", "a")));
    let messages: Vec<_> = error(&long).diagnostics().iter().map(|one| one.message.clone()).collect();
    assert_eq!(messages, ["`demand` of monitor \"a\" is circular", "`demand` of monitor \"b\" is circular"]);
    assert_eq!(
        error(&long).diagnostics()[0].label,
        "demanded are \"a\" by \"b\", \"b\" by \"c\", \"c\" by \"a\""
    );
}

#[test]
fn a_name_that_could_be_two_things_or_is_no_output_is_refused() {
    let slow = |demand: &str| one("m", &format!("demand = [\"{demand}\"]\n{SLOW}"));
    let ambiguous = |text: &str, name: &str, place: &str| {
        check_ways_out(
            text,
            &[(
                &format!("{place}: `{name}` in the `demand` of monitor \"m\" is an input and an output"),
                "give the output, or the input, a name of its own",
            )],
        );
    };
    let gate = "[input.gate]\ncolumns = [\"gate_1\"]\n".to_owned();
    let gate = below(EXAMPLE, &(gate + &one("gate", CREEP) + &slow("gate")));
    ambiguous(&gate, "gate", "62:11");
    assert_eq!(other_place(&gate), (57, "the output".to_owned()));
    // A column that is a line of an input.
    ambiguous(&below(EXAMPLE, &(one("door_1", CREEP) + &slow("not door_1"))), "door_1", "60:11");

    let no_output = |text: &str, message: &str, label: &str| {
        check_ways_out(
            text,
            &[(message, "name an input, a cam-output or a speed-output; a stop that a trip")],
        );
        assert_eq!(error(text).diagnostics()[0].label, label);
    };
    let text = below(EXAMPLE, &(one("quiet", SLOW) + &slow("quiet")));
    let label = "watches, and tells nothing that could demand";
    no_output(&text, "60:11: `demand` of monitor \"m\" names \"quiet\", a speed-limit", label);
    assert_eq!(other_place(&text), (55, "this monitor".to_owned()));
    no_output(
        &below(EXAMPLE, &(one("brake", "kind = \"brake-output\"") + &slow("brake"))),
        "59:11: `demand` of monitor \"m\" names \"brake\", a brake-output",
        "goes by the permit, which follows from what is demanded",
    );
    // A monitor may go by a column that is called as it is, and then others may, before it and behind it.
    let stop = one("halt", &format!("demand = [\"halt\"]\n{STOP}"));
    let before = one("n", &format!("demand = [\"not halt\"]\n{SLOW}"));
    let setup =
        parsed(&below(EXAMPLE, &(before + &stop + &one("m", &format!("demand = [\"halt\"]\n{SLOW}")))));
    let demands: Vec<_> = setup.monitors[2..].iter().map(|monitor| monitor.demand.as_slice()).collect();
    assert_eq!(demands, [[by_input(2, true)], [by_input(2, false)], [by_input(2, false)]]);
    assert_eq!(setup.inputs[2].name, "halt");
    // An input may be called as a monitor is that is no output.
    let input = "[input.quiet]\ncolumns = [\"quiet_1\"]\n";
    let setup = parsed(&below(EXAMPLE, &(input.to_owned() + &one("quiet", SLOW) + &slow("quiet"))));
    assert_eq!(setup.monitors[3].demand, [by_input(1, false)]);
    // A slip of the pen is told for outputs as for inputs.
    check_ways_out(
        &below(EXAMPLE, &(one("creeping", CREEP) + &slow("creping"))),
        &[("60:11: no output is called `creping`", "did you mean `creeping`?")],
    );
    // What is wrong with the output itself is said once.
    check_ways_out(
        &below(EXAMPLE, &(one("creeping", "kind = \"speed-outputs\"") + &slow("creeping"))),
        &[("56:8: \"speed-outputs\" is not a kind of monitor", "did you mean \"speed-output\"?")],
    );
}

#[test]
fn every_new_value_shows_in_the_checksum_and_no_old_setup_has_another_one() {
    // What was written before there was anything of this, word for word.
    let old = "setup 1
title \"Kiln shuttle 2, transfer axis\"
unit mm
cycle 1000000
time \"time\" 1000000000
channel.a \"motor_count\" counter 32 8388608000000 row 0 none false 50331648000 4000000
channel.b \"rail_count\" counter 24 16777216000000 row 250000 none false 50331648000 4000000
speed 8000000 withhold
discrepancy 33554432 1000000 20000000 false
level 0 \"door_1\"
level 1 \"door_2\"
level 2 \"at_loading\"
input \"door\" dual 0 1 equivalent fault 500000000 low 3000000
input \"at_loading\" single 2 high 0
monitor \"slow while the door is open\" speed-limit 0 4000000 4194304000 100000000 33554432000 838860800
monitor \"hold at the loading place\" standstill 1 10000000 16777216 167772160
";
    assert_eq!(parsed(EXAMPLE).canonical(), old);

    let mut seen = Vec::new();
    let mut new = |text: &str| {
        let checksum = parsed(text).checksum();
        assert!(!seen.contains(&checksum), "must show in the checksum: {text}");
        seen.push(checksum);
    };
    new(EXAMPLE);
    new(&placed());
    let channel = |lines: &str| varied(&[("[channel.a]", &format!("[channel.a]\n{lines}"))]);
    new(&channel("reference = \"absolute\""));
    new(&channel("reference = \"absolute\"\noffset = \"1 mm\""));
    new(&varied(&[("[channel.b]", "[channel.b]\nreference = \"absolute\"")]));
    let event = |input: &str, position: &str| {
        let section = format!("[reference]\ninput = \"{input}\"\nposition = \"{position}\"");
        below(&channel("reference = \"event\""), &section)
    };
    for (input, position) in
        [("at_loading", "0 mm"), ("at_loading", "1 mm"), ("door", "0 mm"), ("home", "0 mm")]
    {
        new(&event(input, position));
    }
    let range =
        |low: &str, high: &str| format!("kind = \"position-range\"\nlow = \"{low}\"\nhigh = \"{high}\"");
    for body in [
        range("0 mm", "1 mm"),
        range("0.1 mm", "1 mm"),
        range("0 mm", "1.1 mm"),
        CAM.to_owned(),
        CAM.replace("10 mm", "11 mm"),
        CAM.replace("20 mm", "21 mm"),
        format!("{CAM}\nhysteresis = \"1 mm\""),
        CREEP.to_owned(),
        CREEP.replace("10 mm", "11 mm"),
        format!("{CREEP}\nhysteresis = \"1 mm/s\""),
        "kind = \"brake-output\"".to_owned(),
        "kind = \"brake-output\"\ndelay = \"1 ms\"".to_owned(),
    ] {
        new(&below(&placed(), &one("m", &body)));
    }
    for demand in ["door", "not door", "creeping", "not creeping", "slower", "at_loading"] {
        let outputs = one("creeping", CREEP) + &one("slower", CREEP);
        new(&below(EXAMPLE, &(outputs + &one("m", &format!("demand = [\"{demand}\"]\n{SLOW}")))));
    }
    // Twice the same monitors: what differs is who has the stop as a reaction.
    let with = |first: &str, second: &str| {
        let stops = one("rest", STOP) + &one("halt", STOP);
        let slow = |name: &str, reaction: &str| one(name, &format!("reaction = \"{reaction}\"\n{SLOW}"));
        below(EXAMPLE, &(slow("m", first) + &slow("n", second) + &stops))
    };
    for (first, second) in
        [("torque-off", "torque-off"), ("rest", "torque-off"), ("torque-off", "rest"), ("rest", "halt")]
    {
        new(&with(first, second));
    }

    // Spelling and what is left out make no difference.
    let same = |one: &str, other: &str| assert_eq!(parsed(one).canonical(), parsed(other).canonical());
    same(&channel("reference = \"absolute\""), &channel("offset = \"0 m\"\nreference = \"absolute\""));
    same(
        &below(&placed(), &one("m", CAM)),
        &below(
            &placed(),
            &one("m", "kind = \"cam-output\"\nhysteresis = \"0 mm\"\nlow = \"1e-2 m\"\nhigh = \"0.02 m\""),
        ),
    );
    same(
        &below(EXAMPLE, &one("m", SLOW)),
        &below(EXAMPLE, &one("m", &format!("reaction = \"torque-off\"\n{SLOW}"))),
    );
}
