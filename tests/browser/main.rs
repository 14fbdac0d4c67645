//! The pages of the program in a headless Chromium that has no network: what is drawn, what can be done, and what comes in from outside.

mod made;
mod seen;

use std::collections::BTreeSet;

use cowitness_tests::look;
use host_harness::explain::Asked;
use made::{Made, acceptance_of, begins_at, demo, demo_about, demos, flicker, hour, long_run, named, trips};
use serde_json::{Value, json};

/// Nothing went wrong in a page, and it asked for nothing.
fn is_quiet(seen: &Value, name: &str) {
    for what in ["errors", "requests", "dialogs"] {
        assert_eq!(seen[what], json!([]), "{name}: {what}");
    }
}

/// As a page writes what is in ASCII elsewhere.
fn with_signs(text: &str) -> String {
    text.replace("->", "\u{2192}").replace("+-", "\u{b1}").replace("/s^2", "/s\u{b2}")
}

#[test]
fn every_demo_opens_without_a_network_and_shows_what_it_found() {
    let pages: Vec<Made> = demos();
    let tasks: Vec<Value> = pages.iter().map(|page| json!({ "do": "open", "file": page.path })).collect();
    let Some(seen) = look(&Value::Array(tasks)) else { return };
    assert!(pages.len() >= 30, "{}", pages.len());
    for (page, seen) in pages.iter().zip(&seen) {
        is_quiet(seen, &page.name);
        let text = seen["text"].as_str().expect("text");
        assert!(text.contains("not a certified safety component"), "{}", page.name);
        assert!(text.contains(page.guard), "{}: its verdict is there", page.name);
        assert!(text.contains(with_signs(&page.explanation.in_words.what).trim()), "{}: in words", page.name);
        for stage in &page.explanation.story {
            // Blanks are joined in what is shown.
            let wanted = with_signs(&stage.text);
            let wanted: Vec<_> = wanted.split_whitespace().collect();
            let shown: Vec<_> = text.split_whitespace().collect();
            assert!(
                shown.windows(wanted.len()).any(|words| words == wanted),
                "{}: {}",
                page.name,
                stage.text
            );
        }
        for what in ["Speed", "Position"] {
            let titles = seen["charts"].as_array().expect("charts");
            assert!(
                titles.iter().any(|title| title.as_str().is_some_and(|title| title.starts_with(what))),
                "{}",
                page.name
            );
        }
        let inked = seen["inked"].as_array().expect("charts");
        assert!(
            inked.iter().all(|pixels| pixels.as_u64() > Some(500)),
            "{}: something is drawn in each: {inked:?}",
            page.name
        );
    }
}

#[test]
fn the_time_is_moved_by_keys_mouse_wheel_and_from_the_table() {
    let page = demo("overspeed-door-open");
    let Some(seen) = look(&json!([{ "do": "move", "file": page.path }])) else { return };
    let seen = &seen[0];
    is_quiet(seen, &page.name);
    let end =
        |step: &str, of: &str| seen[step][of].as_f64().unwrap_or_else(|| panic!("{step} {of} in {seen}"));
    let span = |step: &str| end(step, "max") - end(step, "min");
    let same = |one: &str, other: &str| {
        (end(one, "min") - end(other, "min")).abs() < 1e-9 && (span(one) - span(other)).abs() < 1e-9
    };
    assert!(same("home", "whole") && same("home", "double"));
    assert!(span("closer") < 0.7 * span("home"), "arrow up zooms");
    assert!(end("right", "min") > end("closer", "min") && same("closer", "left"), "arrows pan");
    assert!(span("wider") > 1.5 * span("closer"), "arrow down zooms out");
    assert!(
        (span("dragged") - 0.5 * span("whole")).abs() < 0.02 * span("whole"),
        "a drag shows what it was drawn over"
    );
    assert!(span("wheeled") < 0.9 * span("dragged"), "the wheel zooms");
    let trips = page.trips_s.len();
    assert!(trips > 0 && seen["buttons"].as_u64() == Some(trips as u64), "a button for each trip");
    let at = page.trips_s[trips - 1];
    assert!(end("jumped", "min") < at && at < end("jumped", "max"), "the last trip is in view");
    assert!(span("jumped") < 0.5 * span("whole"), "and not the whole trace");
    assert_eq!(seen["pressed"], "true");
    let readout = seen["readout"].as_str().expect("text");
    assert!(readout.contains("speed, mm/s") && readout.contains("position, mm"), "{readout}");
}

