//! What an axis is set up with, and what of it is refused.

use crate::analogue::{AnalogueConfig, AnalogueReading};
use crate::calm::{Last, Reach};
use crate::demand::{Demand, Demands, Referencing};
use crate::discrepancy::{Apart, Close, Glimpse, PositionDiscrepancy, SpeedDiscrepancy};
use crate::frame::Channel;
use crate::history::Spacing;
use crate::input::InputConfig;
use crate::monitor::{Bound, Monitor, NoOwn, Rule};
use crate::names::{ANALOGUES, AnalogueId, InputId, MonitorId};
use crate::outcome::{InputSet, MonitorSet, PerChannel};
use crate::scale::WindowSpeed;
use crate::source::SourceConfig;
use crate::state::AxisState;
use crate::trip::Tolerated;
use crate::units::{Instant, Position, Span, Speed};
use core::fmt;
use heapless::Vec;

/// Whether unknown speeds withhold the permit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum WarmUp {
    /// No permit before everything that is needed is known.
    #[default]
    Withhold,
    /// The permit is given meanwhile.
    Permit,
}

/// A setup that cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum AxisError {
    /// The window of the speed, and its range.
    Window(Span),
    /// Window, spacing of the history and the longest timeout together reach 2³² ns.
    WindowAndTimeout(Span),
    /// Not a number of stored readings: odd, 3 to this.
    Points(usize),
    /// More monitors than the axis has room for; this many fit.
    TooManyMonitors(usize),
    /// More inputs than the axis has room for; this many fit.
    TooManyInputs(usize),
    /// A monitor is demanded by nothing, or by an input or an output that the axis does not have, or not before it.
    UnknownDemand,
    /// More analogue values than the axis has room for; this many fit.
    TooManyAnalogues(usize),
    /// A rule on an analogue value that the axis does not have.
    UnknownAnalogue,
    /// A position is declared by an input that the axis does not have.
    UnknownReference,
    /// A rule needs a referenced position, and a channel can never have one.
    Unreferenced,
    /// An output of the axis itself has no demand: the brake goes by the permit alone.
    DemandOfBrake,
    /// An output does not trip: it has neither an on-delay nor a reaction.
    Output,
    /// A reaction that is no stop until torque-off without a reaction of its own.
    Reaction,
    /// A rule needs the acceleration, and there are fewer than 7 stored readings.
    PointsForAcceleration,
    /// An allowed overrun that is out of range, or of a monitor that cannot have one.
    Overrun,
}

impl fmt::Display for AxisError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Window(window) => write!(f, "a window of {} ns; 10 us to 2 s", window.as_nanos()),
            Self::WindowAndTimeout(sum) => {
                write!(f, "window, spacing and timeout make {} ns; below 4294967296", sum.as_nanos())
            }
            Self::Points(most) => write!(f, "not an odd number of stored readings from 3 to {most}"),
            Self::TooManyMonitors(room) => write!(f, "more than {room} monitors"),
            Self::TooManyInputs(room) => write!(f, "more than {room} inputs"),
            Self::UnknownDemand => f.write_str("a demand that no input and no output before it makes"),
            Self::TooManyAnalogues(room) => write!(f, "more than {room} analogue values"),
            Self::UnknownAnalogue => f.write_str("a rule on an analogue value that the axis does not have"),
            Self::UnknownReference => f.write_str("a position declared by no input of the axis"),
            Self::Unreferenced => f.write_str("a rule on a position that a channel never knows"),
            Self::DemandOfBrake => f.write_str("a demand of a brake: it goes by the permit"),
            Self::Output => f.write_str("an on-delay or a reaction of an output"),
            Self::Reaction => f.write_str("a reaction that is no stop until torque-off by itself"),
            Self::PointsForAcceleration => f.write_str("an acceleration needs 7 stored readings or more"),
            Self::Overrun => f.write_str("an allowed overrun out of range, or where no speed is limited"),
        }
    }
}

impl core::error::Error for AxisError {}

#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct MonitorConfig<Own> {
    pub(crate) rule: Rule<Own>,
    pub(crate) demand: Demand,
    pub(crate) tolerated: Tolerated,
    /// The stop that its trip demands; without one a trip withdraws the permit.
    pub(crate) reaction: Option<MonitorId>,
    /// How far its position window goes, in counts of each channel; 0 without one.
    pub(crate) reach: PerChannel<Reach>,
}

