//! Referenced positions in a setup file.

use host_harness::setup::{EventSetup, ReferenceSetup};

use super::support::{
    CAM, CREEP, EXAMPLE, below, check_ways_out, one, other_place, parsed, placed, refused, ulps, varied,
};

fn absolute(channel: &ReferenceSetup) -> (i64, &str) {
    let ReferenceSetup::Absolute { offset } = channel else { panic!("absolute: {channel:?}") };
    (offset.value.to_bits(), &offset.text)
}

#[test]
fn a_channel_is_referenced_only_when_the_file_says_how() {
    let setup = parsed(EXAMPLE);
    assert_eq!((&setup.a.reference, &setup.b.reference), (&ReferenceSetup::None, &ReferenceSetup::None));
    assert_eq!(setup.reference, None);
    let setup = parsed(&placed());
    assert_eq!((absolute(&setup.a.reference), absolute(&setup.b.reference)), ((0, "0 mm"), (0, "0 mm")));
}

#[test]
fn an_offset_is_rounded_to_nearest_on_a_counter_and_on_a_column_of_positions() {
    let offset = |text: &str| {
        let line = format!("[channel.a]\nreference = \"absolute\"\noffset = \"{text}\"");
        absolute(&parsed(&varied(&[("[channel.a]", &line)])).a.reference).0
    };
    assert_eq!((offset("-12.5 mm"), offset("2 m")), (-ulps(25) / 2, ulps(2000)));
    // Thirds of 2^24 ULP: 5592405.33 and 11184810.67.
    assert_eq!((offset("1/3 mm"), offset("2/3 mm")), (ulps(1) / 3, ulps(2) / 3 + 1));
    assert_eq!((offset("-1/3 mm"), offset("-2/3 mm")), (-(ulps(1) / 3), -(ulps(2) / 3) - 1));
    let column = varied(&[(
        "counter_bits   = 32\nunit_per_count = \"0.0005 mm\"",
        "column_unit = \"um\"\nreference = \"absolute\"\noffset = \"2/3 mm\"",
    )]);
    assert_eq!(absolute(&parsed(&column).a.reference).0, ulps(2) / 3 + 1);
}

#[test]
fn an_event_declares_the_position_that_is_written() {
    let event = |more: &str, position: &str| {
        let text = varied(&[("[channel.b]", "[channel.b]\nreference = \"event\"")]);
        parsed(&below(&text, &format!("{more}[reference]\ninput = \"home\"\nposition = \"{position}\"")))
    };
    // A plain column: behind the inputs that demand monitors.
    let setup = event("", "2/3 mm");
    let EventSetup { input, position } = setup.reference.as_ref().expect("an event");
    assert_eq!((*input, setup.inputs[*input].name.as_str()), (2, "home"));
    assert_eq!((position.value.to_bits(), position.text.as_str()), (ulps(2) / 3 + 1, "2/3 mm"));
    assert_eq!((&setup.a.reference, &setup.b.reference), (&ReferenceSetup::None, &ReferenceSetup::Event));
    assert_eq!(setup.levels, ["door_1", "door_2", "at_loading", "home"]);
    // An input of the file.
    let setup = event("[input.home]\ncolumns = [\"flag\"]\ndemand = \"low\"\n", "-2/3 mm");
    let EventSetup { input, position } = setup.reference.as_ref().expect("an event");
    assert_eq!((*input, position.value.to_bits()), (1, -(ulps(2) / 3) - 1));
    assert_eq!(setup.inputs[1].name, "home");
}

