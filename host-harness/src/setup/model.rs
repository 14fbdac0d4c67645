//! What a setup says, checked and converted.

use std::ops::Range;

use monitor_core::{Acceleration, Channel, Jerk, Position, Span, Speed, Value};

use super::machine::{ApproachSetup, ContactsSetup, MachineSetup, SensorsSetup};
use crate::decimal::{Dimension, Unit};

/// A setting: the value in force and how it was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Setting<T> {
    /// The value in force, after rounding.
    pub value: T,
    /// The text in the setup file, or the default's when the key was left out.
    pub text: String,
    /// Bytes of the value in the setup file; empty when the key was left out.
    pub span: Range<usize>,
}

/// The unit of the axis: positions in it, speeds per second, accelerations per second squared, jerks per second cubed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AxisUnit {
    /// A linear axis, in mm.
    Millimetre,
    /// A rotary axis, in deg.
    Degree,
}

impl AxisUnit {
    /// `mm` or `deg`.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Millimetre => "mm",
            Self::Degree => "deg",
        }
    }

    /// The dimension of a position on this axis.
    #[must_use]
    pub const fn position(self) -> Dimension {
        match self {
            Self::Millimetre => Dimension::Length,
            Self::Degree => Dimension::Angle,
        }
    }

    /// The dimension of a speed on this axis.
    #[must_use]
    pub const fn speed(self) -> Dimension {
        match self {
            Self::Millimetre => Dimension::Speed,
            Self::Degree => Dimension::AngularSpeed,
        }
    }

    /// The dimension of an acceleration on this axis.
    #[must_use]
    pub const fn acceleration(self) -> Dimension {
        match self {
            Self::Millimetre => Dimension::Acceleration,
            Self::Degree => Dimension::AngularAcceleration,
        }
    }

    /// The dimension of a jerk on this axis.
    #[must_use]
    pub const fn jerk(self) -> Dimension {
        match self {
            Self::Millimetre => Dimension::Jerk,
            Self::Degree => Dimension::AngularJerk,
        }
    }
}

/// A whole setup, ready to be evaluated.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Setup {
    /// The file, as it was named.
    pub path: String,
    /// What the axis is called in reports.
    pub title: String,
    /// The unit of the axis.
    pub unit: AxisUnit,
    /// The evaluation period, rounded up; `None`: one frame per row of the trace.
    pub cycle: Option<Setting<Span>>,
    /// The time of a row.
    pub time: TimeColumn,
    /// The first source.
    pub a: ChannelSetup,
    /// The second source.
    pub b: ChannelSetup,
    /// How speed is measured.
    pub speed: SpeedSetup,
    /// The watch over the difference of the two positions.
    pub discrepancy: Option<DiscrepancySetup>,
    /// The watch over the difference of the two speeds.
    pub speed_discrepancy: Option<SpeedDiscrepancySetup>,
    /// Inputs: those of the file in its order, then columns that are demands by themselves.
    /// At most [`super::MAX_INPUTS`].
    pub inputs: Vec<InputSetup>,
    /// What declares the position of the channels that are referenced by an event; there exactly when one is.
    pub reference: Option<EventSetup>,
    /// The reset input.
    pub reset: Option<ResetSetup>,
    /// Analogue values in the order of the file. At most [`super::MAX_ANALOGUES`].
    pub analogues: Vec<AnalogueSetup>,
    /// Monitors in the order of the file. At most [`super::MAX_MONITORS`].
    pub monitors: Vec<MonitorSetup>,
    /// Columns of the trace that are levels; the index is the line number. At most [`super::MAX_LEVELS`].
    pub levels: Vec<String>,
    /// What the machine is like. No monitor reads it, nor the three below.
    pub machine: MachineSetup,
    /// What the two position sources are like.
    pub sensors: SensorsSetup,
    /// What the contacts of the inputs are like.
    pub contacts: ContactsSetup,
    /// How a person comes to the hazard.
    pub approach: Option<ApproachSetup>,
}

