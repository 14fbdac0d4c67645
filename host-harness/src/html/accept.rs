//! The report on the acceptance of an axis: a page to print and to sign.

use super::{Table, escape, html, number, page, text};
use crate::accept::{AcceptReport, CheckReport, FunctionReport, Judgement, Overall, TrialReport};
use crate::report::{Seconds, millis, short};

/// What the person who signs has to know.
const CAUTION: &str = "This is evidence of recorded trials, and no certificate: whether the limits are right, whether the trials are the ones \
    that this machine needs and whether they were carried out as described, judges the person who signs. cowitness is not a certified \
    safety component.";

/// The page.
#[must_use]
pub fn acceptance(report: &AcceptReport) -> String {
    let mut body = head(report);
    body += &what(report);
    body += &untested(report);
    body += &glance(report);
    body += &trials(report);
    body += &functions(report);
    body += &traces(report);
    body += &signatures();
    page(&report.title, &body, false)
}

fn word(result: Judgement) -> super::Cell {
    html(format!("<strong>{}</strong>", result.word()))
}

fn head(report: &AcceptReport) -> String {
    let (word, class) = match report.result {
        Overall::Passed => ("PASSED: every trial passed, and they show every function of the setup", "good"),
        Overall::Incomplete => ("INCOMPLETE: no trial failed, and not everything was tested", "bad"),
        Overall::Failed => ("FAILED: a trial did not show what it was to show", "bad"),
    };
    let mut out = format!("<h1>{}</h1>\n", escape(&report.title));
    let about = [("Machine", &report.machine), ("Place", &report.place), ("Tested by", &report.tested_by)];
    for (what, said) in about {
        if let Some(said) = said {
            out += &format!("<p>{what}: {}</p>\n", escape(said));
        }
    }
    out += &format!("<p class=\"verdict {class}\">{word}</p>\n<p>{}.</p>\n", escape(&report.summary()));
    out += &format!("<p class=\"caution\">{}</p>\n", escape(CAUTION));
    out
}

fn what(report: &AcceptReport) -> String {
    let mut table = Table::new("What this is of", &["What", "Which"]);
    let mut row = |name: &str, value: String| table.row(&[text(name), text(value)]);
    row("setup", format!("{} ({})", report.setup.title, report.setup.path));
    row("checksum of its effective values", report.setup.checksum.clone());
    for (name, file) in [("setup file", &report.setup_file), ("plan", &report.plan)] {
        row(name, format!("{}: {} bytes, CRC-32 {}", file.path, file.bytes, file.crc32));
    }
    row("program", format!("cowitness {}, JSON report version {}", report.program, report.schema));
    format!("<h2>What this is of</h2>\n{}", table.end())
}

/// On the first page, so that nobody signs without having seen it.
fn untested(report: &AcceptReport) -> String {
    let functions: Vec<&FunctionReport> = report.untested().collect();
    let planned: Vec<&TrialReport> =
        report.trials.iter().filter(|trial| trial.result == Judgement::NotTested).collect();
    let mut out = "<h2>Not tested</h2>\n".to_owned();
    if functions.is_empty() && planned.is_empty() {
        return out
            + "<p>Nothing: every trial of the plan was carried out, and each function of the setup has one.</p>\n";
    }
    if !planned.is_empty() {
        out += "<p>Planned, and not carried out:</p>\n<ul>\n";
        for trial in planned {
            out += &format!("<li>{}. {}</li>\n", trial.number, escape(&trial.name));
        }
        out += "</ul>\n";
    }
    if !functions.is_empty() {
        out += "<p>Functions of the setup that no trial shows:</p>\n<ul>\n";
        for function in functions {
            out += &format!("<li>{}</li>\n", escape(&function.line()));
        }
        out += "</ul>\n";
    }
    out
}

fn glance(report: &AcceptReport) -> String {
    let mut table = Table::new("Trials", &["#No.", "Trial", "Of", "Kind", "Result"]);
    for trial in &report.trials {
        table.row(&[
            number(trial.number.to_string()),
            text(&trial.name),
            text(&trial.of),
            text(&trial.kind),
            word(trial.result),
        ]);
    }
    format!("<h2>Trials</h2>\n{}", table.end())
}

fn trials(report: &AcceptReport) -> String {
    let mut out = "<h2 class=\"new-page\">Trial by trial</h2>\n".to_owned();
    out += "<p>The crossing is where the measured value passed its limit, between two frames. The worst case is what the setup alone \
            leaves room for, from what is truly broken until the torque is gone; it covers more than what is measured here.</p>\n";
    for trial in &report.trials {
        out += &told(trial);
    }
    out
}

