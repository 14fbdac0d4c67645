//! How a sheet is laid out: pages of one length and width, each with what names the image.

use host_harness::seal::{PAGE_LINES, PAGE_WIDTH, Review, sheet};
use monitor_core::{
    AxisConfig, Demand, InputConfig, InputSet, OneSided, Pairing, Ramp, Rule, Scale, SourceConfig, Span,
    Speed, SpeedLimit, WarmUp,
};
use unicode_width::UnicodeWidthStr;

use super::{FULL, full, parsed, sealed};

/// Holds for every sheet.
fn check(review: &Review) -> Vec<String> {
    let sheet = sheet(review);
    let pages: Vec<String> = sheet.split('\u{c}').map(str::to_owned).collect();
    for (page, number) in pages.iter().zip(1..) {
        let lines: Vec<&str> = page.split_terminator('\n').collect();
        assert_eq!(lines.len(), PAGE_LINES, "page {number}\n{page}");
        for line in &lines {
            assert!(line.width() <= PAGE_WIDTH, "page {number}: {} columns: {line:?}", line.width());
            assert!(!line.chars().any(char::is_control), "page {number}: {line:?}");
        }
        assert!(lines[0].ends_with(&format!("page {number} of {}", pages.len())), "{}", lines[0]);
        assert!(lines[2].contains(&format!("image CRC-32 {}", review.image.crc32)), "{}", lines[2]);
        assert!(
            lines[2].contains(&format!("setup checksum {}", review.image.setup_checksum)),
            "{}",
            lines[2]
        );
        let held = match &review.setup {
            None => "not held against a setup",
            Some(setup) if setup.same => "held against the setup: the same, \"axis.toml\"",
            Some(_) => "held against the setup: NOT THE SAME, \"axis.toml\"",
        };
        assert_eq!(lines[3], held, "page {number}");
        let result = lines[PAGE_LINES - 3];
        assert!(result.starts_with("Accepted [ ]   Rejected [ ]"), "{result}");
        assert!(result.ends_with(concat!("printed by cowitness ", env!("CARGO_PKG_VERSION"))), "{result}");
        let last = lines[PAGE_LINES - 1];
        assert!(["Reviewed by", "Date", "Signature"].iter().all(|place| last.contains(place)), "{last}");
    }
    pages
}

/// Names that are hard to print: wide, joined, turned, with breaks, escapes and nothing to break at.
const NAMES: [&str; 6] = [
    "サーボ軸の速度を監視する部品とその長い名前がここに続く",
    "e\u{301}a\u{308} \u{202e}turned\u{2066} \u{200d}👩\u{200d}🔧 ☎\u{fe0f}",
    "a\\u000Cpage\\u001B[31m\\nline\\u0000",
    "onewordthatisfarlongerthanalineofapageandhasnoplacewhereitcouldbebrokenatall",
    "\\\"quoted\\\" \\\\ back",
    "ß",
];

/// As many monitors, inputs and lines as a setup may have, with names of `length` repetitions.
fn largest(length: usize) -> String {
    let (head, _) = FULL.split_once("[input.door]").expect("an input");
    let mut text = head.replace("Every part, invented", &NAMES[0].repeat(length));
    for i in 0..16 {
        let name = NAMES[i % 6].repeat(length);
        text += &format!(
            "[input.\"{i} {name}\"]\ncolumns = [\"{i} first {name}\", \"{i} second {name}\"]\npairing = \"equivalent\"\n\
             discrepancy_time = \"500 ms\"\n"
        );
    }
    let demand: Vec<_> = (0..16).map(|i| format!("\"{i} {}\"", NAMES[i % 6].repeat(length))).collect();
    let (_, stop) = FULL.split_once("kind             = \"stop\"\n").expect("a stop");
    let (stop, _) = stop.split_once("[[monitor]]").expect("one more");
    let stop = stop.replace("demand           = [\"off\"]", &format!("demand = [{}]", demand.join(", ")));
    for i in 0..16 {
        let name = NAMES[i % 6].repeat(length);
        text += &format!("[[monitor]]\nname = \"{i} {name}\"\nkind = \"stop\"\n{stop}");
    }
    text
}

#[test]
fn every_page_has_its_length_and_width_and_names_the_image() {
    assert!(check(&Review::of(&sealed(&full())).expect("an image")).len() > 1);
    for setup in [full(), parsed(&largest(1))] {
        check(&Review::against(&sealed(&full()), &setup).expect("an image"));
    }
}

