//! `cowitness replay` for continuous integration: JUnit XML and annotations, whatever the traces and their names are.

mod program;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use program::{cowitness, err, out};

const SETUP: &str = "traces-demo/shuttle.toml";
/// The discrepancy trips in it, and nothing else.
const SLIP: &str = "traces-demo/belt-slip.csv.gz";
/// Nothing trips in it.
const CLEAN: &str = "traces-demo/clean-run.csv.gz";
/// The header of a trace of this setup.
const COLUMNS: &str =
    "time,motor_count,rail_count,rail_valid,door_1,door_2,estop_1,estop_2,at_loading,reset\n";
const TRIPPED: &str = "`discrepancy` tripped on channel both at 2.145000000 s";

/// A folder of its own for one test.
fn scratch(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("junit-{name}-{}", std::process::id()));
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).expect("a scratch folder");
    folder
}

fn replay(args: &[&str]) -> Output {
    cowitness(&[&["replay", "--setup", SETUP], args].concat())
}

/// Writes a file and gives its path as it is typed.
fn written(folder: &Path, name: &str, content: &str) -> String {
    let path = folder.join(name);
    fs::write(&path, content).expect("a scratch file");
    path.to_str().expect("text").to_owned()
}

/// The annotations among what was printed.
fn annotations(output: &Output) -> Vec<&str> {
    out(output).lines().filter(|line| line.starts_with("::")).collect()
}

#[test]
fn each_trace_is_a_suite_in_the_order_given_and_each_expectation_a_case() {
    let folder = scratch("suites");
    let expected = written(
        &folder,
        "slip.expected.toml",
        "# Invented.\nverdict = \"tripped\"\n\n[[trip]]\nmonitor = \"discrepancy\"\n\n[[no_trip]]\nto = \"2 s\"\n",
    );
    let junit = folder.join("out.xml");
    let junit = junit.to_str().expect("text");
    let output = replay(&[CLEAN, SLIP, "--expect", &expected, "--junit", junit, "--quiet", "--annotations"]);
    assert_eq!(output.status.code(), Some(1));
    let xml = fs::read_to_string(junit).expect("the file");
    assert!(
        xml.contains("<testsuites name=\"cowitness replay\" tests=\"8\" failures=\"2\" errors=\"0\">"),
        "{xml}"
    );
    let clean = xml
        .find(&format!("<testsuite name=\"{CLEAN}\" tests=\"4\" failures=\"2\" errors=\"0\""))
        .expect("clean");
    let slip = xml
        .find(&format!("<testsuite name=\"{SLIP}\" tests=\"4\" failures=\"0\" errors=\"0\""))
        .expect("slip");
    assert!(clean < slip);
    for (case, end) in [
        ("the verdict is tripped", ">"),
        ("a trip of `discrepancy`", ">"),
        ("not a trip until 2.000000000 s", "/>"),
        ("no other trip or fault", "/>"),
    ] {
        let of_clean = format!("<testcase classname=\"{CLEAN}\" name=\"{case}\"{end}\n");
        let of_slip = format!("<testcase classname=\"{SLIP}\" name=\"{case}\"/>\n");
        assert!(xml[clean..slip].contains(&of_clean) && xml[slip..].contains(&of_slip), "{case}\n{xml}");
    }
    let place =
        format!(">{expected}:4: 1 difference\nexpected a trip of `discrepancy`; there was none</failure>");
    assert!(xml[clean..slip].contains(&place), "{xml}");
    assert!(
        xml[clean..slip].contains("<system-out>CLEAR  ") && xml[slip..].contains("<system-out>TRIPPED  ")
    );
    assert!(!xml.contains(" time="), "how long it took is not in it");
    assert_eq!(
        annotations(&output),
        [
            format!("::error file={expected},line=2::{CLEAN}: the verdict is clear, expected tripped"),
            format!(
                "::error file={expected},line=4::{CLEAN}: expected a trip of `discrepancy`; there was none"
            ),
        ]
    );
    assert_eq!(out(&output).lines().count(), 2, "quiet: the annotations and nothing else");
    fs::remove_dir_all(folder).expect("the scratch folder");
}

