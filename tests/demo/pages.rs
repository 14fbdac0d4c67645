//! Every kind of monitor has a page of documentation that says what somebody who is to rely on it asks first.

use std::fs;
use std::path::Path;

use host_harness::setup::KINDS;

/// The file of the core whose page is about a kind.
fn file(kind: &str) -> String {
    match kind {
        "acceleration-limit" | "acceleration-range" => "acceleration".to_owned(),
        "torque-limit" | "torque-range" | "temperature-limit" => "analogue".to_owned(),
        "brake-output" | "cam-output" | "speed-output" => "output".to_owned(),
        kind => kind.replace('-', "_"),
    }
}

/// What a page lacks.
fn lacks(page: &str) -> Vec<&'static str> {
    let has = |words: &[&str]| words.iter().any(|word| page.contains(word));
    let parts: [(&str, &[&str]); 7] = [
        (
            "the standard's abbreviation",
            &["STO", "SS1", "SOS", "SLS", "SSR", "SDI", "SLA", "SLP", "SLI", "SLT", "SCA"],
        ),
        ("the hazard", &["The hazard: "]),
        ("a diagram", &["```text"]),
        (
            "when it is violated",
            &["iolated when ", "is true while ", "is withdrawn at every frame at which "],
        ),
        ("its worst-case reaction", &["Worst-case reaction"]),
        ("what it does not detect", &["Not detected: ", "Not\ndetected: "]),
        (
            "an example that is run",
            &[
                "assert_eq!(tripped_at, Some(",
                "assert!(tripped_at",
                "assert_eq!(without, [",
                "outputs.contains(",
            ],
        ),
    ];
    parts.iter().filter(|(_, words)| !has(words)).map(|(part, _)| *part).collect()
}

#[test]
fn every_kind_of_monitor_has_a_page_with_hazard_diagram_rule_reaction_blind_spots_and_example() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../monitor-core/src/monitor");
    for kind in KINDS {
        let path = folder.join(format!("{}.rs", file(kind)));
        let text =
            fs::read_to_string(&path).unwrap_or_else(|error| panic!("{kind}: {}: {error}", path.display()));
        let head = text
            .lines()
            .map_while(|line| line.strip_prefix("//!"))
            .map(|line| line.strip_prefix(' ').unwrap_or(line));
        let page = head.collect::<Vec<_>>().join("\n");
        assert_eq!(lacks(&page), [""; 0], "{kind}: {page}");
        for part in ["The hazard: ", "```text", "Worst-case reaction"] {
            assert_eq!(lacks(&page.replace(part, "")).len(), 1, "without {part} it is found");
        }
    }
}
