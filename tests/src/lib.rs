//! What the tests share: an exact reference model of the axis, and generators of setups and frames.

use std::collections::BTreeSet;
use std::io::{self, Write};

use host_harness::setup::KINDS;

mod browser;
pub mod core_of;
pub mod model;
pub mod on_target;
mod python;
pub mod trace;

pub use browser::look;
pub use python::python;

/// Whether this runs in CI, where nothing may be left out and nothing is written.
#[must_use]
pub fn in_ci() -> bool {
    std::env::var_os("CI").is_some_and(|value| !value.is_empty() && value != "false")
}

/// The kinds of monitors that go by the motion or the permit.
///
/// # Panics
///
/// When an analogue one is missing.
#[must_use]
pub fn kinds_without_an_analogue_value() -> BTreeSet<&'static str> {
    let mut kinds = BTreeSet::from(KINDS);
    for kind in ["torque-limit", "torque-range", "temperature-limit"] {
        assert!(kinds.remove(kind), "there is a kind {kind}");
    }
    kinds
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