#[test]
fn without_expectations_the_one_case_is_that_nothing_trips_and_the_annotation_is_at_the_trace() {
    let output = replay(&[CLEAN, SLIP, "--junit", "-"]);
    assert_eq!(output.status.code(), Some(1));
    let xml = out(&output);
    assert!(
        xml.starts_with("<?xml ") && xml.ends_with("</testsuites>\n"),
        "the whole output is the document"
    );
    let name = "nothing trips and nothing is faulted";
    assert!(xml.contains(&format!("<testcase classname=\"{CLEAN}\" name=\"{name}\"/>")), "{xml}");
    let limit = "3.0005 mm, above the limit of 2.6005 mm";
    assert!(
        xml.contains(&format!(
            "<failure type=\"missed\" message=\"{TRIPPED}: {limit}\">{SLIP}: 1 difference\n"
        )),
        "{xml}"
    );
    assert!(output.stderr.is_empty(), "{}", err(&output));

    let output = replay(&[CLEAN, SLIP, "--annotations", "--quiet"]);
    assert_eq!(output.status.code(), Some(1));
    // A trip has no line: it may be at many, and which is not known.
    assert_eq!(out(&output), format!("::error file={SLIP}::{TRIPPED}: {limit}\n"));
    let output = replay(&[CLEAN, "--annotations", "--quiet"]);
    assert_eq!((output.status.code(), out(&output)), (Some(0), ""));
    let output = replay(&[SLIP, "--annotations"]);
    assert!(out(&output).starts_with("TRIPPED  ") && annotations(&output).len() == 1, "{}", out(&output));
}

#[test]
fn the_exit_status_is_the_same_with_and_without_what_is_written_for_ci() {
    let folder = scratch("status");
    let bad = written(&folder, "bad.csv", "time,motor_count\n1,2\n");
    let junit = folder.join("out.xml");
    let junit = junit.to_str().expect("text");
    for (traces, status) in
        [(vec![CLEAN], 0), (vec![SLIP], 1), (vec![CLEAN, SLIP], 1), (vec![SLIP, bad.as_str()], 2)]
    {
        let (plain, both) =
            (replay(&traces), replay(&[&traces[..], &["--junit", junit, "--annotations"]].concat()));
        assert_eq!((plain.status.code(), both.status.code()), (Some(status), Some(status)), "{traces:?}");
        assert_eq!(plain.stderr, both.stderr);
        let said: String = out(&both)
            .lines()
            .filter(|line| !line.starts_with("::"))
            .map(|line| format!("{line}\n"))
            .collect();
        assert_eq!(out(&plain), said, "the report is the same");
    }
    fs::remove_dir_all(folder).expect("the scratch folder");
}

#[test]
fn a_trace_that_cannot_be_read_is_an_error_of_its_suite_and_the_others_are_written() {
    let folder = scratch("unreadable");
    let rows = "0,0,0,1,1,1,1,1,0,0\n0.001,x,0,1,1,1,1,1,0,0\n";
    let bad = written(&folder, "bad.csv", &format!("{COLUMNS}{rows}"));
    let absent = folder.join("absent.csv");
    let absent = absent.to_str().expect("text");
    let output = replay(&[SLIP, &bad, absent, CLEAN, "--junit", "-"]);
    assert_eq!(output.status.code(), Some(2));
    let xml = out(&output);
    assert!(xml.contains("tests=\"4\" failures=\"1\" errors=\"2\">"), "{xml}");
    let suites: Vec<&str> = xml.split("<testsuite ").skip(1).collect();
    assert_eq!(suites.len(), 4);
    assert!(suites[1].contains(&format!("<error type=\"unreadable\" message=\"{bad}:")), "{xml}");
    assert!(suites[2].contains(&format!("message=\"{absent}: there is no such file")), "{xml}");
    assert!(suites[3].starts_with(&format!("name=\"{CLEAN}\" tests=\"1\" failures=\"0\" errors=\"0\"")));

    let output = replay(&[&bad, absent, "--annotations", "--quiet"]);
    let lines = annotations(&output);
    assert_eq!(lines.len(), 2);
    let start = format!("::error file={bad},line=3::{bad}:3:7: column `motor_count`");
    assert!(lines[0].starts_with(&start), "{lines:?}");
    assert!(
        lines[1].starts_with(&format!("::error file={absent}::{absent}: there is no such file")),
        "{lines:?}"
    );
    fs::remove_dir_all(folder).expect("the scratch folder");
}

