//! `cowitness seal`.

use std::path::Path;
use std::process::ExitCode;

use super::{args, complain, keep_inputs, load_setup, write_to};
use crate::exit;
use crate::seal::{Review, rust_source, seal};

pub(super) fn run(args: &args::Seal) -> ExitCode {
    match write(args) {
        Ok(()) => ExitCode::from(exit::CLEAR),
        Err(error) => {
            error.print();
            ExitCode::from(exit::UNUSABLE)
        }
    }
}

/// What to print: a message, or a rendered list of what is wrong with a setup.
enum Wrong {
    Message(String),
    Setup(String),
}

impl Wrong {
    fn print(&self) {
        match self {
            Self::Message(message) => complain(message),
            Self::Setup(rendered) => anstream::eprintln!("{rendered}"),
        }
    }
}

impl From<String> for Wrong {
    fn from(message: String) -> Self {
        Self::Message(message)
    }
}

fn write(args: &args::Seal) -> Result<(), Wrong> {
    let (out, rust) = (&args.out, args.rust.as_deref());
    for written in std::iter::once(out.as_path()).chain(rust) {
        keep_inputs(written, [&args.setup])?;
    }
    if let Some(rust) = rust
        && is_same(out, rust)
    {
        let message = format!("{}: named with --out and with --rust; name two files", rust.display());
        return Err(message.into());
    }
    let setup = load_setup(&args.setup).map_err(Wrong::Setup)?;
    let path = args.setup.display();
    let image = seal(&setup, args.points, !args.no_labels).map_err(|error| format!("{path}: {error}"))?;
    // What is read back is what is written about.
    let review = Review::against(&image, &setup).map_err(|error| format!("{path}: {error}"))?;
    write_to(out, &image, "--out")?;
    let mut notes = Vec::new();
    if let Some(rust) = rust {
        let source = rust_source(&review, &image);
        write_to(rust, source.text.as_bytes(), "--rust")?;
        notes = source.notes;
    }
    for note in notes {
        anstream::eprintln!("note: {note}");
    }
    if !args.quiet {
        say(out, &review);
    }
    Ok(())
}

fn is_same(out: &Path, rust: &Path) -> bool {
    let place = |path: &Path| std::path::absolute(path).ok();
    out == rust || place(out) == place(rust)
}

fn say(out: &Path, review: &Review) {
    let image = &review.image;
    anstream::eprintln!(
        "{}: {} bytes, image CRC-32 {}, setup checksum {}",
        out.display(),
        image.bytes,
        image.crc32,
        image.setup_checksum
    );
    let held = |path: &str| {
        let value = review.values().find(|value| value.path == path);
        value.map_or("", |value| value.held.as_str()).to_owned()
    };
    anstream::eprintln!(
        "  for {} stored readings per channel: window {} ms, effective at most {} ms while readings come at least every {} ms",
        image.points,
        held("speed.window"),
        held("speed.effective_window"),
        held("speed.spacing")
    );
    anstream::eprintln!(
        "  {} settings are kept on the host and are not in the axis of the target; the review sheet lists them",
        review.host.len()
    );
}
