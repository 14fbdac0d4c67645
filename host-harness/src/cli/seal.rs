//! `cowitness seal`.

use std::path::Path;
use std::process::ExitCode;

use super::{args, complain, keep_apart, load_setup, write_to};
use crate::exit;
use crate::seal::{LabelKind, Review, c_header, rust_source, seal};

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
    let (out, rust, c) = (&args.out, args.rust.as_deref(), args.c.as_deref());
    let named = [("--out", Some(out)), ("--rust", args.rust.as_ref()), ("--c", args.c.as_ref())];
    keep_apart(&named, &[&args.setup])?;
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
        notes.extend(source.notes);
    }
    if let Some(c) = c {
        let header = c_header(&review, &image, c);
        write_to(c, header.text.as_bytes(), "--c")?;
        notes.extend(header.notes);
    }
    for note in notes {
        anstream::eprintln!("note: {note}");
    }
    if !args.quiet {
        say(out, &review);
    }
    Ok(())
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
    let where_listed = match image.labels {
        LabelKind::Full => "the review sheet lists them",
        // Not even by number: they are in no part of the image.
        LabelKind::Unit | LabelKind::None => {
            "sealed without names and texts, the image does not list them: `cowitness inspect --setup` does"
        }
    };
    anstream::eprintln!(
        "  {} settings are kept on the host and are not in the axis of the target; {where_listed}",
        review.host.len()
    );
}
