//! What a reader of a page is to see at once: marks, lanes, scales, signs, and what is on paper.

use cowitness_tests::look;
use host_harness::explain::Asked;
use serde_json::{Value, json};

use super::is_quiet;
use super::made::{Made, demo, named, trips};

fn texts(of: &Value) -> Vec<&str> {
    of.as_array().expect("a list").iter().map(|text| text.as_str().unwrap_or_default()).collect()
}

fn has(labels: &Value, text: &str) -> bool {
    texts(labels).contains(&text)
}

#[test]
fn the_numbers_of_trips_close_together_are_all_to_be_read() {
    let (two, many) = (demo("overspeed-door-open"), trips(Asked::First));
    let [first, second] = [two.trips_s[0], two.trips_s[1]];
    assert!(second - first < 0.002, "close together: {first} {second}");
    let close = json!([{ "min": first - 0.002, "max": second + 0.002 }]);
    let whole = json!([{ "min": 0.0, "max": 12.0 }]);
    let Some(seen) = look(&json!([
        { "do": "marked", "file": two.path, "views": close },
        { "do": "marked", "file": many.path, "views": whole },
    ])) else {
        return;
    };
    for one in &seen {
        is_quiet(one, "marks");
    }
    let labels = |page: usize, view: usize| &seen[page]["found"][view]["labels"];
    assert!(has(labels(0, 0), "\u{25bc}1\u{2013}2"), "{}", labels(0, 0));
    assert!(has(labels(0, 1), "\u{25bc}1") && has(labels(0, 1), "\u{25bc}2"), "{}", labels(0, 1));
    // Each number is in one label.
    let mut last = 0;
    for text in texts(labels(1, 1)).into_iter().filter_map(|text| text.strip_prefix('\u{25bc}')) {
        let (from, to) = text.split_once('\u{2013}').unwrap_or((text, text));
        let [from, to]: [usize; 2] = [from, to].map(|number| number.parse().expect("a number"));
        assert!(from == last + 1 && to >= from, "{text} after {last}");
        last = to;
    }
    assert_eq!(last, many.trips_s.len());
}

#[test]
fn faults_and_stops_are_marked_where_the_permit_goes_and_jumped_to_by_keys_and_buttons() {
    let (fault, stop) = (demo("rail-cable-fault"), demo("every-function-torque-off"));
    let Some(seen) = look(&json!([
        { "do": "marked", "file": fault.path, "acts": ["f", "f", "F", "#next-fault", "#previous-fault", "f", "f"] },
        { "do": "marked", "file": stop.path, "acts": ["Home", "s"] },
    ])) else {
        return;
    };
    for one in &seen {
        is_quiet(one, "marks");
    }
    let found = |page: usize, step: usize| &seen[page]["found"][step];
    for (step, number) in [1, 2, 3, 2, 3, 2, 3, 1].into_iter().enumerate() {
        let here = found(0, step);
        assert_eq!(here["pressed"], json!(format!("\u{25c6}{number}")), "{step}: {here}");
        let [min, at, max] = ["min", "cursor", "max"].map(|of| here[of].as_f64().expect("a time"));
        assert!(min < at && at < max, "{here}");
        let is_marked = texts(&here["labels"]).iter().any(|text| {
            text.strip_prefix('\u{25c6}')
                .is_some_and(|text| text.split('\u{2013}').any(|of| of == number.to_string()))
        });
        assert!(is_marked, "{here}");
    }
    // The first takes the permit, at 2 s of the trace.
    assert!(has(&found(0, 0)["labels"], "\u{d7} permit"), "{}", found(0, 0));
    assert!(found(0, 0)["cursor"].as_f64().is_some_and(|at| (at - 2.0).abs() < 1e-6), "{}", found(0, 0));
    for step in [0, 1, 2] {
        let labels = &found(1, step)["labels"];
        assert!(has(labels, "\u{25a0}1") && has(labels, "\u{d7} permit"), "{labels}");
    }
    assert_eq!(
        (&found(1, 0)["pressed"], &found(1, 2)["pressed"]),
        (&json!("\u{25a0}1"), &json!("\u{25a0}1"))
    );
}