impl Setup {
    /// The setup of one channel.
    #[must_use]
    pub const fn channel(&self, channel: Channel) -> &ChannelSetup {
        match channel {
            Channel::A => &self.a,
            Channel::B => &self.b,
        }
    }

    /// The unit of the analogue value that a monitor watches; `None` where it watches the motion.
    #[must_use]
    pub fn analogue_unit(&self, monitor: usize) -> Option<AnalogueUnit> {
        self.monitors[monitor].kind.analogue().map(|of| self.analogues[of].unit)
    }

    /// Whether a monitor compares an acceleration, so that the axis keeps readings for two windows.
    #[must_use]
    pub fn needs_acceleration(&self) -> bool {
        self.monitors.iter().any(|monitor| monitor.kind.needs_acceleration())
    }

    /// A demand as the file writes it.
    #[must_use]
    pub fn demand_text(&self, demand: &DemandSetup) -> String {
        let name = match demand.source {
            DemandSource::Input(input) => &self.inputs[input].name,
            DemandSource::Output(monitor) => &self.monitors[monitor].name,
        };
        if demand.inverted { format!("not {name}") } else { name.clone() }
    }

    /// The spacing of the speed history of an axis that stores `points` readings a channel; `None` when they are too few.
    #[must_use]
    pub fn spacing(&self, points: usize) -> Option<Span> {
        spacing(self.speed.window.value, points, self.needs_acceleration())
    }
}

/// The longest time between two stored readings, of which there are `points`: half of them span a window, or a quarter of
/// them where an acceleration looks back over two. `None` when they are too few for that.
pub(super) fn spacing(window: Span, points: usize, needs_acceleration: bool) -> Option<Span> {
    let in_a_window =
        if needs_acceleration { points.checked_sub(3)? / 4 } else { points.checked_sub(1)? / 2 };
    window.as_nanos().checked_div(u64::try_from(in_a_window).ok()?).map(Span::from_nanos)
}

/// A column of times, all on one clock.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TimeColumn {
    /// The column.
    pub column: String,
    /// Its unit: s, ms, us or ns; `in_base` is in ns and a power of ten.
    pub unit: Unit,
}

/// One source and the channel that follows from it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ChannelSetup {
    /// The column of the counter or of the position.
    pub column: String,
    /// What the column holds.
    pub source: Source,
    /// The source's own capture times; without them a reading belongs to the time of its row.
    pub capture: Option<TimeColumn>,
    /// How long before that time the motion had the position, rounded up.
    pub latency: Setting<Span>,
    /// A level column: the reading is valid while it is high.
    pub valid_column: Option<String>,
    /// An empty cell means that the row brings no new reading; otherwise it is an error.
    pub sparse: bool,
    /// The fastest the mechanics can move, rounded down, above zero.
    pub max_speed: Setting<Speed>,
    /// The age at which a reading is stale, rounded down; above the latency, at most 4 s.
    pub timeout: Setting<Span>,
    /// How its position comes to mean a place of the machine.
    pub reference: ReferenceSetup,
}

/// How the position of a channel comes to mean a place of the machine.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ReferenceSetup {
    /// Never: it counts from wherever it started.
    None,
    /// The counter knows.
    Absolute {
        /// The position of the count zero, to nearest.
        offset: Setting<Position>,
    },
    /// An input declares it: [`Setup::reference`].
    Event,
}

/// An input that declares a position when it begins to demand.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EventSetup {
    /// An index into [`Setup::inputs`].
    pub input: usize,
    /// Where the axis is then, to nearest.
    pub position: Setting<Position>,
}

impl ChannelSetup {
    /// How far one count of a counter is, without its sign, in steps of 10⁻⁹ ULP.
    #[must_use]
    pub fn count_nano_ulps(&self) -> Option<u64> {
        match &self.source {
            Source::Counter { unit_per_count, .. } => Some(unit_per_count.value.unsigned_abs()),
            Source::Position { .. } => None,
        }
    }

