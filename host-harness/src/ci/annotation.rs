//! Annotations: lines on standard output that a system for continuous integration shows at a line of a file.
//!
//! `::error file=FILE,line=LINE::MESSAGE`; a line break, a percent sign and, in a property, a colon and a comma are written as the
//! percent sign and two hexadecimal digits.

use std::fmt::Display;

use super::Traced;
use crate::plural::plural;

/// The most annotations of one trace: who reads them one by one reads no more.
const MOST: usize = 20;

/// One line for each miss of each trace, at the expectation that is missed or else at the trace, and for each trace that cannot be
/// read.
#[must_use]
pub fn annotations(traces: &[Traced]) -> String {
    traces.iter().map(of_trace).collect()
}

fn of_trace(trace: &Traced) -> String {
    let path = trace.path;
    let found = match &trace.found {
        Ok(found) => found,
        Err(error) => return annotation(path, error.line, &error.message),
    };
    let file = trace.judged_by();
    // At an expectation it has to be said which trace misses it.
    let told = |what: &str| match trace.expectations {
        Some(_) => format!("{path}: {what}"),
        None => what.to_owned(),
    };
    let misses =
        || found.judged.iter().flat_map(|judged| judged.misses.iter().map(|miss| (judged.line, miss)));
    let mut lines: String =
        misses().take(MOST).map(|(line, miss)| annotation(file, line, &told(&miss.to_string()))).collect();
    let more = misses().count().saturating_sub(MOST);
    if more > 0 {
        lines += &annotation(
            file,
            None::<u64>,
            &told(&format!("{} more; see the report", plural(more, "difference"))),
        );
    }
    lines
}

/// One line. Standard input is no file that could be shown.
#[must_use]
pub fn annotation(file: &str, line: Option<impl Display>, message: &str) -> String {
    let message = escaped(message);
    if file == "-" {
        return format!("::error::{message}\n");
    }
    let file = escaped(file).replace(':', "%3A").replace(',', "%2C");
    let line = line.map_or_else(String::new, |line| format!(",line={line}"));
    format!("::error file={file}{line}::{message}\n")
}

fn escaped(text: &str) -> String {
    text.replace('%', "%25").replace('\r', "%0D").replace('\n', "%0A")
}

#[cfg(test)]
mod tests {
    use super::annotation;

    #[test]
    fn whatever_a_name_holds_an_annotation_is_one_line_and_ends_where_it_should() {
        let line = annotation("a,b:c%\n.csv", Some(7), "100 %\r\n::error file=other::no, but: yes");
        assert_eq!(
            line,
            "::error file=a%2Cb%3Ac%25%0A.csv,line=7::100 %25%0D%0A::error file=other::no, but: yes\n"
        );
        assert_eq!(annotation("run.csv", None::<u64>, "slow"), "::error file=run.csv::slow\n");
        assert_eq!(annotation("-", Some(7), "slow"), "::error::slow\n");
    }
}
