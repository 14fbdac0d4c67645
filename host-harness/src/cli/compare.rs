//! `cowitness compare`.

use std::io::Read;
use std::path::Path;
use std::process::ExitCode;

use super::{args, complain, print};
use crate::compare::{Comparison, compare, decode};
use crate::exit;
use crate::setup::Setup;
use crate::vectors::Recorded;

pub(super) fn run(args: &args::Compare) -> ExitCode {
    match both(args) {
        Ok(comparison) => {
            let printed = print(&comparison.to_string());
            let same = if comparison.is_same() { exit::CLEAR } else { exit::TRIPPED };
            if printed == ExitCode::from(exit::CLEAR) { ExitCode::from(same) } else { printed }
        }
        Err(message) => {
            complain(&message);
            ExitCode::from(exit::UNUSABLE)
        }
    }
}

fn both(args: &args::Compare) -> Result<Comparison, String> {
    let vectors = read(&args.vectors, "check --vectors")?;
    let vectors =
        Recorded::parse(&vectors, &args.vectors.display().to_string()).map_err(|error| error.to_string())?;
    if let Some(path) = &args.setup {
        let setup = Setup::load(path).map_err(|error| error.to_string())?;
        let (ours, theirs) = (setup.checksum(), vectors.setup.checksum());
        if ours != theirs {
            return Err(format!(
                "{}: belongs to another setup, \"{}\" with checksum {theirs:08x}; {} has {ours:08x}: write the vectors again from that",
                args.vectors.display(),
                vectors.setup.title,
                path.display()
            ));
        }
    }
    let log = read(&args.log, "check the path of the log")?;
    compare(&vectors, &log, &args.log.display().to_string()).map_err(|error| error.to_string())
}

fn read(path: &Path, way_out: &str) -> Result<String, String> {
    let name = path.display().to_string();
    let bad = |error: std::io::Error| format!("{name}: cannot be read: {error}; {way_out}");
    let bytes = if path.as_os_str() == "-" {
        let mut bytes = Vec::new();
        std::io::stdin().lock().read_to_end(&mut bytes).map_err(bad)?;
        bytes
    } else {
        std::fs::read(path).map_err(bad)?
    };
    decode(bytes, &name).map_err(|error| error.to_string())
}
