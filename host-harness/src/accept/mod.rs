//! The acceptance of an axis: for every safety function a trial that was carried out and recorded, what it must show, and whether it does.
//!
//! A plan is a TOML file. Its setup and its traces are named relative to it, values have their units, as in a setup:
//!
//! ```toml
//! title     = "Acceptance of the slide (invented)"
//! setup     = "axis.toml"
//! machine   = "slide 1"              # optional: what stands on the report, as the next two
//! place     = "hall 2"
//! tested_by = "A. Tester"
//!
//! [[trial]]
//! name    = "too fast with the door open"
//! how     = "door open, the drive told to run at 400 mm/s"
//! trace   = "overspeed.csv.gz"       # left out: planned, not carried out
//! monitor = "slow while the door is open"
//! within  = "20 ms"
//! ```
//!
//! # What a trial may say
//!
//! | key | value | default |
//! | --- | --- | --- |
//! | `name`, `how` | any text: what it is called, and how it is carried out | |
//! | `trace` | the file that was recorded | not carried out: NOT TESTED |
//! | `monitor` | a monitor, `discrepancy`, `speed_discrepancy`, or an analogue value, whose two lines are compared | |
//! | `channel` | `"a"`, `"b"` or `"both"`: which must show it | both |
//! | `from`, `to` | times of the trace, ends included, in which it must happen | the whole trace |
//! | `allow_others` | `true`: what else trips or is faulted is listed, and fails nothing | `false` |
//!
//! It wants one of these things:
//!
//! | key | what must happen | further keys |
//! | --- | --- | --- |
//! | (none of the next) | the rule trips on every channel named | `demand`, `within`, `within_of`, `overshoot`, `rest` |
//! | `completes = true` | a `stop` is carried through, a `torque-off` withdraws the permit | of a stop `within`, from the demand on |
//! | `turns = "on"` or `"off"` | an output changes to that | |
//! | `nothing_trips = true` | nothing does, while the rule is active and compares: a trial of what must not stop the axis | |
//! | `fault` | a fault reaction: `"invalid"`, `"out-of-order"`, `"stale"`, `"implausible"` or `"range"` with `channel` (and `analogue`, whose line `channel` then is); `"input"` with `input`; `"unreferenced"` with `monitor` (and `channel`); `"clock"` | |
//!
//! - `within`: the time from the crossing to the trip, at most. The crossing is where the *measured* value passed the limit, between two
//!   frames; what a measurement is late by itself is not in it, and stands in the worst case of the setup ([`crate::margins`]), which is
//!   shown beside it. With `within_of = "demand"` it counts from the demand.
//! - `demand = true`: the trace has to show the demand begin, after its first frame and no later than the crossing. A time from the demand
//!   needs that, too: of a demand that is there from the first frame on nobody knows when it began.
//! - `overshoot`: the furthest that the measured value is beyond the limit at any frame from the crossing up to the trip, at most, in the
//!   unit of what is compared. What the axis does after the trip is not in it.
//! - `rest = { within, speed }`: from the last of the trips the axis comes to rest within that time: from that frame, or an earlier one,
//!   on the speed of both channels is known and at most `speed`, until the permit is given again or the trace ends. What stands for a
//!   moment and goes on is not at rest, and neither is what nobody sees any more.
//! - A trip or a stop has to find a permit: one that comes before any was given fails the trial, and of one that was lost before it is told
//!   when. A `torque-off` shows something only where there is a permit that it withdraws.
//! - An output has to change: one that is there as soon as it sees anything has not turned.
//! - A gap in the time of the trial, between two rows more than the shorter timeout apart, fails it: what is measured across it is not known.
//!
//! Where a rule trips more than once in the window, after a reset, each trip is held to it and the worst is shown. A bound is kept when it
//! is just reached.
//!
//! # What is not tested
//!
//! A setup holds functions ([`functions`]): each rule on each channel, both ends of a stop, both changes of an output, and the fault
//! reactions of channels, pairs of contacts, lines of analogue values and references by an event. One that no trial shows is NOT TESTED
//! and named. A trial that `nothing_trips` shows no function; a fault of any sort shows
//! that of its channel or line. Which side of a range, which direction and which of several demands a trial
//! showed is not counted.

mod amount;
mod closest;
mod functions;
mod judge;
mod lasting;
mod plan;
mod read;
mod recording;
mod report;
mod rest;
mod text;
mod wanted;
mod words;

pub use amount::Amount;
pub use functions::{Function, Part, Subject, functions};
pub use judge::{Carried, judge};
pub use lasting::Lasting;
pub use plan::{Count, Plan, PlanError, Recorded, Rest, Rule, Sort, Trial, Wanted, Window};
pub use recording::{Recording, Seen, record};
pub use report::{
    AcceptReport, CheckReport, FunctionReport, Judgement, Overall, SCHEMA_VERSION, TraceFile, TrialReport,
    json_schema,
};
pub use text::text;
