//! `cowitness vectors`.

use std::io::{ErrorKind, Write};
use std::path::Path;
use std::process::ExitCode;

use super::{args, complain, keep_inputs, print};
use crate::exit;
use crate::setup::Setup;
use crate::vectors::{BUILT_IN_PATH, BUILT_IN_SETUP, FURTHER_PATH, FURTHER_SETUP, Vectors, statement};

pub(super) fn run(args: &args::Vectors) -> ExitCode {
    if args.print_setup {
        return print(built_in(args).0);
    }
    match write(args) {
        Ok(covered) => ExitCode::from(if covered { exit::CLEAR } else { exit::TRIPPED }),
        Err(message) => {
            complain(&message);
            ExitCode::from(exit::UNUSABLE)
        }
    }
}

/// The setup that is used without one, and what messages call it.
fn built_in(args: &args::Vectors) -> (&'static str, &'static str) {
    match args.built_in {
        args::BuiltIn::Basic => (BUILT_IN_SETUP, BUILT_IN_PATH),
        args::BuiltIn::Further => (FURTHER_SETUP, FURTHER_PATH),
    }
}

/// True when nothing that can occur is left out.
fn write(args: &args::Vectors) -> Result<bool, String> {
    let files: Vec<&Path> = args.csv.iter().chain(&args.c).map(std::path::PathBuf::as_path).collect();
    if files.len() == 2 && files[0] == files[1] {
        return Err("--csv and --c name the same file; name two".to_owned());
    }
    for file in &files {
        keep_inputs(file, &args.setup)?;
    }
    let (text, path) = match &args.setup {
        None => {
            let (text, path) = built_in(args);
            (text.to_owned(), path.to_owned())
        }
        Some(path) => {
            // For its messages about files that cannot be read.
            Setup::load(path).map_err(|error| error.to_string())?;
            let text =
                std::fs::read_to_string(path).map_err(|error| format!("{}: {error}", path.display()))?;
            (text, path.display().to_string())
        }
    };
    let vectors = Vectors::generate(&text, &path, args.points).map_err(|error| error.to_string())?;
    if let Some(path) = &args.csv {
        put(path, &vectors.to_csv(), "--csv")?;
    }
    if let Some(path) = &args.c {
        put(path, &vectors.to_c(), "--c")?;
    }
    let statement = statement(&vectors).map_err(|error| error.to_string())?;
    if files.iter().any(|file| file.as_os_str() == "-") {
        anstream::eprintln!("{}", statement.text);
    } else {
        put(Path::new("-"), &(statement.text + "\n"), "")?;
    }
    Ok(statement.is_covered)
}

/// Writes to a file, or to standard output for `-`; a reader of standard output that has gone away is no error.
fn put(path: &Path, text: &str, flag: &str) -> Result<(), String> {
    if path.as_os_str() != "-" {
        return std::fs::write(path, text)
            .map_err(|error| format!("{}: cannot be written: {error}; check {flag}", path.display()));
    }
    match std::io::stdout().lock().write_all(text.as_bytes()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => {
            Err(format!("standard output: {error}; check where it goes"))
        }
        _ => Ok(()),
    }
}
