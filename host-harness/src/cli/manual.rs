//! `cowitness completions` and `cowitness man`: both from the definition that `--help` comes from.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Command, CommandFactory};
use clap_mangen::Man;
use clap_mangen::roff::{Roff, bold, roman};

use super::args::{self, Args};
use super::{complain, print};
use crate::exit;
use crate::report::CAUTION;

/// How the paragraphs of an `after_help` begin that have a section of their own on a page.
const EXAMPLE: &str = "Example:\n";
const EXIT_STATUS: &str = "Exit status: ";

pub(super) fn completions(args: &args::Completions) -> ExitCode {
    // Into memory first: the generator panics where it cannot write.
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Args::command(), "cowitness", &mut script);
    print(&String::from_utf8_lossy(&script))
}

pub(super) fn man(args: &args::Man) -> ExitCode {
    match write_pages(&args.out) {
        Ok(written) => print(&written),
        Err(message) => {
            complain(&message);
            ExitCode::from(exit::UNUSABLE)
        }
    }
}

/// Writes every page and says where, a line each.
fn write_pages(folder: &Path) -> Result<String, String> {
    if folder.exists() && !folder.is_dir() {
        return Err(format!("{}: is a file; name a folder with --out", folder.display()));
    }
    let bad = |path: &Path, error: std::io::Error| {
        format!("{}: cannot be written: {error}; check the folder given with --out", path.display())
    };
    std::fs::create_dir_all(folder).map_err(|error| bad(folder, error))?;
    let mut written = String::new();
    for (name, page) in pages() {
        let path: PathBuf = folder.join(name);
        std::fs::write(&path, page).map_err(|error| bad(&path, error))?;
        written += &format!("{}\n", path.display());
    }
    Ok(written)
}

/// The definition with everything derived; `help` is no command that needs a page.
fn definition() -> Command {
    let mut definition = Args::command().disable_help_subcommand(true);
    definition.build();
    definition
}

/// The name and the text of every page: of the program, then of each command.
fn pages() -> Vec<(String, String)> {
    let program = definition();
    let commands = program.get_subcommands().map(|command| {
        // The page of the program names them all.
        page(command, &["cowitness(1)".to_owned()])
    });
    let names = program.get_subcommands().map(|command| format!("cowitness-{}(1)", command.get_name()));
    let first = page(&program, &names.collect::<Vec<_>>());
    std::iter::once(first).chain(commands).collect()
}

/// One page. What stands after the options in `--help` is taken apart into sections.
fn page(command: &Command, others: &[String]) -> (String, String) {
    let after = command.get_after_help().map_or_else(String::new, ToString::to_string);
    let usage = command.clone().render_usage().to_string();
    let usage = usage.trim_start_matches("Usage: ").to_owned();
    let man = Man::new(command.clone().after_help(None::<&str>).override_usage(usage))
        // A page is the same whenever it is made; without the quotes the empty date would be no argument.
        .date("\"\"")
        .source(format!("cowitness {}", env!("CARGO_PKG_VERSION")))
        .manual("cowitness manual");
    let mut bytes = Vec::new();
    // Writing to memory does not fail.
    let _ = man.render(&mut bytes).and_then(|()| sections(&after, others).to_writer(&mut bytes));
    // The name of a setting is not to be broken in two, nor what is typed to be spread over a line.
    let page = String::from_utf8_lossy(&bytes).replacen("\n.SH", "\n.nh\n.ad l\n.SH", 1);
    (man.get_filename(), page)
}

/// The sections after the options.
fn sections(after: &str, others: &[String]) -> Roff {
    let mut roff = Roff::new();
    let paragraphs = || after.split("\n\n").filter(|text| !text.is_empty() && *text != CAUTION);
    for text in paragraphs().filter_map(|text| text.strip_prefix(EXIT_STATUS)) {
        roff.control("SH", ["EXIT STATUS"]);
        filled(&mut roff, text);
    }
    let notes = paragraphs().filter(|text| !text.starts_with(EXAMPLE) && !text.starts_with(EXIT_STATUS));
    for (number, text) in notes.enumerate() {
        match number {
            0 => roff.control("SH", ["NOTES"]),
            _ => roff.control("PP", []),
        };
        filled(&mut roff, text);
    }
    for text in paragraphs().filter_map(|text| text.strip_prefix(EXAMPLE)) {
        roff.control("SH", ["EXAMPLE"]).control("nf", []);
        for line in text.lines() {
            roff.text([roman(line.strip_prefix("  ").unwrap_or(line))]);
        }
        roff.control("fi", []);
    }
    roff.control("SH", ["CAUTION"]);
    filled(&mut roff, CAUTION);
    roff.control("SH", ["SEE ALSO"]);
    for (left, name) in (0..others.len()).rev().zip(others) {
        let (page, section) = name.split_at(name.len() - "(1)".len());
        let comma = if left > 0 { "," } else { "" };
        roff.text([bold(page), roman(format!("{section}{comma}"))]);
    }
    roff
}

/// A paragraph whose lines are broken anew.
fn filled(roff: &mut Roff, text: &str) {
    for line in text.lines() {
        roff.text([roman(line)]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Commands that have only one thing to say: they did it, or could not.
    const WITHOUT_A_STATUS_OF_THEIR_OWN: [&str; 5] = ["synth", "seal", "schema", "completions", "man"];

    fn after(command: &Command) -> String {
        command.get_after_help().map_or_else(String::new, ToString::to_string)
    }

    #[test]
    fn the_help_of_every_command_has_an_example_of_that_command() {
        let program = definition();
        assert!(program.get_subcommands().count() > 10);
        for command in program.get_subcommands().chain([&program]) {
            let (name, after) = (command.get_name(), after(command));
            let start =
                if name == "cowitness" { "cowitness ".to_owned() } else { format!("cowitness {name} ") };
            assert!(after.contains(&format!("{EXAMPLE}  {start}")), "{name}: {after}");
            let long = command.clone().render_long_help().to_string();
            assert!(long.trim_end().ends_with(after.trim_end()), "{name}: {long}");
        }
    }

    #[test]
    fn the_help_of_every_command_with_more_to_say_than_done_has_its_exit_status() {
        let program = definition();
        for command in program.get_subcommands().chain([&program]) {
            let has_one = after(command).contains(&format!("\n\n{EXIT_STATUS}0 "));
            let name = command.get_name();
            assert_eq!(has_one, !WITHOUT_A_STATUS_OF_THEIR_OWN.contains(&name), "{name}");
        }
    }

    #[test]
    fn a_page_holds_every_word_that_stands_after_the_options() {
        for command in definition().get_subcommands() {
            let (name, page) = page(command, &[]);
            let page = page.replace("\\-", "-").replace("\\*(Aq", "'").replace("\\\\", "\\");
            for line in after(command).lines() {
                let line = line.trim().trim_start_matches("Example:").trim_start_matches(EXIT_STATUS);
                assert!(page.contains(line), "{name}: {line}");
            }
        }
    }
}
