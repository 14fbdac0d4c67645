//! The monitors: named rules on the motion of one channel.
//!
//! A monitor compares what it observes with what it allows, and says so as a [`Bound`]; it is violated exactly when
//! an observed value is beyond its limit. Demands, on-delays, latches and the two channels belong to the axis and are
//! the same for every monitor.

pub mod acceleration;
pub mod analogue;
pub mod direction;
pub mod envelope;
pub mod output;
pub mod position_range;
pub mod speed_limit;
pub mod speed_range;
pub mod standstill;
pub mod stop;
pub mod torque_off;
pub mod travel_limit;

use crate::analogue::{Analogue, Shown};
use crate::calm::{Reach, Reached};
use crate::demand::Referencing;
use crate::frame::Channel;
use crate::names::AnalogueId;
use crate::scale::{Rate, Scale, WindowAcceleration, WindowSpeed, WindowTravel};
use crate::source::Mark;
use crate::units::{Acceleration, Instant, Position, Span, Speed, Value};

pub use acceleration::{AccelerationLimit, AccelerationRange};
pub(crate) use analogue::OnAnalogue;
pub use analogue::{TemperatureLimit, TorqueLimit, TorqueRange};
pub use direction::{Allowed, Direction, DirectionState};
pub use envelope::{Ramp, RampState};
pub use output::{BrakeOutput, CamOutput, OutputState, SpeedOutput};
pub(crate) use output::{Lacks, Output, Steady};
pub use position_range::PositionRange;
pub use speed_limit::SpeedLimit;
pub use speed_range::SpeedRange;
pub use standstill::{Standstill, StandstillState};
pub use stop::{Braking, Stop, Supervision, Until};
pub use travel_limit::TravelLimit;

/// On which side of a limit a violation lies.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Side {
    /// The observed value may not be above the limit.
    #[default]
    Above,
    /// It may not be below.
    Below,
}

/// An observed value and the limit it may not go beyond.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Bound<T> {
    /// What was seen, rounded up where it may not be above the limit, and down where it may not be below. A magnitude, unless
    /// the limits of the two directions differ.
    pub observed: T,
    /// What is allowed; going beyond it is a violation, reaching it is not.
    pub limit: T,
    /// Where beyond is.
    pub side: Side,
}

impl<T> Bound<T> {
    /// A value that may not be above a limit.
    #[inline]
    #[must_use]
    pub const fn at_most(observed: T, limit: T) -> Self
    where
        T: Copy,
    {
        Self { observed, limit, side: Side::Above }
    }

    /// A value that may not be below a limit.
    #[inline]
    #[must_use]
    pub const fn at_least(observed: T, limit: T) -> Self
    where
        T: Copy,
    {
        Self { observed, limit, side: Side::Below }
    }
}

impl<T: PartialOrd> Bound<T> {
    /// Whether the observed value is beyond the limit.
    #[inline]
    pub fn is_exceeded(&self) -> bool {
        match self.side {
            Side::Above => self.observed > self.limit,
            Side::Below => self.observed < self.limit,
        }
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
    /// A speed against its limit.
    pub speed: Option<Bound<Speed>>,
    /// An acceleration against its limit.
    pub acceleration: Option<Bound<Acceleration>>,
    /// An analogue value against its limit.
    pub value: Option<Bound<Value>>,
    /// The limit it puts on the magnitude of the speed, known or not: in force for an envelope that starts at the next frame.
    pub in_force: Option<Speed>,
    /// Something it needs is not known yet.
    pub warming_up: bool,
    /// It needs a referenced position, and the channel has none: a fault.
    pub unreferenced: bool,
    /// The permit is to be withdrawn as planned, without a trip.
    pub withdraws: bool,
    /// A stop has been carried through.
    pub complete: bool,
}

impl Check {
    /// A travel against its window.
    #[must_use]
    pub fn of_position(observed: Position, limit: Position) -> Self {
        Self { position: Some(Bound::at_most(observed, limit)), ..Self::default() }
    }

    /// The magnitude of a speed against its limit, which is in force.
    #[inline]
    #[must_use]
    pub fn of_speed(observed: Speed, limit: Speed) -> Self {
        Self { speed: Some(Bound::at_most(observed, limit)), in_force: Some(limit), ..Self::default() }
    }