#[test]
fn a_spike_of_one_sample_is_in_the_pixels_at_every_zoom() {
    // Longer than what is kept of every frame, so that it is thinned; the spike stays within the tolerance and trips nothing.
    let (spiky, flat) = (long_run("spiky", true), long_run("flat", false));
    assert!(spiky.trips_s.is_empty() && spiky.per > 500, "it is thinned: {}", spiky.per);
    let find = |page: &Made| {
        json!({ "do": "find", "file": page.path, "chart": "Discrepancy", "time": made::SPIKE_AT_S, "value": made::SPIKE_MM,
                "who": "a", "until": 0.02 })
    };
    let Some(seen) = look(&json!([find(&spiky), find(&flat)])) else { return };
    for one in &seen {
        is_quiet(one, "spike");
    }
    let found = |of: &Value| -> Vec<(f64, u64)> {
        let of = of["found"].as_array().expect("zooms");
        of.iter()
            .map(|one| (one["span"].as_f64().expect("a span"), one["found"].as_u64().expect("pixels")))
            .collect()
    };
    let zooms = found(&seen[0]);
    assert!(zooms.len() > 5, "{zooms:?}");
    for (span, pixels) in zooms {
        assert!(pixels > 0, "the spike is not in a view of {span} s");
    }
    for (span, pixels) in found(&seen[1]) {
        assert_eq!(pixels, 0, "nothing is there without it, in a view of {span} s");
    }
}

#[test]
fn an_hour_at_8_khz_makes_a_page_below_3_mb_with_every_frame_around_each_trip() {
    let page = hour();
    // On both channels.
    assert_eq!(page.trips_s.len() as u64, 2 * made::RULES);
    for trip in &page.trips_s {
        let is_whole = |&(from, to, per): &(f64, f64, u64)| per == 1 && from < trip - 0.1 && trip + 0.1 < to;
        assert!(page.closeups.iter().any(is_whole), "{trip} s: {:?}", page.closeups);
    }
    let size = std::fs::metadata(&page.path).expect("the page").len();
    assert!(size < 3_000_000, "{size} bytes");
    let Some(seen) = look(&json!([{ "do": "open", "file": page.path }])) else { return };
    is_quiet(&seen[0], "hour");
}

#[test]
fn names_with_markup_are_shown_as_they_are_and_do_nothing() {
    let page = named("</script><script>alert(1)</script><img src=x onerror=alert(2)>");
    let Some(seen) = look(&json!([{ "do": "open", "file": page.path }])) else { return };
    let plain = demo("belt-slip");
    let usual = look(&json!([{ "do": "open", "file": plain.path }])).expect("it was there");
    is_quiet(&seen[0], "markup");
    assert_eq!(seen[0]["images"], 0);
    assert_eq!(seen[0]["scripts"], usual[0]["scripts"], "no script came in");
    let text = seen[0]["text"].as_str().expect("text");
    // In the title, in a rule, in a line of the story.
    assert!(text.matches("<img src=x onerror=alert(2)>").count() >= 3, "{text}");
    assert!(seen[0]["title"].as_str().expect("a title").contains("<img src=x"));
}

#[test]
fn the_rules_of_accessibility_are_kept_in_the_light_and_in_the_dark() {
    let pages =
        [demo("belt-slip"), demo("every-function"), demo("stack-clamp-hot"), demo("rail-cable-fault")];
    let tasks: Vec<Value> = (pages.iter())
        .flat_map(|page| [false, true].map(|dark| json!({ "do": "rules", "file": page.path, "dark": dark })))
        .collect();
    let Some(seen) = look(&Value::Array(tasks)) else { return };
    assert_eq!(seen.len(), 2 * pages.len());
    for one in &seen {
        assert_eq!(one["broken"], json!([]));
    }
}

