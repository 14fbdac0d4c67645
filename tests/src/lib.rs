//! What the tests share: an exact reference model of the axis.

pub mod model;