    /// An acceleration against its limit, as far as it is known.
    pub(crate) fn of_known_acceleration(bound: Option<Bound<Acceleration>>) -> Self {
        Self { acceleration: bound, warming_up: bound.is_none(), ..Self::default() }
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
            None => Self { in_force: Some(limit), ..Self::not_yet() },
        }
    }

    /// A speed, as far as it is known, against the two ends of a range.
    pub(crate) fn of_speed_range(observed: Option<WindowSpeed>, low: Speed, high: Speed) -> Self {
        let in_force = Some(magnitude(low).max(magnitude(high)));
        match observed {
            Some(speed) => {
                let bound = nearer(
                    Bound::at_most(speed.upper(), high),
                    Bound::at_least(speed.lower(), low),
                    Speed::to_bits,
                );
                Self { speed: Some(bound), in_force, ..Self::default() }
            }
            None => Self { in_force, ..Self::not_yet() },
        }
    }

    /// Whether any observed value is beyond its limit.
    #[inline]
    #[must_use]
    pub fn is_violated(&self) -> bool {
        self.position.is_some_and(|bound| bound.is_exceeded())
            || self.speed.is_some_and(|bound| bound.is_exceeded())
            || self.acceleration.is_some_and(|bound| bound.is_exceeded())
            || self.value.is_some_and(|bound| bound.is_exceeded())
    }
}

/// The magnitude of a speed that is not the smallest there is.
pub(crate) const fn magnitude(speed: Speed) -> Speed {
    Speed::from_bits(speed.to_bits().saturating_abs())
}

/// Of the bounds at the two ends of a range, the one that is nearer; of two as near, the upper one.
pub(crate) fn nearer<T: Copy>(upper: Bound<T>, lower: Bound<T>, bits: fn(T) -> i64) -> Bound<T> {
    // Within the range neither overflows, and outside only one of them is negative.
    let above = bits(upper.limit).saturating_sub(bits(upper.observed));
    let below = bits(lower.observed).saturating_sub(bits(lower.limit));
    if above <= below { upper } else { lower }
}

/// What one channel shows a monitor at one frame.
#[derive(Clone, Copy, Debug)]
pub struct Motion<'a> {
    pub(crate) now: Instant,
    pub(crate) demanded_at: Instant,
    pub(crate) channel: Channel,
    /// The channel is not faulted at this frame.
    pub(crate) visible: bool,
    pub(crate) speed: Option<WindowSpeed>,
    /// How long the window of that speed is, in nanoseconds, and the travel over the one before: where a rule needs the acceleration.
    pub(crate) windows: Option<(u32, WindowTravel)>,
    /// Over the window of that speed; mostly the one before is as long.
    pub(crate) rate: Rate,
    pub(crate) here: Option<Mark>,
    /// Where it has been since its monitors were looked at.
    pub(crate) reached: Reached,
    pub(crate) scale: &'a Scale,
    pub(crate) referencing: &'a Referencing,
    /// Where a position was declared last.
    pub(crate) declared: Mark,
    pub(crate) analogues: &'a [Analogue],
    pub(crate) limit_before: Speed,
}

/// A position that means a place of the machine, as far as it is known.
pub(crate) enum Place {
    /// There is no position.
    Unknown,
    /// There is one, and it means nothing.
    Unreferenced,
    At {
        /// Rounded up.
        upper: Position,
        /// Rounded down.
        lower: Position,
        /// The travel is measured from here.
        from: Mark,
    },
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

    /// The speeds of the last window and of the one before, and how long each is.
    fn speeds(&self) -> Option<[(WindowSpeed, u32); 2]> {
        let (now, (window, before)) = (self.speed?, self.windows?);
        let speed = self.rate.over(self.scale, before.elapsed).speed(self.scale, before.counts)?;
        Some([(speed, before.elapsed), (now, window)])
    }

    /// The acceleration, or `None` while it is unknown. Only on an axis with a rule that needs it: see
    /// [`Monitor::needs_acceleration`].
    #[must_use]
    pub fn acceleration(&self) -> Option<WindowAcceleration> {
        let [before, now] = self.speeds()?;
        Some(WindowAcceleration::between(before, now))
    }