#[test]
fn what_is_wrong_with_a_reference_is_found() {
    let channel = |lines: &str| varied(&[("[channel.a]", &format!("[channel.a]\n{lines}"))]);
    check_ways_out(
        &channel("reference = \"absolut\""),
        &[("10:13: `reference` of [channel.a] cannot be \"absolut\"", "did you mean \"absolute\"?")],
    );
    let bare = refused(&[("[channel.a]", "[channel.a]\nreference = 3")]);
    assert_eq!(bare.diagnostics()[0].message, "`reference` of [channel.a] must be a string");
    check_ways_out(
        &channel("offset = \"1 mm\""),
        &[(
            "10:1: `offset` of [channel.a]: there is no reference = \"absolute\"",
            "add reference = \"absolute\" if",
        )],
    );
    let event = "[reference]\ninput = \"home\"\nposition = \"100 mm\"";
    check_ways_out(
        &below(&channel("reference = \"event\"\noffset = \"1 mm\""), event),
        &[(
            "11:1: `offset` of [channel.a]: the position comes from an event, not from the count zero",
            "leave it out, and write where the axis is then as `position` of [reference]",
        )],
    );
    check_ways_out(
        &channel("reference = \"absolute\"\noffset = \"1 mm/s\""),
        &[(
            "11:13: `offset` of [channel.a]: `mm/s` is a speed; expected a length such as um, mm, m, in",
            "use one of: mm, um",
        )],
    );
    check_ways_out(
        &channel("reference = \"absolute\"\noffset = \"1e-9 mm\""),
        &[(
            "11:10: `offset` of [channel.a] is smaller than the step of 0.00000005961 mm it is held in",
            "write at least 0.00000005961 mm, or zero",
        )],
    );
    check_ways_out(
        &channel("reference = \"absolute\"\noffset = \"-549755813888 mm\""),
        &[("11:10: `offset` of [channel.a] is too large", "write -549755813887 mm or more")],
    );
    check_ways_out(
        &channel("reference = \"event\""),
        &[(
            "10:13: a channel goes by an event, and the setup has no section [reference]",
            "add the section, beginning with: [reference] input = \"home\"",
        )],
    );
    let unused = "the setup has a section [reference], and no channel goes by an event";
    check_ways_out(
        &below(EXAMPLE, event),
        &[(&format!("54:1: {unused}"), "write reference = \"event\" in [channel.a]")],
    );
    let absolute = below(&channel("reference = \"absolute\""), event);
    check_ways_out(&absolute, &[(&format!("55:1: {unused}"), "write reference = \"event\" in [channel.a]")]);
    assert_eq!(other_place(&absolute), (10, "knows its place by itself".to_owned()));
    // What is misspelt may have been meant to be the event.
    check_ways_out(
        &below(&channel("reference = \"evnt\""), event),
        &[("10:13: `reference` of [channel.a] cannot be \"evnt\"", "did you mean \"event\"?")],
    );
    let by_event =
        |section: &str| below(&channel("reference = \"event\""), &format!("[reference]\n{section}"));
    check_ways_out(
        &by_event("colunm = 3"),
        &[
            ("55:1: [reference] has no `input`", "add it, for example: input = \"home\""),
            ("55:1: [reference] has no `position`", "add it, for example: position = \"100 mm\""),
            ("56:1: unknown key `colunm` in [reference]", "leave it out; known here are input, position"),
        ],
    );
    check_ways_out(
        &by_event("input = \"dor\"\nposition = \"0 mm\""),
        &[("56:9: no input is called `dor`", "did you mean `door`?")],
    );
    check_ways_out(
        &by_event("input = \"not door\"\nposition = \"0 mm\""),
        &[(
            "56:9: `input` of [reference] cannot be the opposite of an input",
            "write the name alone; for an event at the other level, declare",
        )],
    );
    let monitor = by_event("input = \"hold at the loading place\"\nposition = \"0 mm\"");
    check_ways_out(
        &monitor,
        &[(
            "56:9: `input` of [reference] is the monitor \"hold at the loading place\"",
            "name an input; if a column of the trace is meant, declare it: [input.home]",
        )],
    );
    assert_eq!(other_place(&monitor), (49, "this monitor".to_owned()));
}

#[test]
fn a_rule_on_places_while_a_channel_knows_none_is_refused_with_what_to_add() {
    let range = "kind = \"position-range\"\nlow = \"0 mm\"\nhigh = \"1 m\"";
    let needs = "goes by places of the machine, and";
    check_ways_out(
        &below(EXAMPLE, &one("within", range)),
        &[(
            &format!("57:7: monitor \"within\" {needs} channels a and b have no `reference`"),
            "add to [channel.a] and [channel.b]: reference = \"absolute\" where",
        )],
    );
    for letter in ["a", "b"] {
        let known = format!("[channel.{letter}]\nreference = \"absolute\"");
        let text = varied(&[(&format!("[channel.{letter}]"), &known)]);
        let other = if letter == "a" { "b" } else { "a" };
        check_ways_out(
            &below(&text, &one("cam", CAM)),
            &[(
                &format!("58:7: monitor \"cam\" {needs} channel {other} has no `reference`"),
                &format!("add to [channel.{other}]: reference = \"absolute\" where"),
            )],
        );
    }
    parsed(&below(&placed(), &(one("within", range) + &one("cam", CAM))));
    // Neither a speed nor a brake has a place.
    parsed(&below(EXAMPLE, &(one("creep", CREEP) + &one("brake", "kind = \"brake-output\""))));
}