#[test]
fn a_page_can_be_read_twice_as_large_and_printed() {
    let pages = [demo("belt-slip"), demo("every-function")];
    let tasks: Vec<Value> = pages.iter().map(|page| json!({ "do": "sizes", "file": page.path })).collect();
    let Some(seen) = look(&Value::Array(tasks)) else { return };
    for one in &seen {
        is_quiet(one, "sizes");
        assert!(one["wide"].as_u64() <= one["window"].as_u64(), "nothing reaches beyond the window: {one}");
        assert!(one["pages"].as_u64() > Some(1) && one["pdf"].as_u64() > Some(20_000), "{one}");
    }
}

#[test]
fn labels_of_the_axis_of_time_are_what_the_clock_of_the_trace_shows_there() {
    // The first frames are at 0.4 s, and at 0.4 s after a second since an epoch.
    let pages = [begins_at("early", 0), begins_at("epoch", 1_700_000_000)];
    let views = json!([{ "min": 0.0, "max": 7.999 }, { "min": 1.0, "max": 11.0 }, { "min": 2.1, "max": 4.6 }, { "min": 3.0, "max": 3.013 },
                       { "min": 5.0, "max": 5.000_021 }]);
    let tasks: Vec<Value> =
        pages.iter().map(|page| json!({ "do": "labels", "file": page.path, "views": views })).collect();
    let Some(seen) = look(&Value::Array(tasks)) else { return };
    for (page, seen) in pages.iter().zip(&seen) {
        is_quiet(seen, &page.name);
        for found in seen["found"].as_array().expect("views") {
            let labels = found["labels"].as_array().expect("labels");
            assert!(labels.len() >= 3, "{}: {found}", page.name);
            let mut last: Option<(f64, usize)> = None;
            for label in labels {
                let (text, at) =
                    (label["text"].as_str().expect("text"), label["at"].as_f64().expect("a time"));
                let shown: f64 =
                    text.trim_start_matches('+').replace('\u{2212}', "-").parse().expect("a number");
                // Since the first frame, at 0.4 s on the clock of the labels.
                let pixel = found["pixel"].as_f64().expect("seconds").abs();
                assert!(
                    (shown - 0.4 - at).abs() <= 1.01 * pixel,
                    "{}: {text} stands at {at}: {found}",
                    page.name
                );
                let places = text.split_once('.').map_or(0, |(_, rest)| rest.len());
                if let Some((before, as_many)) = last {
                    assert!(shown > before && places == as_many, "{}: {found}", page.name);
                }
                last = Some((shown, places));
            }
            let said = found["said"].as_str().expect("text");
            assert_eq!(said.contains("after 1700000000 s"), page.name == "epoch", "{said}");
        }
    }
}

#[test]
fn a_page_opens_on_what_it_explains_and_says_where_a_trip_is_not_kept() {
    let second = demo_about("overspeed-door-open", Asked::Trip(2));
    let fault = demo_about("rail-cable-fault", Asked::Fault(1));
    let (many, late) = (trips(Asked::First), trips(Asked::Trip(60)));
    assert!(many.trips_s.len() > 62, "{}", many.trips_s.len());
    let opens = |page: &Made, then: Value| json!({ "do": "opens", "file": page.path, "then": then });
    let Some(seen) = look(&json!([
        opens(&second, Value::Null),
        opens(&fault, json!("button[data-fault]")),
        opens(&many, json!("button[data-trip='40']")),
        opens(&late, json!("button[data-trip='40']")),
    ])) else {
        return;
    };
    for one in &seen {
        is_quiet(one, "opens");
        let names: Vec<_> = one["names"].as_array().expect("names").iter().collect();
        assert_eq!(
            names.iter().map(|name| name.to_string()).collect::<BTreeSet<_>>().len(),
            names.len(),
            "{names:?}"
        );
    }
    let text = |of: &Value| of.as_str().unwrap_or_else(|| panic!("{of}")).to_owned();
    let shows = |of: &Value, at: f64| of["min"].as_f64() < Some(at) && Some(at) < of["max"].as_f64();
    assert_eq!(seen[0]["first"]["pressed"][0]["trip"], "1");
    assert!(text(&seen[0]["first"]["decided"]).starts_with("trip 2:"), "{}", seen[0]);
    assert!(shows(&seen[0]["first"], second.trips_s[1]));
    let pressed = &seen[1]["first"]["pressed"];
    assert_eq!(
        (pressed.as_array().map(Vec::len), &pressed[0]["fault"]),
        (Some(1), &json!("0")),
        "{}",
        seen[1]
    );
    assert!(text(&pressed[0]["name"]).starts_with("Show fault 1 of "), "{pressed}");
    assert_eq!(seen[1]["after"]["focus"], "charts", "the focus goes to the charts");
    // The first that took the permit is drawn, one far behind is not, and that is said; the one that is asked for is there.
    assert!(text(&seen[2]["first"]["decided"]).starts_with("trip 1:"), "{}", seen[2]);
    assert!(text(&seen[2]["after"]["decided"]).starts_with("trip 41: not kept"), "{}", seen[2]);
    assert!(text(&seen[3]["first"]["decided"]).starts_with("trip 60: slow on"), "{}", seen[3]);
    assert!(shows(&seen[3]["first"], late.trips_s[59]));
    assert!(text(&seen[3]["after"]["decided"]).starts_with("trip 41: not kept"), "{}", seen[3]);
}

