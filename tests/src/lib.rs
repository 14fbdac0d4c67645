//! What the tests share: an exact reference model of the axis, and generators of setups and frames.

use std::io::{self, Write};

pub mod core_of;
pub mod model;
pub mod on_target;
pub mod trace;

/// Whether this runs in CI, where nothing may be left out and nothing is written.
#[must_use]
pub fn in_ci() -> bool {
    std::env::var_os("CI").is_some_and(|value| !value.is_empty() && value != "false")
}

/// Says that a test is not run, past the capturing of the test harness.
///
/// # Panics
///
/// In CI: there it is a failure.
pub fn not_run(why: &str) {
    let name = std::thread::current().name().unwrap_or("a test").to_owned();
    // When standard error is closed there is nobody to tell.
    let _ = writeln!(io::stderr(), "NOT RUN: {name}: {why}");
    assert!(!in_ci(), "not run, which is a failure in CI: {why}");
}
