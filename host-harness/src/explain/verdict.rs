//! Why it happened: one enum of verdicts with their evidence, each with a text that says what, why, and what to try.

mod clear;
mod motion;
mod words;

use schemars::JsonSchema;
use serde::Serialize;

use super::declared::Declared;
use super::event::Event;
use crate::causes::{Cause, CauseKind, Side};
use crate::report::Seconds;

/// Whether it was right to take the permit, as far as this trace tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Guard {
    /// The motion broke the rule, or a witness of it failed.
    Right,
    /// The motion was plausible and within what the rule is there for: what it tripped on is how it is measured.
    Nuisance,
    /// The trace does not tell, or holds too little to.
    Undecided,
    /// The permit went as planned.
    Planned,
    /// Nothing tripped and nothing was faulted, and the trace shows enough to say so.
    Clear,
}

impl Guard {
    /// One word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Right => "RIGHT",
            Self::Nuisance => "NUISANCE",
            Self::Undecided => "UNDECIDED",
            Self::Planned => "PLANNED",
            Self::Clear => "CLEAR",
        }
    }
}

/// What a rule was held against.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Beyond {
    /// The monitor.
    pub monitor: String,
    /// Its kind.
    pub kind: String,
    /// The channel that tripped.
    pub channel: Side,
    /// What was observed at the trip.
    pub observed: f64,
    /// What was allowed then.
    pub limit: f64,
    /// The unit of both.
    pub unit: String,
    /// The limit is the least that has to be observed.
    pub is_least: bool,
    /// What is observed is what was travelled beyond a limit on the speed.
    pub is_overrun: bool,
}

/// A stop that had been carried through.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct AfterStop {
    /// When.
    pub complete_at_s: Seconds,
    /// The axis stood when it was; else the time for the stop was over before it did.
    pub was_at_rest: bool,
}

/// By how much the two channels contradict each other.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Differ {
    /// How far they are apart.
    pub by: f64,
    /// What is allowed; null where no rule says so.
    pub limit: Option<f64>,
    /// The unit of both.
    pub unit: String,
    /// The rule that tripped on it.
    pub rule: Option<String>,
    /// The number of that trip.
    pub trip: Option<usize>,
    /// When it tripped.
    pub at_s: Option<Seconds>,
}

/// Why a trace in which nothing happened tells little.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "because", rename_all = "kebab-case")]
pub enum Unsure {
    /// Bad rows were left out.
    RowsLeftOut {
        /// How many.
        rows: u64,
    },
    /// The permit was never given.
    NeverPermitted,
    /// Neither channel ever had a speed.
    NoSpeed,
    /// It ends while a rule is beyond its limit.
    EndsBeyond {
        /// The rule.
        rule: String,
        /// The first frame of the violation.
        since_s: Seconds,
        /// How much longer it would have had to last, in seconds.
        left_s: f64,
    },
}