fn told(trial: &TrialReport) -> String {
    let mut out = format!(
        "<section class=\"trial\">\n<h3>{}. {} <span class=\"result\">{}</span></h3>\n",
        trial.number,
        escape(&trial.name),
        trial.result.word()
    );
    let mut line = |what: &str, said: &str| out += &format!("<p>{what}: {}</p>\n", escape(said));
    line("How", &trial.how);
    line("Wanted", &trial.wanted);
    match &trial.trace {
        Some(trace) => line("Recorded", trace),
        None => line("Recorded", "nothing: this trial was not carried out"),
    }
    if let Some(Seconds(worst)) = trial.worst_case_s {
        line("Worst case of the setup", &format!("{} ms", millis(worst)));
    }
    if !trial.checks.is_empty() {
        let mut table = Table::new(
            &format!("Checks of trial {}", trial.number),
            &["Met", "What", "Channel", "#At, s", "#Measured", "#At most", "#Left", "Remark"],
        );
        for check in &trial.checks {
            row(&mut table, check);
        }
        out += &table.end();
    }
    if !trial.others.is_empty() {
        out += if trial.allow_others {
            "<p>Else, as the plan allows:</p>\n<ul>\n"
        } else {
            "<p>Else:</p>\n<ul>\n"
        };
        for other in &trial.others {
            out += &format!("<li>{}</li>\n", escape(other));
        }
        out += "</ul>\n";
    }
    out + "</section>\n"
}

fn row(table: &mut Table, check: &CheckReport) {
    let mark = match check.met {
        Some(true) => "ok",
        Some(false) => "MISSED",
        None => "shown",
    };
    let amount = |amount: &Option<crate::accept::Amount>| {
        number(amount.as_ref().map_or_else(String::new, ToString::to_string))
    };
    table.row(&[
        html(if check.met == Some(false) { format!("<strong>{mark}</strong>") } else { mark.to_owned() }),
        text(&check.what),
        text(check.channel.as_deref().unwrap_or("")),
        number(check.at_s.map_or_else(String::new, |at| short(at.0))),
        amount(&check.measured),
        amount(&check.bound),
        amount(&check.margin),
        text(&check.note),
    ]);
}

fn functions(report: &AcceptReport) -> String {
    let mut table = Table::new(
        "Every function of the setup",
        &["Function", "Kind", "Channel", "What it has to show", "Result", "Trials"],
    );
    for function in &report.functions {
        let trials: Vec<String> = function.trials.iter().map(ToString::to_string).collect();
        table.row(&[
            text(&function.name),
            text(&function.kind),
            text(function.channel.as_deref().unwrap_or("")),
            text(&function.shows),
            word(function.result),
            text(trials.join(", ")),
        ]);
    }
    format!("<h2 class=\"new-page\">Every function of the setup</h2>\n{}", table.end())
}

fn traces(report: &AcceptReport) -> String {
    let mut table =
        Table::new("Traces", &["Trace", "#Bytes", "CRC-32", "#Frames", "#From, s", "#To, s", "Trials"]);
    let at = |at: Option<Seconds>| at.map_or_else(String::new, |at| short(at.0));
    for trace in &report.traces {
        let trials: Vec<String> = trace.trials.iter().map(ToString::to_string).collect();
        table.row(&[
            text(&trace.file.path),
            number(trace.file.bytes.to_string()),
            text(&trace.file.crc32),
            number(trace.frames.to_string()),
            number(at(trace.first_s)),
            number(at(trace.last_s)),
            text(trials.join(", ")),
        ]);
    }
    format!(
        "<h2>Traces</h2>\n<p>Length and checksum are of the files as they are stored. They find a change; they are no protection \
         against intent.</p>\n{}",
        table.end()
    )
}

/// Lines for two persons: one who carried the trials out, and one who has looked at them.
fn signatures() -> String {
    let mut out = String::from(
        "<section class=\"trial\">\n<h2>Signatures</h2>\n<p>Who signs has read the list of what was not tested.</p>\n\
         <div class=\"scroll\"><table class=\"sign\" aria-label=\"Signatures\">\n<thead><tr><th scope=\"col\">Who</th><th scope=\"col\">Name</th><th scope=\"col\">Date</th>\
         <th scope=\"col\">Signature</th></tr></thead>\n<tbody>\n",
    );
    for who in ["Carried out the trials", "Checked the report"] {
        out += &format!("<tr><th scope=\"row\">{who}</th><td></td><td></td><td></td></tr>\n");
    }
    out + "</tbody></table></div>\n</section>\n"
}
