//! Files of expectations that cannot be used are refused, with the place and a way out.

use std::fs;
use std::path::{Path, PathBuf};

use host_harness::expect::Expectations;
use host_harness::setup::Setup;

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
        ("[[trips]]\n", ":1:3: unknown field `trips`", "`trip`, `no_trip`, `fault`, `stop`, `output`, `reset`"),
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