    /// One count over a window (above zero): the steps in which its speeds come, rounded up. `None` for a column of positions, whose
    /// resolution is not known.
    #[must_use]
    pub fn speed_resolution(&self, window: Span) -> Option<Speed> {
        // Steps of 10⁻⁹ ULP over nanoseconds are ULP over seconds.
        let ulps = self.count_nano_ulps()?.div_ceil(window.as_nanos());
        i64::try_from(ulps).ok().map(Speed::from_bits)
    }
}

/// What the column of a channel holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Source {
    /// Counts of a counter that wraps.
    Counter {
        /// Its width, 8 to 64.
        bits: u8,
        /// Travel of one count in steps of 10⁻⁹ ULP (6·10⁻¹⁷ of the axis unit), to nearest; negative when the counter
        /// runs the other way. Its size is at least 2⁻³⁴ and at most 549 of the axis unit.
        unit_per_count: Setting<i64>,
    },
    /// Positions in this unit, a length or an angle; `in_base` is in the axis unit.
    Position {
        /// The unit of the column.
        unit: Unit,
    },
}

/// How speed is measured.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SpeedSetup {
    /// The window, rounded down, 10 µs to 2 s.
    pub window: Setting<Span>,
    /// What an unknown speed means for the permit.
    pub warm_up: WarmUp,
}

/// What warming up means for the permit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WarmUp {
    /// No permit before everything is known.
    Withhold,
    /// The permit is given.
    Permit,
}

/// The watch over the difference of the two positions.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DiscrepancySetup {
    /// The tolerated difference, rounded down, at least one count of either source.
    pub tolerance: Setting<Position>,
    /// Additional tolerance per speed, as the time between the two captures, rounded down, at most 4 s.
    pub skew_allowance: Setting<Span>,
    /// How long the difference may last, rounded down.
    pub discrepancy_time: Setting<Span>,
    /// Whether both positions are moved to one instant first.
    pub align: bool,
}

/// The watch over the difference of the two speeds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SpeedDiscrepancySetup {
    /// The tolerated difference, rounded down, at least one count of either source over the window.
    pub tolerance: Setting<Speed>,
    /// How long the difference may last, rounded down.
    pub discrepancy_time: Setting<Span>,
}

/// One input.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InputSetup {
    /// Its name: that of its section, or the column of a demand without one.
    pub name: String,
    /// Its lines.
    pub lines: InputLines,
    /// The level of the (first) line that means demand.
    pub demand: DemandLevel,
    /// How long a level must have been read unchanged, rounded down.
    pub filter: Setting<Span>,
}

/// The lines of an input, as indices into [`Setup::levels`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum InputLines {
    /// One line.
    Single(u8),
    /// Two lines that are compared.
    Dual {
        /// The first line.
        first: u8,
        /// The second line.
        second: u8,
        /// How they are compared.
        dual: DualSetup,
    },
}

/// How two lines are compared.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DualSetup {
    /// What agreeing means.
    pub pairing: Pairing,
    /// How long they may disagree, rounded down.
    pub discrepancy_time: Setting<Span>,
    /// What a demand of one line alone means after it has ended.
    pub one_sided: OneSided,
}

/// When two lines agree.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pairing {
    /// When they have the same level.
    Equivalent,
    /// When they have opposite levels.
    Antivalent,
}

/// The level that means demand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DemandLevel {
    /// Low demands.
    Low,
    /// High demands.
    High,
}

/// What becomes of a demand that one line made alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OneSided {
    /// A fault at the end of the discrepancy time.
    Fault,
    /// Nothing.
    Ignore,
}

/// The reset input, high while pressed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ResetSetup {
    /// The line, an index into [`Setup::levels`].
    pub line: u8,
    /// How long a level must have been read unchanged, rounded down.
    pub filter: Setting<Span>,
}

/// The unit of an analogue value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AnalogueUnit {
    /// A torque, in Nm.
    NewtonMetre,
    /// A torque, in % of the rated one.
    Percent,
    /// A temperature, in degC.
    DegreeCelsius,
}

