//! `cowitness convert`.

use std::process::ExitCode;

use super::{args, complain, keep_inputs, load_setup};
use crate::exit;
use crate::plural::plural;
use crate::replay::layout;
use crate::trace::convert;

pub(super) fn run(args: &args::Convert) -> ExitCode {
    match write(args) {
        Ok(()) => ExitCode::from(exit::CLEAR),
        Err(message) => {
            complain(&message);
            ExitCode::from(exit::UNUSABLE)
        }
    }
}

fn write(args: &args::Convert) -> Result<(), String> {
    keep_inputs(&args.out, std::iter::once(&args.trace).chain(&args.setup))?;
    let layout = match &args.setup {
        None => None,
        Some(path) => Some(layout(&load_setup(path)?).map_err(|error| error.to_string())?),
    };
    let done = convert(&args.trace, &args.out, layout.as_ref(), &args.leave_out)
        .map_err(|error| error.to_string())?;
    for note in &done.notes {
        anstream::eprintln!("note: {note}");
    }
    if !args.quiet {
        let (rows, columns) = (plural(done.rows, "row"), plural(done.columns as u64, "column"));
        anstream::eprintln!("{}: {rows} of {columns}", args.out.display());
    }
    Ok(())
}