#[test]
fn what_was_on_has_a_bar_with_its_name_in_it_and_an_input_has_a_lane_whatever_its_level() {
    // With few lanes, with many, and with one that stands for a fault.
    let pages = ["overspeed-door-open", "every-function", "rail-cable-fault"].map(demo);
    let tasks: Vec<Value> = pages.iter().map(|page| json!({ "do": "bars", "file": page.path })).collect();
    let Some(seen) = look(&json!(tasks)) else { return };
    for (seen, page) in seen.iter().zip(&pages) {
        is_quiet(seen, "bars");
        let lanes = seen["lanes"].as_array().expect("lanes");
        assert!(lanes.len() > 6 && lanes.iter().any(|lane| lane["label"] == "permit"), "{lanes:?}");
        for lane in lanes {
            let (on, edge) = (lane["everOn"].as_bool().expect("a state"), lane["edge"].as_u64());
            assert_eq!(on, edge > Some(0), "{}: {lane}", page.name);
            let text = lane["text"].as_str().unwrap_or_else(|| panic!("{}: no name in {lane}", page.name));
            let ends = match lane["kind"].as_str() {
                Some("line") => ": low throughout",
                _ => ": never",
            };
            assert_eq!(text.ends_with(ends), !on, "{}: {lane}", page.name);
        }
    }
    // Of the two lines of the emergency stop one is low as long as nothing is demanded, and as long as this trace.
    let lanes = seen[0]["lanes"].as_array().expect("lanes");
    let text = |name: &str| lanes.iter().find(|lane| lane["label"] == name).map(|lane| lane["text"].clone());
    assert_eq!(text("line estop_2"), Some(json!("line estop_2: low throughout")));
    assert_eq!(text("emergency_stop demands"), Some(json!("emergency_stop demands: never")));
}

#[test]
fn the_noise_of_an_axis_at_rest_does_not_fill_a_chart() {
    let page = demo("overspeed-door-open");
    // It is at rest from 3.3 s of the trace on.
    let view = json!({ "min": 3.6, "max": 3.9 });
    let Some(seen) = look(&json!([{ "do": "scales", "file": page.path, "view": view }])) else { return };
    is_quiet(&seen[0], "scales");
    let number = |of: &Value| of.as_f64().unwrap_or_else(|| panic!("{of} in {}", seen[0]));
    let [position, speed] = [0, 1].map(|of| number(&seen[0]["tolerances"][of]));
    assert!(number(&seen[0]["moved"]) < position / 20.0, "at rest: {}", seen[0]);
    for (chart, tolerance) in
        [("position", position), ("discrepancy", position), ("speed", speed), ("speed_discrepancy", speed)]
    {
        assert!(number(&seen[0]["limits"][chart]) >= tolerance, "{chart}: {}", seen[0]);
        // Without the limits in view one may look closer, but not at single counts.
        let alone = number(&seen[0]["alone"][chart]);
        assert!(alone >= tolerance / 20.0 && alone < tolerance, "{chart}: {}", seen[0]);
    }
}

#[test]
fn the_charts_that_a_stop_was_decided_by_come_first_and_each_says_what_its_axis_is() {
    let wanted = [
        ("belt-slip", ["What the trip was decided by", "Discrepancy of the positions"]),
        ("overspeed-door-open", ["What the trip was decided by", "Speed"]),
        ("stack-clamp-lines-apart", ["What the trip was decided by", "torque"]),
        ("stack-clamp-broken-wire", ["torque", "Speed"]),
        ("every-function-torque-off", ["Inputs, monitors and the permit", "Speed"]),
        ("rail-cable-fault", ["Speed", "Discrepancy of the positions"]),
    ];
    let pages = wanted.map(|(name, _)| demo(name));
    let tasks: Vec<Value> = pages.iter().map(|page| json!({ "do": "open", "file": page.path })).collect();
    let Some(seen) = look(&json!(tasks)) else { return };
    for (seen, (name, first)) in seen.iter().zip(wanted) {
        let charts = texts(&seen["charts"]);
        assert!(
            charts.iter().zip(first).all(|(chart, wanted)| chart.starts_with(wanted)),
            "{name}: {charts:?}"
        );
        let axes = texts(&seen["axis"]);
        assert!(
            axes.len() == charts.len()
                && axes.iter().all(|text| *text == "time on the clock of the trace, s"),
            "{axes:?}"
        );
    }
}

