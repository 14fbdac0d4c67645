//! JUnit XML against a published schema, and as another XML parser reads it.
//!
//! `junit.py` beside this file says where the schema and what evaluates it come from. Where python3, pip or the network is missing, the
//! test says so and passes, except where the variable `CI` is set.

use std::fs;
use std::path::{Path, PathBuf};

use cowitness_tests::python;
use host_harness::ci::{Found, Traced, Unreadable, junit};
use host_harness::expect::{Expectations, Judged};
use host_harness::replay::{layout, replay};
use host_harness::report::{Report, text};
use host_harness::setup::Setup;
use host_harness::trace::{Options, Reader};

fn demo(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../traces-demo").join(file)
}

/// A demo of the shuttle against the expectations of a demo, or against none; a judgement of each, and the report for people.
fn judged(trace: &str, expected: Option<&str>) -> (Vec<Judged>, String) {
    let setup = Setup::load(demo("shuttle.toml")).expect("a setup");
    let layout = layout(&setup).expect("a layout");
    let mut reader =
        Reader::open(&demo(&format!("{trace}.csv.gz")), &layout, Options::default()).expect("a trace");
    let outcome = replay(&setup, &mut reader, &mut |_| {}).expect("a replay");
    let report = Report::new(&setup, &outcome, trace, 0);
    let judged = match expected {
        None => vec![Judged::without_expectations(&report)],
        Some(name) => {
            let path = demo(&format!("{name}.expected.toml"));
            Expectations::load(&path, &setup).unwrap_or_else(|error| panic!("{error}")).judged(&report)
        }
    };
    (judged, text(&setup, &outcome, trace, 0))
}

/// Every ASCII character, what XML forbids or has a use for, and what is not in the basic plane.
fn hostile() -> String {
    let ascii: String = (0..128_u8).map(char::from).collect();
    format!("{ascii}]]>&amp;<!--<![CDATA[\u{85}\u{9b}31m\u{2028}\u{fffd}\u{fffe}\u{ffff}\u{1f525}")
}

/// As a reader shows it: what XML cannot hold, and what nobody would see, by its number.
fn shown(text: &str) -> String {
    let is_shown = |c: char| !c.is_control() || matches!(c, '\t' | '\n' | '\r');
    let show = |c: char| match c {
        '\u{fffe}' | '\u{ffff}' => c.escape_unicode().to_string(),
        c if is_shown(c) => c.to_string(),
        c => c.escape_unicode().to_string(),
    };
    text.chars().map(show).collect()
}

#[test]
fn junit_xml_validates_against_a_published_schema_and_is_read_as_it_was_meant() {
    let name = hostile();
    let (met, met_text) = judged("belt-slip", Some("belt-slip"));
    let (missed, _) = judged("clean-run", Some("belt-slip"));
    let (tripped, _) = judged("belt-slip", None);
    let named = vec![Judged { expected: name.clone(), line: Some(3), misses: missed[0].misses.clone() }];
    let unreadable = Unreadable { message: format!("{name}:7: no number"), line: Some(7) };
    let found = |judged, text| Ok(Found { judged, text });
    let traces = [
        Traced { path: "met.csv", expectations: Some("e.toml"), found: found(&met[..], &met_text) },
        Traced { path: "missed.csv", expectations: Some("e.toml"), found: found(&missed, "") },
        Traced { path: "tripped.csv", expectations: None, found: found(&tripped, &name) },
        Traced { path: &name, expectations: Some(&name), found: found(&named, &name) },
        Traced { path: &name, expectations: None, found: Err(&unreadable) },
    ];
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("junit");
    fs::create_dir_all(&folder).expect("a scratch folder");
    let write = |file: &str, xml: &str| {
        let path = folder.join(file);
        fs::write(&path, xml).expect("a scratch file");
        path
    };
    let xml = junit(&traces);
    let beyond = xml.replacen("<testsuites ", "<testsuites colour=\"red\" ", 1);
    let files = [write("all.xml", &xml), write("none.xml", &junit(&[])), write("beyond.xml", &beyond)];
    let Some(read) = python("report/junit.py", &files) else { return };

    let against = |file: usize| read[file]["against"].as_array().expect("a list");
    assert!(against(0).is_empty() && against(1).is_empty(), "{read:#?}");
    assert!(against(2)[0].as_str().is_some_and(|why| why.contains("colour")), "{:#?}", read[2]);
    let suites = read[0]["suites"].as_array().expect("a list");
    let counts: Vec<[u64; 3]> = suites
        .iter()
        .map(|suite| ["tests", "failures", "errors"].map(|count| suite[count].as_u64().expect("a count")))
        .collect();
    assert_eq!(counts, [[3, 0, 0], [3, 2, 0], [1, 1, 0], [1, 1, 0], [1, 0, 1]]);
    assert_eq!(suites[0]["out"].as_str(), Some(met_text.as_str()));
    assert_eq!(suites[0]["cases"][2]["name"].as_str(), Some("no other trip or fault"));
    let message = "the verdict is clear, expected tripped";
    assert_eq!(suites[1]["cases"][0]["message"].as_str(), Some(message));
    let shown = shown(&name);
    assert_eq!(suites[2]["out"].as_str(), Some(shown.as_str()));
    for (suite, child) in [(3, "failure"), (4, "error")] {
        assert_eq!(suites[suite]["name"].as_str(), Some(shown.as_str()));
        let case = &suites[suite]["cases"][0];
        assert_eq!(case["classname"].as_str(), Some(shown.as_str()));
        assert_eq!(case["children"][0].as_str(), Some(child));
    }
    assert_eq!(suites[3]["cases"][0]["name"].as_str(), Some(shown.as_str()));
    let full = format!("{shown}:3: 1 difference\n{message}");
    assert_eq!(suites[3]["cases"][0]["text"].as_str(), Some(full.as_str()));
    assert_eq!(suites[4]["cases"][0]["message"].as_str(), Some(format!("{shown}:7: no number").as_str()));
}
