//! The pages of the program in a headless Chromium that has no network: what is drawn, what can be done, and what comes in from outside.

mod made;

use std::collections::BTreeSet;

use cowitness_tests::look;
use made::{Made, demo, demos, hour, long_run, named};
use serde_json::{Value, json};

/// Nothing went wrong in a page, and it asked for nothing.
fn is_quiet(seen: &Value, name: &str) {
    for what in ["errors", "requests", "dialogs"] {
        assert_eq!(seen[what], json!([]), "{name}: {what}");
    }
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
        assert!(text.contains(page.explanation.in_words.what.trim()), "{}: in words", page.name);
        for stage in &page.explanation.story {
            // Blanks are joined in what is shown.
            let wanted: Vec<_> = stage.text.split_whitespace().collect();
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
    assert!(readout.contains("speed a") && readout.contains("mm/s"), "{readout}");
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
        // A browser of another version draws letters otherwise; the size of a picture tells a page of another make.
        let size = |path: &std::path::Path| -> [u8; 8] {
            let bytes = std::fs::read(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
            bytes[16..24].try_into().expect("the size in a PNG")
        };
        assert_eq!(
            size(&kept.join(format!("{}.png", page.name))),
            size(&shot(&page.name)),
            "{}: make the pictures anew with COWITNESS_WRITE=1",
            page.name
        );
    }
}
