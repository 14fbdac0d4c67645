//! Files of expectations that cannot be used are refused, with the place and a way out; what differs from them is said.

use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};

use host_harness::expect::Expectations;
use host_harness::replay::{layout, replay};
use host_harness::report::Report;
use host_harness::setup::Setup;
use host_harness::synth::Scenario;
use host_harness::trace::{Options, Reader};

fn demo(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../traces-demo").join(file)
}

fn scratch(name: &str) -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join(name)
}

/// What is said of a file of expectations for `setup`, less its path.
fn refused(setup: &Setup, name: &str, expectations: &str) -> String {
    let path = scratch(&format!("{name}.expected.toml"));
    fs::write(&path, expectations).expect("a scratch file");
    match Expectations::load(&path, setup) {
        Ok(read) => panic!("{expectations} was taken: {read:?}"),
        Err(error) => {
            let text = error.to_string();
            text.strip_prefix(&path.display().to_string()).expect("the path first").to_owned()
        }
    }
}

fn shuttle() -> Setup {
    Setup::load(demo("shuttle.toml")).expect("a setup")
}

#[test]
fn what_cannot_be_used_is_refused_with_line_column_and_a_way_out() {
    let setup = shuttle();
    for (expectations, start, way_out) in [
        ("verdict = \"trip\"\n", ":1:11: unknown variant `trip`", "`clear`, `tripped`, `fault`"),
        (
            "[[trips]]\n",
            ":1:3: unknown field `trips`",
            "`trip`, `no_trip`, `fault`, `stop`, `output`, `reset`",
        ),
        ("[[trip]]\nfrom = \"2\"\n", ":2:8: a number without a unit", "us, ms, s"),
        ("[[trip]]\nfrom = \"2 mm\"\n", ":2:8: `mm` is a length", "us, ms, s"),
        ("[[trip]]\nfrom = \"2 s\"\nto = \"1 s\"\n", ":3:6: a time window", "exchange the two times"),
        ("[[fault]]\nfrom = \"2 s\"\nto = \"1 s\"\n", ":3:6: a time window", "exchange the two times"),
        (
            "[[trip]]\nmonitor = \"emergency\"\n",
            ":2:11: the setup has no monitor `emergency`",
            "`emergency stop`",
        ),
        ("[[fault]]\ninput = \"dor\"\n", ":2:9: the setup has no input `dor`", "`door`"),
        (
            "[[fault]]\nkind = \"stale\"\ninput = \"door\"\n",
            ":3:9: a fault `stale` has no input",
            "kind = \"input\"",
        ),
        (
            "[[fault]]\nkind = \"input\"\nchannel = \"a\"\n",
            ":3:11: a fault of an input",
            "leave `channel` out",
        ),
        ("[[fault]]\nchannel = \"both\"\n", ":2:11: a fault belongs to one channel", "an entry for each"),
    ] {
        let said = refused(&setup, "place", expectations);
        assert!(said.starts_with(start), "{said}");
        assert!(said.contains(way_out), "{said}");
    }
}

#[test]
fn what_must_not_happen_and_never_could_is_refused() {
    let setup = shuttle();
    let one_sided = "[[no_trip]]\nmonitor = \"discrepancy\"\nchannel = \"a\"\n";
    assert!(refused(&setup, "never", one_sided).starts_with(":3:11: `discrepancy` belongs to both channels"));
    let both = "[[no_trip]]\nmonitor = \"emergency stop\"\nchannel = \"both\"\n";
    assert!(
        refused(&setup, "never", both).starts_with(":3:11: `emergency stop` trips on one channel at a time")
    );

    let text = fs::read_to_string(demo("shuttle.toml")).expect("a setup");
    let start = text.find("[speed_discrepancy]").expect("a section");
    let end = start + text[start..].find("[input.door]").expect("the next section");
    let path = scratch("no-speed-discrepancy.toml");
    fs::write(&path, format!("{}{}", &text[..start], &text[end..])).expect("a scratch file");
    let without = Setup::load(&path).expect("a setup");
    let unwatched = "[[no_trip]]\nmonitor = \"speed_discrepancy\"\n";
    let said = refused(&without, "never", unwatched);
    assert!(said.starts_with(":2:11: the setup has no monitor `speed_discrepancy`"), "{said}");
    assert!(said.ends_with("`hold at the loading place`, `discrepancy`"), "{said}");
}

#[test]
fn a_file_that_is_not_there_is_refused_with_the_flag_that_named_it() {
    let error =
        Expectations::load(&demo("nothing.expected.toml"), &shuttle()).expect_err("no file").to_string();
    assert!(
        error.contains("cannot be read") && error.ends_with("check the path given with --expect"),
        "{error}"
    );
}

fn every_function() -> Setup {
    Setup::load(demo("every-function.setup.toml")).expect("a setup")
}