#[test]
fn what_keeps_everything_from_running_is_annotated_at_its_line() {
    let folder = scratch("unusable");
    let expected = written(&folder, "e.toml", "\n[[trip]]\nmonitor = \"emergency\"\n");
    let output = replay(&[SLIP, "--expect", &expected, "--annotations"]);
    assert_eq!(output.status.code(), Some(2));
    let start =
        format!("::error file={expected},line=3::{expected}:3:11: the setup has no monitor `emergency`");
    assert!(out(&output).starts_with(&start) && out(&output).lines().count() == 1, "{}", out(&output));
    let setup = written(&folder, "axis.toml", "title = \"Axis, invented\"\nunit = \"furlong\"\n");
    let output = cowitness(&["replay", SLIP, "--setup", &setup, "--annotations"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(out(&output).starts_with(&format!("::error file={setup},line=2::")), "{}", out(&output));
    fs::remove_dir_all(folder).expect("the scratch folder");
}

#[test]
fn no_name_ends_a_line_a_tag_or_a_property() {
    let folder = scratch("names");
    let setup = fs::read_to_string(program::root().join(SETUP)).expect("a setup");
    let name = "a <b attr=\\\"1\\\">&amp;]]>\\u0007\\n::error file=other.c,line=1::100 %";
    let renamed = setup.replace("\"fastest the belt may run\"", &format!("\"{name}\""));
    assert_ne!(renamed, setup);
    let axis =
        written(&folder, "axis.toml", &renamed.replace("limit    = \"1.2 m/s\"", "limit    = \"0.1 m/s\""));
    let trace = folder.join("run, 50 %: \"<&>\"\n.csv.gz");
    fs::copy(program::root().join(CLEAN), &trace).expect("a trace");
    let trace = trace.to_str().expect("text");
    let expected = written(
        &folder,
        "e.toml",
        &format!("[[no_trip]]\nmonitor = \"{name}\"\n[[trip]]\nmonitor = \"{name}\"\nto = \"0 s\"\n"),
    );
    let args = ["replay", trace, "--setup", &axis, "--expect", &expected];
    let output = cowitness(&[&args[..], &["--annotations", "--quiet"]].concat());
    assert_eq!(output.status.code(), Some(1), "{}", err(&output));
    let start = format!("::error file={expected}");
    assert!(out(&output).lines().count() > 2, "{}", out(&output));
    assert!(out(&output).lines().all(|line| line.starts_with(&start)), "{}", out(&output));
    assert!(err(&output).lines().all(|line| line.starts_with("missed: ")), "{}", err(&output));
    assert!(out(&output).contains("%0A::error file=other.c,line=1::100 %25"), "{}", out(&output));

    let output = cowitness(&[&args[..], &["--junit", "-"]].concat());
    let xml = out(&output);
    let escaped =
        "a &lt;b attr=&quot;1&quot;&gt;&amp;amp;]]&gt;\\u{7}&#10;::error file=other.c,line=1::100 %";
    assert!(xml.contains(&format!("name=\"a trip of `{escaped}` until 0.000000000 s\"")), "{xml}");
    assert!(xml.contains("run, 50 %: &quot;&lt;&amp;&gt;&quot;&#10;.csv.gz\" tests="), "{xml}");
    assert!(!xml.contains('\u{7}') && !xml.contains("<b "), "{xml}");

    // Another setup, whose columns it does not have.
    let clamp = "traces-demo/stack-clamp.setup.toml";
    let bare = cowitness(&["replay", trace, "--setup", clamp, "--annotations", "--quiet"]);
    assert_eq!(bare.status.code(), Some(2));
    assert_eq!(err(&bare).lines().count(), 1, "{}", err(&bare));
    let file = trace.replace('%', "%25").replace(':', "%3A").replace(',', "%2C").replace('\n', "%0A");
    assert!(out(&bare).starts_with(&format!("::error file={file}")), "{}", out(&bare));
    assert_eq!(out(&bare).lines().count(), 1);
    fs::remove_dir_all(folder).expect("the scratch folder");
}

#[test]
fn two_things_are_not_written_to_one_place_and_nothing_over_what_is_read() {
    let folder = scratch("places");
    let slip = folder.join("slip.csv.gz");
    fs::copy(program::root().join(SLIP), &slip).expect("a trace");
    let before = fs::read(&slip).expect("the trace");
    let (slip, out_file) = (slip.to_str().expect("text"), folder.join("out"));
    let out_file = out_file.to_str().expect("text");
    let roundabout = format!(
        "{}/../{}/out",
        folder.display(),
        folder.file_name().expect("a name").to_str().expect("text")
    );
    for (args, why) in [
        (vec!["--junit", slip], "is read in the same run and would be overwritten"),
        (vec!["--junit", "-", "--json", "-"], "named with --json and with --junit; name two files"),
        (vec!["--junit", out_file, "--json", out_file], "named with --json and with --junit; name two files"),
        (
            vec!["--junit", out_file, "--json", &roundabout],
            "named with --json and with --junit; name two files",
        ),
        (
            vec!["--junit", "-", "--annotations"],
            "annotations are printed to standard output, and --junit - too",
        ),
        (
            vec!["--json", "-", "--annotations"],
            "annotations are printed to standard output, and --json - too",
        ),
    ] {
        let output = replay(&[&[slip], &args[..]].concat());
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        assert!(err(&output).contains(why) && output.stdout.is_empty(), "{args:?}: {}", err(&output));
    }
    assert_eq!(fs::read(slip).expect("the trace"), before);
    assert!(!Path::new(out_file).exists());
    let nowhere = folder.join("nowhere/out.xml");
    let output = replay(&[slip, "--junit", nowhere.to_str().expect("text")]);
    assert_eq!(output.status.code(), Some(2));
    assert!(err(&output).contains("check the path given with --junit"), "{}", err(&output));
    fs::remove_dir_all(folder).expect("the scratch folder");
}

#[test]
fn a_trace_with_very_many_differences_has_its_first_ones_annotated_and_the_number_of_the_others() {
    let folder = scratch("many");
    // The rail jumps by 100 mm at every tenth row, which no machine can.
    let row = |i: u32| format!("0.{i:03},0,{},1,1,1,1,1,0,0\n", i / 10 % 2 * 100_000);
    let trace = written(&folder, "jumps.csv", &(COLUMNS.to_owned() + &(0..500).map(row).collect::<String>()));
    let output = replay(&[&trace, "--annotations", "--quiet"]);
    assert_eq!(output.status.code(), Some(1), "{}", err(&output));
    let lines = annotations(&output);
    assert_eq!(lines.len(), 21, "{lines:?}");
    assert!(lines[0].contains("fault `implausible` on channel b"), "{lines:?}");
    let json = cowitness(&["replay", &trace, "--setup", SETUP, "--json", "-"]);
    let json: serde_json::Value = serde_json::from_str(out(&json)).expect("JSON");
    let count = |list: &str| json[list].as_array().expect("a list").len();
    let more = count("trips") + count("faults") - 20;
    assert!(more > 1);
    assert_eq!(lines[20], format!("::error file={trace}::{more} differences more; see the report"));
    fs::remove_dir_all(folder).expect("the scratch folder");
}

#[test]
fn the_annotations_in_the_readme_are_those_of_its_command_with_another_time() {
    let folder = scratch("readme");
    let demo = "traces-demo/belt-slip.expected.toml";
    let text = fs::read_to_string(program::root().join(demo)).expect("the expectations of the demo");
    let other = text.replace("\"2.1444 s\"", "\"2 s\"").replace("\"2.1489 s\"", "\"2.1 s\"");
    assert_ne!(other, text);
    let expected = written(&folder, "e.toml", &other);
    let output = replay(&[SLIP, "--expect", &expected, "--annotations", "--quiet"]);
    let readme = fs::read_to_string(program::root().join("README.md")).expect("the README");
    let lines = out(&output).replace(&expected, demo);
    assert_eq!(lines.lines().count(), 2, "{lines}");
    assert!(readme.contains(&format!("```text\n{lines}```")), "{lines}");
    let met = replay(&[SLIP, "--expect", demo, "--annotations", "--quiet"]);
    assert_eq!((met.status.code(), out(&met)), (Some(0), ""));
    fs::remove_dir_all(folder).expect("the scratch folder");
}
