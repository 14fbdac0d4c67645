//! Completions and manual pages: accepted by the shell and the formatter that they are for, and complete.

mod program;

use std::collections::BTreeSet;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use program::{cowitness, err, out};

/// A folder of this test that is not there yet.
fn scratch(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}-{}", std::process::id()));
    let _ = fs::remove_dir_all(&folder);
    folder
}

/// Whether a tool can be run. Where it cannot, says so past the capturing of the test harness, and fails in CI.
fn is_there(tool: &str, install: &str) -> bool {
    if Command::new(tool).arg("--version").stdout(Stdio::null()).status().is_ok_and(|status| status.success())
    {
        return true;
    }
    let name = std::thread::current().name().unwrap_or("a test").to_owned();
    // When standard error is closed there is nobody to tell.
    let _ = writeln!(std::io::stderr(), "NOT RUN: {name}: there is no {tool}; {install}");
    let in_ci = std::env::var_os("CI").is_some_and(|value| !value.is_empty() && value != "false");
    assert!(!in_ci, "not run, which is a failure in CI: there is no {tool}");
    false
}

const NO_BASH: &str = "install bash";
const NO_GROFF: &str = "install it: apt-get install groff-base";

/// The names of the commands, from the list in the help.
fn commands() -> Vec<String> {
    let help = cowitness(&["--help"]);
    let lines = out(&help).lines().skip_while(|line| *line != "Commands:").skip(1);
    let names: Vec<String> = lines
        .take_while(|line| !line.is_empty())
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|name| *name != "help")
        .map(ToOwned::to_owned)
        .collect();
    assert!(names.len() > 10 && names.iter().any(|name| name == "replay"), "{names:?}");
    names
}

/// The options of a command, from its help.
fn options(command: &[&str]) -> BTreeSet<String> {
    let help = cowitness(&[command, &["--help"]].concat());
    let lines = out(&help).lines().map(str::trim_start);
    let lines = lines.filter(|line| line.starts_with('-') && !line.starts_with("- "));
    // What it is for stands after two blanks, and may speak of others.
    let words = lines.filter_map(|line| line.split("  ").next()).flat_map(|line| line.split([' ', ',']));
    words.filter(|word| word.starts_with("--") && word.len() > 2).map(ToOwned::to_owned).collect()
}

/// What bash offers for the last of some words.
fn offered(script: &Path, words: &[&str]) -> BTreeSet<String> {
    let line = format!(
        "source '{}' && COMP_WORDS=({}) && COMP_CWORD={} && _cowitness cowitness '{}' '{}' && printf '%s\\n' \"${{COMPREPLY[@]}}\"",
        script.display(),
        words.iter().map(|word| format!("'{word}'")).collect::<Vec<_>>().join(" "),
        words.len() - 1,
        words[words.len() - 1],
        words[words.len() - 2],
    );
    let shell = Command::new("bash").args(["--norc", "-c", &line]).output().expect("bash");
    assert!(shell.status.success() && shell.stderr.is_empty(), "{line}\n{}", err(&shell));
    out(&shell).lines().filter(|line| !line.is_empty()).map(ToOwned::to_owned).collect()
}

#[test]
fn bash_accepts_its_completions_and_completes_every_command_and_every_option() {
    if !is_there("bash", NO_BASH) {
        return;
    }
    let folder = scratch("completions");
    fs::create_dir_all(&folder).expect("a scratch folder");
    let script = folder.join("cowitness.bash");
    let printed = cowitness(&["completions", "bash"]);
    assert!(printed.status.success() && printed.stderr.is_empty());
    fs::write(&script, &printed.stdout).expect("a script");
    let checked = Command::new("bash").arg("-n").arg(&script).output().expect("bash");
    assert!(checked.status.success() && checked.stderr.is_empty(), "{}", err(&checked));

    let only = |word: &str| BTreeSet::from([word.to_owned()]);
    assert_eq!(offered(&script, &["cowitness", "re"]), only("replay"));
    assert_eq!(offered(&script, &["cowitness", "replay", "--set"]), only("--setup"));
    assert_eq!(offered(&script, &["cowitness", "vectors", "--built-in", "f"]), only("further"));
    assert!(offered(&script, &["cowitness", "replay", "--nothing-like-it"]).is_empty());
    for command in commands() {
        assert_eq!(offered(&script, &["cowitness", &command]), only(&command));
        let known = offered(&script, &["cowitness", &command, "--"]);
        assert_eq!(known, options(&[&command]), "{command}");
    }
    fs::remove_dir_all(&folder).expect("the scratch folder");
}

#[test]
fn there_are_completions_for_the_shells_that_are_listed_and_no_other_is_taken() {
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let printed = cowitness(&["completions", shell]);
        assert!(printed.status.success(), "{shell}");
        for command in commands() {
            assert!(out(&printed).contains(&command), "{shell}: {command}");
        }
    }
    let refused = cowitness(&["completions", "abacus"]);
    assert_eq!(refused.status.code(), Some(2));
    assert!(err(&refused).contains("bash, elvish, fish, powershell, zsh"), "{}", err(&refused));
}

