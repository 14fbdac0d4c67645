//! The setup file: what the axis is, how its trace is read, and what is watched.
//!
//! A setup is a TOML file with values and their units in strings (`limit = "250 mm/s"`). [`Setup::load`] reads,
//! checks and converts it in one go; what comes back can be evaluated as it is. What is wrong with a file is
//! reported all at once, each with line, column, the offending text and a way out ([`SetupError::render`]).
//!
//! # Rounding
//!
//! Values are exact fractions ([`crate::decimal`]) until they are rounded, once, to the grid of the monitors: ULP of
//! 2⁻²⁴ of the axis unit, or whole nanoseconds.
//!
//! | rounded | settings |
//! | --- | --- |
//! | down | every limit, window, tolerance and margin; `max_speed`, `standstill_speed`; `timeout`, `on_delay`, `discrepancy_time`, `filter`, `within`, `skew_allowance`, the `delay` of a ramp |
//! | up | the `deceleration` of a ramp, `latency`, `cycle` |
//! | to nearest | `unit_per_count`, on a grid of 10⁻⁹ ULP |
//!
//! A value that is not zero and would be rounded to zero is refused, and so is one beyond the range.
//!
//! # Demands
//!
//! A name in `demand` is the name of an input, or else the name of a column of the trace, which then is a plain
//! single-channel demand, active high. Which columns a trace has is not known here: a name that is neither is found
//! when the trace is opened. So that a slip of the pen does not become a column, a name that is nearly that of an
//! input is refused, and so is a single line of a declared input.
//!
//! # Not here yet
//!
//! The kinds and keys that a later version may bring (see [`LATER_KINDS`]) are refused by name, as "not available
//! yet", never ignored.

mod check;
mod checksum;
mod diagnostic;
mod file;
mod input;
mod model;
mod monitor;
mod nearest;
mod read;
mod section;
mod value;

pub use checksum::crc32;
pub use diagnostic::{Diagnostic, Place, SetupError};
pub use model::{
    AxisUnit, By, ChannelSetup, DemandLevel, DiscrepancySetup, DualSetup, InputLines, InputSetup,
    MonitorKind, MonitorSetup, OneSided, Pairing, RampSetup, ResetSetup, Setting, Setup, Source,
    SpeedDiscrepancySetup, SpeedSetup, StandstillSetup, TimeColumn, Until, WarmUp,
};
pub use monitor::LATER_KINDS;

/// The most monitors a setup may hold.
pub const MAX_MONITORS: usize = 16;

/// The most inputs a setup may hold, columns that are demands by themselves included.
pub const MAX_INPUTS: usize = 16;

/// The most level columns a setup may read: as many lines as one frame carries.
pub const MAX_LEVELS: usize = monitor_core::Levels::LINES as usize;

/// The shortest speed window, 10 µs.
pub const MIN_WINDOW_NS: u64 = 10_000;

/// The longest speed window, 2 s.
pub const MAX_WINDOW_NS: u64 = 2_000_000_000;

/// Points the speed history stores; with it goes the spacing, `window / ((HISTORY_POINTS - 1) / 2)`.
pub const HISTORY_POINTS: usize = 129;

/// The longest `timeout` and the longest `skew_allowance`, 4 s.
pub const MAX_AGE_NS: u64 = 4_000_000_000;

/// The smallest travel of one count, 2⁻³⁴ of the axis unit, in steps of 10⁻⁹ ULP, rounded up.
pub const MIN_COUNT_NANO_ULPS: u64 = 976_563;

/// Window, spacing and timeout together stay below this many nanoseconds (2³²).
pub const MAX_HISTORY_NS: u64 = 1 << 32;

/// The largest setup file that is read, in bytes.
pub const MAX_FILE_BYTES: u64 = 4 << 20;
