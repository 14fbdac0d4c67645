//! The monitors: named rules on the motion of one channel.
//!
//! A monitor compares what it observes with what it allows, and says so as a [`Bound`]; it is violated exactly when
//! an observed value is above its limit. Demands, on-delays, latches and the two channels belong to the axis and are
//! the same for every monitor.

mod envelope;
mod speed_limit;
mod standstill;
mod stop;

use crate::frame::Channel;
use crate::scale::{Scale, WindowSpeed};
use crate::source::Mark;
use crate::units::{Instant, Position, Span, Speed};

pub use envelope::Ramp;
pub use speed_limit::{SpeedLimit, SpeedLimitState};
pub use standstill::{Standstill, StandstillState};
pub use stop::{Stop, StopState, Supervision, Until};

/// An observed value and the limit it may not exceed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Bound<T> {
    /// What was seen, a magnitude rounded up.
    pub observed: T,
    /// What is allowed; exceeding it is a violation, reaching it is not.
    pub limit: T,
}

impl<T: PartialOrd> Bound<T> {
    /// Whether the observed value is above the limit.
    #[inline]
    pub fn is_exceeded(&self) -> bool {
        self.observed > self.limit
    }
}

/// What a monitor found at one frame.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Check {
    /// A travel against its window.
    pub position: Option<Bound<Position>>,
    /// Where that travel is measured from.
    pub from: Option<Mark>,
    /// A speed against its limit. It also is the limit in force for an envelope that starts at the next frame.
    pub speed: Option<Bound<Speed>>,
    /// The limit on the speed while no speed is known that could be held against it. It is in force for an envelope that
    /// starts at the next frame all the same.
    pub unmet: Option<Speed>,
    /// Something it needs is not known yet.
    pub warming_up: bool,
    /// The permit is to be withdrawn as planned, without a trip.
    pub withdraws: bool,
    /// A stop has been carried through.
    pub complete: bool,
}

impl Check {
    /// A travel against its window.
    #[must_use]
    pub fn of_position(observed: Position, limit: Position) -> Self {
        Self { position: Some(Bound { observed, limit }), ..Self::default() }
    }

    /// A speed against its limit.
    #[inline]
    #[must_use]
    pub fn of_speed(observed: Speed, limit: Speed) -> Self {
        Self { speed: Some(Bound { observed, limit }), ..Self::default() }
    }

    /// Nothing can be said yet.
    #[must_use]
    pub fn not_yet() -> Self {
        Self { warming_up: true, ..Self::default() }
    }

    /// A speed, as far as it is known, against its limit.
    #[inline]
    pub(crate) fn of_known_speed(observed: Option<WindowSpeed>, limit: Speed) -> Self {
        match observed {
            Some(speed) => Self::of_speed(speed.magnitude(), limit),
            None => Self { unmet: Some(limit), ..Self::not_yet() },
        }
    }

    /// Whether any observed value is above its limit.
    #[inline]
    #[must_use]
    pub fn is_violated(&self) -> bool {
        self.position.is_some_and(|bound| bound.is_exceeded())
            || self.speed.is_some_and(|bound| bound.is_exceeded())
    }
}

/// What one channel shows a monitor at one frame.
#[derive(Clone, Copy, Debug)]
pub struct Motion<'a> {
    pub(crate) now: Instant,
    pub(crate) demanded_at: Instant,
    pub(crate) channel: Channel,
    pub(crate) speed: Option<WindowSpeed>,
    pub(crate) here: Option<Mark>,
    pub(crate) scale: &'a Scale,
    pub(crate) limit_before: Speed,
}

impl Motion<'_> {
    /// This evaluation instant.
    #[must_use]
    pub const fn now(&self) -> Instant {
        self.now
    }

    /// The frame at which the demand became active.
    #[must_use]
    pub const fn demanded_at(&self) -> Instant {
        self.demanded_at
    }

    /// Time since the demand became active.
    #[inline]
    #[must_use]
    pub fn since_demand(&self) -> Span {
        // Bounded because a demand becomes active at a frame, and frames go forward.
        Span::from_nanos(self.now.as_nanos().wrapping_sub(self.demanded_at.as_nanos()))
    }

    /// Which channel this is.
    #[must_use]
    pub const fn channel(&self) -> Channel {
        self.channel
    }

    /// The windowed speed, or `None` while it is unknown.
    #[inline]
    #[must_use]
    pub const fn speed(&self) -> Option<WindowSpeed> {
        self.speed
    }

    /// Where the channel is now, to measure travel from later; `None` while the position is unknown.
    #[inline]
    #[must_use]
    pub const fn here(&self) -> Option<Mark> {
        self.here
    }

    /// The length of the travel since `mark`, rounded up to a ULP. `None` when the position is unknown or
    /// its continuity was lost since.
    #[inline]
    #[must_use]
    pub fn travel_since(&self, mark: Mark) -> Option<Position> {
        self.scale.length(mark.counts_to(self.here?)?)
    }

    /// The smallest limit placed on this channel's speed at the frame before; [`Speed::MAX`] without one.
    #[must_use]
    pub const fn limit_before(&self) -> Speed {
        self.limit_before
    }
}

/// A rule on the motion of one channel.
///
/// Implement it to add a monitor of your own to an axis, as [`Rule::Own`]. The axis calls [`check`](Self::check) once
/// per frame and channel while the monitor is active, with a state that starts from its default at every activation. Everything
/// else (demand, on-delay, trip, latch, reset, confirmation by the other channel) is the axis's work.
pub trait Monitor {
    /// What is remembered per channel. The default is the state at activation.
    type State: Copy + Default + core::fmt::Debug;

