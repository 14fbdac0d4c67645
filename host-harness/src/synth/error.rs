//! Errors of a scenario file and of writing a trace.

use std::ops::Range;

/// A scenario that cannot be used: where it is wrong, why, and what to do.
///
/// `line` and `column` count from 1; `column` counts characters, not bytes.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{file}:{line}:{column}: {message}; {advice}")]
#[non_exhaustive]
pub struct ScenarioError {
    /// The file as it was named to [`Scenario::from_toml`](super::Scenario::from_toml).
    pub file: String,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// What is wrong, with the offending value.
    pub message: String,
    /// What to do about it.
    pub advice: String,
}

/// Writing a trace stopped before its end.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum WriteError {
    /// The destination refused the bytes.
    #[error("the trace could not be written: {0}")]
    Io(#[from] std::io::Error),
    /// A source left the range of a 64-bit reading before its counter wraps.
    #[error(
        "column `{column}`: the reading at {time_ns} ns lies beyond 2^62 steps from the start; \
         use a coarser resolution or a shorter trace"
    )]
    OutOfRange {
        /// The column of the source.
        column: String,
        /// Instant of the reading on the time axis of the trace, in nanoseconds.
        time_ns: i64,
    },
}

/// What is wrong with one value, before the place in the file is known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Complaint {
    pub(super) message: String,
    pub(super) advice: String,
}

impl Complaint {
    pub(super) fn new(message: impl Into<String>, advice: impl Into<String>) -> Self {
        Self { message: message.into(), advice: advice.into() }
    }
}

/// The text of a scenario, to turn byte ranges into lines and columns.
#[derive(Clone, Copy)]
pub(super) struct Document<'a> {
    pub(super) file: &'a str,
    pub(super) text: &'a str,
}

impl Document<'_> {
    /// The complaint, placed at the start of `span`.
    pub(super) fn error(&self, span: Range<usize>, complaint: Complaint) -> ScenarioError {
        let before = self.text.get(..span.start).unwrap_or(self.text);
        let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
        ScenarioError {
            file: self.file.to_owned(),
            line: before.matches('\n').count() + 1,
            column: before[line_start..].chars().count() + 1,
            message: complaint.message,
            advice: complaint.advice,
        }
    }

    /// An error of the TOML reader, with the nearest known key when a key was not known.
    pub(super) fn toml_error(&self, error: &toml::de::Error) -> ScenarioError {
        let message = error.message().lines().collect::<Vec<_>>().join(" ");
        let advice = nearest_key(&message).map_or_else(
            || {
                if message.starts_with("missing field") {
                    "add the missing key".to_owned()
                } else if message.starts_with("unknown field") {
                    "remove the key or correct its name".to_owned()
                } else {
                    "correct the TOML at this place".to_owned()
                }
            },
            |key| format!("did you mean `{key}`?"),
        );
        self.error(error.span().unwrap_or(0..0), Complaint { message, advice })
    }
}

/// The key nearest to the unknown one, from a message that names the unknown key first and the known ones after it.
fn nearest_key(message: &str) -> Option<&str> {
    if !message.starts_with("unknown field") {
        return None;
    }
    let mut quoted = message.split('`').skip(1).step_by(2);
    let unknown = quoted.next()?;
    quoted
        .map(|known| (edit_distance(unknown, known), known))
        .min()
        .filter(|(distance, known)| *distance <= 1 + known.len() / 3)
        .map(|(_, known)| known)
}

/// Number of single-character edits between two keys.
fn edit_distance(left: &str, right: &str) -> usize {
    let right: Vec<char> = right.chars().collect();
    let mut row: Vec<usize> = (0..=right.len()).collect();
    for (i, l) in left.chars().enumerate() {
        let mut diagonal = std::mem::replace(&mut row[0], i + 1);
        for (j, r) in right.iter().enumerate() {
            let substituted = diagonal + usize::from(l != *r);
            diagonal = row[j + 1];
            row[j + 1] = substituted.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[right.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_is_counted_in_lines_and_characters_from_one() {
        let document = Document { file: "s.toml", text: "é = 1\nµµ x" };
        let error = document.error(12..13, Complaint::new("m", "a"));
        assert_eq!((error.line, error.column), (2, 4));
        assert_eq!(error.to_string(), "s.toml:2:4: m; a");
    }

    #[test]
    fn the_nearest_known_key_is_named() {
        assert_eq!(
            nearest_key("unknown field `latancy`, expected one of `column`, `latency`"),
            Some("latency")
        );
        assert_eq!(nearest_key("unknown field `zzz`, expected `latency`"), None);
        assert_eq!(nearest_key("missing field `zzz`"), None);
    }
}
