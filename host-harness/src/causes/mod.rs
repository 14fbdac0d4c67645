//! Where the disagreement of two position channels comes from, in numbers.

mod advice;
mod cause;
mod counter;
mod found;
mod local;
mod sampler;
mod samples;
mod series;
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
    series::decompose(samples, options)
}