impl AnalogueUnit {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::NewtonMetre, Self::Percent, Self::DegreeCelsius];

    /// `Nm`, `%` or `degC`.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::NewtonMetre => "Nm",
            Self::Percent => "%",
            Self::DegreeCelsius => "degC",
        }
    }

    /// The dimension of a value in it.
    #[must_use]
    pub const fn dimension(self) -> Dimension {
        match self {
            Self::NewtonMetre => Dimension::Torque,
            Self::Percent => Dimension::Share,
            Self::DegreeCelsius => Dimension::Temperature,
        }
    }

    /// Whether it is one of a torque.
    #[must_use]
    pub const fn is_torque(self) -> bool {
        matches!(self, Self::NewtonMetre | Self::Percent)
    }
}

/// A torque or a temperature that comes on two lines, in a unit of its own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AnalogueSetup {
    /// Its name: that of its section.
    pub name: String,
    /// The columns of the first and of the second line.
    pub columns: [String; 2],
    /// The columns that say whether a reading of the first and of the second line is valid; the same one when it says so of both.
    pub valid_columns: Option<[String; 2]>,
    /// The unit of both columns and of all its values.
    pub unit: AnalogueUnit,
    /// What is plausible: a value outside is a fault of its line. `low` is below `high`.
    pub plausible: RangeSetup<Value>,
    /// The age at which a reading is stale, rounded down; above the latency.
    pub timeout: Setting<Span>,
    /// How far the lines may be apart, rounded down.
    pub tolerance: Setting<Value>,
    /// How long they may be further apart, rounded down.
    pub discrepancy_time: Setting<Span>,
    /// How long before the time of its row a value was captured, rounded up.
    pub latency: Setting<Span>,
    /// An empty cell means that the row brings no new reading of that line; otherwise it is an error.
    pub sparse: bool,
}

/// One monitor.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MonitorSetup {
    /// Its name, unique in the setup.
    pub name: String,
    /// The line of the setup file where it begins, from 1.
    pub line: usize,
    /// What it watches.
    pub kind: MonitorKind,
    /// What activates it, any of them. None: it is always active, unless it goes by reactions only.
    pub demand: Vec<DemandSetup>,
    /// Nothing demands it but trips that have it as their reaction: a stop without a demand of its own. Otherwise reactions come on
    /// top of its demand.
    pub by_reactions_only: bool,
    /// How long a violation must last, rounded down; zero for an output.
    pub on_delay: Setting<Span>,
    /// The distance within which a speed beyond its limit is tolerated, rounded down; only with an on-delay, and only where
    /// [`MonitorKind`] says so.
    pub allowed_overrun: Option<Setting<Position>>,
    /// The stop that its trip demands, an index into [`Setup::monitors`]: a stop until torque-off without a reaction of its own.
    /// Without one a trip withdraws the permit at once.
    pub reaction: Option<usize>,
}

impl MonitorSetup {
    /// Whether it is active at every frame.
    #[must_use]
    pub const fn is_always_active(&self) -> bool {
        self.demand.is_empty() && !self.by_reactions_only
    }

    /// The first input that demands it, and whether it is inverted.
    #[must_use]
    pub fn first_input(&self) -> Option<(usize, bool)> {
        self.demand.iter().find_map(|demand| match demand.source {
            DemandSource::Input(input) => Some((input, demand.inverted)),
            DemandSource::Output(_) => None,
        })
    }
}

/// One thing that may demand a monitor, always read as the one that protects.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DemandSetup {
    /// What it goes by.
    pub source: DemandSource,
    /// It demands unless that is so for certain: an input unless both of its channels demand, an output unless it is on.
    pub inverted: bool,
}

/// What a demand goes by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DemandSource {
    /// An input, an index into [`Setup::inputs`].
    Input(usize),
    /// An output that stands earlier, an index into [`Setup::monitors`].
    Output(usize),
}