#[test]
fn a_stop_an_output_or_a_rule_without_reference_that_cannot_be_is_refused() {
    let setup = every_function();
    for (expectations, start, way_out) in [
        (
            "[[stop]]\nmonitor = \"hold\"\n",
            ":2:11: the setup has no monitor `hold` that is a stop",
            "`halt at the gate`",
        ),
        (
            "[[stop]]\nmonitor = \"emergency stop\"\nchannel = \"both\"\n",
            ":3:11: `emergency stop` is complete on one",
            "an entry for each",
        ),
        (
            "[[stop]]\nmonitor = \"torque off switch\"\nchannel = \"a\"\n",
            ":3:11: `torque off switch` belongs to no",
            "leave `channel` out",
        ),
        ("[[stop]]\nchannel = \"a\"\n", ":1:1: missing field `monitor`", "correct it"),
        (
            "[[output]]\nmonitor = \"hold\"\n",
            ":2:11: the setup has no monitor `hold` that is an output",
            "`kiln mouth`, `slow enough to unlock`, `holding brake`",
        ),
        (
            "[[output]]\nmonitor = \"kiln mouth\"\nfrom = \"2 s\"\nto = \"1 s\"\n",
            ":4:6: a time window",
            "exchange the two times",
        ),
        ("[[reset]]\nfrom = \"2 s\"\nto = \"1 s\"\n", ":3:6: a time window", "exchange the two times"),
        (
            "[[fault]]\nmonitor = \"hold\"\n",
            ":2:11: the setup has no monitor `hold` that needs a referenced",
            "`kiln mouth`, `between the buffers`",
        ),
        (
            "[[fault]]\nkind = \"stale\"\nmonitor = \"kiln mouth\"\n",
            ":3:11: only a monitor without a reference",
            "kind = \"unreferenced\"",
        ),
    ] {
        let said = refused(&setup, "outputs", expectations);
        assert!(said.starts_with(start), "{said}");
        assert!(said.contains(way_out), "{said}");
    }
    let said = refused(&shuttle(), "outputs", "[[output]]\nmonitor = \"hold\"\n");
    assert!(said.ends_with("that is an output, and no other; leave this entry out"), "{said}");
}

/// A report on a trace of the setup with every function, made from its scenario.
fn report(setup: &Setup, name: &str) -> Report {
    let text = fs::read_to_string(demo(&format!("{name}.toml"))).expect("a scenario");
    let scenario = Scenario::from_toml(&text, name).unwrap_or_else(|error| panic!("{error}"));
    let mut trace = Vec::new();
    scenario.write(&mut trace).expect("a trace");
    let layout = layout(setup).unwrap_or_else(|error| panic!("{error}"));
    let mut reader = Reader::from_read(name, Cursor::new(trace), &layout, Options::default())
        .unwrap_or_else(|error| panic!("{error}"));
    let outcome = replay(setup, &mut reader, &mut |_| {}).unwrap_or_else(|error| panic!("{error}"));
    Report::new(setup, &outcome, name, 0)
}

#[test]
fn stops_outputs_resets_and_lost_references_are_missed_when_they_are_others() {
    let setup = every_function();
    let run = report(&setup, "every-function");
    let step = report(&setup, "every-function-reset-at-the-wrong-moment");
    let lost = report(&setup, "every-function-lost-reference");
    let mouth = "[[output]]\nmonitor = \"kiln mouth\"\n";
    let halt = "[[stop]]\nmonitor = \"halt at the gate\"\n";
    let tripped = "[[trip]]\nmonitor = \"one step\"\n";
    let jump = "[[fault]]\nkind = \"implausible\"\n";
    let unreferenced = "[[fault]]\nkind = \"unreferenced\"\n";
    for (report, expectations, misses) in [
        // Who says nothing about them takes them as they come.
        (&run, String::new(), &[][..]),
        (&run, mouth.to_owned(), &[]),
        (&run, halt.to_owned(), &[]),
        // Who names one names all that this monitor does.
        (
            &run,
            format!("{mouth}on = true\n"),
            &["the output `kiln mouth` became false at 3.175000000 s; no expectation names it"],
        ),
        (&run, format!("others = \"accepted\"\n{mouth}on = true\n"), &[]),
        (
            &run,
            format!("others = \"accepted\"\n{mouth}on = true\nfrom = \"5 s\"\n"),
            &["expected a change of the output `kiln mouth` to true from 5.000000000 s on; there was none"],
        ),
        (
            &run,
            format!("{halt}channel = \"a\"\n"),
            &["the stop `halt at the gate` on channel b at 3.803000000 s; no expectation names it"],
        ),
        (
            &run,
            format!("others = \"accepted\"\n{halt}to = \"3 s\"\n"),
            &["expected the stop `halt at the gate` until 3.000000000 s; there was none"],
        ),
        (&step, format!("{tripped}[[reset]]\naccepted = false\n[[reset]]\naccepted = true\n"), &[]),
        (
            &step,
            format!("{tripped}[[reset]]\naccepted = true\n"),
            &["a reset at 1.403000000 s, refused: a rule is violated; no expectation names it"],
        ),
        (&run, "[[reset]]\naccepted = false\n".to_owned(), &["expected a refused reset; there was none"]),
        (&lost, format!("{jump}{unreferenced}"), &[]),
        (
            &lost,
            format!("{jump}{unreferenced}monitor = \"kiln mouth\"\n"),
            &["fault `unreferenced` on channel a at 1.201000000 s; no expectation names it"],
        ),
    ] {
        let path = scratch("held-against.expected.toml");
        fs::write(&path, &expectations).expect("a scratch file");
        let read = Expectations::load(&path, &setup).unwrap_or_else(|error| panic!("{error}"));
        let missed: Vec<String> = read.misses(report).iter().map(ToString::to_string).collect();
        assert_eq!(missed, misses, "{expectations}");
    }
}
