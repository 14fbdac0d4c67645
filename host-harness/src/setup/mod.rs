//! The setup file: what the axis is, how its trace is read, and what is watched.
//!
//! A setup is a TOML file with values and their units in strings (`limit = "250 mm/s"`). [`Setup::load`] reads,
//! checks and converts it in one go; what comes back can be evaluated as it is. What is wrong with a file is
//! reported all at once, each with line, column, the offending text and a way out ([`SetupError::render`]).
//!
//! # Every key
//!
//! Torques take mNm, Nm, kNm where the analogue value is in Nm. Times take ns, us, ms, s, min, h; lengths um, mm, cm, m, in; angles deg, arcmin, arcsec, rev, rad, mrad; speeds a length
//! or angle per s or min, rpm; accelerations a length or angle per s^2, jerks one per s^3. A key without a default must be there.
//!
//! | section | key | value | default |
//! | --- | --- | --- | --- |
//! | (top) | `title` | any text | |
//! | | `unit` | `"mm"` or `"deg"` | |
//! | | `cycle` | a time: evaluate every so often instead of at every row, with the newest readings there are; the report counts what is passed over | every row |
//! | `[time]` | `column`, `unit` | column name; s, ms, us or ns | |
//! | `[channel.a]`, `[channel.b]` | `column` | column name | |
//! | | `counter_bits`, `unit_per_count` | 8 to 64; travel of a count, negative when it counts the other way | |
//! | | `column_unit` | instead of those two, for a column of positions: their unit | |
//! | | `max_speed` | the fastest that the mechanics can move | |
//! | | `timeout` | the longest age of a reading, at most 4 s | |
//! | | `latency` | a time: how long before its row a reading was captured | `"0 ms"` |
//! | | `capture_column` | the source's own capture times | time of the row |
//! | | `capture_unit` | of that column: s, ms, us or ns | the unit of `[time]` |
//! | | `valid_column` | a level column: 0 marks the reading as invalid | always valid |
//! | | `sparse` | `true`: an empty cell means no new reading | `false` |
//! | `[speed]` | `window` | 10 us to 2 s | |
//! | | `warm_up` | `"withhold"` or `"permit"` | `"withhold"` |
//! | `[discrepancy]` | `tolerance`, `discrepancy_time` | a length or angle; a time | no such rule |
//! | | `skew_allowance` | a time | `"0 ms"` |
//! | | `align` | `true` or `false` | `false` |
//! | `[speed_discrepancy]` | `tolerance`, `discrepancy_time` | a speed; a time | no such rule |
//! | `[input.NAME]` | `columns` | one or two level columns | |
//! | | `demand` | `"high"` or `"low"`: the level of the first that demands | `"high"` |
//! | | `filter` | a time | `"0 ms"` |
//! | | `pairing`, `discrepancy_time` | `"equivalent"` or `"antivalent"`; a time (two columns only) | |
//! | | `one_sided` | `"fault"` or `"ignore"` (two columns only) | `"fault"` |
//! | `[reset]` | `column`, `filter` | a level column; a time | no reset; `"0 ms"` |
//! | `[analogue.NAME]` | `columns` | the columns of two lines, decimal numbers | |
//! | | `unit` | `"Nm"`, `"%"` (of the rated torque) or `"degC"`: of both columns and of all its values | |
//! | | `low`, `high` | the plausible range: outside, a line is faulted | |
//! | | `timeout` | the longest age of a reading | |
//! | | `tolerance`, `discrepancy_time` | how far the lines may be apart; a time | |
//! | | `latency` | a time: how long before its row a value was captured | `"0 ms"` |
//! | | `sparse` | `true`: an empty cell means no new reading of that line | `false` |
//! | `[[monitor]]` | `name`, `kind` | any text; a kind below | |
//! | | `demand` | names of inputs or level columns | always active |
//! | | `on_delay` | a time | `"0 ms"` |
//! | | `allowed_overrun` | a length or angle: how far the axis may travel beyond a limit on its speed before the on-delay ends (`speed-limit`, `speed-range`, a `stop` by ramp; with an `on_delay`) | no such bound |
//! | `torque-off` | | nothing more; needs a demand | |
//! | `standstill` | `position_window`, `speed_window` | a length or angle; a speed | |
//! | `speed-limit` | `limit` | a speed | |
//! | | `positive`, `negative` | instead of it, one for each direction: magnitudes, one of which may be zero | |
//! | | `ramp` | `{ delay, deceleration, margin }`: a time, an acceleration, a speed; and `jerk` | no ramp; no jerk |
//! | `speed-range` | `low`, `high` | speeds with their signs | |
//! | `direction` | `allowed`, `tolerance` | `"positive"` or `"negative"`; a length or angle | |
//! | `acceleration-limit` | `limit` | an acceleration | |
//! | `acceleration-range` | `low`, `high` | accelerations with their signs | |
//! | `travel-limit` | `increment` | a length or angle | |
//! | `torque-limit` | `of`, `limit` | the name of an analogue value in Nm or %; a torque inside its plausible range | |
//! | `torque-range` | `of`, `low`, `high` | the same; two torques with their signs | |
//! | `temperature-limit` | `of`, `limit` | the name of an analogue value in degC; a temperature inside its plausible range | |
//! | `stop` | `until` | `"torque-off"` or `"standstill"` (then also `position_window`, `speed_window`) | |
//! | | `by` | `"ramp"` (then also `ramp`, `standstill_speed`), `"deceleration"` (then also `braking`, `standstill_speed`) or `"time"` | |
//! | | `braking` | `{ delay, deceleration, margin }`: a time, of two windows or more, and two accelerations | |
//! | | `within` | a time; needed with `by = "time"` | no end but that of the ramp or the braking |
//!
//! # Rounding
//!
//! Values are exact fractions ([`crate::decimal`]) until they are rounded, once, to the grid of the monitors: ULP of
//! 2⁻²⁴ of the axis unit or of the unit of an analogue value, or whole nanoseconds.
//!
//! | rounded | settings |
//! | --- | --- |
//! | down | every limit, window, tolerance and margin; `high`; `increment`, `allowed_overrun`; `max_speed`, `standstill_speed`; `timeout`, `on_delay`, `discrepancy_time`, `filter`, `within`, `skew_allowance`, the `delay` of a ramp or a braking |
//! | up | `low`; the `deceleration` of a ramp or a braking, the `jerk` of a ramp; `latency`, `cycle` |
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

