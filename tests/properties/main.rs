//! What holds for every trace: of limits, of reaction times, of symmetries, of the latches, and of nonsense.

mod axis;
#[path = "../reference/core_of.rs"]
mod core_of;
mod frames;
mod latches;
mod limits;
mod reaction;
mod symmetry;
