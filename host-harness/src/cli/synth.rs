//! `cowitness synth`.

use std::io::ErrorKind;
use std::path::Path;
use std::process::ExitCode;

use super::{args, complain, keep_inputs};
use crate::exit;
use crate::plural::plural;
use crate::synth::{Scenario, WriteError, create};
use crate::trace::table::Format;

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
    is_text(&args.out)?;
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

/// Refuses a name that promises something else than the text that is written: it would be found out only by the reader.
fn is_text(out: &Path) -> Result<(), String> {
    let shown = out.display();
    let refused = |named: &str, way_out: &str| {
        Err(format!(
            "--out {shown}: by its name this is {named}, and a synthetic trace is written as CSV; {way_out}"
        ))
    };
    // Inside of what it is packed as.
    let is_packing = |ending: &str| ending.eq_ignore_ascii_case("gz") || ending.eq_ignore_ascii_case("zst");
    let ending = |path: &Path| path.extension().map(|ending| ending.to_string_lossy().to_ascii_lowercase());
    let bare = if ending(out).is_some_and(|ending| is_packing(&ending)) {
        out.with_extension("")
    } else {
        out.into()
    };
    let csv = bare.with_extension("csv");
    let csv = csv.display();
    match Format::of_name(&bare) {
        Some(Format::Mdf) => return refused(Format::Mdf.with_article(), &format!("name it {csv}")),
        Some(format) => {
            let ending = if format == Format::Parquet { "parquet" } else { "arrow" };
            let table = bare.with_extension(ending);
            let way_out = format!(
                "name it {csv}, and make the other file of it: cowitness convert {csv} --out {}",
                table.display()
            );
            return refused(format.with_article(), &way_out);
        }
        None => {}
    }
    let named = match ending(&bare).as_deref() {
        Some("tsv") => "text separated by tabs",
        Some("xlsx" | "xls" | "ods") => "a spreadsheet",
        Some("json" | "jsonl" | "ndjson") => "JSON",
        Some("zip" | "bz2" | "xz" | "7z") => {
            return refused("compressed in a way that is not written", "name it .csv, .csv.gz or .csv.zst");
        }
        _ => return Ok(()),
    };
    refused(named, &format!("name it {csv}"))
}
