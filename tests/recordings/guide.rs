//! The commands of `README.md` work.

use host_harness::expect::Expectations;
use host_harness::setup::Setup;

use super::fetched;
use super::replayed::report;

/// A path of the guide, which counts from the root of the repository and has traces in `target/recordings`.
fn place(path: &str, traces: &std::path::Path) -> std::path::PathBuf {
    match path.strip_prefix("target/recordings/") {
        Some(trace) => traces.join(trace),
        None => fetched::folder().join("../..").join(path),
    }
}

#[test]
fn every_replay_in_the_guide_comes_out_as_the_guide_says() {
    let (Some(traces), Some(_)) = (fetched::wheel(), fetched::camera()) else { return };
    let guide = std::fs::read_to_string(fetched::folder().join("README.md")).expect("the guide");
    let mut replays = 0;
    let mut lines = guide.lines();
    while let Some(line) = lines.next() {
        let Some(arguments) = line.strip_prefix("cargo run -p host-harness --bin cowitness -- replay ")
        else {
            continue;
        };
        let words: Vec<&str> = arguments.split_whitespace().collect();
        let option = |name: &str| {
            let at = words.iter().position(|word| *word == name)?;
            Some(place(words[at + 1], &traces))
        };
        let setup =
            Setup::load(option("--setup").expect("a setup")).unwrap_or_else(|error| panic!("{error}"));
        let report = report(&setup, &place(words[0], &traces));
        let comes_out = match option("--expect") {
            None => format!("{:?}", report.verdict).to_uppercase(),
            Some(path) => {
                let expectations =
                    Expectations::load(&path, &setup).unwrap_or_else(|error| panic!("{error}"));
                assert!(expectations.misses(&report).is_empty(), "{line}");
                "All expectations met".to_owned()
            }
        };
        let said = lines.next().and_then(|line| line.strip_prefix("# says: ")).expect("what it says");
        assert_eq!(said, comes_out, "{line}");
        replays += 1;
    }
    assert!(replays >= 2, "the guide shows {replays} replays");
}
