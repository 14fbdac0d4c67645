//! `cowitness margins` as a user meets it: findings, exit status, messages, both reports.

mod program;

use std::path::Path;
use std::process::Output;

use program::{cowitness, err, out, root};
use serde_json::Value;

/// An invented axis without a word about its machine.
const BARE: &str = r#"
title = "Slide, invented"
unit  = "mm"
[time]
column = "time"
unit   = "s"
[channel.a]
column         = "motor"
counter_bits   = 32
unit_per_count = "0.001 mm"
max_speed      = "2 m/s"
timeout        = "4 ms"
[channel.b]
column         = "rail"
counter_bits   = 24
unit_per_count = "0.005 mm"
max_speed      = "2 m/s"
timeout        = "4 ms"
[speed]
window = "4 ms"
[discrepancy]
tolerance        = "0.1 mm"
discrepancy_time = "10 ms"
[input.gate]
columns          = ["gate_1", "gate_2"]
pairing          = "equivalent"
demand           = "low"
filter           = "3 ms"
discrepancy_time = "500 ms"
[[monitor]]
name     = "fast"
kind     = "speed-limit"
limit    = "1 m/s"
on_delay = "4 ms"
[[monitor]]
name   = "stop at the gate"
kind   = "torque-off"
demand = ["gate"]
"#;

/// What it is like. By hand, for the findings below:
///
/// - "fast" allows 1 m/s and runs at 0.995; channel b shows 0.005 mm / 4 ms = 1.25 mm/s a count and 2 x 0.01 mm / 4 ms = 5 mm/s of noise: 1.25 mm/s too
///   much.
/// - The gate takes 1 ms, 3 ms of filter, 1 ms, then 20 ms, a brake delay of 50 ms and some 1.6 m/s over 2 m/s² to a standstill; it is 0.5 m
///   away.
const MACHINE: &str = r#"
[machine]
frame_period           = "1 ms"
operating_speed        = "995 mm/s"
operating_acceleration = "1 m/s^2"
max_acceleration       = "10 m/s^2"
max_travel             = "1 m"
drive_delay            = "5 ms"
output_delay           = "20 ms"
brake_delay            = "50 ms"
brake_deceleration     = "2 m/s^2"
overtravel             = "200 mm"
[sensors]
time_skew   = "0 ms"
scale_error = "0 ppm"
compliance  = { by = "0 mm", per = "1 m/s^2" }
backlash    = "0 mm"
drift       = "0 mm"
a = { jitter = "0 ms", noise = "0 mm", eccentricity = { amplitude = "0 mm", period = "1 mm" } }
b = { jitter = "0 ms", noise = "0.01 mm", eccentricity = { amplitude = "0 mm", period = "1 mm" } }
[contacts]
spread     = "20 ms"
test_pulse = "1 ms"
[approach]
way            = "normal"
input          = "gate"
resolution     = "30 mm"
distance       = "0.5 m"
detection_time = "10 ms"
"#;

/// Keeps a setup under a name of its own and asks for its margins.
fn margins(name: &str, setup: &str, more: &[&str]) -> Output {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("margins");
    std::fs::create_dir_all(&folder).expect("a folder");
    let path = folder.join(format!("{name}.toml"));
    std::fs::write(&path, setup).expect("a setup");
    let path = path.display().to_string();
    cowitness(&[&["margins", "--setup", &path], more].concat())
}

/// The text with every run of blanks as one: paragraphs are broken into lines.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn json(output: &Output) -> Value {
    serde_json::from_str(out(output)).unwrap_or_else(|error| panic!("{error}: {}", out(output)))
}

#[test]
fn the_demo_has_room_for_everything_and_exits_with_0() {
    let output = cowitness(&["margins", "--setup", "traces-demo/shuttle.toml"]);
    assert_eq!(output.status.code(), Some(0), "{}", out(&output));
    assert!(out(&output).contains("nothing trips for nothing or reacts too late"), "{}", out(&output));
    assert!(!out(&output).to_lowercase().contains("not known"), "{}", out(&output));
    assert!(!out(&output).contains("NOT FINE"), "{}", out(&output));
}

