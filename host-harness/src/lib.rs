//! Replays recorded or synthetic traces of two position sources through the monitors.
pub mod decimal;
pub mod setup;
pub mod synth;
pub mod trace;