    /// Compares the motion with the rule. Cost must be bounded; it must not panic.
    ///
    /// While the channel is faulted `motion` shows what is known nevertheless: the first reading of a new count, or the last
    /// good one when a later one was out of order. References may be taken from it, and a limit on the speed stays in force; nothing
    /// is violated or warming up at such a frame, whatever the check says.
    fn check(&self, state: &mut Self::State, motion: &Motion<'_>) -> Check;

    /// Whether the monitor stays active although nothing demands it any more: a stop is carried through. Asked
    /// for both channels; one that says yes is enough.
    fn carries_on(&self, state: &Self::State) -> bool {
        let _ = state;
        false
    }
}

/// The rule of one monitor: one of those built in, or your own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Rule<Own = NoOwn> {
    /// The permit is withdrawn while it is active (safe torque off).
    TorqueOff,
    /// Stay where you are (safe operating stop).
    Standstill(Standstill),
    /// Stay below a speed (safely limited speed).
    SpeedLimit(SpeedLimit),
    /// Come to a stop (safe stop 1 and 2).
    Stop(Stop),
    /// A monitor of your own.
    Own(Own),
}

/// How a monitor is calm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Lull<'a> {
    /// Its limits stay what they are.
    Constant,
    /// Its limit on the speed falls along a ramp to a target.
    Falling { ramp: &'a Ramp, target: Speed },
}

/// The state of a [`Rule`].
#[derive(Clone, Copy, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum RuleState<OwnState> {
    /// Nothing to remember.
    #[default]
    None,
    /// Of a standstill.
    Standstill(StandstillState),
    /// Of a speed limit.
    SpeedLimit(SpeedLimitState),
    /// Of a stop.
    Stop(StopState),
    /// Of a monitor of your own.
    Own(OwnState),
}

/// An axis without monitors of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum NoOwn {}

impl Monitor for NoOwn {
    type State = ();

    fn check(&self, (): &mut (), _: &Motion<'_>) -> Check {
        match *self {}
    }
}

impl<OwnState> RuleState<OwnState> {
    /// Where the axis is to stay.
    pub(crate) fn reference(&self) -> Option<Mark> {
        match self {
            Self::Standstill(state) => Some(state.reference()),
            Self::Stop(state) => state.reference(),
            _ => None,
        }
    }
}

impl<Own: Monitor> Rule<Own> {
    /// How far the axis may move once it is to stay.
    pub(crate) fn position_window(&self) -> Option<Position> {
        match self {
            Self::Standstill(rule) => Some(rule.position_window()),
            Self::Stop(rule) => rule.position_window(),
            _ => None,
        }
    }

    /// Whether only the motion, and a limit that falls, can change what it finds from now on, while it stays active. `check` is what
    /// it found at this frame, without a violation and without anything unknown.
    pub(crate) fn calm(&self, state: &RuleState<Own::State>, check: &Check) -> Option<Lull<'_>> {
        let is_calm = match (self, state) {
            (Self::TorqueOff, _) | (Self::Standstill(_), RuleState::Standstill(_)) => true,
            (Self::SpeedLimit(rule), RuleState::SpeedLimit(state)) => {
                return Some(match rule.falling(state) {
                    Some(ramp) => Lull::Falling { ramp, target: rule.limit() },
                    None => Lull::Constant,
                });
            }
            (Self::Stop(rule), RuleState::Stop(state)) => rule.is_calm(state, check),
            // What a monitor of your own goes by is not known.
            _ => false,
        };
        is_calm.then_some(Lull::Constant)
    }

    /// The limit that a calm monitor puts on the speed so long after its demand.
    pub(crate) fn limit_at(&self, state: &RuleState<Own::State>, since_demand: Span) -> Option<Speed> {
        match (self, state) {
            (Self::Standstill(rule), _) => Some(rule.speed_window()),
            (Self::SpeedLimit(rule), RuleState::SpeedLimit(state)) => rule.limit_at(state, since_demand),
            (Self::Stop(rule), RuleState::Stop(state)) => rule.speed_window(state),
            _ => None,
        }
    }

    /// The state at activation, of the rule's own kind.
    pub(crate) fn fresh(&self) -> RuleState<Own::State> {
        match self {
            Self::TorqueOff => RuleState::None,
            Self::Standstill(_) => RuleState::Standstill(StandstillState::default()),
            Self::SpeedLimit(_) => RuleState::SpeedLimit(SpeedLimitState::default()),
            Self::Stop(_) => RuleState::Stop(StopState::default()),
            Self::Own(_) => RuleState::Own(Own::State::default()),
        }
    }

    /// Checks the motion of one channel.
    #[inline(always)]
    pub(crate) fn check(&self, state: &mut RuleState<Own::State>, motion: &Motion<'_>) -> Check {
        match (self, state) {
            (Self::SpeedLimit(rule), RuleState::SpeedLimit(own)) => rule.check(own, motion),
            (Self::Standstill(rule), RuleState::Standstill(own)) => rule.check(own, motion),
            (Self::Stop(rule), RuleState::Stop(own)) => rule.check(own, motion),
            (Self::Own(rule), RuleState::Own(own)) => rule.check(own, motion),
            // Torque off; a state of another kind than its rule's is not reached, and withdraws the permit too.
            _ => Check { withdraws: true, ..Check::default() },
        }
    }

    pub(crate) fn carries_on(&self, state: &RuleState<Own::State>) -> bool {
        match (self, state) {
            (Self::Stop(rule), RuleState::Stop(state)) => rule.carries_on(state),
            (Self::Own(rule), RuleState::Own(state)) => rule.carries_on(state),
            _ => false,
        }
    }
}