#[test]
fn a_monitor_that_trips_for_nothing_and_ones_that_are_too_late_are_named_and_exit_with_1() {
    let output = margins("findings", &format!("{BARE}{MACHINE}"), &[]);
    assert_eq!(output.status.code(), Some(1), "{}{}", out(&output), err(&output));
    let text = flat(out(&output));
    for finding in [
        "TRIPS FOR NOTHING `limit` of \"fast\" (channel b) is 1000 mm/s, and ordinary operation needs 1001.3 mm/s",
        "TOO LATE \"fast\" (channel a): ",
        "until the axis stands, from a speed that leaves its limits, and `overtravel` is 200 mm",
        "TOO LATE a person comes by \"gate\": ",
        "are needed, and there are 0.5 m",
    ] {
        assert!(text.contains(finding), "`{finding}` is not in {}", out(&output));
    }
    assert!(!text.contains("`limit` of \"fast\" (channel a) is"), "channel a is fine enough");
    assert!(out(&output).trim_end().ends_with("practice decide."), "the caution");
}

#[test]
fn without_a_word_about_the_machine_all_that_can_be_said_is_said_and_what_is_missing_is_named() {
    let output = margins("bare", BARE, &["--period", "1 ms"]);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    let text = flat(out(&output));
    for said in
        ["frames at most 1 ms apart (as given)", "1.25 mm/s a count over 4 ms", "on-delay 4 ms", "[approach]"]
    {
        assert!(text.contains(said), "`{said}` is not in {}", out(&output));
    }
    for key in
        ["`operating_speed`", "`max_acceleration`", "`noise`", "`backlash`", "`spread`", "`overtravel`"]
    {
        assert!(text.contains(key), "{key} is missing and not named in {}", out(&output));
    }
    let unsaid = margins("unsaid", BARE, &[]);
    assert_eq!(unsaid.status.code(), Some(0), "{}", out(&unsaid));
    let text = flat(out(&unsaid));
    assert!(
        text.contains("frames at most 4 ms apart (no period is given, and only the timeout bounds it)"),
        "{text}"
    );
}

/// What the findings say, each line flat.
fn findings(output: &Output) -> String {
    let (_, rest) = out(output).split_once("\nFindings\n").expect("findings");
    flat(rest.split("\n\n").next().expect("their end"))
}

#[test]
fn what_is_not_known_is_said_first_and_nothing_sounds_fine_where_nothing_is_known() {
    let shuttle = std::fs::read_to_string(root().join("traces-demo/shuttle.toml")).expect("the demo");
    let (silent, machine) = shuttle.split_once("[machine]").expect("what its machine is like");
    let output = margins("silent", silent, &[]);
    assert_eq!(output.status.code(), Some(0), "nothing is found: {}", out(&output));
    let said = findings(&output);
    assert!(
        said.starts_with("NOT KNOWN for 20 of 20 settings whether ordinary operation has room NOT KNOWN"),
        "{said}"
    );
    assert!(said.contains("NOT KNOWN whether a rule reacts too late, for 6 of 6"), "{said}");
    assert!(!said.contains("nothing trips") && !said.contains("have room"), "{said}");
    // The counts are those of the JSON.
    let report = json(&margins("silent", silent, &["--json", "-"]));
    let settings = report["settings"].as_array().expect("settings");
    assert!(settings.len() == 20 && settings.iter().all(|one| one["finding"] == "unknown"), "{settings:?}");
    // In part: what the contacts are like, and the machine.
    let (machine, _) = machine.split_once("[machine.operating_speeds]").expect("its speeds");
    let contacts = "[contacts]\nspread = \"80 ms\"\ntest_pulse = \"1 ms\"\n";
    let output = margins("partly", &format!("{silent}[machine]{machine}{contacts}"), &[]);
    let report = json(&margins("partly", &format!("{silent}[machine]{machine}{contacts}"), &["--json", "-"]));
    let settings = report["settings"].as_array().expect("settings");
    let fine = settings.iter().filter(|one| one["finding"] == "fine").count();
    let unknown = settings.iter().filter(|one| one["finding"] == "unknown").count();
    assert!(fine > 0 && unknown > 0 && fine + unknown == settings.len(), "{settings:?}");
    let first = format!(
        "NOT KNOWN for {unknown} of {} settings whether ordinary operation has room; {fine} are known",
        settings.len()
    );
    assert!(findings(&output).starts_with(&first), "{}", findings(&output));
}

