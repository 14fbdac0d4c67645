//! Stops by their deceleration and stops as reactions in a setup file.

use host_harness::setup::{By, MonitorKind};
use monitor_core::Span;

use super::support::{
    BRAKING, EXAMPLE, RAMP, SLOW, STOP, below, check_monitors, check_ways_out, error, monitor, ms, one,
    other_place, parsed, stop, ulps, way_out, with,
};

const STAND: &str = "kind = \"stop\"\nuntil = \"standstill\"\nby = \"time\"\nwithin = \"1 s\"\nposition_window = \"1 mm\"\nspeed_window = \"10 mm/s\"";

#[test]
fn a_stop_by_deceleration_says_what_is_written() {
    let by = |more: &str| {
        let MonitorKind::Stop { by, .. } = monitor(&stop(&format!("by = \"deceleration\"\n{more}"))).kind
        else {
            panic!("a stop")
        };
        let By::Deceleration { braking, standstill_speed, within } = by else { panic!("by deceleration") };
        assert_eq!(standstill_speed.value.to_bits(), ulps(10));
        (braking, within.map(|within| within.value))
    };
    let (braking, within) = by(BRAKING);
    assert_eq!((braking.delay.value, within), (ms(150), None));
    assert_eq!(braking.deceleration.value.to_bits(), ulps(2000));
    assert_eq!(braking.margin.value.to_bits(), ulps(300));
    let (braking, within) = by(
        "within = \"1 s\"\nbraking = { delay = \"1e8/3 ns\", deceleration = \"1000/3 mm/s^2\", margin = \"100/3 mm/s^2\" }",
    );
    assert_eq!((braking.delay.value, within), (Span::from_nanos(33_333_333), Some(ms(1000))));
    assert_eq!(braking.deceleration.value.to_bits(), ulps(1000) / 3 + 1, "rounded up");
    assert_eq!(braking.margin.value.to_bits(), ulps(100) / 3, "rounded down");
}

#[test]
fn what_is_wrong_with_a_stop_by_deceleration_is_found() {
    let table = |delay: &str, deceleration: &str, margin: &str| {
        let table = format!("delay = \"{delay}\", deceleration = \"{deceleration}\", margin = \"{margin}\"");
        stop(&format!("by = \"deceleration\"\nbraking = {{ {table} }}"))
    };
    check_monitors(&[
        (&stop("by = \"deceleration\""), &["54:1: monitor \"m\" has no `braking`"]),
        (
            "kind = \"stop\"\ndemand = [\"halt\"]\nuntil = \"torque-off\"\nby = \"deceleration\"",
            &["54:1: monitor \"m\" has no `braking`", "54:1: monitor \"m\" has no `standstill_speed`"],
        ),
        (
            &stop(&format!("by = \"deceleration\"\n{BRAKING}\n{RAMP}")),
            &["62:1: `ramp` of monitor \"m\": a stop by deceleration places no limit on the speed"],
        ),
        (
            &stop(&format!("by = \"ramp\"\n{BRAKING}\n{RAMP}")),
            &["61:1: `braking` of monitor \"m\": a stop by ramp watches the speed, not the deceleration"],
        ),
        (
            &format!(
                "kind = \"stop\"\ndemand = [\"halt\"]\nuntil = \"torque-off\"\nby = \"time\"\nwithin = \"1 s\"\n{BRAKING}"
            ),
            &["61:1: `braking` of monitor \"m\": a stop by time watches no speed on the way"],
        ),
        (&stop("by = \"deceleration\"\nbraking = 3"), &["61:11: `braking` of monitor \"m\" must be a table"]),
        (
            &stop("by = \"deceleration\"\nbraking = { }"),
            &[
                "61:11: the braking of monitor \"m\" has no `delay`",
                "61:11: the braking of monitor \"m\" has no `deceleration`",
                "61:11: the braking of monitor \"m\" has no `margin`",
            ],
        ),
        (
            &stop(
                "by = \"deceleration\"\nbraking = { delay = \"1 s\", jerk = 1, deceleration = \"2 m/s^2\", margn = \"0.3 m/s^2\" }",
            ),
            &[
                "61:11: the braking of monitor \"m\" has no `margin`",
                "61:28: unknown key `jerk` in the braking of monitor \"m\"",
                "61:64: unknown key `margn` in the braking of monitor \"m\"",
            ],
        ),
        (
            &table("150 ms", "2 m/s^2", "2 m/s^2"),
            &["61:66: `margin` of the braking of monitor \"m\" is not below its `deceleration`"],
        ),
        (
            &table("150 ms", "0 m/s^2", "50 mm/s"),
            &[
                "61:46: `deceleration` of the braking of monitor \"m\" must be above zero",
                "61:70: `margin` of the braking of monitor \"m\": `mm/s` is a speed; expected an acceleration such as mm/s^2, m/s^2",
            ],
        ),
        // 31.25 mm/s^2 are two counts over the square of the window.
        (
            &table("150 ms", "100 mm/s^2", "69 mm/s^2"),
            &[
                "61:46: `deceleration` less `margin` of the braking of monitor \"m\" is finer than channel b can resolve",
            ],
        ),
        (
            &table("15.9 ms", "2 m/s^2", "0 m/s^2"),
            &["61:21: `delay` of the braking of monitor \"m\" is shorter than two windows of the speed"],
        ),
        (
            &stop(&format!("within = \"150 ms\"\nby = \"deceleration\"\n{BRAKING}")),
            &["60:10: `within` of monitor \"m\" is not above the `delay` of its braking"],
        ),
        (
            &stop(&format!("by = \"deceleration\"\n{BRAKING}")).replace("10 mm/s", "300 mm/s"),
            &[
                "59:20: `standstill_speed` of monitor \"m\" is not below `limit` of monitor \"slow while the door is open\"",
            ],
        ),
        (&stop("by = \"decleration\""), &["60:6: `by` of monitor \"m\" cannot be \"decleration\""]),
    ]);
    assert_eq!(
        way_out(&with(&stop("by = \"deceleration\""))),
        "add it, for example: braking = { delay = \"100 ms\", deceleration = \"2 m/s^2\", margin = \"0.3 m/s^2\" }"
    );
    assert!(way_out(&with(&stop("by = \"decleration\""))).starts_with("did you mean \"deceleration\"?"));
    // Exactly two windows, and exactly the least that can be resolved.
    parsed(&with(&table("16 ms", "100 mm/s^2", "68.75 mm/s^2")));
    parsed(&with(&stop(&format!("within = \"150.001 ms\"\nby = \"deceleration\"\n{BRAKING}"))));
}

