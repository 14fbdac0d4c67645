//! `--html` of `cowitness replay` and `cowitness explain`, as files; what a browser makes of them is looked at elsewhere.

mod program;

use std::fs;
use std::path::{Path, PathBuf};

use program::{cowitness, err, out, program, root};

const SETUP: &str = "traces-demo/shuttle.toml";

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("html").join(name);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).expect("a scratch folder");
    folder
}

fn trace(name: &str) -> String {
    format!("traces-demo/{name}.csv.gz")
}

fn shown(path: &Path) -> &str {
    path.to_str().expect("text")
}

#[test]
fn a_replay_writes_its_page_beside_its_report_and_ends_as_without() {
    let page = folder("replay").join("page.html");
    let trace = trace("belt-slip");
    let plain = cowitness(&["replay", &trace, "--setup", SETUP]);
    let output = cowitness(&["replay", &trace, "--setup", SETUP, "--html", shown(&page)]);
    assert_eq!(output.status.code(), Some(1), "{}", err(&output));
    assert_eq!(out(&output), out(&plain), "the report is the same");
    let text = fs::read_to_string(&page).expect("the page");
    for part in [
        "TRIPPED",
        "RIGHT (of trip 1): Slip: channel a gained",
        "not a certified safety component",
        "<h2>Where the channels part</h2>",
        "discrepancy.tolerance",
        "title = &quot;Tile kiln, transfer shuttle (invented)&quot;",
    ] {
        assert!(text.contains(part), "{part}");
    }
}

/// What a page says of the bytes of a trace.
fn identity(bytes: &[u8]) -> String {
    let mut crc = flate2::Crc::new();
    crc.update(bytes);
    format!("{} bytes, CRC-32 {:08x}", bytes.len(), crc.sum())
}

#[test]
fn a_page_names_the_trace_by_its_length_and_checksum_and_the_setup_by_its_own() {
    let page = folder("evidence").join("page.html");
    let trace = trace("clean-run");
    let json = cowitness(&["replay", &trace, "--setup", SETUP, "--html", shown(&page), "--json", "-"]);
    let report: serde_json::Value = serde_json::from_str(out(&json)).expect("JSON");
    let text = fs::read_to_string(&page).expect("the page");
    let bytes = fs::read(root().join(&trace)).expect("the trace");
    // The checksum that gzip itself ends with is of what is inside; this one is of the file as it is.
    assert!(text.contains(&identity(&bytes)));
    assert!(text.contains(report["setup"]["checksum"].as_str().expect("a checksum")));
}

#[test]
fn a_trace_that_came_in_by_standard_input_is_named_by_its_bytes_too() {
    let page = folder("piped").join("page.html");
    let path = root().join(trace("belt-slip"));
    let bytes = fs::read(&path).expect("the trace");
    for command in ["replay", "explain"] {
        let mut program = program(&[command, "-", "--setup", SETUP, "--html", shown(&page)]);
        let input = fs::File::open(&path).expect("the trace");
        let output = program.stdin(input).output().expect("the program");
        assert_eq!(output.status.code(), Some(1), "{}", err(&output));
        let text = fs::read_to_string(&page).expect("the page");
        assert!(text.contains(&identity(&bytes)), "{command}");
    }
}

#[test]
fn explaining_another_trip_writes_a_page_about_that_one() {
    let page = folder("explain").join("page.html");
    let trace = trace("overspeed-door-open");
    let output = cowitness(&["explain", &trace, "--setup", SETUP, "--trip", "2", "--html", shown(&page)]);
    assert_eq!(output.status.code(), Some(1), "{}", err(&output));
    let text = fs::read_to_string(&page).expect("the page");
    assert!(text.contains("(of trip 2)") && text.contains("\"opens\":{\"trip\":1}"), "it opens on it");
    let trace = self::trace("rail-cable-fault");
    let output = cowitness(&["explain", &trace, "--setup", SETUP, "--fault", "1", "--html", shown(&page)]);
    assert_eq!(output.status.code(), Some(1), "{}", err(&output));
    let text = fs::read_to_string(&page).expect("the page");
    assert!(text.contains("(of fault 1)") && text.contains("\"opens\":{\"fault\":0}"), "it opens on it");
}

#[test]
fn a_page_tells_which_fault_demanded_what_tripped_and_what_took_the_permit_again() {
    let page = folder("further").join("page.html");
    let text = |name: &str| {
        cowitness(&["replay", &trace(name), "--setup", SETUP, "--html", shown(&page)]);
        fs::read_to_string(&page).expect("the page")
    };
    let sticks = text("door-contact-sticks");
    let (before, further) =
        sticks.split_once("<h3>What demanded it at 2.503 s</h3>").expect("the fault, too");
    assert!(before.contains("(of trip 1)"));
    for part in [
        "(of fault 1): The lines of &quot;door&quot; disagree: door_2 changed at 2.0 s, door_1 stayed high",
        "door_2 goes low; door_1 stays high",
        "<td>door_2 goes high</td>",
        "a reset is refused: an input is faulted; both lines of &quot;door&quot; have to be seen demanding first",
    ] {
        assert!(further.contains(part), "{part}");
    }
    let cable = text("rail-cable-fault");
    let (before, further) =
        cable.split_once("<h3>The permit went again at 5.001 s</h3>").expect("the second");
    assert!(before.contains("(of fault 1)"));
    assert!(further.contains("(of fault 2): Channel b jumped by +5.0001 mm from one reading to the next."));
    assert!(further.contains("the same source is faulted again at 5.031 s (fault 3)"));
    // The third took nothing: the permit was gone.
    assert!(!further.contains("(of fault 3)"));
    for alone in ["belt-slip", "clean-run"] {
        let text = text(alone);
        assert!(!text.contains("What demanded it") && !text.contains("went again"), "{alone}");
    }
}

