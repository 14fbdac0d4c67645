//! Replays recorded or synthetic traces of two position sources through the monitors.
pub mod causes;
pub mod cli;
pub mod compare;
pub mod decimal;
pub mod exit;
pub mod expect;
pub mod explain;
pub mod margins;
mod plural;
pub mod replay;
pub mod report;
pub mod seal;
pub mod setup;
pub mod sweep;
pub mod synth;
pub mod trace;
pub mod vary;
pub mod vectors;