#[test]
fn a_braking_that_is_compared_too_early_is_shown_beside_the_window() {
    let body = stop(
        "by = \"deceleration\"\nbraking = { delay = \"10 ms\", deceleration = \"2 m/s^2\", margin = \"0.3 m/s^2\" }",
    );
    let shown = error(&with(&body)).render(false);
    assert!(shown.contains("25 | window = \"8 ms\"\n"), "{shown}");
    assert!(shown.contains("------ a deceleration looks back over two of these"), "{shown}");
    assert!(shown.contains("^^^^^^^ would compare with motion from before the braking"), "{shown}");
    assert!(shown.contains("= help: raise `delay` to at least 16 ms"), "{shown}");
}

#[test]
fn a_stop_as_a_reaction_goes_by_its_trips_and_by_its_own_demand_if_it_has_one() {
    let monitors = one("m", &format!("reaction = \"rest\"\n{SLOW}"))
        + &one("rest", STOP)
        + &one("n", &format!("reaction = \"halt\"\n{SLOW}"))
        + &one("halt", &format!("demand = [\"door\"]\nreaction = \"torque-off\"\n{STOP}"))
        + &one("o", &format!("reaction = \"torque-off\"\n{SLOW}"))
        + &one("always", STOP);
    let setup = parsed(&below(EXAMPLE, &monitors));
    let [_, _, m, rest, n, halt, o, always] = setup.monitors.as_slice() else { panic!("eight monitors") };
    assert_eq!((m.reaction, n.reaction, o.reaction, halt.reaction), (Some(3), Some(5), None, None));
    assert!(rest.by_reactions_only && !rest.is_always_active());
    assert!(!halt.by_reactions_only && !halt.is_always_active());
    assert!(!always.by_reactions_only && always.is_always_active(), "as ever, where no reaction names it");
    assert!(!m.by_reactions_only && m.is_always_active());
}

