//! JUnit XML: a suite a trace, a case an expectation.
//!
//! There is no time in it: how long a replay took says nothing about the machine, and the file is the same whenever it is written.

use std::borrow::Cow;
use std::fmt::Write;

use super::{Found, Traced};
use crate::expect::{Judged, Miss};
use crate::plural::plural;

/// The document. A trace that cannot be read is a suite of one case, which is in error.
#[must_use]
pub fn junit(traces: &[Traced]) -> String {
    let mut out = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    let counts = traces.iter().map(Counts::of).fold(Counts::default(), Counts::and);
    // Writing to a String does not fail.
    let _ = writeln!(out, "<testsuites name=\"cowitness replay\"{}>", counts.attributes());
    for trace in traces {
        let counts = Counts::of(trace).attributes();
        let _ = writeln!(out, "  <testsuite name=\"{}\"{counts} skipped=\"0\">", attribute(trace.path));
        match &trace.found {
            Err(error) => {
                let message = attribute(&error.message);
                let failed = format!("<error type=\"unreadable\" message=\"{message}\"/>");
                case(&mut out, trace, "the trace can be replayed", Some(&failed));
            }
            Ok(found) => suite(&mut out, trace, found),
        }
        out += "  </testsuite>\n";
    }
    out + "</testsuites>\n"
}

#[derive(Clone, Copy, Default)]
struct Counts {
    tests: usize,
    failures: usize,
    errors: usize,
}

impl Counts {
    fn of(trace: &Traced) -> Self {
        match &trace.found {
            Err(_) => Self { tests: 1, failures: 0, errors: 1 },
            Ok(Found { judged, .. }) => {
                let failures = judged.iter().filter(|judged| !judged.misses.is_empty()).count();
                Self { tests: judged.len(), failures, errors: 0 }
            }
        }
    }

    fn and(self, other: Self) -> Self {
        Self {
            tests: self.tests + other.tests,
            failures: self.failures + other.failures,
            errors: self.errors + other.errors,
        }
    }

    fn attributes(self) -> String {
        let Self { tests, failures, errors } = self;
        format!(" tests=\"{tests}\" failures=\"{failures}\" errors=\"{errors}\"")
    }
}

fn suite(out: &mut String, trace: &Traced, found: &Found) {
    for judged in found.judged {
        let failed = failure(trace, judged);
        case(out, trace, &judged.expected, failed.as_deref());
    }
    let _ = writeln!(out, "    <system-out>{}</system-out>", text(found.text));
}

fn case(out: &mut String, trace: &Traced, name: &str, failed: Option<&str>) {
    let (class, name) = (attribute(trace.path), attribute(name));
    let _ = match failed {
        None => writeln!(out, "    <testcase classname=\"{class}\" name=\"{name}\"/>"),
        Some(failed) => {
            writeln!(
                out,
                "    <testcase classname=\"{class}\" name=\"{name}\">\n      {failed}\n    </testcase>"
            )
        }
    };
}

/// What is missed, first in short and then in full with its place.
fn failure(trace: &Traced, judged: &Judged) -> Option<String> {
    let (first, others) = judged.misses.split_first()?;
    let mut short = first.to_string();
    if !others.is_empty() {
        let _ = write!(short, "; and {} more", others.len());
    }
    let line = judged.line.map_or_else(String::new, |line| format!(":{line}"));
    let misses: Vec<String> = judged.misses.iter().map(Miss::to_string).collect();
    let full =
        format!("{}{line}: {}\n{}", trace.judged_by(), plural(misses.len(), "difference"), misses.join("\n"));
    Some(format!("<failure type=\"missed\" message=\"{}\">{}</failure>", attribute(&short), text(&full)))
}

/// Text between tags.
fn text(from: &str) -> String {
    from.chars().map(|c| if c == '\n' { Cow::from("\n") } else { letter(c) }).collect()
}

/// Text between quotes, where a line break or a tab as it is would be read as a blank.
fn attribute(from: &str) -> String {
    from.chars()
        .map(|c| match c {
            '\n' => Cow::from("&#10;"),
            '\t' => Cow::from("&#9;"),
            '"' => Cow::from("&quot;"),
            c => letter(c),
        })
        .collect()
}

/// One character as XML 1.0 can hold it. What it cannot hold at all, and what nobody would see, is shown as its number: nothing is left out.
fn letter(c: char) -> Cow<'static, str> {
    match c {
        '&' => "&amp;".into(),
        '<' => "&lt;".into(),
        '>' => "&gt;".into(),
        '\t' => "\t".into(),
        '\r' => "&#13;".into(),
        c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => c.escape_unicode().to_string().into(),
        c => c.to_string().into(),
    }
}

#[cfg(test)]
mod tests {
    use super::{attribute, text};

    #[test]
    fn what_xml_cannot_hold_is_shown_and_not_left_out() {
        let name = "a\0b\u{1b}[31m\u{fffe}\u{ffff}\u{85}\r\n\t<&\">]]>";
        let shown = "a\\u{0}b\\u{1b}[31m\\u{fffe}\\u{ffff}\\u{85}&#13;";
        assert_eq!(attribute(name), format!("{shown}&#10;&#9;&lt;&amp;&quot;&gt;]]&gt;"));
        assert_eq!(text(name), format!("{shown}\n\t&lt;&amp;\"&gt;]]&gt;"));
    }
}
