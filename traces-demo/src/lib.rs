//! Invented demo traces of one axis, the transfer shuttle of a tile kiln, and what they must come to.
//!
//! Everything is found by looking into the folder of this crate, so that nothing can be forgotten in a list:
//!
//! | file | what it is |
//! | --- | --- |
//! | `NAME.toml` | a scenario |
//! | `NAME.expected.toml` | what a replay of its trace must come to; every scenario has one |
//! | `NAME.setup.toml` | the setup of its trace and of those of all scenarios `NAME-MORE.toml` without one of their own; of all others it is [`SHARED_SETUP`] |
//! | `NAME.csv.gz` | the trace, when it is not too large for the repository ([`MOST_TRACE_BYTES`]) |
//!
//! `cargo run -p traces-demo --example make-traces` writes the traces again.

use std::fmt;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// The setup of every trace that has none by its name.
pub const SHARED_SETUP: &str = "shuttle.toml";

/// A compressed trace larger than this is not kept in the repository; it is made when it is needed.
pub const MOST_TRACE_BYTES: u64 = 200_000;

/// One demo: a scenario and what belongs to it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Demo {
    /// The name, as in `clean-run`.
    pub name: String,
    /// The scenario.
    pub scenario: PathBuf,
    /// The setup; it exists.
    pub setup: PathBuf,
    /// The expectations; they exist.
    pub expected: PathBuf,
    /// The trace; missing when it is too large for the repository.
    pub trace: PathBuf,
}

/// Why the demos could not be listed.
#[derive(Debug)]
#[non_exhaustive]
pub enum DemoError {
    /// The folder cannot be read.
    Folder(PathBuf, io::Error),
    /// A file belongs to no scenario, or a scenario lacks a file: which, and what to do.
    File(PathBuf, &'static str),
}

impl fmt::Display for DemoError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Folder(path, why) => write!(f, "{}: the folder cannot be read: {why}", path.display()),
            Self::File(path, advice) => write!(f, "{}: {advice}", path.display()),
        }
    }
}

impl std::error::Error for DemoError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Folder(_, why) => Some(why),
            Self::File(..) => None,
        }
    }
}

/// The folder of the demos: that of this crate, where it was built.
#[must_use]
pub fn folder() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Every demo in the folder of this crate, by name.
///
/// # Errors
///
/// As [`scenarios_in`].
pub fn scenarios() -> Result<Vec<Demo>, DemoError> {
    scenarios_in(folder())
}

/// Every demo in a folder, by name.
///
/// # Errors
///
/// [`DemoError`] when the folder cannot be read, when a scenario has no expectations or no setup, or when a setup,
/// expectations or a trace belong to no scenario.
pub fn scenarios_in(folder: &Path) -> Result<Vec<Demo>, DemoError> {
    let unreadable = |why| DemoError::Folder(folder.to_owned(), why);
    let mut files = Vec::new();
    for entry in fs::read_dir(folder).map_err(unreadable)? {
        let name = entry.map_err(unreadable)?.file_name();
        // A name that is not UTF-8 is none of ours.
        files.extend(name.into_string());
    }
    files.sort();
    let has = |file: &str| files.iter().any(|known| known == file);
    let mut demos = Vec::new();
    for file in &files {
        match part(file) {
            Part::Scenario(name) => {
                let expected = format!("{name}.expected.toml");
                if !has(&expected) {
                    let advice =
                        "the scenario has no expectations; write them, NAME.expected.toml, beside it";
                    return Err(DemoError::File(folder.join(file), advice));
                }
                let named = setup_named(name, has);
                let setup = named.as_deref().unwrap_or(SHARED_SETUP);
                if !has(setup) {
                    let advice = "the setup shared by the scenarios is missing; put it there";
                    return Err(DemoError::File(folder.join(setup), advice));
                }
                demos.push(Demo {
                    name: name.to_owned(),
                    scenario: folder.join(file),
                    setup: folder.join(setup),
                    expected: folder.join(expected),
                    trace: folder.join(format!("{name}.csv.gz")),
                });
            }
            Part::Of(name) if !has(&format!("{name}.toml")) => {
                let advice = "it belongs to no scenario; remove it, or name it after its scenario";
                return Err(DemoError::File(folder.join(file), advice));
            }
            Part::Of(_) | Part::Other => {}
        }
    }
    Ok(demos)
}

/// The setup that goes by the name of a scenario: its own, or that of the longest name it begins with, up to a `-`.
fn setup_named(name: &str, has: impl Fn(&str) -> bool) -> Option<String> {
    let shorter = name.rmatch_indices('-').map(|(end, _)| &name[..end]);
    std::iter::once(name).chain(shorter).map(|name| format!("{name}.setup.toml")).find(|file| has(file))
}

