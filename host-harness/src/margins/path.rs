//! The parts of a reaction time, and what they add up to.

use monitor_core::{Channel, Span};

use super::timing::plus;
use crate::replay::TripRule;

/// What the time of a path counts from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Broken {
    /// A line of an input changes, or an output's place or speed is met, and the axis is beyond the rule already: with a ramp beyond
    /// the limit at its end, which counts from there on.
    Demand,
    /// The same, to the planned end of the stop: the permit goes then, with or without a violation.
    Stop,
    /// The axis leaves the place or the way that it may have.
    Position,
    /// The speed leaves what it may be, at an acceleration that stays.
    Speed,
    /// The acceleration leaves what it may be, and stays so.
    Acceleration,
    /// An analogue value leaves what it may be, and stays so.
    Value,
    /// The two positions, or the two lines of a value, are further apart than tolerated.
    Apart,
    /// The two speeds are further apart than tolerated, with a difference that grows steadily.
    SpeedsApart,
    /// The permit is gone, and the brake is still open.
    Permit,
}

/// What a part of a reaction time goes into.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Part {
    /// The latency of the source in the setup.
    Latency,
    /// What a reading is on its way for beyond the latency.
    Delay,
    /// The age of the newest reading at a frame.
    Age,
    /// A capture time that is off.
    Jitter,
    /// Half the effective window.
    HalfWindow,
    /// Two effective windows.
    TwoWindows,
    /// The time between two readings, within which the axis turned unseen.
    UnseenTurn,
    /// The frame that sees it.
    FrameSees,
    /// The filter of the input.
    Filter,
    /// The frame at which the filter is over.
    FrameFilter,
    /// The ramp, from the demand to its end.
    Ramp,
    /// The frame that sees the end of the ramp.
    FrameRamp,
    /// The on-delay of the monitor.
    OnDelay,
    /// The discrepancy time.
    DiscrepancyTime,
    /// The frame that sees that the delay is over.
    FrameDelay,
    /// The frame at which the stop of a trip begins, or the standstill after a stop.
    FrameReaction,
    /// The stop, from its demand to its planned end.
    Stop,
    /// The frame that sees the end of the stop.
    FrameStop,
    /// The delay of a brake output.
    BrakeOutput,
    /// From the permit to the torque.
    OutputDelay,
}

impl Part {
    /// In words.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Latency => "latency of the source",
            Self::Delay => "delay on the way beyond it",
            Self::Age => "age of the newest reading",
            Self::Jitter => "jitter of the capture times",
            Self::HalfWindow => "half the effective window",
            Self::TwoWindows => "two effective windows",
            Self::UnseenTurn => "a turn between two readings",
            Self::FrameSees => "the frame that sees it",
            Self::Filter => "filter of the input",
            Self::FrameFilter => "the frame that ends the filter",
            Self::Ramp => "the ramp into the limit",
            Self::FrameRamp => "the frame that ends the ramp",
            Self::OnDelay => "on-delay",
            Self::DiscrepancyTime => "discrepancy time",
            Self::FrameDelay => "the frame that ends the delay",
            Self::FrameReaction => "the frame that takes over",
            Self::Stop => "the stop itself",
            Self::FrameStop => "the frame that ends the stop",
            Self::BrakeOutput => "delay of the brake output",
            Self::OutputDelay => "output delay",
        }
    }
}

/// A part of a reaction time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Term {
    /// What it goes into.
    pub part: Part,
    /// How long that takes at the most.
    pub time: Span,
}

/// One way to the end of the torque.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Path {
    /// What its time counts from.
    pub broken: Broken,
    /// Its parts, in the order in which they pass; those that are zero are left out.
    pub terms: Vec<Term>,
}

impl Path {
    /// All terms together: the longest time until the torque is gone.
    #[must_use]
    pub fn total(&self) -> Span {
        self.terms.iter().fold(Span::ZERO, |sum, term| plus(sum, term.time))
    }

    /// The time of all terms of a part.
    #[must_use]
    pub fn time_of(&self, part: Part) -> Span {
        let terms = self.terms.iter().filter(|term| term.part == part);
        terms.fold(Span::ZERO, |sum, term| plus(sum, term.time))
    }
}

/// How long a rule takes until the torque is gone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reaction {
    /// Which rule, on which channel.
    pub rule: TripRule,
    /// The ways there, one for each thing that can be broken; none where no bound exists.
    pub paths: Vec<Path>,
    /// Nothing says how often the source takes a reading, and only its `timeout` bounds how old one is: `a` or `b`, in the order of
    /// the channels; `period` of `[sensors.a]` or `[sensors.b]` says it.
    pub bounded_by_timeout: Vec<Channel>,
}

impl Reaction {
    /// The longest path of the motion itself, not from a demand; of a rule that has none (`torque-off`, a stop by time) the
    /// longest of all. `None` without any path. This is the figure that a longer on-delay or window makes longer.
    #[must_use]
    pub fn total(&self) -> Option<Span> {
        let motion = |path: &&Path| !matches!(path.broken, Broken::Demand | Broken::Stop);
        let longest = self.paths.iter().filter(motion).map(Path::total).max();
        longest.or_else(|| self.paths.iter().map(Path::total).max())
    }

    /// The path from something that is broken.
    #[must_use]
    pub fn path(&self, broken: Broken) -> Option<&Path> {
        self.paths.iter().find(|path| path.broken == broken)
    }
}
