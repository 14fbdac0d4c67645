//! The report for a terminal.

use std::fmt::Write;

use super::report::{AcceptReport, CheckReport, FunctionReport, Judgement, Overall, TrialReport};
use crate::plural::plural;
use crate::report::{CAUTION, millis, short};
use crate::seal::printable::wrap;

/// The width of a line.
const COLUMNS: usize = 80;

/// The report, in lines of at most 80 columns.
#[must_use]
pub fn text(report: &AcceptReport) -> String {
    let mut out = String::new();
    put(&mut out, "", &format!("{}  {}", report.result.word(), report.title));
    put(&mut out, "  ", &report.summary());
    let setup =
        format!("setup {}, checksum {} of its effective values", report.setup.path, report.setup.checksum);
    put(&mut out, "  ", &setup);
    out += "\nTrials\n";
    for trial in &report.trials {
        told(&mut out, trial);
    }
    let listed = |out: &mut String, head: &str, result: Judgement| {
        let functions: Vec<&FunctionReport> =
            report.functions.iter().filter(|of| of.result == result).collect();
        if !functions.is_empty() {
            let _ = write!(out, "\n{head}\n");
            functions.iter().for_each(|of| put(out, "  ", &of.line()));
        }
    };
    listed(&mut out, "Functions against which a trial speaks", Judgement::Failed);
    listed(&mut out, "NOT TESTED: functions of the setup that no trial shows", Judgement::NotTested);
    out += "\n";
    for line in wrap(&CAUTION.replace('\n', " "), COLUMNS) {
        let _ = writeln!(out, "{line}");
    }
    out
}

/// A text behind an indent, in lines that fit; what cannot be seen in it is shown as its escape.
fn put(out: &mut String, indent: &str, text: &str) {
    let mut seen = String::with_capacity(text.len());
    for letter in text.chars() {
        if letter.is_control() { seen.extend(letter.escape_default()) } else { seen.push(letter) }
    }
    for (place, line) in wrap(&seen, COLUMNS - indent.len() - 2).iter().enumerate() {
        let hang = if place > 0 { "  " } else { "" };
        let _ = writeln!(out, "{indent}{hang}{line}");
    }
}

fn told(out: &mut String, trial: &TrialReport) {
    put(out, "  ", &format!("{}  {}  {}", trial.number, trial.result.word(), trial.name));
    put(out, "      ", &trial.wanted);
    match &trial.trace {
        Some(trace) => put(out, "      ", trace),
        None => put(out, "      ", "not carried out: the plan names no trace"),
    }
    for check in &trial.checks {
        put(out, "      ", &format!("{:6}{}", check.mark(), check.line()));
    }
    for other in &trial.others {
        put(out, "      ", &format!("else  {other}"));
    }
    if let Some(worst) = &trial.worst_case_s {
        put(
            out,
            "      ",
            &format!("      by the setup at most {} ms until the torque is gone", millis(worst.0)),
        );
    }
}

impl Overall {
    /// In capitals.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Passed => "PASSED",
            Self::Incomplete => "INCOMPLETE",
            Self::Failed => "FAILED",
        }
    }
}

impl AcceptReport {
    /// What it comes to, in a sentence.
    #[must_use]
    pub fn summary(&self) -> String {
        let of = |result| self.trials_that(result);
        let functions = |result| self.functions.iter().filter(|of| of.result == result).count();
        format!(
            "{}: {} passed, {} failed, {} not carried out; {}: {} shown, {} failed, {} not tested",
            plural(self.trials.len(), "trial"),
            of(Judgement::Passed),
            of(Judgement::Failed),
            of(Judgement::NotTested),
            plural(self.functions.len(), "function"),
            functions(Judgement::Passed),
            functions(Judgement::Failed),
            functions(Judgement::NotTested),
        )
    }
}

impl FunctionReport {
    /// What it is, in one line.
    #[must_use]
    pub fn line(&self) -> String {
        let Self { name, kind, shows, channel, .. } = self;
        let of = |channel: &String| {
            let what = if kind.starts_with("line ") { "line" } else { "channel" };
            let both = if channel.contains(' ') { "s" } else { "" };
            format!(", {what}{both} {channel}")
        };
        format!("{name} ({kind}{}): {shows}", channel.as_ref().map_or_else(String::new, of))
    }
}

impl CheckReport {
    /// Whether it is as wanted, in few letters.
    #[must_use]
    pub const fn mark(&self) -> &'static str {
        match self.met {
            Some(true) => "ok",
            Some(false) => "MISS",
            None => "seen",
        }
    }

    /// What was held against what, in one line.
    #[must_use]
    pub fn line(&self) -> String {
        let mut line = self.what.clone();
        if let Some(channel) = &self.channel {
            line += &format!(", channel {channel}");
        }
        if let Some(measured) = &self.measured {
            line += &format!(": {measured}");
        }
        if let Some(bound) = &self.bound {
            line += &format!(", at most {bound}");
        }
        if let Some(margin) = &self.margin {
            line += &format!(", {margin} left");
        }
        // A number is of the trip that stands before it.
        if let Some(at) =
            self.at_s.filter(|_| self.bound.is_none() && (self.measured.is_none() || self.met.is_none()))
        {
            line += &format!(" (at {} s)", short(at.0));
        }
        if !self.note.is_empty() {
            line += &format!(": {}", self.note);
        }
        line
    }
}
