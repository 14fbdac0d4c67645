//! Reports on a replay: the same facts as text for people and as JSON for programs.

mod json;
mod names;
mod number;
mod table;
mod text;

#[cfg(test)]
mod tests;

pub(crate) use json::heads;
pub use json::{
    FaultReport, OutputReport, Report, Reports, ResetReport, SCHEMA_VERSION, SetupReport, StopReport,
    TraceReport, TripReport, VerdictReport, json_schema,
};
pub(crate) use names::{Figures, faulted, reset, rule};
pub use number::{Exact, Seconds};
pub use text::{CAUTION, text};
pub(crate) use text::{millis, short};
