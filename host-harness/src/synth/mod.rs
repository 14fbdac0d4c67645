//! Synthetic traces: a scenario file becomes a CSV trace of two position sources of one axis, with inputs, analogue values and faults.
//!
//! The axis follows a jerk-limited motion profile. Two encoder models look at it, each with its own resolution, timing
//! and errors. Faults are planted at exact instants, and [`Written::planted`] lists them, so that an analysis of the
//! trace can be held against what is known to be in it. All of it is invented data; the first line of the trace says so.
//!
//! **The same scenario gives the same bytes**, on every machine whose `f64` is plain IEEE 754 (all usual 64-bit
//! targets). Random numbers come from ChaCha8 streams, one per source and purpose, keyed by `seed`. Only `+ - * /` and
//! rounding to whole numbers are used; sine and normal deviates are made from them, and of the motion planner's results
//! only signs and durations rounded to 1 ns are kept (the source of `motion` says how, and what is left to chance).
//!
//! # A complete scenario
//!
//! ```
//! use host_harness::synth::Scenario;
//!
//! let text = r#"
//! title    = "Kiln shuttle 2, transfer axis"
//! note     = "the rail source freezes while the axis runs back"
//! seed     = 7
//! unit     = "mm"                       # or "deg"
//! duration = "4 s"                      # rows lie in [0, duration)
//! rate     = "1 kHz"                    # or: period = "125 us"
//!
//! [motion]
//! start        = "0 mm"                 # at rest here before the first move
//! speed        = "250 mm/s"             # limits of the moves below
//! acceleration = "2 m/s^2"
//! jerk         = "20 m/s^3"
//!
//! [[move]]
//! at = "0.5 s"
//! to = "300 mm"                         # positioning: comes to rest there
//!
//! [[move]]
//! wait  = "0.2 s"                       # after the move before has ended
//! speed = "-100 mm/s"                   # this speed, held until the next move
//!
//! [[move]]
//! at           = "3.5 s"
//! speed        = "0 mm/s"               # a stop
//! acceleration = "4 m/s^2"              # limits of this move alone
//!
//! [encoder.a]                           # a counter on the motor
//! column         = "motor_count"
//! unit_per_count = "0.0005 mm"          # or a fraction: "1/4096 rev"
//! counter_bits   = 32
//! compliance     = { by = "0.02 mm", per = "1 m/s^2" }
//! noise          = "0.4 um"
//!
//! [encoder.b]                           # a counter on the rail
//! column         = "rail_count"
//! unit_per_count = "0.001 mm"
//! counter_bits   = 24
//! start_count    = 16_777_000           # 216 counts before the wrap
//! latency        = "0.25 ms"
//! scale_error    = "80 ppm"
//! backlash       = "0.03 mm"
//! eccentricity   = { amplitude = "0.02 mm", period = "100 mm", phase = "90 deg" }
//!
//! [[input]]
//! column  = "door"
//! initial = 1
//! events  = [{ at = "1.2 s", level = 0 }, { at = "3 s", level = 1 }]
//! bounce  = { for = "4 ms", every = "0.7 ms" }
//!
//! [[disturbance]]
//! kind = "creep"
//! at   = "3.7 s"
//! by   = "0.5 mm"
//! over = "100 ms"
//!
//! [[fault]]
//! source = "b"
//! kind   = "stuck"
//! at     = "2.9 s"
//!
//! [output]
//! time_decimals = 3
//! "#;
//!
//! let scenario = Scenario::from_toml(text, "shuttle.toml")?;
//! let mut trace = Vec::new();
//! let written = scenario.write(&mut trace)?;
//! assert_eq!(written.rows, 4_000);
//! assert_eq!(written.planted[0].to_string(), "stuck of rail_count at 2.900000000 s");
//!
//! let text = String::from_utf8(trace)?;
//! let mut lines = text.lines();
//! assert_eq!(lines.next(), Some("# invented data"));
//! assert_eq!(lines.next(), Some("# Kiln shuttle 2, transfer axis"));
//! assert_eq!(lines.nth(1), Some("time,motor_count,rail_count,door"));
//! assert!(lines.next().is_some_and(|row| row.starts_with("0.000,")));
//! // At rest at 300 mm the rail source reads 299.985 mm (half the play is used up), 80 ppm more, and 0.02 mm of
//! // eccentricity: 300.029 mm, which is 300029 counts after 16777000, modulo 2^24.
//! let at_rest = lines.nth(1_999).expect("the row at 2 s");
//! assert!(at_rest.starts_with("2.000,") && at_rest.ends_with(",299813,0"), "{at_rest}");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Values
//!
//! Values are strings with a unit: positions in `um mm m` (axis in mm) or `deg rev` (axis in deg), with `/s`, `/s^2`,
//! `/s^3` for speed, acceleration and jerk; times in `ns us ms s min`, exact to 1 ns; ratios in `ppm` or `%`;
//! frequencies in `Hz kHz` (`MHz` for rows). A number may be a fraction: `"1/3 mm"`. Unknown keys are refused.
//!
//! # The axis
//!
//! - A `[[move]]` begins at `at`, or `wait` after the end of the one before it (none: at once). A move that begins
//!   while another still runs breaks it off and continues smoothly from its speed and acceleration.
//! - `to` is a position where the move comes to rest, and `speed` then limits the speed on the way. Without `to`,
//!   `speed` is the target: it is reached and held. `[motion] speed` limits only moves with `to`.
//! - A `[[disturbance]]` displaces the axis without a command, and both sources see it: `creep` moves it by `by` at
//!   constant speed during `over`, for good; `vibration` adds a sine of `amplitude` and `frequency` from `at` to `until`.
//!   `to` of a move counts without disturbances.
//!
//! # The sources
//!
//! `[encoder.a]` and `[encoder.b]`. Each has **either** a counter or a position column:
//!
//! | key | meaning |
//! | --- | --- |
//! | `column` | name of the column |
//! | `unit_per_count`, `counter_bits` | travel per count; width of the counter, 8 to 64: it wraps |
//! | `start_count`, `signed` | count at the start position, in its middle; two's complement (default: 0, unsigned) |
//! | `column_unit`, `decimals` | instead: a position column in this unit with 0 to 12 decimals, rounded to nearest |
//! | `reversed` | the reading falls while the position grows |
//! | `latency` | a reading shows the motion this long before it arrives |
//! | `jitter` | each sampling instant is off by a uniform error within ± this |
//! | `period`, `phase` | readings arrive at `phase + k period` instead of at every row |
//! | `sparse` | rows without a new reading leave the cells of the source empty; else the last reading is repeated |
//! | `noise` | added to each reading: rms, near normal, never above six times the rms |
//! | `scale_error` | the travel from the start position reads longer by this ratio |
//! | `eccentricity` | adds `amplitude sin(2π (position / period + phase))` |
//! | `backlash` | full play between axis and sensor: the sensor follows when the play is used up; it starts in the middle |
//! | `compliance` | adds `by` for every `per` of true acceleration: a motor leads its load |
//! | `capture_column`, `capture_unit` | column with the true sampling instant, all digits to 1 ns |
//! | `valid_column` | column that is 1 while the source calls its readings valid |
//!
//! The effects act in this order: sampling instant, slip, backlash, scale error, eccentricity, compliance, the faults
//! `jump`, `drift` and `reversed`, noise, resolution, lost counts, stuck. Backlash is followed from reading to reading:
//! a reversal that begins and ends between two readings goes unnoticed.
//!
//! # The inputs
//!
//! `[[input]]`: a column of 0 and 1, `initial` level, `events` in rising order. With `bounce`, each change is followed
//! by chatter: the level alternates every `every`, beginning with the new level, and settles after `for`. With
//! `stuck_from`, the level at that instant stays to the end.
//!
//! # The analogue values
//!
//! `[[analogue]]`: a torque or a temperature in two columns, one for each line.
//!
//! | key | meaning |
//! | --- | --- |
//! | `columns` | names of the two columns |
//! | `valid_columns` | names of two columns that are 1 while a line calls its readings valid |
//! | `unit` | `Nm`, `%` or `degC`: of both columns and of all values here |
//! | `decimals` | digits after the point, 0 to 9, rounded to nearest |
//! | `points` | the course: `[{ at = "0 s", value = "10 %" }, ...]` in rising order, straight between two points, level before the first and after the last; held in 10⁻⁹ of the unit |
//! | `noise` | added to each reading of each line by itself: rms, as that of a source |
//! | `offset` | `{ by, from, until }`: the second line reads more by that, from `from` (default: the first row) until `until` (default: the end) |
//! | `sparse` | rows without a reading leave the cell empty; else the last reading is repeated |
//!
//! # The faults
//!
//! `[[fault]]` with `kind`, `at`, `source` (`"a"` or `"b"`) and, where it can end, `until`:
//!
//! | kind | keys | model |
//! | --- | --- | --- |
//! | `stuck` | | the reading keeps the value of the last sample before `at` (of the first one when there is none); at `until` it returns to the true one |
//! | `jump` | `by` | the reading is larger by `by` from `at` to `until` |
//! | `lost-counts` | `rate` | of the counts between two readings this share is lost, in either direction, and stays lost; a fraction of a count is lost at random with that probability |
//! | `reversed` | | from the last sample before `at` on, the reading moves against the true direction; after `until` it moves with it again and keeps the offset |
//! | `drift` | `speed` | the reading drifts away at `speed` until `until`, and the offset stays |
//! | `slip` | `by`, `over` | the coupling slips: during `over` the sensor falls behind by `by`, evenly, and stays behind |
//! | `dropped` | | readings do not arrive: empty cells in a sparse source, else the last reading, capture time and validity stay |
//! | `latency` | `to` | readings arrive with latency `to`; while it grows, the last sample repeats until the delayed ones catch up |
//! | `invalid` | | `valid_column` is 0, or that of the line in `valid_columns`; the value itself stays right |
//! | `gap` | | no `source`, needs `until`: the rows in `[at, until)` are missing from the trace, the sources run on |
//!
//! With the column of an analogue line as `source`, the kinds are `stuck`, `dropped` and `invalid`; all go by the time of the row.
//!
//! Faults of the sensor (`stuck` to `slip`) begin with the first sample **taken** at or after `at`, so a row shows them
//! one latency later; faults of the connection (`dropped`, `latency`, `invalid`) with the first reading that **arrives**
//! at or after `at`; `gap` goes by the time of the row. Intervals exclude `until`. Of several `latency` faults at a time
//! the last in the file counts.
//!
//! # The trace
//!
//! Comment lines (`# invented data`, title, note), a header row, then one row per period at `floor(k period)` ns.
//! `[output]` may set `columns` (their order; every column once; default: time, source A, source B, inputs, analogue lines),
//! `time_column` (default `time`), `time_unit` (default `s`), `time_decimals` (default: all digits to 1 ns; fewer are
//! rounded to nearest), `start_time` (time of the first row, default 0; instants elsewhere in the file count from the
//! first row), `delimiter` (`","`, `";"`, `"tab"`) and `decimal_comma`.
//!
//! # What it does not model
//!
//! Lost or repeated rows with the wrong time stamp, errors within a line period of a sine-cosine sensor, and a clock of
//! a source that runs apart from that of the rows.

mod analogue;
mod check;
mod encoder;
mod encoder_check;
mod error;
mod fault_check;
mod file;
mod input;
mod motion;
mod numeric;
mod output;
mod planted;
mod scenario;
mod sink;
mod units;
mod write;

pub use error::{ScenarioError, WriteError};
pub use motion::{MotionState, Truth};
pub use planted::{Planted, PlantedKind};
pub use scenario::Scenario;
pub use sink::{Sink, create};
pub use write::Written;
