//! Synthetic traces, held against the formulas of their models.

mod analogues;
mod encoders;
mod errors;
mod faults;
mod rows;
mod support;