/// What a monitor watches.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum MonitorKind {
    /// The permit is withdrawn while it is active.
    TorqueOff,
    /// The axis stands.
    Standstill(StandstillSetup),
    /// The axis is slow. It may have an allowed overrun.
    SpeedLimit {
        /// The limit.
        limit: LimitSetup,
        /// The way into it.
        ramp: Option<RampSetup>,
    },
    /// The speed stays between two, signs included. It may have an allowed overrun.
    SpeedRange(RangeSetup<Speed>),
    /// The axis moves in one direction only.
    Direction {
        /// The direction in which it may move.
        allowed: Allowed,
        /// How far it may move back, rounded down.
        tolerance: Setting<Position>,
    },
    /// The acceleration is small in either direction.
    AccelerationLimit {
        /// The largest magnitude, rounded down, below [`Acceleration::MAX`].
        limit: Setting<Acceleration>,
    },
    /// The acceleration stays between two, signs included. Both magnitudes are below [`Acceleration::MAX`].
    AccelerationRange(RangeSetup<Acceleration>),
    /// The axis stays near the place at which it was.
    TravelLimit {
        /// The largest distance from there, rounded down.
        increment: Setting<Position>,
    },
    /// The axis stays between two places; needs a reference.
    PositionRange(RangeSetup<Position>),
    /// The torque is small in either direction.
    TorqueLimit {
        /// What is watched, an index into [`Setup::analogues`].
        of: usize,
        /// The largest magnitude, rounded down, within the plausible range.
        limit: Setting<Value>,
    },
    /// The torque stays between two, signs included.
    TorqueRange {
        /// What is watched, an index into [`Setup::analogues`].
        of: usize,
        /// The two, within the plausible range.
        range: RangeSetup<Value>,
    },
    /// It is not hotter than this.
    TemperatureLimit {
        /// What is watched, an index into [`Setup::analogues`].
        of: usize,
        /// The highest temperature, rounded down, within the plausible range.
        limit: Setting<Value>,
    },
    /// An output that tells where the axis is; needs a reference.
    CamOutput {
        /// Where it tells that the axis is there.
        range: RangeSetup<Position>,
        /// How far inside it switches on, and outside it still is near; rounded up.
        hysteresis: Setting<Position>,
    },
    /// An output that tells that the axis is slow.
    SpeedOutput {
        /// From which speed on it is not, rounded down.
        threshold: Setting<Speed>,
        /// How far below it switches on, and above it still is near; rounded up, below the threshold.
        hysteresis: Setting<Speed>,
    },
    /// An output that releases the brake with the permit.
    BrakeOutput {
        /// How long it may stay released when the permit has gone, rounded down.
        delay: Setting<Span>,
    },
    /// The axis comes to a stop.
    Stop {
        /// What the stop ends in.
        until: Until,
        /// How the way there is supervised.
        by: By,
    },
}

impl MonitorKind {
    /// The name in the setup file.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match self {
            Self::TorqueOff => "torque-off",
            Self::Standstill(_) => "standstill",
            Self::SpeedLimit { .. } => "speed-limit",
            Self::SpeedRange(_) => "speed-range",
            Self::Direction { .. } => "direction",
            Self::AccelerationLimit { .. } => "acceleration-limit",
            Self::AccelerationRange(_) => "acceleration-range",
            Self::TravelLimit { .. } => "travel-limit",
            Self::PositionRange(_) => "position-range",
            Self::TorqueLimit { .. } => "torque-limit",
            Self::TorqueRange { .. } => "torque-range",
            Self::TemperatureLimit { .. } => "temperature-limit",
            Self::CamOutput { .. } => "cam-output",
            Self::SpeedOutput { .. } => "speed-output",
            Self::BrakeOutput { .. } => "brake-output",
            Self::Stop { .. } => "stop",
        }
    }

    /// Whether it is an output: it tells something and never trips.
    #[must_use]
    pub const fn is_output(&self) -> bool {
        matches!(self, Self::CamOutput { .. } | Self::SpeedOutput { .. } | Self::BrakeOutput { .. })
    }

    /// Whether it compares a position, which must be referenced then.
    #[must_use]
    pub const fn needs_reference(&self) -> bool {
        matches!(self, Self::PositionRange(_) | Self::CamOutput { .. })
    }

    /// The analogue value that it watches, an index into [`Setup::analogues`].
    #[must_use]
    pub const fn analogue(&self) -> Option<usize> {
        match self {
            Self::TorqueLimit { of, .. }
            | Self::TorqueRange { of, .. }
            | Self::TemperatureLimit { of, .. } => Some(*of),
            _ => None,
        }
    }

    /// Whether it compares an acceleration.
    #[must_use]
    pub const fn needs_acceleration(&self) -> bool {
        matches!(
            self,
            Self::AccelerationLimit { .. }
                | Self::AccelerationRange(_)
                | Self::Stop { by: By::Deceleration { .. }, .. }
        )
    }
}