#[test]
fn what_is_on_at_some_frames_of_a_bucket_is_told_so() {
    let (thin, plain) = (flicker(), demo("overspeed-door-open"));
    assert!(thin.per > 1);
    let reads = |page: &Made, time: f64| json!({ "do": "reads", "file": page.path, "time": time });
    let Some(seen) = look(&json!([reads(&thin, 5.0), reads(&plain, plain.trips_s[0])])) else { return };
    let of = |seen: &Value, row: &str| seen["rows"][row].as_str().unwrap_or_default().to_owned();
    assert!(of(&seen[0], "on at some frames").contains("slow: active"), "{}", seen[0]);
    assert!(
        !of(&seen[0], "on").contains("slow: active") && of(&seen[0], "on").contains("permit"),
        "{}",
        seen[0]
    );
    assert!(
        of(&seen[1], "on").contains("active") && of(&seen[1], "on at some frames").is_empty(),
        "{}",
        seen[1]
    );
}

#[test]
fn the_view_follows_the_cursor_and_what_is_there_is_said_once_it_rests() {
    let page = demo("belt-slip");
    let Some(seen) = look(&json!([{ "do": "cursor", "file": page.path }])) else { return };
    is_quiet(&seen[0], "cursor");
    assert_eq!((&seen[0]["inside"], &seen[0]["live"]), (&json!(1), &json!("polite")), "{}", seen[0]);
    assert!(seen[0]["after"]["min"].as_f64() > seen[0]["before"]["min"].as_f64(), "{}", seen[0]);
    let said = seen[0]["said"].as_array().expect("what was said");
    assert!(!said.is_empty() && said.len() < 15, "of 150 steps: {}", said.len());
    assert!(said[said.len() - 1].as_str().is_some_and(|text| text.contains("speed a")), "{said:?}");
}

#[test]
fn channel_b_and_a_limit_keep_their_dashes_where_frames_share_a_place() {
    let page = flicker();
    let row = |value: f64, who: &str| json!({ "do": "row", "file": page.path, "chart": "Speed", "value": value, "who": who });
    let Some(seen) = look(&json!([row(100.0, "b"), row(500.0, "limit")])) else { return };
    for one in &seen {
        is_quiet(one, "dashes");
        let inked = one["inked"].as_f64().expect("a share");
        assert!(one["changes"].as_u64() > Some(40) && inked > 0.2 && inked < 0.9, "{one}");
    }
}

#[test]
fn the_page_of_an_acceptance_opens_offline_is_accessible_and_has_markup_as_text() {
    let name = "</title><script>alert(1)</script><img src=x onerror=alert(2)>";
    let page = acceptance_of(name);
    let Some(seen) = look(&json!([
        { "do": "plain", "file": page },
        { "do": "rules", "file": page, "plain": true, "dark": false },
        { "do": "rules", "file": page, "plain": true, "dark": true },
        { "do": "sizes", "file": page, "plain": true },
    ])) else {
        return;
    };
    for one in &seen {
        is_quiet(one, "acceptance");
    }
    assert_eq!((&seen[0]["images"], &seen[0]["scripts"]), (&json!(0), &json!(0)));
    // In the title, the machine, and the trial, which is listed and told.
    let text = seen[0]["text"].as_str().expect("text");
    assert!(text.matches(name).count() >= 4, "{text}");
    assert_eq!(seen[0]["title"], name);
    let heads = seen[0]["heads"].as_array().expect("heads");
    assert!(heads.len() > 20 && heads.iter().all(|head| head != ""), "each head says something: {heads:?}");
    for one in &seen[1..3] {
        assert_eq!(one["broken"], json!([]));
    }
    assert!(seen[3]["wide"].as_u64() <= seen[3]["window"].as_u64(), "nothing reaches beyond the window");
    assert!(seen[3]["pages"].as_u64() > Some(1) && seen[3]["pdf"].as_u64() > Some(20_000), "{}", seen[3]);
}

