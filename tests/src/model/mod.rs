//! The rules of the axis in exact rational arithmetic, written from their text and from nothing else.
//!
//! The model is slow and plain on purpose: every number is a fraction of big integers, every stored reading
//! is kept for ever, the counter is unwrapped with `rem_euclid`. It shares no code with the core beyond the
//! types a [`Frame`](monitor_core::Frame) is made of, so an error made in both has to be made twice.
//!
//! # Rounding, and what `Near` means
//!
//! The rules name every place where a quantity is rounded. The model computes each comparison with the exact
//! values and, beside them, with the values **held** after the documented rounding. Where the two can differ,
//! [`Limit`] carries the largest difference the documented roundings allow, and a comparison inside it
//! is [`Tri::Near`]. What is observed is rounded too: a travel or a speed against whole ULPs, which decides nothing, but
//! an acceleration and what was travelled beyond a limit always to the stricter side, and [`Observed`] carries that.
//! [`Model::step`] decides a near comparison as the documented rounding does;
//! [`Model::step_with`] asks its caller instead, who may let the model follow another implementation.
//! [`Seen::near`] and [`Seen::compared`] count, so that a test can hold the share of near cases down.

mod analogue;
mod axis;
mod discrepancy;
mod envelope;
mod exact;
mod input;
mod monitor;
mod output;
mod rule;
mod setup;
mod source;
mod speed;
mod stop;
mod verdict;

pub use analogue::{AnalogueFault, AnalogueSeen, LineSeen};
pub use axis::{ChannelSeen, Model, Refusal, Reset, Seen};
pub use discrepancy::DiscrepancySeen;
pub use exact::{Q, decimal, nearest_ulp, q, scale_nearest, seconds, ulp, ulp_down, ulp_up, ulps};
pub use input::InputSeen;
pub use monitor::{LaneSeen, MonitorSeen};
pub use setup::{
    Analogue, By, Demand, Discrepancy, Input, Kind, Lines, Monitor, OneSided, Pairing, Ramp, Referencing,
    Setup, Source, SpeedDiscrepancy, Term, Until, Way,
};
pub use source::{Fault, as_signed, change};
pub use verdict::{Bound, Evidence, Limit, Observed, Question, Side, Tri, TripFacts};

#[cfg(test)]
mod tests;