#[test]
fn settings_with_room_are_not_read_as_all_fine_where_ways_are_too_long() {
    let shuttle = std::fs::read_to_string(root().join("traces-demo/shuttle.toml")).expect("the demo");
    let short = shuttle.replace("overtravel             = \"350 mm\"", "overtravel = \"100 mm\"");
    assert_ne!(short, shuttle);
    let output = margins("short", &short, &[]);
    assert_eq!(output.status.code(), Some(1));
    let said = findings(&output);
    assert_eq!(said.matches("TOO LATE").count(), 6, "{said}");
    assert!(
        said.ends_with("NOT FINE 6 ways too long; 22 of 22 settings have room for ordinary operation"),
        "{said}"
    );
    assert!(!said.contains("nothing trips"), "{said}");
}

/// The least margin, in mm/s, with which the ramp of the shuttle never trips on a drive that speeds up until 12 ms after the demand, while
/// channel B is read so late; and the margin that is said to be needed for that channel.
fn least_margin(latency: &str, timeout: &str) -> (f64, f64) {
    let folder =
        Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("margins-late-{latency}").replace(' ', ""));
    std::fs::create_dir_all(&folder).expect("a folder");
    let kept = |name: &str, text: &str| {
        std::fs::write(folder.join(name), text).expect("a file");
        folder.join(name).display().to_string()
    };
    let demo = std::fs::read_to_string(root().join("traces-demo/soft-braking.toml")).expect("the demo");
    let (_, encoders) = demo.split_once("[encoder.a]").expect("encoders");
    let (encoders, _) = encoders.split_once("[[input]]").expect("inputs");
    let encoders = encoders.replace("\"0.25 ms\"", &format!("\"{latency}\""));
    let line = |column: &str, initial: u8, events: &str| {
        format!("[[input]]\ncolumn = \"{column}\"\ninitial = {initial}\n{events}")
    };
    let opens = "events = [{ at = \"1.186 s\", level = 0 }]\n";
    let scenario = format!(
        "title = \"The door opens while the shuttle speeds up\"\nseed = 3\nunit = \"mm\"\nduration = \"2 s\"\nrate = \"1 kHz\"\n\
         [motion]\nspeed = \"800 mm/s\"\nacceleration = \"2 m/s^2\"\njerk = \"2000 m/s^3\"\n\
         [[move]]\nat = \"1 s\"\nspeed = \"400 mm/s\"\n\
         [[move]]\nat = \"1.25 s\"\nspeed = \"200 mm/s\"\nacceleration = \"2.5 m/s^2\"\n\
         [encoder.a]{encoders}{}{}{}{}{}{}",
        line("door_1", 1, opens),
        line("door_2", 1, opens),
        line("estop_1", 1, ""),
        line("estop_2", 0, ""),
        line("at_loading", 0, ""),
        line("reset", 0, ""),
    );
    let scenario = kept("late.toml", &scenario);
    let trace = folder.join("late.csv").display().to_string();
    let made = cowitness(&["synth", &scenario, "--out", &trace, "--quiet"]);
    assert!(made.status.success(), "{}", err(&made));
    let shuttle = std::fs::read_to_string(root().join("traces-demo/shuttle.toml")).expect("the demo");
    let (first, rest) = shuttle.split_once("[channel.b]").expect("a channel");
    let rest = rest.replacen("\"0.25 ms\"", &format!("\"{latency}\""), 1);
    let rest = rest.replacen("\"4 ms\"", &format!("\"{timeout}\""), 1);
    let rest = rest.replacen("[discrepancy]", "[discrepancy]\nalign = true", 1);
    let setup = kept("axis.toml", &format!("{first}[channel.b]{rest}"));
    let vary = "monitor.'slow while the door is open'.ramp.margin=20 mm/s..60 mm/s step 0.5 mm/s";
    let swept = json(&cowitness(&["sweep", &trace, "--setup", &setup, "--vary", vary, "--json", "-"]));
    let points = swept["points"].as_array().expect("points");
    let trips = |point: &&Value| point["all"]["trips"] != 0;
    let tripped = points.iter().rfind(trips).expect("one that trips");
    let text = tripped["values"][0].as_str().expect("a value").trim_end_matches(" mm/s");
    let said = json(&cowitness(&["margins", "--setup", &setup, "--json", "-"]));
    let needed = said["settings"].as_array().expect("settings").iter().find(|one| {
        one["key"] == "margin" && one["of"] == "slow while the door is open" && one["channel"] == "b"
    });
    (
        text.parse::<f64>().expect("a number") + 0.5,
        needed.expect("the margin")["needed"].as_f64().expect("a number"),
    )
}

