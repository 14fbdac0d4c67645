//! `--html` of `cowitness replay` and `cowitness explain`.

use std::path::{Path, PathBuf};

use crate::explain::Told;
use crate::html::{Listed, Sheet, came_to, index, report};
use crate::plot::Plot;
use crate::replay::Outcome;
use crate::report::Report;
use crate::sweep::Identity;
use crate::vary::Base;

/// Where what is made of each trace goes: to the file for a single trace, into the folder for several.
pub(super) fn targets(
    out: &Path,
    traces: &[PathBuf],
    (option, suffix): (&str, &str),
) -> Result<Vec<PathBuf>, String> {
    if out.as_os_str() == "-" && traces.len() > 1 {
        return Err(format!("{option} -: standard output takes one file; name a folder for several traces"));
    }
    if let [_] = traces {
        return Ok(vec![out.to_path_buf()]);
    }
    if !out.is_dir() {
        return Err(format!(
            "{}: is no folder; for several traces {option} takes a folder that there is, and writes a file for each into it",
            out.display()
        ));
    }
    let mut targets: Vec<PathBuf> = Vec::new();
    for trace in traces {
        let name =
            trace.file_name().map_or_else(|| "stdin".to_owned(), |name| name.to_string_lossy().into_owned());
        let target = out.join(format!("{}.{suffix}", if name == "-" { "stdin" } else { &name }));
        if Some(&target) == index_of(out, traces.len()).as_ref() && suffix == "html" {
            return Err(format!(
                "{}: the list of all pages has this name; give the trace another one",
                target.display()
            ));
        }
        if targets.contains(&target) {
            return Err(format!(
                "{}: the files of two traces would have this name; give them one at a time",
                target.display()
            ));
        }
        targets.push(target);
    }
    Ok(targets)
}

/// Where the list of the pages goes: into the folder, where there are several.
pub(super) fn index_of(out: &Path, traces: usize) -> Option<PathBuf> {
    (traces > 1).then(|| out.join("index.html"))
}

/// Writes the list of the pages.
pub(super) fn write_index(
    target: &Path,
    base: &Base,
    listed: &[Listed],
    unreadable: &[String],
) -> Result<(), String> {
    super::write_to(target, index(&base.setup().title, listed, unreadable).as_bytes(), "--html")
}

/// A page as the list has it.
pub(super) fn listed(page: &Path, report_of: &Report, told: &Told) -> Listed {
    Listed {
        file: page.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned()),
        trace: report_of.trace.path.clone(),
        verdict: report_of.verdict,
        came_to: came_to(&told.first),
    }
}

/// Writes the page of one trace.
pub(super) fn write(
    target: &Path,
    base: &Base,
    identity: Identity,
    (outcome, report_of, told, plot): (&Outcome, &Report, &Told, &Plot),
) -> Result<(), String> {
    let sheet = Sheet {
        setup: base.setup(),
        setup_text: base.text(),
        outcome,
        report: report_of,
        told,
        plot,
        identity,
    };
    let page = report(&sheet).map_err(|error| format!("the page cannot be made: {error}"))?;
    super::write_to(target, page.as_bytes(), "--html")
}