/// Why it happened.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "verdict", rename_all = "kebab-case")]
pub enum Verdict {
    /// Both channels saw the motion beyond what the rule allows.
    Motion {
        /// What it was held against.
        beyond: Beyond,
        /// The furthest that the other channel saw it beyond the limit.
        other_beyond: f64,
        /// The other channel tripped, too.
        is_confirmed: bool,
        /// It was beyond when the rule was demanded.
        from_the_start: bool,
        /// An input whose latched fault alone demanded it, and since when.
        demanded_by_fault: Option<(String, Seconds)>,
        /// An input that demanded it by its lines, and was faulted besides: since when.
        faulted_besides: Option<(String, Seconds)>,
        /// The speed when a standstill was demanded, and what it allows; null where the axis did not move then.
        moved_at_demand: Option<[f64; 2]>,
        /// The mean deceleration before it, where the rule asks for one: that of the motion, and what the rule asks for.
        braking: Option<[f64; 2]>,
        /// It is a stop, which had been carried through before.
        after_stop: Option<AfterStop>,
        /// The two channels do not agree on the motion; null where they do.
        differ: Option<Differ>,
    },
    /// Only one channel saw it beyond, and by less than what the two can tell apart.
    AtTheLimit {
        /// What it was held against.
        beyond: Beyond,
        /// How much the two channels differ in what is observed.
        difference: f64,
        /// How much of that is resolution and noise.
        resolution: f64,
    },
    /// Only one channel saw it beyond; the other one contradicts.
    OneChannel {
        /// What it was held against.
        beyond: Beyond,
        /// How far within the limit the other channel always was; null: it could not be seen.
        other_within: Option<f64>,
        /// What this channel did alone around it.
        events: Vec<Event>,
        /// What makes a good part of what the channels differ by in what the rule compares, as far as it is known.
        cause: Option<Box<Cause>>,
        /// By how much they differ in that; null: the other one could not be seen.
        difference: Option<f64>,
        /// By how much their references differ, where that is it.
        references_differ: Option<f64>,
    },
    /// The channels came apart.
    Apart {
        /// The rule that told.
        rule: String,
        /// How far.
        by: f64,
        /// What was allowed.
        limit: f64,
        /// The unit of both.
        unit: String,
        /// The main cause.
        cause: Box<Cause>,
        /// What it has in the difference of the positions at the trip.
        share: f64,
        /// That difference.
        apart: f64,
        /// What the setup declares of that cause; null where it is a failure.
        declared: Option<Declared>,
        /// What no cause explains of it.
        rest: f64,
        /// The largest cause that is a failure of a witness, where it matters.
        failing: Option<Box<Cause>>,
        /// What all such causes have in the difference.
        failing_share: f64,
        /// What the positions may be apart by; null where the rule is on their speeds.
        position_limit: Option<f64>,
        /// The unit of both.
        position_unit: String,
        /// Another cause that would do nearly as well, and what motion would tell them apart.
        or_else: Option<(CauseKind, String)>,
    },
    /// The channels came apart, and the trace does not say why.
    ApartUnexplained {
        /// The rule that told.
        rule: String,
        /// How far.
        by: f64,
        /// What was allowed.
        limit: f64,
        /// The unit of both.
        unit: String,
        /// Why not.
        why: Vec<String>,
    },
    /// The two lines of an analogue value came apart.
    Lines {
        /// The value.
        analogue: String,
        /// How far.
        by: f64,
        /// What was allowed.
        limit: f64,
        /// The unit.
        unit: String,
        /// What each line changed in the last tenth of a second before, A first.
        moved: [f64; 2],
    },
    /// A source, or the line of a value, could not be seen.
    Source {
        /// The channel or line, as a report names it.
        who: String,
        /// The fault, as a report names it.
        fault: String,
        /// For how long, in seconds.
        lasted_s: f64,
        /// What that was in the readings.
        events: Vec<Event>,
        /// What was implausible: the travel, its time in seconds, and the fastest that the setup says.
        change: Option<[f64; 3]>,
        /// The other source moved as fast then: the motion, not the source.
        both_say_so: bool,
        /// The rows of the trace themselves have a gap there.
        is_gap: bool,
        /// The speed of the other channel then, in the axis unit per second; null where it is not known.
        other_speed: Option<f64>,
        /// What a line of an analogue value showed, and what is plausible.
        reading: Option<String>,
        /// A rule that had tripped on the other channel by then.
        other_tripped: Option<String>,
    },
    /// The two lines of an input did not agree.
    Input {
        /// The input.
        input: String,
        /// The line that moved last, and when.
        moved: Option<(String, Seconds)>,
        /// The line that did not follow.
        stayed: Option<String>,
        /// Its level.
        stayed_high: bool,
    },
    /// A rule needs a place, and the position had no reference.
    Unreferenced {
        /// The monitor.
        monitor: String,
        /// The channel.
        channel: Side,
        /// A fault of the channel took the reference before: which.
        lost_by: Option<String>,
    },
    /// Time did not advance.
    Clock,
    /// The permit went as planned.
    Planned {
        /// The monitor.
        monitor: String,
        /// Its kind.
        kind: String,
        /// What demanded it.
        demand: String,
    },
    /// Nothing tripped and nothing was faulted.
    Clear {
        /// The rule that was nearest to its limit.
        nearest: Option<String>,
        /// What was left of it, as a share of what is allowed.
        share: Option<f64>,
        /// Why that is no verdict on the motion; empty where it is.
        unsure: Vec<Unsure>,
    },
}

impl Verdict {
    /// Whether it was right to take the permit.
    #[must_use]
    pub fn guard(&self) -> Guard {
        match self {
            Self::Motion { .. } => Guard::Right,
            Self::Input { .. } | Self::Unreferenced { .. } => Guard::Right,
            Self::AtTheLimit { .. } => Guard::Undecided,
            // Which of the two is right nobody knows; but a witness that fails is no witness.
            Self::OneChannel { references_differ: Some(_), .. } => Guard::Right,
            Self::OneChannel { events, cause, .. } => {
                let fails = cause.as_ref().is_some_and(|cause| is_failure(cause.kind()));
                if fails || !events.is_empty() { Guard::Right } else { Guard::Undecided }
            }
            Self::Apart {
                cause,
                share,
                apart,
                rest,
                failing,
                failing_share,
                position_limit,
                or_else,
                ..
            } => {
                let fails = is_failure(cause.kind());
                let doubt = or_else.as_ref().is_some_and(|(other, _)| is_failure(*other) != fails);
                let others = apart - failing_share;
                let tips = position_limit.is_some_and(|limit| others.abs() <= limit);
                match (fails, failing) {
                    _ if doubt => Guard::Undecided,
                    (true, _) => Guard::Right,
                    // Without the failure it would not have tripped.
                    (false, Some(_)) if tips => Guard::Right,
                    (false, Some(_)) => Guard::Undecided,
                    (false, None) if rest.abs() > share.abs() => Guard::Undecided,
                    (false, None) => Guard::Nuisance,
                }
            }
            Self::ApartUnexplained { .. } => Guard::Undecided,
            Self::Lines { .. } | Self::Clock => Guard::Right,
            Self::Source { both_say_so, is_gap, .. } => {
                if *both_say_so || *is_gap {
                    Guard::Undecided
                } else {
                    Guard::Right
                }
            }
            Self::Planned { .. } => Guard::Planned,
            Self::Clear { unsure, .. } if !unsure.is_empty() => Guard::Undecided,
            Self::Clear { .. } => Guard::Clear,
        }
    }
}

/// Whether a witness failed, rather than measures as it always does.
pub(super) const fn is_failure(kind: CauseKind) -> bool {
    match kind {
        CauseKind::Slip
        | CauseKind::Jump
        | CauseKind::Spike
        | CauseKind::LostCounts
        | CauseKind::Frozen
        | CauseKind::Reversed => true,
        CauseKind::KnownAges
        | CauseKind::Reference
        | CauseKind::Scale
        | CauseKind::TimeSkew
        | CauseKind::Compliance
        | CauseKind::Backlash
        | CauseKind::Eccentricity
        | CauseKind::Drift => false,
    }
}