/// Everything about an axis that does not change while it runs.
///
/// `POINTS` is the number of stored readings per channel (odd; with M = (POINTS − 1)/2 the effective window exceeds the set one by
/// at most 1/M), `MONITORS` and `INPUTS` how many of each fit (at most 32).
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AxisConfig<
    const POINTS: usize = 33,
    const MONITORS: usize = 16,
    const INPUTS: usize = 16,
    Own: Monitor = NoOwn,
> {
    pub(crate) sources: PerChannel<SourceConfig>,
    pub(crate) spacing: Spacing,
    /// The number of stored readings that it is for.
    points: usize,
    /// A rule needs the acceleration: the spacing is for two windows.
    pub(crate) two_windows: bool,
    pub(crate) warm_up: WarmUp,
    pub(crate) referencing: PerChannel<Referencing>,
    /// Inputs that a demand names inverted.
    pub(crate) inverted: InputSet,
    /// Monitors that are outputs of the motion.
    pub(crate) outputs: MonitorSet,
    /// Monitors that are outputs by the permit.
    pub(crate) brakes: MonitorSet,
    /// Monitors whose trip demands a stop.
    pub(crate) reacting: MonitorSet,
    pub(crate) inputs: Vec<InputConfig, INPUTS>,
    pub(crate) reset: Option<InputConfig>,
    pub(crate) monitors: Vec<MonitorConfig<Own>, MONITORS>,
    pub(crate) position_discrepancy: Option<PositionDiscrepancy>,
    /// Its glance.
    pub(crate) close: Option<Close>,
    pub(crate) speed_discrepancy: Option<SpeedDiscrepancy>,
    pub(crate) analogues: Vec<AnalogueConfig, ANALOGUES>,
}

