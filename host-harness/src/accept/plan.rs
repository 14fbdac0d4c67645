//! What a plan says, checked against its setup.

use std::path::PathBuf;

use monitor_core::{Channel, Span, Speed};

use super::amount::Amount;
use crate::setup::{Setting, Setup, SetupError};

/// Why a plan cannot be used: what is wrong with it, or with the setup that it names.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(transparent)]
pub struct PlanError(#[from] pub SetupError);

/// A plan of trials of one axis.
#[derive(Clone, Debug)]
pub struct Plan {
    /// The file, as it was named.
    pub path: PathBuf,
    /// Its text.
    pub text: String,
    /// What the report is called.
    pub title: String,
    /// The machine, the place and who carried the trials out, as far as they are said.
    pub about: Vec<(&'static str, String)>,
    /// The file of the setup.
    pub setup_path: PathBuf,
    /// Its text.
    pub setup_text: String,
    /// What it says.
    pub setup: Setup,
    /// The trials, at least one.
    pub trials: Vec<Trial>,
}

/// One trial.
#[derive(Clone, Debug)]
pub struct Trial {
    /// What it is called.
    pub name: String,
    /// How it is carried out.
    pub how: String,
    /// The line of the plan where it begins, from 1.
    pub line: usize,
    /// What was recorded; `None`: it was not carried out.
    pub recorded: Option<Recorded>,
    /// What must happen.
    pub wanted: Wanted,
    /// When.
    pub window: Window,
    /// What else trips or is faulted fails nothing.
    pub allow_others: bool,
}

/// The trace of a trial.
#[derive(Clone, Debug)]
pub struct Recorded {
    /// The file.
    pub path: PathBuf,
    /// Line and column at which the plan names it, from 1.
    pub at: (usize, usize),
}

/// A window of time in ns of the trace, ends included.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Window {
    /// Its begin.
    pub from: Option<i128>,
    /// Its end.
    pub to: Option<i128>,
}

impl Window {
    /// Whether a time is in it.
    #[must_use]
    pub fn holds(&self, nanos: i128) -> bool {
        self.from.is_none_or(|from| nanos >= from) && self.to.is_none_or(|to| nanos <= to)
    }
}

/// What can trip.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rule {
    /// A monitor, an index into those of the setup; on either channel.
    Monitor(usize),
    /// The two positions against each other.
    Position,
    /// The two speeds.
    Speed,
    /// The two lines of an analogue value, an index into those of the setup.
    Analogue(usize),
}

/// What a time counts from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Count {
    /// The crossing of the limit.
    Crossing,
    /// The demand.
    Demand,
}

/// Coming to rest.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rest {
    /// The longest time from the last trip.
    pub within: Setting<Span>,
    /// At most this fast is at rest.
    pub speed: Setting<Speed>,
}

/// A sort of fault, as a report calls it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sort {
    /// Of a channel of the motion.
    Channel(&'static str, Channel),
    /// Of a line of an analogue value, an index into those of the setup.
    Line(&'static str, usize, Channel),
    /// Of an input, an index into those of the setup.
    Input(usize),
    /// Of a monitor that needs a referenced position, on one channel or on any.
    Unreferenced(usize, Option<Channel>),
    /// Of the clock.
    Clock,
}

/// What must happen in a trial.
#[derive(Clone, Debug)]
pub enum Wanted {
    /// A rule trips.
    Trips {
        /// Which.
        rule: Rule,
        /// On which channels, each of which must; none where it belongs to both together.
        channels: Vec<Channel>,
        /// The trace shows the demand begin.
        demand: bool,
        /// The longest time, and what it counts from.
        within: Option<Setting<Span>>,
        /// What that time, given or not, counts from.
        count: Count,
        /// The furthest beyond the limit.
        overshoot: Option<Setting<Amount>>,
        /// It comes to rest.
        rest: Option<Rest>,
    },
    /// A rule that is active does not trip, and nothing else does.
    Nothing(Rule),
    /// A stop is carried through, or the permit withdrawn as planned.
    Completes {
        /// An index into the monitors of the setup.
        monitor: usize,
        /// On which channels; none for a `torque-off`.
        channels: Vec<Channel>,
        /// The longest time from the demand.
        within: Option<Setting<Span>>,
    },
    /// An output changes.
    Turns {
        /// An index into the monitors of the setup.
        monitor: usize,
        /// To true.
        on: bool,
    },
    /// Something is faulted.
    Faults(Sort),
}