/// How fast an axis may be: magnitudes, rounded down.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LimitSetup {
    /// The same in both directions, above zero.
    Both(Setting<Speed>),
    /// One for each direction; at most one of them is zero.
    Each {
        /// While the position grows.
        positive: Setting<Speed>,
        /// While it falls.
        negative: Setting<Speed>,
    },
}

impl LimitSetup {
    /// The smaller of the limits of the two directions.
    #[must_use]
    pub fn smaller(&self) -> Speed {
        match self {
            Self::Both(limit) => limit.value,
            Self::Each { positive, negative } => positive.value.min(negative.value),
        }
    }

    /// The larger of the limits of the two directions.
    #[must_use]
    pub fn larger(&self) -> Speed {
        match self {
            Self::Both(limit) => limit.value,
            Self::Each { positive, negative } => positive.value.max(negative.value),
        }
    }
}

/// What a value, with its sign, must stay between; `low` is at most `high`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RangeSetup<T> {
    /// The lower end, rounded up.
    pub low: Setting<T>,
    /// The upper end, rounded down.
    pub high: Setting<T>,
}

/// A direction of motion.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Allowed {
    /// The position grows.
    Positive,
    /// The position falls.
    Negative,
}

/// How much a standing axis may move.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StandstillSetup {
    /// The largest distance from where it stood, rounded down.
    pub position_window: Setting<Position>,
    /// The largest speed, rounded down.
    pub speed_window: Setting<Speed>,
}

/// A falling speed limit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RampSetup {
    /// Time from the demand to the beginning of the fall, rounded down.
    pub delay: Setting<Span>,
    /// How fast the limit falls, rounded up.
    pub deceleration: Setting<Acceleration>,
    /// How far it lies above the speed at the demand, rounded down, below 2³⁷ of the axis unit per second.
    pub margin: Setting<Speed>,
    /// How fast the fall sets in and ends, rounded up; `None`: at once.
    pub jerk: Option<Setting<Jerk>>,
}

/// A deceleration that must be reached.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BrakingSetup {
    /// Time from the demand to the first comparison, rounded down, at least two windows of the speed.
    pub delay: Setting<Span>,
    /// How fast the axis is to brake, rounded up.
    pub deceleration: Setting<Acceleration>,
    /// By how much it may brake less, rounded down, below the deceleration.
    pub margin: Setting<Acceleration>,
}

/// What a stop ends in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Until {
    /// The permit is withdrawn as planned.
    TorqueOff,
    /// The permit stays and a standstill is watched.
    Standstill(StandstillSetup),
}

/// How a stop is supervised.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum By {
    /// The speed stays below a falling limit. It may have an allowed overrun.
    Ramp {
        /// The limit.
        ramp: RampSetup,
        /// Where it ends, rounded down.
        standstill_speed: Setting<Speed>,
        /// The time after which the stop is complete in any case, rounded down.
        within: Option<Setting<Span>>,
    },
    /// The axis brakes as it should.
    Deceleration {
        /// The braking.
        braking: BrakingSetup,
        /// Where it ends, rounded down.
        standstill_speed: Setting<Speed>,
        /// The time after which the stop is complete in any case, rounded down, above the delay of the braking.
        within: Option<Setting<Span>>,
    },
    /// Only the time is watched.
    Time {
        /// The time after which the stop is complete, rounded down.
        within: Setting<Span>,
    },
}