#[test]
fn a_verdict_has_a_sign_and_a_meaning_and_the_title_says_what_stopped_the_axis() {
    let wanted = [
        ("overspeed-door-open", ["\u{25bc}", "\u{25cf}"], "stopped by slow while the door is open"),
        ("counter-wrap", ["\u{2713}", "\u{2713}"], "nothing stopped it"),
        ("rail-cable-fault", ["\u{25c6}", "\u{25cf}"], "stopped by a fault of channel b"),
        ("every-function-torque-off", ["\u{2713}", "\u{2713}"], "stopped as planned by torque off switch"),
        ("rail-channel-always-late", ["\u{25bc}", "\u{25cb}"], "stopped by discrepancy"),
    ];
    let pages = wanted.map(|(name, ..)| demo(name));
    let tasks: Vec<Value> = pages.iter().map(|page| json!({ "do": "open", "file": page.path })).collect();
    let Some(seen) = look(&json!(tasks)) else { return };
    for (seen, (name, signs, title)) in seen.iter().zip(wanted) {
        let begins = format!("{name}: {title}, Tile kiln");
        assert!(
            seen["title"].as_str().is_some_and(|of| of.starts_with(&begins)),
            "{begins}: {}",
            seen["title"]
        );
        for (verdict, sign) in seen["verdicts"].as_array().expect("verdicts").iter().zip(signs) {
            assert!(verdict["sign"].as_str().is_some_and(|text| text.contains(sign)), "{name}: {verdict}");
        }
    }
    let colours = |page: usize| seen[page]["verdicts"][1]["colour"].clone();
    assert!(colours(0) != colours(4) && colours(0) != colours(3), "right, nuisance and planned");
    let prose = |page: usize| seen[page]["prose"].as_str().expect("text");
    assert!(
        prose(0).contains("NUISANCE: the motion was within") && prose(3).contains("PLANNED: an input asked")
    );
    assert!(prose(3).contains("0 trips, 0 faults, 1 stop or planned withdrawal."), "{}", prose(3));
}

#[test]
fn prose_has_signs_and_no_false_digits_and_names_stay_as_they_are() {
    // With ramps, accelerations, shares of a cause, costs, faults, lines of analogue values, and nothing at all.
    let pages: [Made; 7] = [
        "belt-slip",
        "every-function-shock",
        "loose-coupling",
        "asynchronous-readings",
        "stack-clamp-lines-apart",
        "overspeed-door-open",
        "counter-wrap",
    ]
    .map(demo);
    let mut tasks: Vec<Value> = pages.iter().map(|page| json!({ "do": "open", "file": page.path })).collect();
    let name = "to -> fro, +- 2 m/s^2";
    tasks.push(json!({ "do": "open", "file": named(name).path }));
    let Some(seen) = look(&json!(tasks)) else { return };
    let (last, rest) = seen.split_last().expect("pages");
    for (seen, page) in rest.iter().zip(&pages) {
        let prose = seen["prose"].as_str().expect("text");
        for wrong in ["->", "+-", "/s^2", "1 trips", "1 faults"] {
            let found =
                prose.lines().find(|line| line.contains(wrong) && !line.contains(&format!("1{wrong}")));
            assert_eq!(found, None, "{}: {wrong}", page.name);
        }
        // Nine digits of a second in a table of times.
        let long = prose.split_whitespace().find(|word| {
            word.split_once('.').is_some_and(|(whole, rest)| {
                whole.parse::<u32>().is_ok() && rest.len() > 6 && rest.chars().all(|of| of.is_ascii_digit())
            })
        });
        assert_eq!(long, None, "{}", page.name);
    }
    assert!(rest.iter().any(|seen| seen["prose"].as_str().is_some_and(|text| text.contains("\u{2192}"))));
    assert!(last["prose"].as_str().is_some_and(|text| text.matches(name).count() >= 3), "{}", last["prose"]);
}

#[test]
fn on_paper_nothing_is_cut_and_what_is_folded_stays_so() {
    let pages = [demo("belt-slip"), demo("rail-cable-fault"), demo("every-function-torque-off")];
    let tasks: Vec<Value> = pages.iter().map(|page| json!({ "do": "paper", "file": page.path })).collect();
    let Some(seen) = look(&Value::Array(tasks)) else { return };
    for (page, head, first) in [(0, "Trips", "Trip"), (1, "Faults", "Fault"), (2, "Stops", "Stop")] {
        let seen = &seen[page];
        is_quiet(seen, "paper");
        let cell = |row: usize| seen["tables"][head][row][0].as_str().unwrap_or_default();
        assert_eq!((cell(0), cell(1)), (first, "1"), "{}", seen["tables"]);
        for part in ["folded", "unfolded"].into_iter().flat_map(|of| seen[of].as_array().expect("parts")) {
            assert!(part["inner"].as_u64() <= part["outer"].as_u64() && part["scrolls"] == false, "{part}");
        }
        for part in seen["narrow"].as_array().expect("parts") {
            assert!(part["inner"].as_u64() <= part["outer"].as_u64(), "at 800 px: {part}");
        }
        assert_eq!((&seen["details"]["all"], &seen["details"]["seen"]), (&json!(2), &json!(0)));
        let text = seen["text"].as_str().expect("text");
        assert!(text.contains("the permit goes") && !text.contains("Drag to zoom"), "{text}");
    }
    assert_eq!(
        seen[0]["tables"]["Trips"][0].as_array().and_then(|heads| heads.last()),
        Some(&json!("Other channel"))
    );
}
