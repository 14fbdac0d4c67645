//! What systems for continuous integration read of a replay: JUnit XML, and annotations in what a command prints.
//!
//! Both are made of the same: each trace, and of each what is expected and in what it differs. Names come from files and may hold
//! anything; neither output lets one of them end a line, a tag or a property.

mod annotation;
mod junit;

pub use annotation::{annotation, annotations};
pub use junit::junit;

use crate::expect::Judged;

/// A trace, and what it came to.
#[derive(Clone, Copy, Debug)]
pub struct Traced<'a> {
    /// The file, or `-` for standard input.
    pub path: &'a str,
    /// The file of expectations, if there is one.
    pub expectations: Option<&'a str>,
    /// What was found.
    pub found: Result<Found<'a>, &'a Unreadable>,
}

/// What was found in a trace.
#[derive(Clone, Copy, Debug)]
pub struct Found<'a> {
    /// What is expected, one by one, and what differs.
    pub judged: &'a [Judged],
    /// The report for people.
    pub text: &'a str,
}

/// Why there is no verdict on a trace.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unreadable {
    /// Where, what, and what to do about it.
    pub message: String,
    /// The line at which it is, from 1, if it is at one.
    pub line: Option<u64>,
}

impl Traced<'_> {
    /// The file that an expectation stands in; without one the trace is what has to change.
    fn judged_by(&self) -> &str {
        self.expectations.unwrap_or(self.path)
    }
}