/// By v = a t: a reading that is later by 3.775 ms shows, at 2 m/s², 7.55 mm/s more after the demand than before it. `align` is for the
/// difference of positions; it does not bring a speed forward.
#[test]
fn a_known_latency_takes_room_in_the_margin_of_a_ramp_as_a_replay_shows() {
    let (prompt, prompt_said) = least_margin("0.25 ms", "4 ms");
    let (late, late_said) = least_margin("4.025 ms", "7.775 ms");
    assert!((late_said - prompt_said - 7.55).abs() < 0.01, "{prompt_said} and {late_said} mm/s are said");
    assert!((late - prompt - 7.55).abs() <= 0.5, "{prompt} and {late} mm/s are the least");
    assert!(prompt <= prompt_said && late <= late_said, "{prompt} of {prompt_said}, {late} of {late_said}");
    assert!(late > 30.0, "a margin is needed: {late} mm/s");
}

#[test]
fn a_tolerance_below_what_two_right_sensors_come_apart_by_trips_for_nothing() {
    // 100 ppm of 1 m are 0.1 mm, and the counts come on top.
    let machine = MACHINE.replace("scale_error = \"0 ppm\"", "scale_error = \"0.01 %\"");
    let output = margins("scale", &format!("{BARE}{machine}"), &[]);
    let text = flat(out(&output));
    let finding = "`tolerance` of [discrepancy] is 0.1 mm, and ordinary operation needs 0.126 mm";
    assert!(text.contains(finding), "{}", out(&output));
}

#[test]
fn a_filter_that_is_longer_than_the_discrepancy_time_is_told_as_a_slip() {
    let setup = BARE.replace("filter           = \"3 ms\"", "filter = \"3 s\"");
    let output = margins("slip", &setup, &["--period", "1 ms"]);
    assert_eq!(output.status.code(), Some(1), "{}", out(&output));
    let text = flat(out(&output));
    assert!(
        text.contains("A SLIP? `discrepancy_time` of [input.gate] is 500 ms, and the filter is longer"),
        "{text}"
    );
}

#[test]
fn the_text_has_80_columns() {
    let with = margins("columns", &format!("{BARE}{MACHINE}"), &[]);
    let demo = cowitness(&["margins", "--setup", "traces-demo/every-function.setup.toml"]);
    let clamp = cowitness(&["margins", "--setup", "traces-demo/shuttle.toml"]);
    for line in [&with, &demo, &clamp].into_iter().flat_map(|output| out(output).lines()) {
        // The first lines hold a path that is as long as it is.
        let is_path = line.contains(".toml");
        assert!(is_path || line.chars().count() <= 80, "{} columns: {line}", line.chars().count());
    }
}

/// A decimal as a whole number of units of 10⁻³⁰; none has more places.
fn exact(number: &Value) -> i128 {
    let text = number.to_string();
    let (whole, places) = text.split_once('.').unwrap_or((&text, ""));
    assert!(places.len() <= 24, "{text}");
    let sign = if whole.starts_with('-') { -1 } else { 1 };
    let whole: i128 = whole.parse().expect("digits");
    let part: i128 = format!("{places:0<24}").parse().expect("digits");
    whole * 10_i128.pow(24) + sign * part
}

#[test]
fn the_terms_of_the_json_add_up_to_their_totals() {
    let output = margins("json", &format!("{BARE}{MACHINE}"), &["--json", "-"]);
    assert_eq!(output.status.code(), Some(1));
    let report = json(&output);
    assert_eq!((&report["schema"], &report["findings"]), (&Value::from(1), &Value::from(true)));
    let sum = |terms: &Value| {
        let counted = terms.as_array().expect("terms").iter().filter(|term| term["passes"] == false);
        counted.map(|term| exact(&term["value"])).sum::<i128>()
    };
    let rules = report["rules"].as_array().expect("rules");
    let mut paths = 0;
    for path in rules.iter().flat_map(|rule| rule["paths"].as_array().expect("paths")) {
        assert_eq!(sum(&path["terms"]), exact(&path["total_s"]), "{path}");
        paths += 1;
    }
    assert_eq!(paths, 5, "two of the limit, two of the gate, one of the discrepancy");
    // Half of a window of 4 ms and a frame: 2.5 ms, then 1 + 4 + 1 + 20 ms.
    assert_eq!(exact(&rules[0]["reaction_s"]), 285 * 10_i128.pow(20));
    let approach = &report["approach"];
    assert_eq!(approach["too_near"], true);
    assert_eq!(approach["monitors"][0]["monitor"], "stop at the gate");
}

