//! Where the disagreement of two position channels comes from, in numbers.

mod advice;
mod apart;
mod basis;
mod cause;
mod collinear;
mod columns;
mod counter;
mod decompose;
mod failing;
mod found;
mod local;
mod name;
mod onset;
mod sampler;
mod samples;
mod select;
mod series;
pub mod solve;
mod turning;
mod words;

pub use cause::{Cause, CauseKind, Estimate, Side};
pub use found::{
    Alternative, Coefficient, Collinear, Column, Decomposition, Inconclusive, Options, Term, Trust,
};
pub use sampler::Sampler;
pub use samples::{Point, Samples, Unusable};
pub use words::Words;

/// Decomposes the difference of the two channels.
#[must_use]
pub fn decompose(samples: &Samples, options: &Options) -> Decomposition {
    decompose::decompose(samples, options)
}