/// Writes the pages into a folder that is not there yet.
fn written(name: &str) -> (PathBuf, Output) {
    let folder = scratch(name).join("share/man1");
    let output = cowitness(&["man", "--out", folder.to_str().expect("text")]);
    (folder, output)
}

#[test]
fn there_is_a_page_of_the_program_and_one_of_each_command_and_they_are_listed() {
    let (folder, output) = written("pages");
    assert!(output.status.success() && output.stderr.is_empty(), "{}", err(&output));
    let mut expected: BTreeSet<String> =
        commands().iter().map(|command| format!("cowitness-{command}.1")).collect();
    expected.insert("cowitness.1".to_owned());
    let there: BTreeSet<String> = fs::read_dir(&folder)
        .expect("the folder")
        .map(|file| file.expect("a file").file_name().into_string().expect("text"))
        .collect();
    assert_eq!(there, expected);
    let listed: BTreeSet<PathBuf> = out(&output).lines().map(PathBuf::from).collect();
    assert_eq!(listed, expected.iter().map(|name| folder.join(name)).collect());
    // A second time nothing changes.
    let page = folder.join("cowitness.1");
    let before = fs::read(&page).expect("a page");
    let again = cowitness(&["man", "--out", folder.to_str().expect("text")]);
    assert!(again.status.success());
    assert_eq!(fs::read(&page).expect("a page"), before);
    fs::remove_dir_all(folder).expect("the scratch folder");
}

#[test]
fn every_page_is_formatted_without_a_warning_and_has_every_option_and_section() {
    if !is_there("groff", NO_GROFF) {
        return;
    }
    let (folder, output) = written("formatted");
    assert!(output.status.success(), "{}", err(&output));
    for command in commands() {
        let page = folder.join(format!("cowitness-{command}.1"));
        let text = formatted(&page);
        for option in options(&[&command]) {
            assert!(has_word(&text, &option), "{command}: {option}\n{text}");
        }
        for section in ["NAME", "SYNOPSIS", "DESCRIPTION", "OPTIONS", "EXAMPLE", "CAUTION", "SEE ALSO"] {
            assert!(text.lines().any(|line| line == section), "{command}: {section}\n{text}");
        }
        assert!(text.contains(&format!("       cowitness {command} ")), "the example of {command}\n{text}");
        assert!(text.contains("not a certified safety component"), "{command}\n{text}");
    }
    let text = formatted(&folder.join("cowitness.1"));
    for command in commands() {
        assert!(has_word(&text, &format!("cowitness-{command}(1)")), "{command}\n{text}");
    }
    let replay = formatted(&folder.join("cowitness-replay.1"));
    assert!(replay.contains("cowitness replay [OPTIONS] --setup <AXIS.toml> <TRACE>..."), "{replay}");
    let sweep = formatted(&folder.join("cowitness-sweep.1"));
    assert!(sweep.contains("--slack \"100 ms\" \\\n"), "an example goes on in the next line\n{sweep}");
    assert!(sweep.contains("monitor.'slow while the door is open'.on_delay"), "{sweep}");
    fs::remove_dir_all(folder).expect("the scratch folder");
}

/// A page as plain text; no warning of any kind is let pass.
fn formatted(page: &Path) -> String {
    let groff = Command::new("groff")
        .args(["-man", "-Tutf8", "-ww", "-P-cbou"])
        .arg(page)
        .output()
        .expect("groff, which was there before");
    let said = err(&groff);
    assert!(groff.status.success() && said.is_empty(), "{}:\n{said}", page.display());
    out(&groff).to_owned()
}

/// Whether a word stands in a text, and not as a part of a longer one.
fn has_word(text: &str, word: &str) -> bool {
    let is_part = |letter: char| letter.is_alphanumeric() || letter == '-';
    text.match_indices(word)
        .any(|(at, _)| !text[..at].ends_with(is_part) && !text[at + word.len()..].starts_with(is_part))
}

#[test]
fn pages_are_not_written_over_a_file_or_beneath_one() {
    let folder = scratch("no-folder");
    fs::create_dir_all(&folder).expect("a scratch folder");
    let file = folder.join("notes.txt");
    fs::write(&file, "kept").expect("a file");
    let refused = cowitness(&["man", "--out", file.to_str().expect("text")]);
    assert_eq!(refused.status.code(), Some(2));
    let said = err(&refused);
    assert!(said.contains("notes.txt: is a file; name a folder with --out"), "{said}");
    let beneath = cowitness(&["man", "--out", file.join("man1").to_str().expect("text")]);
    assert_eq!(beneath.status.code(), Some(2));
    assert!(err(&beneath).contains("man1: cannot be written"), "{}", err(&beneath));
    assert_eq!(fs::read_to_string(&file).expect("the file"), "kept");
    fs::remove_dir_all(&folder).expect("the scratch folder");
}
