//! `cowitness inspect`.

use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::process::ExitCode;

use super::{args, complain, keep_inputs, load_setup, write_to};
use crate::exit;
use crate::seal::{MAX_IMAGE_BYTES, Review, sheet};

pub(super) fn run(args: &args::Inspect) -> ExitCode {
    let setup = match args.setup.as_deref().map(load_setup).transpose() {
        Ok(setup) => setup,
        Err(rendered) => {
            anstream::eprintln!("{rendered}");
            return ExitCode::from(exit::UNUSABLE);
        }
    };
    let shown = name(&args.image);
    let review = keep(args).and_then(|()| read(&args.image)).and_then(|bytes| {
        let review =
            setup.as_ref().map_or_else(|| Review::of(&bytes), |setup| Review::against(&bytes, setup));
        review.map_err(|error| format!("{shown}: {error}"))
    });
    match review.and_then(|review| print(args, &review).map(|()| review)) {
        Ok(review) => ExitCode::from(verdict(args, &review)),
        Err(message) => {
            complain(&message);
            ExitCode::from(exit::UNUSABLE)
        }
    }
}

fn keep(args: &args::Inspect) -> Result<(), String> {
    args.json
        .as_deref()
        .map_or(Ok(()), |json| keep_inputs(json, [&args.image].into_iter().chain(&args.setup)))
}

fn is_stdin(path: &Path) -> bool {
    path.as_os_str() == "-"
}

/// What messages call the image.
fn name(path: &Path) -> String {
    if is_stdin(path) { "standard input".to_owned() } else { path.display().to_string() }
}

fn read(path: &Path) -> Result<Vec<u8>, String> {
    let shown = name(path);
    let unreadable = |error| {
        format!("{shown}: cannot be read: {error}; check the path of the image (`-` is standard input)")
    };
    let from: &mut dyn Read = if is_stdin(path) {
        &mut std::io::stdin().lock()
    } else {
        &mut File::open(path).map_err(unreadable)?
    };
    let mut bytes = Vec::new();
    from.take(MAX_IMAGE_BYTES + 1).read_to_end(&mut bytes).map_err(unreadable)?;
    if bytes.len() as u64 > MAX_IMAGE_BYTES {
        return Err(format!(
            "{shown}: more than {MAX_IMAGE_BYTES} bytes, so not a sealed setup; give what `cowitness seal` wrote"
        ));
    }
    Ok(bytes)
}

fn print(args: &args::Inspect, review: &Review) -> Result<(), String> {
    if let Some(json) = &args.json {
        let text = serde_json::to_string_pretty(review)
            .map_err(|error| format!("the review cannot be written as JSON: {error}"))?;
        write_to(json, (text + "\n").as_bytes(), "--json")?;
    }
    if args.json.as_deref().is_some_and(|json| json.as_os_str() == "-") {
        return Ok(());
    }
    write_to(Path::new("-"), sheet(review).as_bytes(), "")
}

/// Says on standard error what speaks against the image, too: the sheet may be on its way to a printer.
fn verdict(args: &args::Inspect, review: &Review) -> u8 {
    if review.is_consistent() {
        return exit::CLEAR;
    }
    let image = name(&args.image);
    if let Some(setup) = review.setup.as_ref().filter(|setup| !setup.same) {
        let (path, count) = (&setup.path, setup.differences.len());
        complain(&format!("{image}: not the image of {path}, {count} differences; the sheet lists them"));
    }
    for value in review.misfits() {
        complain(&format!("{image}: {} is not what its own text is rounded to", value.path));
    }
    exit::TRIPPED
}
