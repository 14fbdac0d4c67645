//! Where the disagreement of two position channels comes from, in numbers.
//!
//! [`Sampler`] takes in every frame of a replay and keeps a bounded number of samples; [`decompose`] explains their difference by named causes.
//!
//! # The model
//!
//! `d = x_A − x_B`, each the travel since its reference, at the newest readings of a frame, or moved to the instant of the frame where the setup asks
//! for `align`. What the known ages of the two readings make of it, `v (age_B −
//! age_A)`, is subtracted first. The rest is a sum of columns, fitted by least squares:
//!
//! | cause | in d | estimated |
//! | --- | --- | --- |
//! | scale mismatch | `s x` | s in ppm of the travel |
//! | time skew | `τ v`, or from an instant on | τ beyond the known ages |
//! | compliance | `c a` | c per acceleration |
//! | backlash | `w (x − p) / (w / 2)`, p the play operator of x, as the mean makes half of the way | w, the full play |
//! | eccentricity | `A sin(2π x / P + φ)` | A, and P where it is not given |
//! | drift | `k t` | k |
//! | slip | rises evenly between two instants and stays | by how much, when, how fast |
//! | jump, spike | the same from one reading to the next; and back | by how much, when, of which channel |
//! | lost counts, frozen, reversed | a part of the travel of one channel from an instant on: a part, all, twice | the part, the channel, when |
//!
//! v and a come from parabolas through the neighbours of a sample at full rate: a speed window to either side for v, two for a. v is the mean of both
//! channels, so that `τ v` is right to the second order; a is that of the calmer one. A channel that has failed is not asked.
//!
//! Terms are chosen by the information criterion of Schwarz (1978) with an effective number of samples: what is large first, then what is always there,
//! then what begins at an instant. Where three changes and more were found, or a spike beside another one, they are sought anew, several at a time: the best
//! single one may be a compromise between two. A model may leave 0.05 % of d at the trip unexplained for the sake of being simple. What swings less than 1 % of d at the trip is fitted
//! but not named; it is part of the rest, as is what begins after the trip.
//!
//! # Errors
//!
//! Coefficients carry standard errors after Newey and West (1987). Those of the causes are larger: they add that the residual may go along with a column like four
//! independent values,
//! because what a model leaves is not noise but traces of what was left out, and by how much they change without one of the small changes that were found. Of a channel that failed, what else it had may have
//! stopped or turned round with it. `tests/causes` holds that nine of ten 95 % intervals and more hold the truth.
//! What hangs together is said ([`Collinear`], after Belsley, Kuh and Welsch 1980), and so is what would explain the same nearly as well ([`Alternative`]).
//!
//! # What it cannot tell
//!
//! - What moves both channels alike: a common shaft, clock or supply leaves nothing in d.
//! - At constant speed a skew is an offset and lost counts are a slip; in one direction play is an offset. The motion after the trip, a stop above all, helps.
//! - Which channel is wrong, where only d is: a slip, a scale or a drift may be of either.
//! - Before a channel fails at constant speed: a jump, a slip and a skew that begins, or a slow slip and lost counts. One is named and the others are alternatives.
//! - Lost counts and a slow slip that overlap while the speed is the same.
//! - An eccentricity of less than three turns: it is looked for only where nothing else explains the samples.
//! - The full play, beside a compliance or a skew of the same size: all three change at a reversal, and part of the play may be found as a jump there.
//! - A belt that has torn from an encoder that stands still: both are `frozen`.
//! - A cause that was there before the references were taken, and went away with them.
//!
//! It explains a trip; it does not say that the tolerance is too small. Whoever widens a tolerance because of it has not cured the cause.

mod advice;
mod apart;
mod basis;
mod cause;
mod collinear;
mod columns;
mod counter;
mod decompose;
mod errors;
mod failing;
mod found;
mod kind;
mod local;
mod name;
mod onset;
mod polish;
mod sampler;
mod samples;
mod select;
mod series;
pub mod solve;
mod together;
mod turning;
mod words;

pub use cause::{Cause, Estimate, Side};
pub use found::{
    Alternative, Coefficient, Collinear, Column, Decomposition, Inconclusive, Options, Term, Trust,
};
pub use kind::CauseKind;
pub use sampler::Sampler;
pub use samples::{Point, Samples, Unusable};
pub use words::Words;

/// Decomposes the difference of the two channels into its causes. With too few samples or too little motion nothing is concluded:
/// [`Decomposition::inconclusive`] says why.
#[must_use]
pub fn decompose(samples: &Samples, options: &Options) -> Decomposition {
    decompose::decompose(samples, options)
}

/// The travel, speed and acceleration of the axis at each sample, as the columns of a decomposition have them: for who wants to make its regression anew.
#[must_use]
pub fn axis_columns(samples: &Samples, trusted: Option<Trust>) -> Vec<[f64; 3]> {
    let series = series::Series::new(samples, trusted);
    (0..series.len()).map(|row| [series.x[row], series.v[row], series.a[row]]).collect()
}
