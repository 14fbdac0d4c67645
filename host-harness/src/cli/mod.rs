//! The program: what was typed, what it means, what to print. Everything else is the library's.

mod args;
mod progress;
mod replay;
mod synth;

use std::io::Write;
use std::process::ExitCode;

use clap::Parser;

use crate::exit;
use args::{Args, Command};

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
        Command::Synth(args) => synth::run(&args),
        Command::Schema => print(&schema()),
    }
}

fn schema() -> String {
    let schema = crate::report::json_schema();
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

/// Refuses to write to a file that is read in the same run: it would be lost.
fn keep_inputs<'a>(
    out: &std::path::Path,
    inputs: impl IntoIterator<Item = &'a std::path::PathBuf>,
) -> Result<(), String> {
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

/// One message on standard error.
fn complain(message: &str) {
    anstream::eprintln!("error: {message}");
}