#[test]
fn a_page_tells_what_each_channel_says() {
    let page = folder("witnesses").join("page.html");
    cowitness(&["replay", &trace("motor-encoder-sticks"), "--setup", SETUP, "--html", shown(&page)]);
    let text = fs::read_to_string(&page).expect("the page");
    let told = text.split_once("<h2>What each channel says</h2>").expect("the witnesses").1;
    assert!(told.contains("<td>speed then, mm/s</td>") && told.contains("<li>a alone, "));
}

#[test]
fn gaps_of_the_trace_are_told_in_words() {
    let folder = folder("gaps");
    let (page, trace) = (folder.join("page.html"), folder.join("gaps.csv"));
    let mut rows =
        "time,motor_count,rail_count,rail_valid,door_1,door_2,estop_1,estop_2,at_loading,reset\n".to_owned();
    for row in 0..900_u64 {
        let millis = row + 500 * (row / 300);
        rows += &format!("{}.{:03},1000,500,1,1,1,1,1,0,0\n", millis / 1000, millis % 1000);
    }
    fs::write(&trace, rows).expect("a scratch file");
    let output = cowitness(&["replay", shown(&trace), "--setup", SETUP, "--html", shown(&page)]);
    let told = out(&output).lines().filter(|line| line.contains("no row from")).count();
    let text = fs::read_to_string(&page).expect("the page");
    assert_eq!((told, text.matches("<li>no row from").count()), (2, 2), "{}", out(&output));
    assert!(text.contains("<p>2 gaps: ") && text.contains("no row from 0.299 s to 0.8 s"));
}

#[test]
fn several_traces_need_a_folder_and_get_a_page_each() {
    let folder = folder("several");
    let (one, other) = (trace("belt-slip"), trace("clean-run"));
    let output = cowitness(&["replay", &one, &other, "--setup", SETUP, "-q", "--html", shown(&folder)]);
    assert_eq!(output.status.code(), Some(1), "{}", err(&output));
    for name in ["belt-slip.csv.gz.html", "clean-run.csv.gz.html"] {
        assert!(folder.join(name).is_file(), "{name}");
    }
    let list = fs::read_to_string(folder.join("index.html")).expect("the list");
    for part in [
        "<a href=\"./belt-slip.csv.gz.html\">traces-demo/belt-slip.csv.gz</a></td><td>\u{25bc} TRIPPED</td><td>stopped by discrepancy</td>",
        "<a href=\"./clean-run.csv.gz.html\">traces-demo/clean-run.csv.gz</a></td><td>\u{2713} CLEAR</td><td>stopped as planned by emergency stop</td>",
    ] {
        assert!(list.contains(part), "{part}: {list}");
    }
    let missing = folder.join("missing");
    let output = cowitness(&["replay", &one, &other, "--setup", SETUP, "--html", shown(&missing)]);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        err(&output).contains("is no folder; for several traces --html takes a folder"),
        "{}",
        err(&output)
    );
    let output = cowitness(&["replay", &one, &one, "--setup", SETUP, "--html", shown(&folder)]);
    assert_eq!(output.status.code(), Some(2));
    assert!(err(&output).contains("the files of two traces would have this name"), "{}", err(&output));
}

#[test]
fn the_list_of_pages_says_which_trace_has_none_and_its_name_is_not_taken_by_a_page() {
    let folder = folder("listed");
    let (good, bad, index) = (trace("belt-slip"), folder.join("bad.csv"), folder.join("index"));
    fs::write(&bad, "time,nothing\n0,0\n").expect("a scratch file");
    let output = cowitness(&["replay", &good, shown(&bad), "--setup", SETUP, "-q", "--html", shown(&folder)]);
    assert_eq!(output.status.code(), Some(2), "{}", err(&output));
    let list = fs::read_to_string(folder.join("index.html")).expect("the list");
    assert!(
        list.contains("<p>1 trace</p>") && list.contains("no page: ") && list.contains("bad.csv"),
        "{list}"
    );
    fs::copy(root().join(&good), &index).expect("a scratch file");
    let output =
        cowitness(&["replay", &good, shown(&index), "--setup", SETUP, "-q", "--html", shown(&folder)]);
    assert_eq!(output.status.code(), Some(2));
    assert!(err(&output).contains("the list of all pages has this name"), "{}", err(&output));
}

#[test]
fn a_page_goes_to_standard_output_alone_and_never_over_what_is_read() {
    let trace = trace("clean-run");
    let output = cowitness(&["replay", &trace, "--setup", SETUP, "--html", "-"]);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert!(out(&output).starts_with("<!doctype html>") && out(&output).ends_with("</html>\n"));
    for command in ["replay", "explain"] {
        let output = cowitness(&[command, &trace, "--setup", SETUP, "--html", "-", "--json", "-"]);
        assert_eq!(output.status.code(), Some(2));
        assert!(err(&output).contains("name two files"), "{}", err(&output));
        let output = cowitness(&[command, &trace, "--setup", SETUP, "--html", SETUP]);
        assert_eq!(output.status.code(), Some(2));
        assert!(err(&output).contains("would be overwritten"), "{}", err(&output));
    }
}
