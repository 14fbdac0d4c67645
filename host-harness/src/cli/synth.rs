//! `cowitness synth`.

use std::io::ErrorKind;
use std::process::ExitCode;

use super::{args, complain, keep_inputs};
use crate::exit;
use crate::plural::plural;
use crate::synth::{Scenario, WriteError, create};

pub(super) fn run(args: &args::Synth) -> ExitCode {
    match write(args) {
        Ok(()) => ExitCode::from(exit::CLEAR),
        Err(message) => {
            complain(&message);
            ExitCode::from(exit::UNUSABLE)
        }
    }
}

fn write(args: &args::Synth) -> Result<(), String> {
    keep_inputs(&args.out, [&args.scenario])?;
    let path = args.scenario.display().to_string();
    let text = std::fs::read_to_string(&args.scenario)
        .map_err(|error| format!("{path}: cannot be read: {error}; check the path of the scenario"))?;
    let scenario = Scenario::from_toml(&text, &path).map_err(|error| error.to_string())?;
    let out = args.out.display().to_string();
    let cannot_write =
        |error: &dyn std::fmt::Display| format!("{out}: cannot be written: {error}; check --out");
    let mut sink = create(&args.out).map_err(|error| cannot_write(&error))?;
    let written = match scenario.write(&mut sink) {
        // A reader of standard output that has gone away is no error.
        Err(WriteError::Io(error)) if out == "-" && error.kind() == ErrorKind::BrokenPipe => return Ok(()),
        written => written.map_err(|error| cannot_write(&error))?,
    };
    sink.finish().map_err(|error| cannot_write(&error))?;
    if !args.quiet {
        anstream::eprintln!("{out}: {} of {}, invented data", plural(written.rows, "row"), scenario.title());
        for planted in &written.planted {
            anstream::eprintln!("  {planted}");
        }
    }
    Ok(())
}