#[test]
fn the_largest_setup_fits_its_pages_whatever_its_names() {
    for length in [1, 3, 40] {
        let review = Review::of(&sealed(&parsed(&largest(length)))).expect("an image");
        assert_eq!((review.image.monitors, review.image.inputs), (16, 16));
        let pages = check(&review);
        let boxes: usize = pages.iter().map(|page| page.matches("  [ ] ").count()).sum();
        assert_eq!(boxes, review.values().count() + review.host.len());
    }
}

/// More than a setup file may have, but not more than the core has.
#[test]
fn an_axis_of_32_monitors_and_32_inputs_fits_its_pages() {
    let timeout = Span::from_nanos(4_000_000);
    let fastest = Speed::MAX;
    let source = SourceConfig::try_new(64, Scale::ULP, fastest, timeout).expect("a source");
    let window = Span::from_nanos(8_000_000);
    let mut config =
        AxisConfig::<33, 32, 32>::try_new(source, source, window, WarmUp::Permit).expect("an axis");
    let mut all = InputSet::NONE;
    for line in 0..32_u8 {
        let other = (line + 1) % 32;
        let input =
            InputConfig::dual([line, other], Pairing::Antivalent, true, timeout, timeout, OneSided::Fault);
        all = all.with(config.add_input(input.expect("an input")).expect("room"));
    }
    let ramp = Ramp::try_new(timeout, monitor_core::Acceleration::MAX, Speed::from_bits(1)).expect("a ramp");
    for _ in 0..32 {
        let limit = SpeedLimit::try_new(fastest, Some(ramp)).expect("a limit");
        config.add_monitor(Rule::SpeedLimit(limit), Demand::AnyOf(all), timeout).expect("room");
    }
    let mut bytes = vec![0; 1 << 16];
    let length = config.seal(1, &[], &mut bytes).expect("room");
    let review = Review::of(&bytes[..length]).expect("an image");
    assert_eq!((review.image.monitors, review.image.inputs), (32, 32));
    let pages = check(&review);
    assert!(pages.iter().any(|page| page.contains("Monitor 31\n")));
}

/// Title, facts and the line below them; the line above the signature, and what is below it.
const HEAD: usize = 5;
const FOOT: usize = 4;

/// What a page has between head and foot.
fn body(page: &str) -> Vec<&str> {
    let body: Vec<&str> = page.lines().skip(HEAD).take(PAGE_LINES - HEAD - FOOT).collect();
    let used = body.iter().rposition(|line| !line.is_empty()).expect("a page with something on it");
    body[..=used].to_vec()
}

#[test]
fn a_heading_is_never_the_last_of_a_page_and_is_said_again_where_a_page_continues() {
    let review = Review::of(&sealed(&parsed(&largest(1)))).expect("an image");
    for page in check(&review) {
        let body = body(&page);
        let last = body[body.len() - 1];
        assert!(last.starts_with(' ') || last.ends_with('.'), "{last:?} at the end of a page");
        assert!(!body[0].starts_with(' '), "{:?} at the beginning of a page", body[0]);
    }
}

#[test]
fn no_group_is_torn_after_its_first_value() {
    let mut ends = 0;
    // Names of other lengths move the ends of the pages over all places of a group.
    for length in 0..40 {
        let text = largest(1).replace(NAMES[0], &format!("{}{}", NAMES[0], "x".repeat(4 * length)));
        let review = Review::of(&sealed(&parsed(&text))).expect("an image");
        let headings: Vec<String> =
            review.sections.iter().map(|section| section.heading.chars().take(9).collect()).collect();
        for page in check(&review) {
            let body = body(&page);
            let Some(heading) =
                body.iter().rposition(|line| headings.iter().any(|start| line.starts_with(start.as_str())))
            else {
                continue;
            };
            let values = body[heading..].iter().filter(|line| line.starts_with("  [ ] ")).count();
            let has_one = review.sections.iter().any(|section| {
                section.values.len() == 1 && body[heading].starts_with(section.heading.as_str())
            });
            assert!(values >= 2 || has_one || body[heading].contains("(continued)"), "{length}: {page}");
            ends += 1;
        }
    }
    assert!(ends > 400, "{ends} pages");
}
