//! Whatever a hand or an editor spoils, the answer has a place and a way out, or the core takes what is left.

use std::collections::BTreeSet;

use host_harness::replay::axis;
use host_harness::setup::Setup;

use super::support::{BRAKING, CAM, CREEP, EXAMPLE, RAMP, STOP, below, one, parsed, stop, varied, with};

/// Whether the text is refused, with a place and a way out for each mistake. What is let through is what the core takes.
fn is_refused(text: &str) -> bool {
    let error = match Setup::parse(text, "axis.toml") {
        Ok(setup) => {
            axis(&setup).unwrap_or_else(|refused| panic!("{refused}: {text}"));
            return false;
        }
        Err(error) => error,
    };
    assert!(!error.diagnostics().is_empty(), "{text}");
    for one in error.diagnostics() {
        let place = one.place.as_ref().expect("a place");
        assert!(!one.way_out.is_empty() && !one.message.is_empty(), "{one:?}");
        assert!(text.get(place.span.clone()).is_some(), "{one:?}");
        assert!(place.line <= text.lines().count().max(1) + 1, "{one:?}");
    }
    assert!(error.render(false).contains("= help: "), "{text}");
    true
}

#[test]
fn no_mangled_setup_goes_without_a_place_and_a_way_out() {
    let mut refused = 0;
    for end in 0..EXAMPLE.len() {
        refused += usize::from(is_refused(&EXAMPLE[..end]));
    }
    for (at, old) in EXAMPLE.char_indices() {
        for new in ["", "µ", "\"", "9", "-", "\n", "]"] {
            refused += usize::from(is_refused(&format!(
                "{}{new}{}",
                &EXAMPLE[..at],
                &EXAMPLE[at + old.len_utf8()..]
            )));
        }
    }
    let quoted = EXAMPLE.split('"').skip(1).step_by(2);
    for value in quoted.collect::<BTreeSet<_>>() {
        for new in [
            "",
            "1e38 mm",
            "1e-38 s",
            "170141183460469231731687303715884105727 m/s",
            "-1e30 ms",
            "549755813887 mm/s",
            "584 h",
        ] {
            refused +=
                usize::from(is_refused(&EXAMPLE.replace(&format!("\"{value}\""), &format!("\"{new}\""))));
        }
    }
    // Most of the changes spoil something: that many were looked at.
    assert!(refused > EXAMPLE.len() * 4, "{refused} of {} refused", EXAMPLE.len() * 8);
}

#[test]
fn no_mangled_value_of_a_kind_goes_without_a_place_and_a_way_out() {
    let stop = |by: &str| stop(by).replace("[\"halt\"]", "[\"halt\", \"lamp\"]");
    let bodies = [
        "kind = \"speed-range\"\nlow = \"-1 m/s\"\nhigh = \"1 m/s\"\non_delay = \"20 ms\"\nallowed_overrun = \"1 mm\"".to_owned(),
        "kind = \"acceleration-range\"\nlow = \"-1 m/s^2\"\nhigh = \"1 m/s^2\"".to_owned(),
        "kind = \"acceleration-limit\"\nlimit = \"1 m/s^2\"".to_owned(),
        "kind = \"direction\"\nallowed = \"positive\"\ntolerance = \"1 mm\"".to_owned(),
        "kind = \"travel-limit\"\nincrement = \"1 mm\"".to_owned(),
        format!(
            "kind = \"speed-limit\"\npositive = \"1 m/s\"\nnegative = \"2 m/s\"\n{}",
            RAMP.replace(" }", ", jerk = \"20 m/s^3\" }")
        ),
        stop(&format!("by = \"deceleration\"\nwithin = \"2 s\"\n{BRAKING}")),
    ];
    let (mut refused, mut tried) = (0, 0);
    for body in &bodies {
        for value in body.split('"').skip(1).step_by(2).collect::<BTreeSet<_>>() {
            for new in [
                "",
                "0 mm/s",
                "1e-9 mm/s^2",
                "549755813887 mm/s",
                "-549755813887 mm/s",
                "549755813887 mm/s^2",
                "-549755813887.9 mm/s^2",
                "549755813888 mm/s^3",
                "-170141183460469231731687303715884105727 m/s^2",
                "1e38 mm",
                "584 years",
                "584000 h",
                "1 ns",
            ] {
                tried += 1;
                let text = with(&body.replace(&format!("\"{value}\""), &format!("\"{new}\"")));
                refused += u32::from(is_refused(&text));
            }
        }
    }
    // Nearly every change spoils something, and not every one: a few are right elsewhere.
    assert!(refused > tried * 4 / 5 && refused < tried, "{refused} of {tried} refused");
}

#[test]
fn no_mangled_place_or_output_goes_without_a_place_and_a_way_out_or_to_a_core_that_refuses_it() {
    let text = {
        let event = "[reference]\ninput = \"home\"\nposition = \"100 mm\"\n";
        let monitors = one("crossing", &format!("demand = [\"not door\"]\n{CAM}\nhysteresis = \"1 mm\""))
            + &one("creeping", &format!("demand = [\"crossing\"]\n{CREEP}\nhysteresis = \"1 mm/s\""))
            + &one("brake", "kind = \"brake-output\"\ndelay = \"50 ms\"")
            + &one(
                "within",
                "kind = \"position-range\"\nlow = \"-10 mm\"\nhigh = \"1 m\"\nreaction = \"rest\"",
            )
            + &one("rest", STOP);
        let known = |letter, more| format!("[channel.{letter}]\nreference = {more}");
        let text = varied(&[
            ("[channel.a]", &known("a", "\"absolute\"\noffset = \"12 mm\"")),
            ("[channel.b]", &known("b", "\"event\"")),
        ]);
        below(&text, &(event.to_owned() + &monitors))
    };
    axis(&parsed(&text)).expect("as it is written, the core takes it");
    let start = text.find("[reference]").expect("below the example");
    let values: BTreeSet<_> = text[start..].split('"').skip(1).step_by(2).collect();
    let (mut refused, mut tried) = (0, 0);
    for value in values.into_iter().chain(["12 mm", "absolute", "event"]) {
        for new in [
            "",
            "not",
            "not door",
            "not crossing",
            "door",
            "crossing",
            "rest",
            "torque-off",
            "0 mm",
            "0 mm/s",
            "1e-9 mm",
            "549755813887 mm",
            "-549755813887.9 mm",
            "549755813888 mm/s",
            "274877906944 mm/s",
            "1e38 mm",
            "2562047 h",
            "2562048 h",
            "1 ns",
        ] {
            tried += 1;
            let text = text.replace(&format!("\"{value}\""), &format!("\"{new}\""));
            refused += u32::from(is_refused(&text));
        }
    }
    assert!(refused > tried * 2 / 3 && refused < tried, "{refused} of {tried} refused");
}