#[test]
fn the_json_beside_the_text_is_the_same_as_alone() {
    let file = Path::new(env!("CARGO_TARGET_TMPDIR")).join("margins").join("beside.json");
    let path = file.display().to_string();
    let with = margins("beside", BARE, &["--json", &path]);
    assert!(out(&with).contains("Findings"));
    let alone = margins("beside", BARE, &["--json", "-"]);
    assert_eq!(std::fs::read_to_string(&file).expect("the report"), out(&alone));
}

#[test]
fn a_period_that_is_none_exits_with_2_and_says_what_to_write() {
    for (period, message) in
        [("1", "a number without a unit"), ("0 ms", "above zero"), ("2 mm", "is a length")]
    {
        let output = margins("period", BARE, &["--period", period]);
        assert_eq!(output.status.code(), Some(2), "{period}");
        assert!(err(&output).contains(message) && err(&output).contains("\"1 ms\""), "{}", err(&output));
    }
}

#[test]
fn a_slip_in_what_the_machine_is_like_is_told_with_its_place_and_the_nearest_name() {
    for (wrong, place, message) in [
        ("[machine]\noutput_dealy = \"1 ms\"\n", "1", "did you mean `output_delay`?"),
        ("[machine]\nbrake_deceleration = \"0 mm/s^2\"\n", "1", "must be above zero"),
        ("[machine.operating_speeds]\nfats = \"1 m/s\"\n", "1", "did you mean \"fast\"?"),
        ("[sensors]\nscale_error = \"3 mm\"\n", "1", "`mm` is a length; expected a share"),
        ("[sensors.a]\nnoise = \"-1 um\"\n", "1", "must not be negative"),
        ("[approach]\nway = \"guard\"\nreach = \"0 mm\"\ninput = \"gat\"\n", "3", "did you mean \"gate\"?"),
        (
            "[approach]\nway = \"mat\"\ninput = \"gate\"\nheight = \"0 mm\"\n",
            "3",
            "only a field that is approached along",
        ),
        ("[approach]\nway = \"normal\"\ninput = \"gate\"\nresolution = \"71 mm\"\n", "3", "more than 70 mm"),
    ] {
        let line = BARE.lines().count() + 1 + place.parse::<usize>().expect("a number");
        let output = margins("wrong", &format!("{BARE}{wrong}"), &[]);
        assert_eq!(output.status.code(), Some(2), "{wrong}");
        assert!(err(&output).contains(message), "{wrong}: {}", err(&output));
        assert!(err(&output).contains(&format!("wrong.toml:{line}:")), "line {line}: {}", err(&output));
    }
}

#[test]
fn what_a_machine_is_like_changes_neither_the_checksum_nor_the_sealed_image() {
    let path = root().join("traces-demo/shuttle.toml");
    let whole = std::fs::read_to_string(&path).expect("the demo");
    let (bare, _) = whole.split_once("[machine]").expect("the demo says what its machine is like");
    let parse = |text: &str| host_harness::setup::Setup::parse(text, "shuttle.toml").expect("a setup");
    let (whole, bare) = (parse(&whole), parse(bare));
    assert_ne!(whole.machine, bare.machine);
    assert_ne!(whole.sensors, bare.sensors);
    assert_eq!(whole.checksum(), bare.checksum());
    assert_eq!(whole.canonical(), bare.canonical());
    let image = |setup| host_harness::seal::seal(setup, 129, true).expect("an image");
    assert_eq!(image(&whole), image(&bare));
}

