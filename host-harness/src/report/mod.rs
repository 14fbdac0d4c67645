//! Reports on a replay: the same facts as text for people and as JSON for programs.

mod json;
mod names;
mod number;
mod text;

#[cfg(test)]
mod tests;

pub use json::{
    FaultReport, OutputReport, Report, ResetReport, SCHEMA_VERSION, SetupReport, StopReport, TripReport,
    VerdictReport, json_schema,
};
pub use number::{Exact, Seconds};
pub use text::{CAUTION, text};