mod analogue;
mod check;
mod checksum;
mod diagnostic;
mod file;
mod input;
mod model;
mod monitor;
mod name;
pub(crate) mod nearest;
mod output;
mod read;
mod reference;
mod resolution;
mod section;
mod stop;
mod value;

pub use diagnostic::{Diagnostic, Place, SetupError};
pub use model::{
    Allowed, AnalogueSetup, AnalogueUnit, AxisUnit, BrakingSetup, By, ChannelSetup, DemandLevel, DemandSetup,
    DemandSource, DiscrepancySetup, DualSetup, EventSetup, InputLines, InputSetup, LimitSetup, MonitorKind,
    MonitorSetup, OneSided, Pairing, RampSetup, RangeSetup, ReferenceSetup, ResetSetup, Setting, Setup,
    Source, SpeedDiscrepancySetup, SpeedSetup, StandstillSetup, TimeColumn, Until, WarmUp,
};

/// The most monitors a setup may hold.
pub const MAX_MONITORS: usize = 16;

/// The most analogue values a setup may hold.
pub const MAX_ANALOGUES: usize = monitor_core::ANALOGUES;

/// The most inputs a setup may hold, columns that are demands by themselves included.
pub const MAX_INPUTS: usize = 16;

/// The most level columns a setup may read: as many lines as one frame carries.
pub const MAX_LEVELS: usize = monitor_core::Levels::LINES as usize;

/// The shortest speed window, 10 µs.
pub const MIN_WINDOW_NS: u64 = 10_000;

/// The longest speed window, 2 s.
pub const MAX_WINDOW_NS: u64 = 2_000_000_000;

/// Points the speed history stores; with it goes the spacing, [`Setup::spacing`].
pub const HISTORY_POINTS: usize = 129;

/// The longest `timeout` and the longest `skew_allowance`, 4 s.
pub const MAX_AGE_NS: u64 = 4_000_000_000;

/// The smallest travel of one count, 2⁻³⁴ of the axis unit, in steps of 10⁻⁹ ULP, rounded up.
pub const MIN_COUNT_NANO_ULPS: u64 = 976_563;

/// Window, spacing and timeout together stay below this many nanoseconds (2³²).
pub const MAX_HISTORY_NS: u64 = 1 << 32;

/// The largest setup file that is read, in bytes.
pub const MAX_FILE_BYTES: u64 = 4 << 20;