    /// How fast the magnitude of the speed falls, rounded down; `None` while it is unknown.
    pub(crate) fn deceleration(&self) -> Option<Acceleration> {
        let [before, now] = self.speeds()?;
        Some(WindowAcceleration::deceleration(before, now))
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

    /// The length of the travel since `mark`, rounded up to a ULP, and whether it went in the negative direction; beyond the range the
    /// largest there is. `None` when the position is unknown or its continuity was lost since.
    pub(crate) fn moved_since(&self, mark: Mark) -> Option<(Position, bool)> {
        let counts = mark.counts_to(self.here?)?;
        let travel = self.scale.length(counts).unwrap_or(Position::MAX);
        // No travel has no direction: it counts as one in the positive.
        Some((travel, counts != 0 && (counts < 0) != self.scale.is_reversed()))
    }

    /// Of a place where it once was, and of all since, the one furthest in a direction. What lies before a break of the count says nothing.
    pub(crate) fn furthest(&self, before: Mark, allowed: Allowed) -> Mark {
        let is_comparable = self.here.is_some_and(|here| before.is_comparable(here));
        match (is_comparable, (allowed == Allowed::Positive) != self.scale.is_reversed()) {
            (false, _) => before,
            (true, true) => before.at(before.count().max(self.reached.largest)),
            (true, false) => before.at(before.count().min(self.reached.smallest)),
        }
    }

    /// What this channel's line of an analogue value shows.
    pub(crate) fn analogue(&self, of: AnalogueId) -> Shown {
        let analogue = self.analogues.get(usize::from(of.index()));
        analogue.map_or(Shown::Faulted, |analogue| analogue.shown(self.channel))
    }

    /// The referenced position.
    #[inline(never)]
    pub(crate) fn place(&self) -> Place {
        let Some(here) = self.here else { return Place::Unknown };
        let (from, at) = match *self.referencing {
            Referencing::None => return Place::Unreferenced,
            Referencing::Absolute { offset } => (here.at(0), offset),
            Referencing::Event { position, .. } => (self.declared, position),
        };
        let Some(counts) = from.counts_to(here) else { return Place::Unreferenced };
        let Some((lower, upper)) = self.scale.ends(counts) else { return Place::Unreferenced };
        // The range is the same to either side.
        let sum = |travel| {
            at.to_bits().checked_add(travel).filter(|&bits| bits > i64::MIN).map(Position::from_bits)
        };
        match (sum(upper), sum(lower)) {
            (Some(upper), Some(lower)) => Place::At { upper, lower, from },
            // What leaves the range has no place.
            _ => Place::Unreferenced,
        }
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

    /// Whether it asks for [`Motion::acceleration`]: the axis then keeps the readings of two windows instead of one, see the rules.
    fn needs_acceleration(&self) -> bool {
        false
    }

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
    /// Stay within a range of speeds (safe speed range).
    SpeedRange(SpeedRange),
    /// Move in one direction only (safe direction).
    Direction(Direction),
    /// Change the speed no faster than allowed (safely limited acceleration).
    AccelerationLimit(AccelerationLimit),
    /// Change the speed within a range (safe acceleration range).
    AccelerationRange(AccelerationRange),
    /// Move no further than an increment (safely limited increment).
    TravelLimit(TravelLimit),
    /// Stay within a range of positions (safely limited position).
    PositionRange(PositionRange),
    /// Press no harder than allowed (safely limited torque).
    TorqueLimit(TorqueLimit),
    /// Press within a range (safe torque range).
    TorqueRange(TorqueRange),
    /// Get no hotter than allowed (safe motor temperature).
    TemperatureLimit(TemperatureLimit),
    /// Tell where the axis is (safe cam).
    CamOutput(CamOutput),
    /// Tell that the axis is slow (safe speed monitor).
    SpeedOutput(SpeedOutput),
    /// Tell that the brake may be released (safe brake control).
    BrakeOutput(BrakeOutput),
    /// A monitor of your own.
    Own(Own),
}

/// How a monitor is calm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Lull<'a> {
    /// Its limits stay what they are.
    Constant,
    /// So do they, and up to this magnitude a speed is within each of them. Which of them the motion comes nearest to cannot be told from
    /// its magnitude: whoever wants to know has to be shown every check.
    Within(Speed),
    /// Its limit on the speed falls along a ramp to a target.
    Falling { ramp: &'a Ramp, target: Speed },
    /// It goes by how far the motion came back from the furthest point, which moves on with it.
    OneWay,
    /// It goes by how the speed changes.
    Bent,
    /// It goes by an analogue value.
    OnValue,
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
    /// Of a speed limit or a stop.
    Ramp(RampState),
    /// Of a direction.
    Direction(DirectionState),
    /// Of a travel limit.
    TravelLimit(StandstillState),
    /// Of an output.
    Output(OutputState),
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

impl<Own: Monitor> Rule<Own> {
    /// How far it lets the motion of a source go.
    pub(crate) fn reach(&self, scale: &Scale, referencing: &Referencing, window: Span) -> Reach {
        let of_axis =
            |down, up| if scale.is_reversed() { Reach { down: up, up: down } } else { Reach { down, up } };
        let bend = |limit| scale.bend_surely_within(limit, window);
        match self {
            Self::PositionRange(rule) => {
                let at = referencing.position().to_bits();
                let counts = |end: i64| scale.signed_reach(Position::from_bits(end));
                let up = counts(rule.high().to_bits().saturating_sub(at));
                return of_axis(counts(at.saturating_sub(rule.low().to_bits())), up);
            }
            Self::Direction(rule) => {
                let back = scale.reach(rule.tolerance());
                return match rule.allowed() {
                    Allowed::Positive => of_axis(back, Reach::FREE),
                    Allowed::Negative => of_axis(Reach::FREE, back),
                };
            }
            Self::AccelerationLimit(rule) => return of_axis(bend(rule.limit()), bend(rule.limit())),
            Self::AccelerationRange(rule) => {
                // Bounded because the smallest there is cannot be set.
                let down = Acceleration::from_bits(rule.low().to_bits().wrapping_neg());
                return of_axis(bend(down), bend(rule.high()));
            }
            _ => {}
        }
        let window = match self {
            Self::Standstill(rule) => Some(rule.position_window()),
            Self::Stop(rule) => rule.position_window(),
            Self::TravelLimit(rule) => Some(rule.increment()),
            _ => None,
        };
        let reach = window.map_or(0, |window| scale.reach(window));
        Reach { down: reach, up: reach }
    }

    /// Whether only the motion, and a limit that falls, can change what it finds from now on, while it stays active. `check` is what
    /// it found at this frame, without a violation and without anything unknown.
    pub(crate) fn calm(&self, state: &RuleState<Own::State>, check: &Check) -> Option<Lull<'_>> {
        let is_calm = match (self, state) {
            (Self::TorqueOff, _)
            | (Self::Standstill(_), RuleState::Standstill(_))
            | (Self::TravelLimit(_), RuleState::TravelLimit(_)) => true,
            (Self::Direction(_), RuleState::Direction(_)) => return Some(Lull::OneWay),
            (Self::AccelerationLimit(_) | Self::AccelerationRange(_), _) => return Some(Lull::Bent),
            (Self::SpeedLimit(rule), RuleState::Ramp(state)) => {
                return match (rule.falling(state), rule.is_symmetric()) {
                    (Some(ramp), true) => Some(Lull::Falling { ramp, target: rule.inner() }),
                    (Some(_), false) => None,
                    (None, true) => Some(Lull::Constant),
                    (None, false) => Some(Lull::Within(rule.inner())),
                };
            }
            (Self::SpeedRange(rule), _) => return rule.inner().map(Lull::Within),
            (Self::PositionRange(_), _) => return Some(Lull::Within(Speed::MAX)),
            (Self::Stop(rule), RuleState::Ramp(state)) => rule.is_calm(state, check),
            (Self::TorqueLimit(_) | Self::TorqueRange(_) | Self::TemperatureLimit(_), _) => {
                return check.value.map(|_| Lull::OnValue);
            }
            // What a monitor of your own goes by is not known.
            _ => false,
        };
        is_calm.then_some(Lull::Constant)
    }

    /// The limit that a calm monitor puts on the speed so long after its demand.
    pub(crate) fn limit_at(&self, state: &RuleState<Own::State>, since_demand: Span) -> Option<Speed> {
        match (self, state) {
            (Self::Standstill(rule), _) => Some(rule.speed_window()),
            (Self::SpeedLimit(rule), RuleState::Ramp(state)) => rule.limit_at(state, since_demand),
            (Self::Stop(rule), RuleState::Ramp(state)) => rule.speed_window(state),
            (Self::SpeedRange(rule), _) => Some(magnitude(rule.low()).max(magnitude(rule.high()))),
            _ => None,
        }
    }

    /// The state at activation, of the rule's own kind.
    pub(crate) fn fresh(&self) -> RuleState<Own::State> {
        match self {
            Self::TorqueOff => RuleState::None,
            Self::Standstill(_) => RuleState::Standstill(StandstillState::default()),
            Self::SpeedLimit(_) => RuleState::Ramp(RampState::default()),
            Self::Stop(_) => RuleState::Ramp(RampState::default()),
            Self::SpeedRange(_)
            | Self::AccelerationLimit(_)
            | Self::AccelerationRange(_)
            | Self::PositionRange(_)
            | Self::TorqueLimit(_)
            | Self::TorqueRange(_)
            | Self::TemperatureLimit(_)
            | Self::BrakeOutput(_) => RuleState::None,
            Self::CamOutput(_) | Self::SpeedOutput(_) => RuleState::Output(OutputState::default()),
            Self::Direction(_) => RuleState::Direction(DirectionState::default()),
            Self::TravelLimit(_) => RuleState::TravelLimit(StandstillState::default()),
            Self::Own(_) => RuleState::Own(Own::State::default()),
        }
    }

    /// Checks the motion of one channel.
    #[inline(always)]
    pub(crate) fn check(&self, state: &mut RuleState<Own::State>, motion: &Motion<'_>) -> Check {
        match (self, state) {
            (Self::SpeedLimit(rule), RuleState::Ramp(own)) => rule.check(own, motion),
            (Self::Standstill(rule), RuleState::Standstill(own)) => rule.check(own, motion),
            (Self::Stop(rule), RuleState::Ramp(own)) => rule.check(own, motion),
            (Self::SpeedRange(rule), _) => rule.check(&mut (), motion),
            (Self::Direction(rule), RuleState::Direction(own)) => rule.check(own, motion),
            (Self::AccelerationLimit(rule), _) => rule.check(&mut (), motion),
            (Self::AccelerationRange(rule), _) => rule.check(&mut (), motion),
            (Self::TravelLimit(rule), RuleState::TravelLimit(own)) => rule.check(own, motion),
            (Self::PositionRange(rule), _) => rule.check(&mut (), motion),
            (Self::TorqueLimit(rule), _) => OnAnalogue::TorqueLimit(rule).check(motion),
            (Self::TorqueRange(rule), _) => OnAnalogue::TorqueRange(rule).check(motion),
            (Self::TemperatureLimit(rule), _) => OnAnalogue::TemperatureLimit(rule).check(motion),
            (Self::Own(rule), RuleState::Own(own)) => rule.check(own, motion),
            // Torque off; a state of another kind than its rule's is not reached, and withdraws the permit too.
            _ => Check { withdraws: true, ..Check::default() },
        }
    }

    /// The output that it is, of the motion.
    pub(crate) fn output(&self) -> Option<Output<'_>> {
        match self {
            Self::CamOutput(rule) => Some(Output::Cam(rule)),
            Self::SpeedOutput(rule) => Some(Output::Speed(rule)),
            _ => None,
        }
    }

    pub(crate) fn on_analogue(&self) -> Option<OnAnalogue<'_>> {
        OnAnalogue::of_rule(self)
    }

