//! Exit codes: what a script can rely on.

use std::process::ExitCode;

/// The program ran and nothing tripped or was faulted; with expectations, all of them were met. Margins: nothing was found. Vectors: all is covered; a log or an
/// image: nothing differs; a sweep: every point was evaluated.
pub const CLEAR: u8 = 0;
/// The program ran and something tripped or was faulted; with expectations, one was missed. Margins: something trips for nothing or
/// reacts too late. Vectors: something is not covered; a log or
/// an image: something differs; a sweep: the setup refuses a point.
pub const TRIPPED: u8 = 1;
/// The program could not run: usage, setup, trace, scenario, expectation file, vectors, log or sealed setup.
pub const UNUSABLE: u8 = 2;

/// The worst of several.
#[must_use]
pub fn worst(codes: impl IntoIterator<Item = u8>) -> ExitCode {
    ExitCode::from(codes.into_iter().max().unwrap_or(CLEAR))
}
