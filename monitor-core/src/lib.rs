//! Safety monitors for a servo axis that is watched by two independent position sources.
#![no_std]
mod frame;
mod units;

pub use frame::{Channel, Frame, Levels, Reading, Sample};
pub use units::{Acceleration, FRACTION_BITS, Instant, NANOS_PER_SECOND, Position, Span, Speed};
