//! `--html` of `cowitness replay` and `cowitness explain`.

use std::path::{Path, PathBuf};

use crate::explain::Explanation;
use crate::html::{Sheet, report};
use crate::plot::Plot;
use crate::replay::Outcome;
use crate::report::Report;
use crate::sweep::Identity;
use crate::vary::Base;

/// Where the page of each trace goes: to the file for a single trace, into the folder for several.
pub(super) fn targets(html: &Path, traces: &[PathBuf]) -> Result<Vec<PathBuf>, String> {
    if html.as_os_str() == "-" && traces.len() > 1 {
        return Err("--html -: standard output takes one page; name a folder for several traces".to_owned());
    }
    if let [_] = traces {
        return Ok(vec![html.to_path_buf()]);
    }
    if !html.is_dir() {
        return Err(format!(
            "{}: is no folder; for several traces --html takes a folder that there is, and writes a page for each into it",
            html.display()
        ));
    }
    let mut targets: Vec<PathBuf> = Vec::new();
    for trace in traces {
        let name =
            trace.file_name().map_or_else(|| "stdin".to_owned(), |name| name.to_string_lossy().into_owned());
        let target = html.join(format!("{}.html", if name == "-" { "stdin" } else { &name }));
        if targets.contains(&target) {
            return Err(format!(
                "{}: the pages of two traces would have this name; give them one at a time",
                target.display()
            ));
        }
        targets.push(target);
    }
    Ok(targets)
}

/// Writes the page of one trace.
pub(super) fn write(
    target: &Path,
    base: &Base,
    trace: &Path,
    (outcome, report_of, explanation, plot): (&Outcome, &Report, &Explanation, &Plot),
) -> Result<(), String> {
    let identity = match trace.as_os_str() == "-" {
        true => None,
        false => Some(Identity::read(trace).map_err(|error| {
            format!("{}: cannot be read again for its checksum: {error}", trace.display())
        })?),
    };
    let sheet = Sheet {
        setup: base.setup(),
        setup_text: base.text(),
        outcome,
        report: report_of,
        explanation,
        plot,
        identity,
    };
    let page = report(&sheet).map_err(|error| format!("the page cannot be made: {error}"))?;
    super::write_to(target, page.as_bytes(), "--html")
}
