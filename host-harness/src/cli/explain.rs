//! `cowitness explain`.

use std::process::ExitCode;

use super::drawn::{Replayed, Targets};
use super::progress::Progress;
use super::{args, color, complain, keep_apart, print, skipped_notes, write_to};
use crate::exit;
use crate::explain::{Again, Asked, Explanation, Verdict, explain, explain_plotted, text};
use crate::replay::{FrameSource, layout, replay};
use crate::report::{CAUTION, Report};
use crate::setup::Setup;
use crate::sweep::Watched;
use crate::trace::{Options, Prefetch, Reader};
use crate::vary::Base;

pub(super) fn run(args: &args::Explain) -> ExitCode {
    match explained(args) {
        Ok(code) => code,
        Err(message) => {
            complain(&message);
            ExitCode::from(exit::UNUSABLE)
        }
    }
}

fn explained(args: &args::Explain) -> Result<ExitCode, String> {
    let drawn = Targets::new(&args.drawn, std::slice::from_ref(&args.trace))?;
    let mut outputs = vec![("--json", args.json.as_ref()), ("--html", args.html.as_ref())];
    outputs.extend(drawn.paths().map(|(option, path)| (option, Some(path))));
    keep_apart(&outputs, &[&args.trace, &args.setup])?;
    let is_on_stdout = outputs.iter().filter_map(|(_, path)| *path).any(|path| path.as_os_str() == "-");
    let base = match Base::load(&args.setup) {
        Ok(base) => base,
        Err(error) => {
            anstream::eprintln!("{}", error.render(color()));
            return Ok(ExitCode::from(exit::UNUSABLE));
        }
    };
    let (explanation, pictures) = of_trace(args, &base, &drawn)?;
    if let Some(path) = &args.json {
        let json = serde_json::to_string_pretty(&explanation)
            .map_err(|error| format!("the explanation cannot be written as JSON: {error}"))?;
        write_to(path, (json + "\n").as_bytes(), "--json")?;
    }
    // Where nothing happened nothing tripped, however little the trace tells.
    let is_clear = matches!(explanation.verdict, Verdict::Clear { .. } | Verdict::Planned { .. });
    let code = ExitCode::from(if is_clear { exit::CLEAR } else { exit::TRIPPED });
    if is_on_stdout {
        return Ok(code);
    }
    let out = format!("{}{pictures}\n{CAUTION}\n", text(&explanation));
    let printed = print(&out);
    Ok(if printed == ExitCode::from(exit::CLEAR) { code } else { printed })
}

fn of_trace(args: &args::Explain, base: &Base, drawn: &Targets) -> Result<(Explanation, String), String> {
    let asked = match (args.trip, args.fault) {
        (Some(trip), _) => Asked::Trip(trip),
        (None, Some(fault)) => Asked::Fault(fault),
        (None, None) => Asked::First,
    };
    let again = |changed: &Setup| {
        let mut source = open(args, changed, None).ok()?;
        replay(changed, &mut source, &mut |_| {}).ok()
    };
    // Standard input can be read only once.
    let again: Again<'_> = if args.trace.as_os_str() == "-" { None } else { Some(&again) };
    let bytes = Watched::default();
    let mut source = open(args, base.setup(), args.html.as_ref().map(|_| &bytes))?;
    let path = args.trace.display().to_string();
    let progress = Progress::new(false);
    let mut shown = 0;
    let mut show = |frames| {
        progress.add(frames - shown);
        shown = frames;
    };
    let mut pictures = String::new();
    let explanation = if args.html.is_none() && !drawn.is_any() {
        explain(base, &mut source, &path, asked, &mut show, again).map_err(|error| error.to_string())?
    } else {
        let (told, outcome, plot) = explain_plotted(base, &mut source, &path, asked, &mut show, again)
            .map_err(|error| error.to_string())?;
        let of = Replayed {
            setup: base.setup(),
            outcome: &outcome,
            plot: &plot,
            path: &args.trace,
            place: 0,
            asked,
        };
        drawn.write(&of)?;
        pictures = drawn.in_text(&of, false);
        if let Some(html) = &args.html {
            let report = Report::new(base.setup(), &outcome, &path, source.skipped_rows());
            super::html::write(html, base, bytes.identity(), (&outcome, &report, &told, &plot))?;
        }
        told.first
    };
    drop(progress);
    if let Some(skipped) = source.reader().map(Reader::skipped) {
        for note in skipped_notes(&args.trace, skipped) {
            anstream::eprintln!("note: {note}");
        }
    }
    Ok((explanation, pictures))
}

/// Starts to read the trace; `bytes` sees what its file is made of.
fn open(args: &args::Explain, setup: &Setup, bytes: Option<&Watched>) -> Result<Prefetch, String> {
    let layout = layout(setup).map_err(|error| error.to_string())?;
    let options = Options { skip_bad: args.skip_bad };
    let reader = match bytes {
        Some(bytes) => Reader::open_seen(&args.trace, &layout, options, bytes.shown()),
        None => Reader::open(&args.trace, &layout, options),
    };
    Prefetch::start(reader.map_err(|error| error.to_string())?)
        .map_err(|error| format!("no thread to read with: {error}"))
}