#[test]
fn a_reaction_that_is_no_stop_until_torque_off_is_refused_with_both_places() {
    let slow = |reaction: &str| one("m", &format!("reaction = \"{reaction}\"\n{SLOW}"));
    let of = "`reaction` of monitor \"m\"";
    check_ways_out(
        &below(EXAMPLE, &(slow("rset") + &one("rest", STOP))),
        &[(&format!("56:12: {of} names \"rset\", which is no monitor"), "did you mean \"rest\"?")],
    );
    check_ways_out(
        &below(EXAMPLE, &slow("brake")),
        &[(
            &format!("56:12: {of} names \"brake\", which is no monitor"),
            "write \"torque-off\", or the name of",
        )],
    );
    check_ways_out(
        &below(EXAMPLE, &slow("torqueoff")),
        &[(&format!("56:12: {of} names \"torqueoff\", which is no monitor"), "did you mean \"torque-off\"?")],
    );
    check_ways_out(
        &below(EXAMPLE, &slow(" ")),
        &[(&format!("56:12: {of} is empty"), "write for example \"torque-off\"")],
    );
    let other = below(EXAMPLE, &slow("slow while the door is open"));
    check_ways_out(
        &other,
        &[(
            &format!("56:12: {of} names \"slow while the door is open\", a speed-limit"),
            "name a monitor of kind = \"stop\" with until = \"torque-off\"",
        )],
    );
    assert_eq!(other_place(&other), (40, "this monitor".to_owned()));
    let stand = below(EXAMPLE, &(slow("stand") + &one("stand", STAND)));
    check_ways_out(
        &stand,
        &[(
            &format!("56:12: {of} names \"stand\", a stop until standstill"),
            "name a stop with until = \"torque-off\"; to have both, write a second stop",
        )],
    );
    assert_eq!(other_place(&stand), (62, "with this end the permit stays".to_owned()));
    let chain = one("rest", &format!("reaction = \"last\"\n{STOP}")) + &one("last", STOP);
    let chain = below(EXAMPLE, &(slow("rest") + &chain));
    check_ways_out(
        &chain,
        &[(
            &format!("56:12: {of} names \"rest\", which has a reaction of its own"),
            "leave out the reaction of the stop, or write it as \"torque-off\"",
        )],
    );
    assert_eq!(other_place(&chain), (61, "its reaction".to_owned()));
    check_ways_out(
        &below(EXAMPLE, &one("m", &format!("reaction = \"m\"\n{STOP}"))),
        &[(
            &format!("56:12: {of} is the monitor itself"),
            "leave it out: a stop that fails withdraws the permit at once",
        )],
    );
    let torque_off = below(EXAMPLE, &(slow("torque-off") + &one("torque-off", STOP)));
    check_ways_out(
        &torque_off,
        &[(
            &format!("56:12: {of} is \"torque-off\", and so is the name of a stop"),
            "give the stop another name",
        )],
    );
    assert_eq!(other_place(&torque_off), (60, "called so here".to_owned()));
    check_ways_out(
        &below(EXAMPLE, &one("m", "reaction = \"torque-off\"\nkind = \"torque-off\"\ndemand = [\"off\"]")),
        &[(
            &format!("56:1: {of}: the kind torque-off has no trip to react to"),
            "leave it out; to stop first and withdraw the permit later",
        )],
    );
    check_ways_out(
        &below(EXAMPLE, &one("m", &format!("reaction = [\"rest\"]\n{SLOW}"))),
        &[(
            &format!("56:12: {of} must be a string"),
            "put it in quotes, for example: reaction = \"torque-off\"",
        )],
    );
    // What is wrong with the stop itself is said once.
    check_ways_out(
        &below(EXAMPLE, &(slow("rest") + &one("rest", &STOP.replace("torque-off", "torqueoff")))),
        &[("62:9: `until` of monitor \"rest\" cannot be \"torqueoff\"", "did you mean \"torque-off\"?")],
    );
}

#[test]
fn the_way_out_of_a_wrong_reaction_names_a_stop_that_the_setup_has() {
    // Before it, those that cannot be meant: one that leaves the permit, one with a reaction of its own, and the monitor itself.
    let unfit = one("stand", STAND) + &one("chained", &format!("reaction = \"rest\"\n{STOP}"));
    let of = "`reaction` of monitor \"m\"";
    let named = |reaction: &str, message: &str, way_out: &str| {
        let body = format!("{unfit}{}", one("m", &format!("reaction = {reaction}\n{STOP}")));
        let line = 54 + unfit.lines().count() + 2;
        check_ways_out(
            &below(EXAMPLE, &(body + &one("rest", STOP))),
            &[(&format!("{line}:12: {of} {message}"), way_out)],
        );
    };
    named("1", "must be a string", "put it in quotes, for example: reaction = \"rest\"");
    named("\" \"", "is empty", "write for example \"rest\"");
    named(
        "\"brake\"",
        "names \"brake\", which is no monitor",
        "write \"torque-off\", or the name of a monitor of kind = \"stop\", such as \"rest\"",
    );
    named(
        "\"slow while the door is open\"",
        "names \"slow while the door is open\", a speed-limit",
        "name a monitor of kind = \"stop\" with until = \"torque-off\", such as \"rest\", or write \"torque-off\"",
    );
    named(
        "\"stand\"",
        "names \"stand\", a stop until standstill",
        "name a stop with until = \"torque-off\", such as \"rest\"; to have both, write a second stop",
    );
}