    /// The analogue value that it watches.
    pub(crate) fn analogue(&self) -> Option<AnalogueId> {
        self.on_analogue().map(|on| on.of())
    }

    /// Whether it needs a referenced position.
    pub(crate) fn needs_reference(&self) -> bool {
        matches!(self, Self::PositionRange(_) | Self::CamOutput(_))
    }

    /// Whether it may be the reaction to a trip: a stop that ends without the permit.
    pub(crate) fn may_react(&self) -> bool {
        matches!(self, Self::Stop(rule) if matches!(rule.until(), Until::TorqueOff))
    }

    pub(crate) fn needs_acceleration(&self) -> bool {
        match self {
            Self::AccelerationLimit(_) | Self::AccelerationRange(_) => true,
            Self::Stop(rule) => rule.needs_acceleration(),
            Self::Own(rule) => rule.needs_acceleration(),
            _ => false,
        }
    }

    /// Whether it holds a speed against a limit alone, so that its excess may be summed up.
    pub(crate) fn has_overrun(&self) -> bool {
        match self {
            Self::SpeedLimit(_) | Self::SpeedRange(_) => true,
            Self::Stop(rule) => matches!(rule.supervision(), Supervision::Ramp { .. }),
            _ => false,
        }
    }

    pub(crate) fn carries_on(&self, state: &RuleState<Own::State>) -> bool {
        match (self, state) {
            (Self::Stop(rule), RuleState::Ramp(state)) => rule.carries_on(state),
            (Self::Own(rule), RuleState::Own(state)) => rule.carries_on(state),
            _ => false,
        }
    }
}
