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
//! | | `reference` | `"absolute"`: the counter knows its place; `"event"`: the section `[reference]` says it | the position means no place |
//! | | `offset` | a length or angle of either sign: the position of the count zero (`"absolute"` only) | `"0 mm"`, `"0 deg"` |
//! | `[reference]` | `input` | the input, or level column, that declares a position when it begins to demand; there exactly when a channel goes by an event | |
//! | | `position` | a length or angle of either sign: where the axis is then | |
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
//! | | `valid_columns` | the level columns of the two lines, or one column twice: 0 marks a reading as invalid, a fault of that line | always valid |
//! | | `sparse` | `true`: an empty cell means no new reading of that line | `false` |
//! | `[[monitor]]` | `name`, `kind` | any text; a kind below | |
//! | | `demand` | names of inputs, level columns or outputs that stand earlier; `"not NAME"` for the opposite (not on a `brake-output`) | always active; a stop that is a reaction: with its trips |
//! | | `on_delay` | a time (not on an output) | `"0 ms"` |
//! | | `reaction` | `"torque-off"`, or the name of a `stop` until torque-off without a reaction of its own: what a trip leads to (not on an output or a `torque-off`) | `"torque-off"` |
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
//! | `position-range` | `low`, `high` | lengths or angles with their signs; needs a `reference` on both channels | |
//! | `cam-output` | `low`, `high` | as above: an output that is on between them | |
//! | | `hysteresis` | a length or angle: so far inside it switches on, and so far outside it still demands | `"0 mm"`, `"0 deg"` |
//! | `speed-output` | `threshold` | a speed: an output that is on below it | |
//! | | `hysteresis` | a speed, below the threshold: so far below it switches on, and so far above it still demands | `"0 mm/s"`, `"0 deg/s"` |
//! | `brake-output` | `delay` | a time: the brake is told to close at the latest so long after the permit has gone | `"0 ms"` |
//! | `torque-limit` | `of`, `limit` | the name of an analogue value in Nm or %; a torque inside its plausible range | |
//! | `torque-range` | `of`, `low`, `high` | the same; two torques with their signs | |
//! | `temperature-limit` | `of`, `limit` | the name of an analogue value in degC; a temperature inside its plausible range | |
//! | `stop` | `until` | `"torque-off"` or `"standstill"` (then also `position_window`, `speed_window`) | |
//! | | `by` | `"ramp"` (then also `ramp`, `standstill_speed`), `"deceleration"` (then also `braking`, `standstill_speed`) or `"time"` | |
//! | | `braking` | `{ delay, deceleration, margin }`: a time, of two windows or more, and two accelerations | |
//! | | `within` | a time; needed with `by = "time"` | no end but that of the ramp or the braking |
//! | `[machine]` | `frame_period` | a time: the longest between two evaluations, where there is no `cycle` | |
//! | | `operating_speed`, `operating_acceleration` | the fastest and the hardest of ordinary operation | |
//! | | `operating_speeds` | a section of its own: the fastest while a monitor is active, by its name | |
//! | | `max_acceleration` | the hardest that the drive can do when it runs away | |
//! | | `max_travel` | a length or angle: the furthest from where the two positions were last made to agree | |
//! | | `drive_delay`, `output_delay`, `brake_delay` | times: from a demand to the drive that brakes, from the permit to the torque that is gone, from there to the brake that holds | |
//! | | `brake_deceleration`, `fall_acceleration` | what the brake does at the least; what a load that hangs does without torque and brake | ; none |
//! | | `overtravel` | a length or angle: how far the axis may get until it stands, from where a rule was broken | |
//! | `[sensors]` | `time_skew` | a time: between the captures of the two sources, beyond what latencies tell | |
//! | | `scale_error` | %, ppm: how much longer one reads than the other | |
//! | | `compliance` | `{ by, per }`: a length or angle for so much acceleration | |
//! | | `backlash`, `drift` | lengths or angles: the full play; what warmth, load and creeping slip do | |
//! | `[sensors.a]`, `[sensors.b]` | `period` | a time: the longest between two readings; zero where it takes one for every frame | one for every frame; one every `cycle`; where it is `sparse` or has a `capture_column`, only the `timeout` bounds it |
//! | | `delay` | a time: how much longer than the latency a reading is on its way | `"0 ms"` |
//! | | `jitter`, `noise` | a time, a length or angle: how far off at the most (not an rms), either way, a capture time and a reading are | |
//! | | `eccentricity` | `{ amplitude, period }`: two lengths or angles | |
//! | `[contacts]` | `spread`, `test_pulse` | times: from the first of two contacts to the second; the longest pulse by which an output tests itself | |
//! | `[approach]` | `way` | `"normal"`, `"beams"`, `"parallel"`, `"mat"`, `"guard"` or `"two-hand"` | |
//! | | `input` | the input by which the protective device comes | |
//! | | `distance`, `detection_time` | a length; a time, from the person to the change of the input's lines | |
//! | | `resolution` | a length (`"normal"`, at most 70 mm; `"parallel"`) | |
//! | | `height`, `reach`, `covered` | a length, at most 1000 mm (`"parallel"`); a length (`"guard"`); `true` or `false` (`"two-hand"`) | `false` |
//!
//! The last four, `[machine]`, `[sensors]`, `[contacts]` and `[approach]`, say what the setup is applied to. No monitor reads them: they
//! are neither in the checksum nor in a sealed image, and [`crate::margins`] is what reckons with them. Each key of them may be left
//! out, but for `way` and `input`, and what is not known then is named where it would have been needed. Lengths of `[approach]` are in mm
//! whatever the axis.
//!
//! # Rounding
//!
//! Values are exact fractions ([`crate::decimal`]) until they are rounded, once, to the grid of the monitors: ULP of
//! 2⁻²⁴ of the axis unit or of the unit of an analogue value, or whole nanoseconds.
//!
//! | rounded | settings |
//! | --- | --- |
//! | down | every limit, window, tolerance and margin; `high`; `increment`, `allowed_overrun`; `max_speed`, `standstill_speed`, `threshold`; `timeout`, `on_delay`, `discrepancy_time`, `filter`, `within`, `skew_allowance`, the `delay` of a ramp, a braking or a brake |
//! | up | `low`, `hysteresis`; the `deceleration` of a ramp or a braking, the `jerk` of a ramp; `latency`, `cycle` |
//! | up, as worse for the axis | all of `[machine]`, `[sensors]`, `[contacts]` and `[approach]` but for the next row |
//! | down, for the same reason | `brake_deceleration`, `overtravel`, the `per` of a compliance, the `period` of an eccentricity, `distance`, `height` |
//! | to nearest | `offset`, and `position` of `[reference]`; `unit_per_count`, on a grid of 10⁻⁹ ULP |
//!
//! A value that is not zero and would be rounded to zero is refused, and so is one beyond the range.
//!
//! # Demands
//!
//! A name in `demand` is the name of an input, of a `cam-output` or `speed-output` that stands earlier in the file, or else the
//! name of a column of the trace, which then is a plain single-channel demand, active high. A name that is an input and an output is
//! refused, and so is that of another monitor, unless that monitor itself goes by a column of its own name. `not` in front of a name means the opposite, read as the one that protects: unless
//! both channels of an input demand, or unless an output is on. So no input and no output has a name that begins with `not`. Which columns a trace has is not known here: a name that is neither is found
//! when the trace is opened. So that a slip of the pen does not become a column, a name that is nearly that of an
//! input or an output is refused, and so is a single line of a declared input.
//!
//! A `stop` that a `reaction` names and that has no `demand` is demanded by these trips alone; any other monitor without one is always
//! active.

mod analogue;
mod check;
mod checksum;
mod described;
mod diagnostic;
mod file;
mod input;
mod machine;
mod model;
mod monitor;
mod name;
mod output;
mod read;
mod reference;
mod resolution;
pub(crate) mod section;
mod stop;
pub(crate) mod value;

pub(crate) use file::{read as read_file, utf8};
pub(crate) use read::document;

pub use diagnostic::{Diagnostic, Place, SetupError};
pub use machine::{
    ApproachSetup, ComplianceSetup, ContactsSetup, EccentricitySetup, MachineSetup, SensorSetup,
    SensorsSetup, WaySetup,
};
pub use model::{
    Allowed, AnalogueSetup, AnalogueUnit, AxisUnit, BrakingSetup, By, ChannelSetup, DemandLevel, DemandSetup,
    DemandSource, DiscrepancySetup, DualSetup, EventSetup, InputLines, InputSetup, LimitSetup, MonitorKind,
    MonitorSetup, OneSided, Pairing, RampSetup, RangeSetup, ReferenceSetup, ResetSetup, Setting, Setup,
    Source, SpeedDiscrepancySetup, SpeedSetup, StandstillSetup, TimeColumn, Until, WarmUp,
};
pub use monitor::KINDS;

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
