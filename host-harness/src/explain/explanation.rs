//! What an explanation holds.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Change, Cost, Cure, Event, Guard, Nearest, PartOfReaction, Stage, Verdict, Witness};
use crate::causes::Decomposition;
use crate::report::{SetupReport, TraceReport};

/// The version of the JSON of an explanation; it changes when a field changes its meaning or goes.
pub const SCHEMA_VERSION: u32 = 1;

/// The JSON Schema of [`Explanation`].
#[must_use]
pub fn json_schema() -> schemars::Schema {
    schemars::schema_for!(Explanation)
}

/// What is explained.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Explained {
    /// `trip`, `fault`, `planned` or `nothing`.
    pub what: String,
    /// Its number among the trips or faults of the replay, from 1.
    pub number: Option<usize>,
    /// The monitor, the source or the input.
    pub name: String,
    /// Its kind.
    pub kind: String,
    /// `a`, `b` or `both`.
    pub channel: Option<String>,
    /// When it was decided, on the clock of the trace.
    pub at_s: Option<crate::report::Seconds>,
    /// The unit of the analogue value whose lines are compared, or one of whose lines could not be seen.
    pub value_unit: Option<String>,
    /// The other trips and faults where there are at most three, in order of time; none where there are more.
    pub others: Vec<Other>,
    /// How many trips there are in the trace.
    pub trips: usize,
    /// How many faults there are in the trace.
    pub faults: usize,
}

/// Another trip or fault.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Other {
    /// `trip` or `fault`.
    pub what: String,
    /// Its number among them, from 1.
    pub number: usize,
    /// The monitor, the source or the input.
    pub name: String,
    /// Its kind.
    pub kind: String,
    /// `a` or `b`, where it is a trip of one of them.
    pub channel: Option<String>,
    /// When.
    pub at_s: crate::report::Seconds,
}

/// An explanation.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Explanation {
    /// The version of this format.
    pub schema: u32,
    /// The setup.
    pub setup: SetupReport,
    /// The trace.
    pub trace: TraceReport,
    /// What is explained.
    pub explained: Explained,
    /// Whether it was right to take the permit, as far as this trace tells.
    pub guard: Guard,
    /// Why it happened, with the evidence.
    pub verdict: Verdict,
    /// The same in words: what, why, and what to try.
    pub in_words: InWords,
    /// What happened, in order of time.
    pub story: Vec<Stage>,
    /// Where the time of the reaction went.
    pub reaction: Vec<PartOfReaction>,
    /// What each channel says of it, A first; empty where nothing happened.
    pub witnesses: Vec<Witness>,
    /// What one channel did alone in the frames that were kept.
    pub events: Vec<Event>,
    /// Where the disagreement of the positions comes from; null where they could not be compared.
    pub apart: Option<Decomposition>,
    /// What cures the cause, before any setting is made looser.
    pub cures: Vec<Cure>,
    /// Settings with which it would not have happened, and what they cost.
    pub what_if: Vec<Costed>,
    /// How near everything came that did not trip, where nothing did.
    pub nearest: Vec<Nearest>,
    /// What cannot be concluded from this trace, and why.
    pub cannot_tell: Vec<String>,
}

/// A verdict in words.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct InWords {
    /// What happened.
    pub what: String,
    /// Why it is judged so.
    pub why: Vec<String>,
    /// What to try, in order.
    pub advice: Vec<String>,
}

/// A change of a setting and what it costs.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Costed {
    /// The change.
    #[serde(flatten)]
    pub change: Change,
    /// What it costs; null where there is none, or nothing can be said of it.
    pub cost: Option<Cost>,
}