impl<const POINTS: usize, const MONITORS: usize, const INPUTS: usize, Own: Monitor>
    AxisConfig<POINTS, MONITORS, INPUTS, Own>
{
    /// The shortest window: 10 µs.
    pub const MIN_WINDOW: Span = Span::from_nanos(10_000);
    /// The longest window: 2 s.
    pub const MAX_WINDOW: Span = Span::from_nanos(2_000_000_000);

    /// An axis with two sources and no rules yet. `window` is what speeds are taken over.
    ///
    /// # Errors
    ///
    /// [`AxisError::Window`] outside 10 µs to 2 s, [`AxisError::WindowAndTimeout`] when windowed times would not fit in 32 bits.
    pub fn try_new(
        a: SourceConfig,
        b: SourceConfig,
        window: Span,
        warm_up: WarmUp,
    ) -> Result<Self, AxisError> {
        const { assert!(MONITORS <= 32 && INPUTS <= 32, "sets of monitors and of inputs have 32 bits") };
        if !(Self::MIN_WINDOW..=Self::MAX_WINDOW).contains(&window) {
            return Err(AxisError::Window(window));
        }
        let spacing = Spacing::new::<POINTS>(window);
        let sources = PerChannel { a, b };
        check_times(&sources, spacing)?;
        Ok(Self {
            sources,
            spacing,
            points: POINTS,
            two_windows: false,
            warm_up,
            referencing: PerChannel { a: Referencing::None, b: Referencing::None },
            inverted: InputSet::NONE,
            outputs: MonitorSet::NONE,
            brakes: MonitorSet::NONE,
            reacting: MonitorSet::NONE,
            inputs: Vec::new(),
            reset: None,
            monitors: Vec::new(),
            position_discrepancy: None,
            close: None,
            speed_discrepancy: None,
            analogues: Vec::new(),
        })
    }

    /// Takes speeds as an axis with only `points` stored readings per channel does (odd, 3 to `POINTS`): every outcome is then that of
    /// such an axis. To tell on a large machine what a small one comes to; what is sealed does not depend on it.
    ///
    /// # Errors
    ///
    /// [`AxisError::Points`] outside that range, [`AxisError::WindowAndTimeout`] when windowed times would not fit in 32 bits.
    pub fn act_as(&mut self, points: usize) -> Result<(), AxisError> {
        if !Spacing::has_points(points) || points > POINTS {
            return Err(AxisError::Points(POINTS));
        }
        self.space(points, self.two_windows)
    }

    /// Spaces the stored readings, for one window or for two.
    fn space(&mut self, points: usize, two_windows: bool) -> Result<(), AxisError> {
        self.spacing = self.spacing_for(points, two_windows)?;
        (self.points, self.two_windows) = (points, two_windows);
        Ok(())
    }

    /// The spacing with another number of stored readings, one that a history may have.
    pub(crate) fn spacing_of(&self, points: usize) -> Result<Spacing, AxisError> {
        self.spacing_for(points, self.two_windows)
    }

    fn spacing_for(&self, points: usize, two_windows: bool) -> Result<Spacing, AxisError> {
        let window = self.window();
        let spacing = if two_windows {
            if !Spacing::has_points_for_two_windows(points) {
                return Err(AxisError::PointsForAcceleration);
            }
            Spacing::for_two_windows(points, window)
        } else {
            Spacing::of_points(points, window)
        };
        check_times(&self.sources, spacing)?;
        Ok(spacing)
    }

    /// Adds an input.
    ///
    /// # Errors
    ///
    /// [`AxisError::TooManyInputs`] when there is no room.
    pub fn add_input(&mut self, input: InputConfig) -> Result<InputId, AxisError> {
        let id = u8::try_from(self.inputs.len()).map(InputId::at);
        match (id, self.inputs.push(input)) {
            (Ok(id), Ok(())) => Ok(id),
            _ => Err(AxisError::TooManyInputs(INPUTS)),
        }
    }

    /// Adds an analogue value.
    ///
    /// # Errors
    ///
    /// [`AxisError::TooManyAnalogues`] when there is no room.
    pub fn add_analogue(&mut self, analogue: AnalogueConfig) -> Result<AnalogueId, AxisError> {
        let id = u8::try_from(self.analogues.len()).map(AnalogueId::at);
        match (id, self.analogues.push(analogue)) {
            (Ok(id), Ok(())) => Ok(id),
            _ => Err(AxisError::TooManyAnalogues(ANALOGUES)),
        }
    }

    /// Hands in a reading of one line of an analogue value: it counts from the next frame on. One of a value that the axis does not have is
    /// passed over.
    pub fn offer(
        &self,
        state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>,
        of: AnalogueId,
        channel: Channel,
        reading: AnalogueReading,
    ) {
        if let Some(analogue) = state.analogues.get_mut(usize::from(of.index())) {
            analogue.offer(channel, reading);
        }
    }

    /// Adds a monitor that trips when its rule is violated for `on_delay` while demanded.
    ///
    /// # Errors
    ///
    /// [`AxisError::TooManyMonitors`] when there is no room, [`AxisError::UnknownDemand`] for an empty demand or one by
    /// an input or an output that was not added before; [`AxisError::Reaction`] for [`Demand::Reaction`] of anything but a stop until
    /// torque-off; [`AxisError::Unreferenced`] for a rule on the position while a channel has no
    /// [`Referencing`]; [`AxisError::UnknownAnalogue`]; [`AxisError::Output`] and [`AxisError::DemandOfBrake`] for what an output cannot
    /// have; with the first rule that needs the acceleration also [`AxisError::PointsForAcceleration`] and
    /// [`AxisError::WindowAndTimeout`], because the stored readings are then spaced wider.
    pub fn add_monitor(
        &mut self,
        rule: Rule<Own>,
        demand: Demand,
        on_delay: Span,
    ) -> Result<MonitorId, AxisError> {
        self.check_demand(&demand)?;
        if demand == Demand::Reaction && !rule.may_react() {
            return Err(AxisError::Reaction);
        }
        let is_output = rule.output().is_some();
        let is_brake = matches!(rule, Rule::BrakeOutput(_));
        if (is_output || is_brake) && on_delay > Span::ZERO {
            return Err(AxisError::Output);
        }
        if is_brake && demand != Demand::Always {
            return Err(AxisError::DemandOfBrake);
        }
        let PerChannel { a, b } = self.referencing;
        if rule.needs_reference() && (a == Referencing::None || b == Referencing::None) {
            return Err(AxisError::Unreferenced);
        }
        if rule.analogue().is_some_and(|of| usize::from(of.index()) >= self.analogues.len()) {
            return Err(AxisError::UnknownAnalogue);
        }
        if rule.needs_acceleration() && !self.two_windows {
            self.space(self.points, true)?;
        }
        let id = u8::try_from(self.monitors.len()).map(MonitorId::at);
        let window = Span::from_nanos(self.spacing.window());
        let reach = PerChannel {
            a: rule.reach(self.sources.a.scale(), &a, window),
            b: rule.reach(self.sources.b.scale(), &b, window),
        };
        let tolerated = Tolerated { on_delay, overrun: None };
        match (id, self.monitors.push(MonitorConfig { rule, demand, tolerated, reaction: None, reach })) {
            (Ok(id), Ok(())) => {
                if is_output {
                    self.outputs = self.outputs.with(id);
                }
                if let Demand::Any(demands) = demand {
                    self.inverted = self.inverted.union(demands.not_inputs);
                }
                if is_brake {
                    self.brakes = self.brakes.with(id);
                }
                Ok(id)
            }
            _ => Err(AxisError::TooManyMonitors(MONITORS)),
        }
    }

    /// Inputs that declare a position.
    pub(crate) fn declaring(&self) -> InputSet {
        let PerChannel { a, b } = self.referencing;
        let mut declaring = InputSet::NONE;
        for how in [a, b] {
            if let Referencing::Event { input, .. } = how {
                declaring = declaring.with(input);
            }
        }
        declaring
    }

    fn check_demand(&self, demand: &Demand) -> Result<(), AxisError> {
        let demands = match *demand {
            Demand::Always | Demand::Reaction => return Ok(()),
            Demand::AnyOf(inputs) => Demands { inputs, ..Demands::default() },
            Demand::Any(demands) => demands,
        };
        let is_input = |id: InputId| usize::from(id.index()) < self.inputs.len();
        let mut inputs = demands.inputs.iter().chain(demands.not_inputs.iter());
        let outputs = demands.outputs.union(demands.not_outputs);
        let is_known = inputs.all(is_input) && outputs.without(self.outputs).is_empty();
        if demands.is_empty() || !is_known { Err(AxisError::UnknownDemand) } else { Ok(()) }
    }

    /// Says how the position of a channel comes to mean a place of the machine. Before the rules that need it.
    ///
    /// # Errors
    ///
    /// [`AxisError::UnknownReference`] for an input that was not added; [`AxisError::Unreferenced`] when a rule that was added needs what
    /// this would take away or move.
    pub fn set_referencing(&mut self, channel: Channel, how: Referencing) -> Result<(), AxisError> {
        if let Referencing::Event { input, .. } = how
            && usize::from(input.index()) >= self.inputs.len()
        {
            return Err(AxisError::UnknownReference);
        }
        if self.monitors.iter().any(|monitor| monitor.rule.needs_reference()) {
            return Err(AxisError::Unreferenced);
        }
        match channel {
            Channel::A => self.referencing.a = how,
            Channel::B => self.referencing.b = how,
        }
        Ok(())
    }

    /// Lets the trip of a monitor demand a stop of the axis instead of withdrawing the permit at once.
    ///
    /// # Errors
    ///
    /// [`AxisError::Reaction`] when `stop` is not a stop until torque-off, is the monitor itself or has a reaction of its own, or either of
    /// them was not added; [`AxisError::Output`] when the monitor is an output.
    pub fn set_reaction(&mut self, of: MonitorId, stop: MonitorId) -> Result<(), AxisError> {
        let stop_config = self.monitors.get(usize::from(stop.index()));
        let ends = stop_config.is_some_and(|stop| stop.reaction.is_none() && stop.rule.may_react());
        let is_target = |monitor: &MonitorConfig<Own>| monitor.reaction == Some(of);
        if !ends || of == stop || self.monitors.iter().any(is_target) {
            return Err(AxisError::Reaction);
        }
        if self.outputs.union(self.brakes).contains(of) {
            return Err(AxisError::Output);
        }
        let monitor = self.monitors.get_mut(usize::from(of.index())).ok_or(AxisError::Reaction)?;
        monitor.reaction = Some(stop);
        self.reacting = self.reacting.with(of);
        Ok(())
    }

    /// Lets a monitor trip before its on-delay ends when its excess of speed has carried the axis further than `distance` (0 or more)
    /// beyond what the limit would have.
    ///
    /// # Errors
    ///
    /// [`AxisError::Overrun`] when the axis has no such monitor, it holds no speed against a limit, or the distance is negative or the
    /// largest there is.
    pub fn set_allowed_overrun(&mut self, of: MonitorId, distance: Position) -> Result<(), AxisError> {
        let monitor = self.monitors.get_mut(usize::from(of.index())).ok_or(AxisError::Overrun)?;
        if !monitor.rule.has_overrun() || !(Position::ZERO..Position::MAX).contains(&distance) {
            return Err(AxisError::Overrun);
        }
        monitor.tolerated.overrun = Some(distance);
        Ok(())
    }

    /// The source of a channel.
    #[inline]
    #[must_use]
    pub const fn source(&self, channel: Channel) -> &SourceConfig {
        self.sources.of(channel)
    }

    /// The windowed speed of a channel; `None` while unknown.
    ///
    /// Worked out when it is asked for: of some cost where the times between readings vary.
    #[must_use]
    pub fn speed(
        &self,
        state: &AxisState<POINTS, MONITORS, INPUTS, Own>,
        channel: Channel,
    ) -> Option<WindowSpeed> {
        state.sides.of(channel).source.speed(self.sources.of(channel).scale())
    }

    /// The position of a channel, rounded to the nearest ULP; `None` while unknown.
    #[must_use]
    pub fn position(
        &self,
        state: &AxisState<POINTS, MONITORS, INPUTS, Own>,
        channel: Channel,
    ) -> Option<Position> {
        state.sides.of(channel).source.position(self.sources.of(channel))
    }

    /// How far the channels were apart at the last frame; `None` when that was not held against the tolerance: without the
    /// rule, while either channel could not be seen, or with nothing to count from. Worked out when it is asked for.
    #[must_use]
    pub fn apart(&self, state: &AxisState<POINTS, MONITORS, INPUTS, Own>) -> Option<Apart> {
        let rule = self.position_discrepancy.as_ref().filter(|_| state.last != Last::Blind)?;
        self.apart_now(state, rule, state.last_now)
    }

    /// As [`apart`](Self::apart), for an earlier frame at `now`; `None` also when it was counted from another start then.
    #[must_use]
    pub fn apart_then(
        &self,
        state: &AxisState<POINTS, MONITORS, INPUTS, Own>,
        now: Instant,
        seen: &PerChannel<Glimpse>,
    ) -> Option<Apart> {
        let (a, b) = (seen.a.view(self.sources.a.scale()), seen.b.view(self.sources.b.scale()));
        self.position_discrepancy.as_ref()?.apart(&state.references, now, &a, &b)
    }

    /// `abs(d)` of [`apart`](Self::apart), without working out what is allowed.
    #[inline]
    #[must_use]
    pub fn distance(&self, state: &AxisState<POINTS, MONITORS, INPUTS, Own>) -> Option<Position> {
        match &self.position_discrepancy {
            Some(rule) if !rule.is_aligned() && state.was_quiet() => {
                let (a, b) = (&state.sides.a.source, &state.sides.b.source);
                let (a, b) = ((a.count(), self.sources.a.scale()), (b.count(), self.sources.b.scale()));
                Some(state.references.distance(a, b))
            }
            _ => self.apart(state).map(|apart| apart.bound.observed),
        }
    }

    /// How far the speeds of the channels were apart at the last frame; `None` when that was not held against the tolerance.
    #[must_use]
    pub fn speeds_apart(&self, state: &AxisState<POINTS, MONITORS, INPUTS, Own>) -> Option<Bound<Speed>> {
        let rule = self.speed_discrepancy.as_ref().filter(|_| state.last != Last::Blind)?;
        rule.compare(self.speed(state, Channel::A), self.speed(state, Channel::B))
    }

    /// Sets the input whose release resets the latches.
    pub fn set_reset(&mut self, input: InputConfig) {
        self.reset = Some(input);
    }

    /// Sets the rule on the positions of the two channels.
    pub fn set_position_discrepancy(&mut self, rule: PositionDiscrepancy) {
        self.close = Close::try_new(&rule, self.sources.a.scale(), self.sources.b.scale());
        self.position_discrepancy = Some(rule);
    }

    /// Sets the rule on the speeds of the two channels.
    pub fn set_speed_discrepancy(&mut self, rule: SpeedDiscrepancy) {
        self.speed_discrepancy = Some(rule);
    }
}

/// Windowed times fit in 32 bits.
fn check_times(sources: &PerChannel<SourceConfig>, spacing: Spacing) -> Result<(), AxisError> {
    // Bounded because each is at most 4·10⁹.
    let longest = sources.a.timeout().max(sources.b.timeout()).as_nanos();
    let sum = spacing.window().wrapping_add(spacing.step().as_nanos()).wrapping_add(longest);
    match u32::try_from(sum) {
        Ok(_) => Ok(()),
        Err(_) => Err(AxisError::WindowAndTimeout(Span::from_nanos(sum))),
    }
}
