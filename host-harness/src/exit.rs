//! Exit codes: what a script can rely on.

use std::process::ExitCode;

/// The program ran and nothing tripped or was faulted; with expectations, all of them were met. An explanation: there is nothing to
/// explain, or the permit went as planned; margins: nothing found; a sweep: every point was evaluated; an acceptance:
/// every trial passed and nothing is untested; vectors: all is covered; a log or an
/// image: nothing differs; a file was listed.
pub const CLEAR: u8 = 0;
/// The program ran and something tripped or was faulted; with expectations, one was missed. An explanation: of what it is; margins: something
/// trips for nothing, reacts too late or looks like a slip; a sweep: the setup refuses a point; an acceptance: a trial
/// failed or something was not tested; vectors: something is not covered; a log
/// or an image: something differs; a file was listed and has rows that are none of its table.
pub const TRIPPED: u8 = 1;
/// The program could not run: usage, setup, trace, scenario, expectation file, vectors, log or sealed setup; or it could not write
/// what was asked for.
pub const UNUSABLE: u8 = 2;

/// The worst of several.
#[must_use]
pub fn worst(codes: impl IntoIterator<Item = u8>) -> ExitCode {
    ExitCode::from(codes.into_iter().max().unwrap_or(CLEAR))
}
