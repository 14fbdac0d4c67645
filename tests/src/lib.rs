//! What the tests share: an exact reference model of the axis, and generators of setups and frames.

pub mod core_of;
pub mod model;
pub mod trace;
