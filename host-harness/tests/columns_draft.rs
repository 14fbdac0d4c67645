//! Drafts of setups by `cowitness columns --draft`: what is guessed, what is left to fill in, and that no limit is ever in one.

mod column_files;
mod program;

use std::fmt::Write as _;
use std::fs;

use column_files::{mdf, scratch};
use host_harness::setup::Setup;
use program::{cowitness, err, out, root};

/// Fills in one line after the other, as its remark asks, and looks at what the setup is refused for in between.
fn fill_in(draft: &str, name: &str) -> String {
    let values = [
        ("unit", "\"s\""),
        ("counter_bits", "32"),
        ("unit_per_count", "\"0.001 mm\""),
        ("column_unit", "\"mm\""),
        ("max_speed", "\"1 m/s\""),
        ("timeout", "\"20 ms\""),
        ("window", "\"8 ms\""),
        ("discrepancy_time", "\"500 ms\""),
    ];
    let mut text = draft.to_owned();
    // Those that stand in a comment of their own; the head of a draft tells of them, too.
    while let Some(at) = text.find("\n# FILL IN: ").map(|at| at + 1) {
        if text[at..].starts_with("# FILL IN: one section") {
            break;
        }
        let line = text[at..].lines().next().expect("a line").to_owned();
        let key = line.trim_start_matches("# FILL IN: ").split(' ').next().expect("a key").to_owned();
        let error = Setup::parse(&text, name).expect_err("something is missing");
        let named =
            error.diagnostics().iter().any(|one| format!("{} {}", one.message, one.way_out).contains(&key));
        assert!(named, "nothing asks for {key}:\n{error}");
        let value =
            values.iter().find(|(known, _)| *known == key).unwrap_or_else(|| panic!("no value for {key}")).1;
        text = text.replacen(&line, &format!("{key} = {value}"), 1);
    }
    if text.contains("demand = \"\"   # FILL IN") {
        let error = Setup::parse(&text, name).expect_err("the level of a demand is not known");
        let named = error.diagnostics().iter().any(|one| one.message.contains("demand"));
        assert!(named, "nothing asks for the demand:\n{error}");
        text = text.replace("demand = \"\"   # FILL IN", "demand = \"high\"   # filled in");
    }
    let error = Setup::parse(&text, name).expect_err("nothing is watched");
    let messages: Vec<&str> = error.diagnostics().iter().map(|one| one.message.as_str()).collect();
    assert_eq!(
        messages,
        ["the setup watches nothing: it has no monitor, no discrepancy and no analogue value"],
        "{text}"
    );
    text + "\n[[monitor]]\nname = \"fast\"\nkind = \"speed-limit\"\nlimit = \"0.9 m/s\"\n"
}

#[test]
fn a_draft_is_refused_for_what_it_leaves_to_fill_in_and_replays_once_that_is_done() {
    for demo in ["overspeed-door-open", "counter-wrap", "clean-run", "asynchronous-readings"] {
        let trace = format!("traces-demo/{demo}.csv.gz");
        let path = scratch(&format!("{demo}.toml"));
        let _ = fs::remove_file(&path);
        let path = path.to_str().expect("a path");
        let output = cowitness(&["columns", &trace, "--draft", path]);
        assert_eq!((output.status.code(), err(&output)), (Some(0), ""));
        let draft = fs::read_to_string(path).expect("the draft");
        let refused = cowitness(&["replay", &trace, "--setup", path]);
        assert_eq!(refused.status.code(), Some(2));
        let first = err(&refused).lines().next().unwrap_or_default();
        assert!(
            first.starts_with("error: the setup watches nothing: it has no monitor"),
            "{}",
            err(&refused)
        );
        let filled = fill_in(&draft, demo);
        fs::write(path, filled).expect("the setup");
        let output = cowitness(&["replay", &trace, "--setup", path, "--quiet"]);
        assert!(matches!(output.status.code(), Some(0 | 1)), "{demo}: {}", err(&output));
        let again = cowitness(&["columns", &trace, "--draft", path]);
        assert_eq!(again.status.code(), Some(2));
        assert!(
            err(&again).ends_with(".toml: is there already; name a new file for the draft\n"),
            "{}",
            err(&again)
        );
    }
}

#[test]
fn a_draft_names_two_positions_their_lines_and_what_else_the_levels_may_be() {
    let output = cowitness(&["columns", "traces-demo/overspeed-door-open.csv.gz", "--draft", "-"]);
    let draft = out(&output);
    for expected in [
        "\n[channel.a]\ncolumn = \"motor_count\"   # GUESS",
        "\n[channel.b]\ncolumn = \"rail_count\"   # GUESS",
        "\n[input.door]\ncolumns = [\"door_1\", \"door_2\"]   # GUESS by their names\npairing = \"equivalent\"   # GUESS: so in 39936 of 40000 rows\n",
        "\n[input.estop]\ncolumns = [\"estop_1\", \"estop_2\"]   # GUESS by their names\npairing = \"antivalent\"   # GUESS",
        "\n[input.at_loading]\ncolumns = [\"at_loading\"]   # GUESS",
        "\n# \"rail_valid\"   # GUESS: the `valid_column` of a channel\n",
        "\n# \"reset\"   # GUESS: the `column` of a section [reset]\n",
    ] {
        assert!(draft.contains(expected), "{expected}\n{draft}");
    }
    // Every setting that is not left out is a guess, or stands in the file.
    let settings = draft.lines().filter(|line| line.contains(" = ") && !line.starts_with('#'));
    for line in settings {
        assert!(line.contains("# GUESS") || line.starts_with("demand = \"\"   # FILL IN: "), "{line}");
    }
}