#[test]
fn pages_are_small_and_hold_nothing_that_loads() {
    let names: BTreeSet<_> = ["belt-slip", "every-function"].into();
    for name in names {
        let page = demo(name);
        let text = std::fs::read_to_string(&page.path).expect("a page");
        assert!(text.len() < 600_000, "{name}: {}", text.len());
        assert!(!text.contains(" src=") && !text.contains("@import") && !text.contains("url("), "{name}");
    }
}

/// The demos of the gallery in the README.
const GALLERY: [&str; 4] =
    ["belt-slip", "overspeed-door-open", "rail-channel-always-late", "motor-encoder-sticks"];

#[test]
fn the_gallery_of_the_readme_shows_pages_of_demos_as_they_are_now() {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the root");
    let kept = root.join("traces-demo").join("pictures");
    let readme = std::fs::read_to_string(root.join("README.md")).expect("the README");
    for name in GALLERY {
        assert!(readme.contains(&format!("(traces-demo/pictures/{name}.png)")), "{name}");
    }
    assert_eq!(
        readme.matches("](traces-demo/pictures/").count(),
        2 * GALLERY.len(),
        "each as a picture and as a link"
    );
    let pages = GALLERY.map(demo);
    let writes = std::env::var_os("COWITNESS_WRITE").is_some() && !cowitness_tests::in_ci();
    let folder =
        if writes { kept.clone() } else { std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("gallery") };
    std::fs::create_dir_all(&folder).expect("a folder");
    let shot = |name: &str| folder.join(format!("{name}.png"));
    let tasks: Vec<Value> = (pages.iter())
        .map(|page| json!({ "do": "picture", "file": page.path, "screenshot": shot(&page.name) }))
        .collect();
    let Some(seen) = look(&Value::Array(tasks)) else { return };
    for (page, seen) in pages.iter().zip(&seen) {
        is_quiet(seen, &page.name);
    }
    let files: Vec<_> =
        GALLERY.iter().flat_map(|name| [kept.join(format!("{name}.png")), shot(name)]).collect();
    let seen = look(&json!([{ "do": "blocks", "files": files }])).expect("it was there");
    let blocks = seen[0]["all"].as_array().expect("pictures");
    for (place, name) in GALLERY.iter().enumerate() {
        let (old, new) = (&blocks[2 * place], &blocks[2 * place + 1]);
        let differs = differing(old, new);
        assert!(
            differs <= ALIKE,
            "{name}: {differs} blocks differ; make the pictures anew with COWITNESS_WRITE=1"
        );
        // The page of another demo would not do.
        for other in (0..GALLERY.len()).filter(|other| *other != place) {
            let differs = differing(old, &blocks[2 * other + 1]);
            assert!(differs > 3 * ALIKE, "{name} is told from {}: {differs}", GALLERY[other]);
        }
    }
}

/// So many of 896 blocks may differ: a browser of another version draws letters otherwise.
const ALIKE: usize = 18;

/// In how many blocks the mean grey of two pictures is another one; all, where they are not as large.
fn differing(one: &Value, other: &Value) -> usize {
    if (&one["width"], &one["height"]) != (&other["width"], &other["height"]) {
        return usize::MAX;
    }
    let greys = |of: &Value| -> Vec<f64> {
        of["greys"].as_array().expect("blocks").iter().map(|grey| grey.as_f64().expect("a grey")).collect()
    };
    greys(one).iter().zip(greys(other)).filter(|(one, other)| (*one - other).abs() > 6.0).count()
}
