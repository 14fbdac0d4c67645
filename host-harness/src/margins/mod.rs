//! Before any motion: what a setup can bear and what a trip costs.
//!
//! - [`reaction()`]: how long it takes from a rule that is truly broken, or a line that demands it, to the torque that is gone: term
//!   by term, by section 10 of the rules of `monitor-core`.
//!
//! Everything is worked out from the setup alone: its settings, and what its sections `[machine]`, `[sensors]`, `[contacts]` and
//! `[approach]` say of what it is applied to. Times are rounded up to the nanosecond.

mod reaction;
#[cfg(test)]
mod tests;
mod timing;

pub use reaction::{Broken, Part, Path, Reaction, Term, reaction};
pub use timing::{period, stop_duration};