#[test]
fn the_readme_shows_what_is_printed() {
    let readme = include_str!("../../README.md");
    let section = readme.split("## Before any motion: margins").nth(1).expect("the section");
    let section = section.split("\n## ").next().expect("its end");
    let printed = cowitness(&["margins", "--setup", "traces-demo/shuttle.toml"]);
    let shown =
        section.split("```text\n").nth(1).and_then(|rest| rest.split("```").next()).expect("an example");
    // It shows some of it, each part without a gap.
    let parts: Vec<&str> = shown.trim_end().split("\n\n").collect();
    assert_eq!(parts.len(), 3);
    for part in parts.iter().flat_map(|part| part.split("\n  `")) {
        assert!(out(&printed).contains(part), "the README shows {part}");
    }
}

/// No trip of a demo comes later after the crossing that both channels saw than the whole reaction, and where the true motion is known
/// in closed form, neither after that.
#[test]
fn the_trips_of_the_demos_lie_inside_what_is_printed() {
    let mut trips = 0;
    for (trace, setup) in demos() {
        let said = json(&cowitness(&["margins", "--setup", &setup, "--json", "-"]));
        let replayed = cowitness(&["replay", &trace, "--setup", &setup, "--json", "-"]);
        for trip in json(&replayed)["trips"].as_array().expect("trips") {
            let name = trip["monitor"].as_str().expect("a name");
            let is_its_own = |rule: &&Value| {
                let of = rule["rule"].as_str().expect("a name");
                (of == name || of == format!("[{name}]") || of == format!("[analogue.{name}]"))
                    && (rule["channel"].is_null() || rule["channel"] == trip["channel"])
            };
            let rule = said["rules"].as_array().expect("rules").iter().find(is_its_own);
            let rule = rule.unwrap_or_else(|| panic!("{trace}: no rule {name}"));
            let took = exact(&trip["tripped_s"]) - exact(&trip["crossed_s"]);
            assert!(took <= exact(&rule["reaction_s"]), "{trace}: {trip}, said are {}", rule["reaction_s"]);
            trips += 1;
        }
    }
    assert!(trips > 20, "{trips} trips");
}

/// From its expectations: 50 mm/s above 200 mm/s are reached after the root of 0.05 / 10 s, at a jerk of 20 m/s³. The encoders read up to 1.1 mm/s
/// too little, 0.8 ms.
#[test]
fn the_overspeed_of_the_demo_trips_within_its_reaction_of_the_true_crossing() {
    let setup = "traces-demo/shuttle.toml";
    let said = json(&cowitness(&["margins", "--setup", setup, "--json", "-"]));
    let trace = "traces-demo/overspeed-door-open.csv.gz";
    let replayed = json(&cowitness(&["replay", trace, "--setup", setup, "--json", "-"]));
    let trips = replayed["trips"].as_array().expect("trips");
    assert_eq!(trips.len(), 2, "one a channel");
    for trip in trips {
        let rule = said["rules"]
            .as_array()
            .expect("rules")
            .iter()
            .find(|rule| rule["rule"] == trip["monitor"] && rule["channel"] == trip["channel"]);
        let paths = rule.expect("the rule")["paths"].as_array().expect("paths");
        let path = paths.iter().find(|path| path["from"] == "speed").expect("a path");
        // No trace sees the output delay of 8 ms.
        let longest = path["total_s"].as_f64().expect("a number") - 0.008;
        let took = trip["tripped_s"].as_f64().expect("a number") - 3.070_71;
        assert!(took <= longest + 0.0008, "{took} s, said are {longest} s");
        assert!(took > 0.004, "not before the on-delay");
    }
}

/// Every demo trace with its setup: one of the beginning of its name, or that of the shuttle.
fn demos() -> Vec<(String, String)> {
    let names = |ending: &str| -> Vec<String> {
        let files = std::fs::read_dir(root().join("traces-demo")).expect("the demos");
        let names = files.map(|file| file.expect("a file").file_name().into_string().expect("a name"));
        let mut names: Vec<_> =
            names.filter_map(|name| name.strip_suffix(ending).map(str::to_owned)).collect();
        names.sort();
        names
    };
    let setups = names(".setup.toml");
    let of = |trace: &str| {
        let own =
            setups.iter().filter(|setup| trace.starts_with(setup.as_str())).max_by_key(|setup| setup.len());
        own.map_or("shuttle.toml".to_owned(), |setup| format!("{setup}.setup.toml"))
    };
    let pair = |trace: &String| (format!("traces-demo/{trace}.csv.gz"), format!("traces-demo/{}", of(trace)));
    names(".csv.gz").iter().map(pair).collect()
}
