//! The report for people.
/// The caution.
pub const CAUTION: &str = "";
/// Text.
#[must_use]
pub fn text() -> String { String::new() }
