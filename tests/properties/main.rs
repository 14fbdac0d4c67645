//! What holds for every trace: of limits, of reaction times, of outputs, of symmetries, of the latches, and of nonsense.

mod axis;
mod edges;
mod frames;
mod grid;
mod latches;
mod limits;
mod margins;
mod outputs;
mod reaction;
mod symmetry;