/// What a file of the folder is, by its name.
enum Part<'a> {
    Scenario(&'a str),
    /// Belongs to the scenario of this name.
    Of(&'a str),
    Other,
}

fn part(file: &str) -> Part<'_> {
    let parts = [".expected.toml", ".setup.toml", ".csv.gz"];
    if let Some(name) = parts.iter().find_map(|ending| file.strip_suffix(ending)) {
        return Part::Of(name);
    }
    match file.strip_suffix(".toml") {
        // A plan of trials is of a setup and of many traces.
        Some(name) if name.ends_with(".accept") => Part::Other,
        Some(name) if file != SHARED_SETUP && file != "Cargo.toml" => Part::Scenario(name),
        _ => Part::Other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A folder of empty files that goes with the test.
    struct Folder(PathBuf);

    impl Folder {
        fn new(test: &str, files: &[&str]) -> Self {
            let path = std::env::temp_dir().join(format!("traces-demo-{}-{test}", std::process::id()));
            fs::create_dir_all(&path).expect("a temporary folder");
            for file in files {
                fs::write(path.join(file), "").expect("an empty file");
            }
            Self(path)
        }
    }

    impl Drop for Folder {
        fn drop(&mut self) {
            // What stays behind in a temporary folder harms nobody.
            let _ = fs::remove_dir_all(&self.0);
        }
    }

    #[test]
    fn a_scenario_is_found_with_everything_that_belongs_to_it() {
        let files =
            ["shuttle.toml", "b.toml", "b.expected.toml", "a.toml", "a.expected.toml", "a.setup.toml"];
        let folder = Folder::new("found", &files);
        let demos = scenarios_in(&folder.0).expect("two demos");
        let seen: Vec<_> = demos
            .iter()
            .map(|demo| {
                (demo.name.as_str(), demo.setup.strip_prefix(&folder.0).expect("a file of the folder"))
            })
            .collect();
        assert_eq!(seen, [("a", Path::new("a.setup.toml")), ("b", Path::new("shuttle.toml"))]);
        assert_eq!(demos[0].trace, folder.0.join("a.csv.gz"));
    }

    #[test]
    fn a_scenario_without_a_setup_takes_that_of_the_longest_name_it_begins_with() {
        let named = |name: &str, setups: &[&str]| {
            let mut files = vec!["shuttle.toml".to_owned()];
            files.extend([format!("{name}.toml"), format!("{name}.expected.toml")]);
            for setup in setups {
                files.extend(
                    ["toml", "expected.toml", "setup.toml"].map(|ending| format!("{setup}.{ending}")),
                );
            }
            let test = format!("named-{name}-{}", setups.concat());
            let folder = Folder::new(&test, &files.iter().map(String::as_str).collect::<Vec<_>>());
            let demos = scenarios_in(&folder.0).expect("demos");
            let demo = demos.iter().find(|demo| demo.name == name).expect("the demo");
            demo.setup.file_name().and_then(|file| file.to_str()).expect("a name").to_owned()
        };
        assert_eq!(named("a-b", &["a"]), "a.setup.toml");
        assert_eq!(named("a-b-c", &["a", "a-b"]), "a-b.setup.toml");
        assert_eq!(named("a-b-c", &["a"]), "a.setup.toml");
        assert_eq!(named("a-b", &["a", "a-b"]), "a-b.setup.toml");
        // Neither a name that only begins alike, nor one in the middle.
        assert_eq!(named("ab-c", &["a", "b", "c"]), "shuttle.toml");
        assert_eq!(named("b-a-c", &["a", "b-a-c-d"]), "shuttle.toml");
    }

    #[test]
    fn a_scenario_without_expectations_or_setup_is_refused_by_name() {
        let folder = Folder::new("lacking", &["shuttle.toml", "a.toml"]);
        let error = scenarios_in(&folder.0).expect_err("no expectations").to_string();
        assert!(error.contains("a.toml: the scenario has no expectations"), "{error}");
        let folder = Folder::new("no-setup", &["a.toml", "a.expected.toml"]);
        let error = scenarios_in(&folder.0).expect_err("no setup").to_string();
        assert!(error.contains("shuttle.toml: the setup shared"), "{error}");
    }

    #[test]
    fn a_file_without_its_scenario_is_refused_by_name() {
        for file in ["a.csv.gz", "a.expected.toml", "a.setup.toml"] {
            let folder = Folder::new("orphan", &[file]);
            let error = scenarios_in(&folder.0).expect_err("no scenario").to_string();
            assert!(error.contains(file) && error.contains("belongs to no scenario"), "{error}");
        }
    }

    #[test]
    fn a_folder_that_is_not_there_is_an_error() {
        let error = scenarios_in(Path::new("/nowhere/at/all")).expect_err("no folder");
        assert!(error.to_string().contains("cannot be read"), "{error}");
    }
}
