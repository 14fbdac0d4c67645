//! The program: what was typed, what it means, what to print. Everything else is the library's.

mod accept;
mod args;
mod columns;
mod compare;
mod convert;
mod drawn;
mod ending;
mod explain;
mod html;
mod inspect;
mod manual;
mod margins;
mod progress;
mod replay;
mod seal;
mod sweep;
mod synth;
mod vectors;

use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Parser;

use crate::exit;
use crate::plural::plural;
use crate::setup::Setup;
use crate::trace::Skipped;
use args::{Args, Command, SchemaOf};

/// Runs the program on the arguments of this process.
#[must_use]
pub fn main() -> ExitCode {
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(error) => {
            // Help and version are asked for; the rest is wrong usage. When the output is closed, nothing is left to say.
            let _ = error.print();
            return ExitCode::from(if error.use_stderr() { exit::UNUSABLE } else { exit::CLEAR });
        }
    };
    match args.command {
        Command::Replay(args) => replay::run(&args),
        Command::Explain(args) => explain::run(&args),
        Command::Margins(args) => margins::run(&args),
        Command::Accept(args) => accept::run(&args),
        Command::Synth(args) => synth::run(&args),
        Command::Convert(args) => convert::run(&args),
        Command::Sweep(args) => sweep::run(&args),
        Command::Seal(args) => seal::run(&args),
        Command::Inspect(args) => inspect::run(&args),
        Command::Vectors(args) => vectors::run(&args),
        Command::Compare(args) => compare::run(&args),
        Command::Columns(args) => columns::run(&args),
        Command::Schema(args) => print(&schema(args.of)),
        Command::Completions(args) => manual::completions(&args),
        Command::Man(args) => manual::man(&args),
    }
}

fn schema(of: SchemaOf) -> String {
    let schema = match of {
        SchemaOf::Replay => crate::report::json_schema(),
        SchemaOf::Explain => crate::explain::json_schema(),
        SchemaOf::Margins => crate::margins::json_schema(),
        SchemaOf::Sweep => crate::sweep::json_schema(),
        SchemaOf::Columns => crate::columns::json_schema(),
        SchemaOf::Accept => crate::accept::json_schema(),
        SchemaOf::Plot => crate::plot::json_schema(),
    };
    serde_json::to_string_pretty(&schema).map_or_else(|error| error.to_string(), |text| text + "\n")
}

/// Prints to standard output; a reader that has gone away is no error.
fn print(text: &str) -> ExitCode {
    match std::io::stdout().lock().write_all(text.as_bytes()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            complain(&format!("standard output: {error}; check where it goes"));
            ExitCode::from(exit::UNUSABLE)
        }
        _ => ExitCode::from(exit::CLEAR),
    }
}

/// Writes to the file that an option names, or to standard output for `-`; a reader of it that has gone away is no error.
fn write_to(path: &Path, bytes: &[u8], option: &str) -> Result<(), String> {
    if path.as_os_str() != "-" {
        return std::fs::write(path, bytes).map_err(|error| {
            format!("{}: cannot be written: {error}; check the path given with {option}", path.display())
        });
    }
    match std::io::stdout().lock().write_all(bytes) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(format!("standard output: {error}; check where it goes"))
        }
        _ => Ok(()),
    }
}

/// Loads a setup, or says what is wrong with it.
fn load_setup(path: &Path) -> Result<Setup, String> {
    Setup::load(path).map_err(|error| error.render(color()))
}

/// Standard error is a terminal whose user has not asked for plain text.
fn color() -> bool {
    std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
}

/// Refuses to write to a file that is read in the same run: it would be lost.
fn keep_inputs<'a>(out: &Path, inputs: impl IntoIterator<Item = &'a PathBuf>) -> Result<(), String> {
    // What does not exist yet cannot be lost.
    let Ok(target) = out.canonicalize() else { return Ok(()) };
    for input in inputs {
        if input.canonicalize().is_ok_and(|input| input == target) {
            return Err(format!(
                "{}: is read in the same run and would be overwritten; name another file to write to",
                out.display()
            ));
        }
    }
    Ok(())
}

/// Refuses to write to a file that is read in the same run, two things to one place, or something to a name that promises something else;
/// each is named with its option.
fn keep_apart(outputs: &[(&str, Option<&PathBuf>)], inputs: &[&PathBuf]) -> Result<(), String> {
    let mut before: Vec<(&str, &Path)> = Vec::new();
    for (option, path) in outputs.iter().filter_map(|(option, path)| Some((option, (*path)?))) {
        keep_inputs(path, inputs.iter().copied())?;
        if let Some((other, _)) = before.iter().find(|(_, other)| is_same(other, path)) {
            let path = path.display();
            return Err(format!("{path}: named with {other} and with {option}; name two files"));
        }
        before.push((option, path));
    }
    before.into_iter().try_for_each(|(option, path)| ending::fits(option, path))
}

/// Whether two names are of one file, which need not be there yet.
fn is_same(one: &Path, other: &Path) -> bool {
    let place = |path: &Path| {
        let there = || path.canonicalize().ok();
        let folder =
            path.parent().map(|folder| if folder.as_os_str().is_empty() { Path::new(".") } else { folder });
        there().or_else(|| Some(folder?.canonicalize().ok()?.join(path.file_name()?)))
    };
    one == other || place(one).is_some_and(|place_of_one| Some(place_of_one) == place(other))
}

/// A message in one line, whatever the names in it hold: nothing in it looks like a message of its own.
fn in_one_line(message: &str) -> String {
    let mut line = String::with_capacity(message.len());
    for c in message.chars() {
        if c.is_control() {
            line.extend(c.escape_default());
        } else {
            line.push(c);
        }
    }
    line
}

/// What was left out of a trace, in lines.
fn skipped_notes(path: &Path, skipped: &Skipped) -> Vec<String> {
    let mut notes: Vec<String> = skipped
        .by_reason()
        .iter()
        .map(|(reason, count)| format!("{}: {} left out: {reason}", path.display(), plural(count, "row")))
        .collect();
    notes.extend(skipped.first().iter().map(|row| format!("  {}", row.error.of_row_left_out())));
    notes
}

/// One message on standard error.
fn complain(message: &str) {
    anstream::eprintln!("error: {message}");
}