#[test]
fn a_draft_leaves_the_level_of_a_demand_to_fill_in_and_names_the_columns_that_it_does_not_use() {
    let mut text = "time [s],pos_mm,count,torque [Nm],guard,speed\n".to_owned();
    for row in 0..50_i64 {
        let _ = writeln!(text, "{row},{row}.5,{row},{},{},7", row % 7, row % 2);
    }
    let path = scratch("left-over.csv");
    fs::write(&path, text).expect("a file");
    let output = cowitness(&["columns", path.to_str().expect("a path"), "--draft", "-"]);
    let draft = out(&output);
    for expected in [
        "\nunit  = \"mm\"   # GUESS: a column is in mm\n",
        "\n[channel.a]\ncolumn = \"pos_mm\"   # GUESS by its name and values: which source is it?\ncolumn_unit = \"mm\"   # GUESS",
        "\n[channel.b]\ncolumn = \"count\"",
        "\n[input.guard]\ncolumns = [\"guard\"]   # GUESS by its values\ndemand = \"\"   # FILL IN: the level",
        "\n# Columns of the file that this draft does not use:\n#   \"torque [Nm]\"\n#   \"speed\"\n",
    ] {
        assert!(draft.contains(expected), "{expected}\n{draft}");
    }
    let error = Setup::parse(draft, "left-over").expect_err("the demand is not known");
    let messages: Vec<&str> = error.diagnostics().iter().map(|one| one.message.as_str()).collect();
    assert!(messages.iter().any(|message| message.contains("demand")), "{messages:?}");
}

#[test]
fn a_draft_never_holds_a_limit() {
    let word = |line: &str| line.split(['=', '#']).next().unwrap_or_default().trim().to_owned();
    for entry in fs::read_dir(root().join("traces-demo")).expect("the demos") {
        let path = entry.expect("an entry").path();
        let name = path.to_str().expect("a path").to_owned();
        if !name.ends_with(".csv.gz") {
            continue;
        }
        let output = cowitness(&["columns", &name, "--draft", "-"]);
        assert_eq!(output.status.code(), Some(0), "{}", err(&output));
        let keys: Vec<String> = out(&output).lines().map(word).filter(|key| !key.is_empty()).collect();
        let known = [
            "title",
            "unit",
            "column",
            "counter_bits",
            "column_unit",
            "sparse",
            "columns",
            "pairing",
            "demand",
        ];
        for key in keys {
            assert!(key.starts_with('[') || known.contains(&key.as_str()), "{name}: {key}");
            assert!(!key.starts_with("[["), "{name}: {key}");
        }
    }
}

#[test]
fn units_and_a_wrap_make_guesses_and_odd_names_are_written_so_that_they_load() {
    let mut text = "time [ms];pos \"x\" [um];b\\c \u{e4};not here;d'oor A;d'oor B;one two\n"
        .replace("pos \"x\" [um]", "\"pos \"\"x\"\" [um]\"");
    for row in 0..300_i64 {
        let wrapped = (row * 1000) % 65_536;
        let _ = writeln!(text, "{row},5;{row},25;{wrapped};{};{};{};1", row % 2, row % 2, (row + 1) % 2);
    }
    let path = scratch("odd-names.csv");
    fs::write(&path, text).expect("a file");
    let output = cowitness(&["columns", path.to_str().expect("a path"), "--draft", "-"]);
    let draft = out(&output);
    for expected in [
        "unit = \"ms\"   # GUESS",
        "column_unit = \"um\"   # GUESS",
        "counter_bits = 16   # GUESS: the values go from 0 to",
        "pairing = \"antivalent\"   # GUESS: so in 300 of 300 rows",
    ] {
        assert!(draft.contains(expected), "{expected}\n{draft}");
    }
    let filled = fill_in(draft, "odd-names");
    let setup = Setup::parse(&filled, "odd-names").unwrap_or_else(|error| panic!("{error}\n{filled}"));
    assert_eq!((setup.a.column.as_str(), setup.b.column.as_str()), ("pos \"x\" [um]", "b\\c \u{e4}"));
    let names: Vec<&str> = setup.inputs.iter().map(|input| input.name.as_str()).collect();
    assert_eq!(names, ["input not here", "d'oor", "one two"]);
}

#[test]
fn a_trace_without_positions_or_time_gives_a_draft_that_says_so() {
    let path = scratch("words.csv");
    fs::write(&path, "x,y\nred,blue\nred,green\n").expect("a file");
    let output = cowitness(&["columns", path.to_str().expect("a path"), "--draft", "-"]);
    let draft = out(&output);
    assert!(
        draft.contains("# FILL IN: column = \"...\"   # no column looks like the time of the rows"),
        "{draft}"
    );
    assert!(
        draft.contains("# FILL IN: column = \"...\"   # no further column looks like a position"),
        "{draft}"
    );
    let error = Setup::parse(draft, "words").expect_err("nothing is known");
    assert!(error.to_string().starts_with("words:"), "{error}");
    assert_eq!(error.diagnostics()[1].message, "[time] has no `column`", "{error}");
}

#[test]
fn a_draft_of_an_mdf_file_takes_all_columns_from_one_group() {
    let path = scratch("draft.mf4");
    fs::write(&path, mdf()).expect("a file");
    let output = cowitness(&["columns", path.to_str().expect("a path"), "--draft", "-"]);
    for expected in [
        "\n# all columns are of group fast, because those of one setup must have the same rows\n",
        "\ncolumn = \"fast/t\"   # the file says so\nunit = \"s\"",
        "\n[channel.a]\ncolumn = \"motor\"   # GUESS",
        "\n[channel.b]\ncolumn = \"rail\"   # GUESS",
        "\n[input.door]\ncolumns = [\"door\"]   # GUESS",
    ] {
        assert!(out(&output).contains(expected), "{expected}\n{}", out(&output));
    }
}
