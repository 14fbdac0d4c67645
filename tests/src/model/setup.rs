//! What the model is set up with. Everything is an exact fraction or a whole number of nanoseconds.

use super::exact::{Q, largest, nearest_ulp, scale_nearest, seconds, ulp_down, ulp_up};
use num_traits::{Signed, Zero};

/// One position source.
#[derive(Clone, Debug, PartialEq)]
pub struct Source {
    /// Width of the counter, 8 to 64.
    pub counter_bits: u32,
    /// Axis units of one count, not zero; negative for a counter that runs the other way.
    pub unit_per_count: Q,
    /// The fastest the mechanics can move, units per second.
    pub max_speed: Q,
    /// How old the newest reading may be, and how far apart two readings, in nanoseconds.
    pub timeout_ns: u64,
}

/// How the position of a channel comes to be referenced.
#[derive(Clone, Debug, PartialEq)]
pub enum Referencing {
    /// It never is.
    None,
    /// The counter knows its position.
    Absolute {
        /// The position at a count of 0, units.
        offset: Q,
    },
    /// An input declares it.
    Event {
        /// Index of the input.
        input: usize,
        /// The position at which it comes to demand, units.
        position: Q,
    },
}

/// An analogue value of two lines, one for each channel.
#[derive(Clone, Debug, PartialEq)]
pub struct Analogue {
    /// The lowest plausible value.
    pub low: Q,
    /// The highest plausible value.
    pub high: Q,
    /// How old the newest reading of a line may be, in nanoseconds.
    pub timeout_ns: u64,
    /// Allowed difference of the two lines.
    pub tolerance: Q,
    /// How long a larger difference must last before it trips, in nanoseconds.
    pub discrepancy_time_ns: u64,
}

/// What state the second line of a dual-channel input has when it demands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pairing {
    /// The same level as the first.
    Equivalent,
    /// The other level.
    Antivalent,
}

/// What becomes of a cycle of one channel alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OneSided {
    /// It is an input fault at the end of the discrepancy time.
    Fault,
    /// It is ignored.
    Ignore,
}

/// The lines of an input, by their bit number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lines {
    /// A single-channel input.
    One(u8),
    /// A dual-channel input.
    Two {
        /// The line whose demanding level is the one of the input.
        first: u8,
        /// The other line.
        second: u8,
        /// What level the second line demands with.
        pairing: Pairing,
        /// How long the channels may disagree, in nanoseconds.
        discrepancy_time_ns: u64,
        /// What becomes of a cycle of one channel alone.
        one_sided: OneSided,
    },
}

/// One input.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Input {
    /// Its lines.
    pub lines: Lines,
    /// Whether the (first) line demands while high.
    pub demand_high: bool,
    /// How long a level must be read unchanged before it takes effect, in nanoseconds.
    pub filter_ns: u64,
}

/// A falling speed limit.
#[derive(Clone, Debug, PartialEq)]
pub struct Ramp {
    /// Time from the demand to the begin of the fall, in nanoseconds.
    pub delay_ns: u64,
    /// Steepness of the fall, units per second squared.
    pub deceleration: Q,
    /// How far the envelope lies above the speed at the demand, units per second.
    pub margin: Q,
    /// How fast the deceleration comes and goes, units per second cubed; `None`: at once.
    pub jerk: Option<Q>,
}

/// What follows a completed stop.
#[derive(Clone, Debug, PartialEq)]
pub enum Until {
    /// The permit is withdrawn as planned (SS1).
    TorqueOff,
    /// A standstill rule takes over (SS2).
    Standstill {
        /// Allowed travel from the place of completion, units.
        position_window: Q,
        /// Allowed speed, units per second.
        speed_window: Q,
    },
}

/// How a stop is supervised.
#[derive(Clone, Debug, PartialEq)]
pub enum By {
    /// The speed must stay below an envelope.
    Ramp {
        /// The envelope.
        ramp: Ramp,
        /// The speed the envelope falls to, units per second.
        standstill_speed: Q,
        /// The stop is complete after this time at the latest, in nanoseconds.
        within_ns: Option<u64>,
    },
    /// The axis must brake.
    Deceleration {
        /// Time from the demand to the first comparison, in nanoseconds.
        delay_ns: u64,
        /// How hard it must brake, units per second squared.
        deceleration: Q,
        /// By how much less it may, units per second squared.
        margin: Q,
        /// The stop is complete at this speed, units per second.
        standstill_speed: Q,
        /// The stop is complete after this time at the latest, in nanoseconds.
        within_ns: Option<u64>,
    },
    /// Nothing is watched until the time has passed.
    Time {
        /// That time, in nanoseconds.
        within_ns: u64,
    },
}

/// A direction of travel: that of growing positions or that of falling ones.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// Positions grow.
    Positive,
    /// Positions fall.
    Negative,
}

/// What a monitor watches.
#[derive(Clone, Debug, PartialEq)]
pub enum Kind {
    /// The permit is withdrawn while active (STO).
    TorqueOff,
    /// The axis stays where it is (SOS).
    Standstill {
        /// Allowed travel from the reference, units.
        position_window: Q,
        /// Allowed speed, units per second.
        speed_window: Q,
    },
    /// The speed stays at or below a limit (SLS).
    SpeedLimit {
        /// The limit, units per second.
        limit: Q,
        /// How the axis gets there.
        ramp: Option<Ramp>,
    },
    /// The speed stays at or below the limit of the direction it goes in (SLS).
    SpeedLimitEachWay {
        /// The limit of growing positions, units per second.
        positive: Q,
        /// The limit of falling positions, a magnitude, units per second.
        negative: Q,
        /// How the axis gets there.
        ramp: Option<Ramp>,
    },
    /// The signed speed stays in a range (SSR).
    SpeedRange {
        /// The lower end, units per second.
        low: Q,
        /// The upper end, units per second.
        high: Q,
    },
    /// The axis goes in one direction only (SDI).
    Direction {
        /// That direction.
        allowed: Way,
        /// Allowed travel the other way, units.
        tolerance: Q,
    },
    /// The magnitude of the acceleration stays at or below a limit (SLA).
    AccelerationLimit {
        /// The limit, units per second squared.
        limit: Q,
    },
    /// The signed acceleration stays in a range (SAR).
    AccelerationRange {
        /// The lower end, units per second squared.
        low: Q,
        /// The upper end, units per second squared.
        high: Q,
    },
    /// The axis goes no further than an increment (SLI).
    TravelLimit {
        /// Allowed travel from the reference, units.
        increment: Q,
    },
    /// The referenced position stays in a range (SLP).
    PositionRange {
        /// The lower end, units.
        low: Q,
        /// The upper end, units.
        high: Q,
    },
    /// The magnitude of a torque stays at or below a limit (SLT).
    TorqueLimit {
        /// Index of the analogue value.
        analogue: usize,
        /// The limit.
        limit: Q,
    },
    /// A torque stays in a range (STR).
    TorqueRange {
        /// Index of the analogue value.
        analogue: usize,
        /// The lower end.
        low: Q,
        /// The upper end.
        high: Q,
    },
    /// A temperature stays at or below a limit (SMT).
    TemperatureLimit {
        /// Index of the analogue value.
        analogue: usize,
        /// The limit, signed.
        limit: Q,
    },
    /// An output that tells that the referenced position is in a range (SCA).
    CamOutput {
        /// The lower end, units.
        low: Q,
        /// The upper end, units.
        high: Q,
        /// How far inside the output comes on, and how far outside it stays near, units.
        hysteresis: Q,
    },
    /// An output that tells that the speed is below a threshold (SSM).
    SpeedOutput {
        /// The threshold, units per second.
        threshold: Q,
        /// How far below the output comes on, and how far above it stays near, units per second.
        hysteresis: Q,
    },
    /// An output that releases the brake (SBC).
    BrakeOutput {
        /// How long after the permit is gone it is closed at the latest, in nanoseconds.
        delay_ns: u64,
    },
    /// The axis comes to a stop (SS1, SS2).
    Stop {
        /// What follows.
        until: Until,
        /// How it is supervised.
        by: By,
    },
}

impl Kind {
    /// Whether it compares an acceleration.
    #[must_use]
    pub fn needs_acceleration(&self) -> bool {
        matches!(
            self,
            Self::AccelerationLimit { .. }
                | Self::AccelerationRange { .. }
                | Self::Stop { by: By::Deceleration { .. }, .. }
        )
    }

    /// Whether others can be demanded by it: an output with states of its own.
    #[must_use]
    pub fn demands(&self) -> bool {
        matches!(self, Self::CamOutput { .. } | Self::SpeedOutput { .. })
    }

    /// Index of the analogue value it watches.
    #[must_use]
    pub fn analogue(&self) -> Option<usize> {
        match self {
            Self::TorqueLimit { analogue, .. }
            | Self::TorqueRange { analogue, .. }
            | Self::TemperatureLimit { analogue, .. } => Some(*analogue),
            _ => None,
        }
    }

    /// Whether the distance that is travelled beyond its limit can be allowed for.
    #[must_use]
    pub fn can_overrun(&self) -> bool {
        matches!(
            self,
            Self::SpeedLimit { .. }
                | Self::SpeedLimitEachWay { .. }
                | Self::SpeedRange { .. }
                | Self::Stop { by: By::Ramp { .. }, .. }
        )
    }

    /// The rounding of decimal settings towards the stricter side.
    fn hold(&mut self) {
        match self {
            Self::TorqueOff | Self::BrakeOutput { .. } => {}
            Self::Standstill { position_window, speed_window } => {
                down(position_window);
                down(speed_window);
            }
            Self::SpeedLimit { limit, ramp } => {
                down(limit);
                ramp.iter_mut().for_each(Ramp::hold);
            }
            Self::SpeedLimitEachWay { positive, negative, ramp } => {
                down(positive);
                down(negative);
                ramp.iter_mut().for_each(Ramp::hold);
            }
            Self::SpeedRange { low, high }
            | Self::AccelerationRange { low, high }
            | Self::PositionRange { low, high }
            | Self::TorqueRange { low, high, .. } => {
                up(low);
                down(high);
            }
            Self::Direction { tolerance, .. } => down(tolerance),
            Self::AccelerationLimit { limit }
            | Self::TorqueLimit { limit, .. }
            | Self::TemperatureLimit { limit, .. } => down(limit),
            Self::TravelLimit { increment } => down(increment),
            // With more hysteresis an output is on more seldom and near more often.
            Self::CamOutput { low, high, hysteresis } => {
                up(low);
                down(high);
                up(hysteresis);
            }
            Self::SpeedOutput { threshold, hysteresis } => {
                down(threshold);
                up(hysteresis);
            }
            Self::Stop { until, by } => {
                if let Until::Standstill { position_window, speed_window } = until {
                    down(position_window);
                    down(speed_window);
                }
                by.hold();
            }
        }
    }

    fn check(&self) -> Result<(), String> {
        match self {
            Self::TorqueOff
            | Self::Standstill { .. }
            | Self::TemperatureLimit { .. }
            | Self::BrakeOutput { .. } => Ok(()),
            Self::SpeedLimit { ramp, .. } => ramp.as_ref().map_or(Ok(()), Ramp::check),
            Self::SpeedLimitEachWay { positive, negative, ramp } => {
                magnitude("positive", positive)?;
                magnitude("negative", negative)?;
                ramp.as_ref().map_or(Ok(()), Ramp::check)
            }
            Self::SpeedRange { low, high }
            | Self::PositionRange { low, high }
            | Self::TorqueRange { low, high, .. } => range(low, high),
            Self::TorqueLimit { limit, .. } => magnitude("limit", limit),
            Self::CamOutput { low, high, hysteresis } => {
                range(low, high)?;
                magnitude("hysteresis", hysteresis)
            }
            Self::SpeedOutput { threshold, hysteresis } => {
                magnitude("threshold", threshold)?;
                magnitude("hysteresis", hysteresis)
            }
            Self::Direction { tolerance, .. } => magnitude("tolerance", tolerance),
            Self::AccelerationLimit { limit } => {
                magnitude("limit", limit)?;
                acceleration("limit", limit)
            }
            Self::AccelerationRange { low, high } => {
                range(low, high)?;
                acceleration("low", low)?;
                acceleration("high", high)
            }
            Self::TravelLimit { increment } => magnitude("increment", increment),
            Self::Stop { by, .. } => by.check(),
        }
    }
}

impl By {
    fn hold(&mut self) {
        match self {
            Self::Ramp { ramp, standstill_speed, .. } => {
                ramp.hold();
                down(standstill_speed);
            }
            Self::Deceleration { deceleration, margin, standstill_speed, .. } => {
                up(deceleration);
                down(margin);
                down(standstill_speed);
            }
            Self::Time { .. } => {}
        }
    }

    fn check(&self) -> Result<(), String> {
        match self {
            Self::Ramp { ramp, .. } => ramp.check(),
            Self::Deceleration { deceleration, margin, standstill_speed, .. } => {
                positive("deceleration", deceleration)?;
                acceleration("deceleration", deceleration)?;
                magnitude("margin", margin)?;
                magnitude("standstill_speed", standstill_speed)?;
                if margin > deceleration {
                    return Err("the margin is above the deceleration: it might speed up".into());
                }
                Ok(())
            }
            Self::Time { .. } => Ok(()),
        }
    }
}

impl Ramp {
    fn hold(&mut self) {
        up(&mut self.deceleration);
        down(&mut self.margin);
        self.jerk.iter_mut().for_each(up);
    }

    fn check(&self) -> Result<(), String> {
        positive("deceleration", &self.deceleration)?;
        magnitude("margin", &self.margin)?;
        let Some(jerk) = &self.jerk else { return Ok(()) };
        positive("jerk", jerk)?;
        if &self.deceleration / jerk >= seconds(1 << 32) {
            return Err("the deceleration is only reached after 2^32 ns or more".into());
        }
        Ok(())
    }
}

/// One of the things that demand a monitor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Term {
    /// An input, by its index, while it demands.
    Input(usize),
    /// An input, by its index, unless it surely demands.
    NotInput(usize),
    /// An output, by the index of its monitor, while it is near.
    Output(usize),
    /// An output, by the index of its monitor, unless it is on.
    NotOutput(usize),
}

/// What a monitor is demanded by.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Demand {
    /// Nothing: it is always active.
    Always,
    /// Any of these; a stop by the trips whose reaction it is, too.
    Any(Vec<Term>),
    /// A stop that is demanded by the trips alone whose reaction it is.
    Reactions,
}

impl Demand {
    /// Any of these inputs, by their indices; none: always active.
    #[must_use]
    pub fn inputs(indices: &[usize]) -> Self {
        if indices.is_empty() {
            return Self::Always;
        }
        Self::Any(indices.iter().copied().map(Term::Input).collect())
    }

    /// What it consists of.
    #[must_use]
    pub fn terms(&self) -> &[Term] {
        match self {
            Self::Always | Self::Reactions => &[],
            Self::Any(terms) => terms,
        }
    }
}

/// One monitor.
#[derive(Clone, Debug, PartialEq)]
pub struct Monitor {
    /// What demands it.
    pub demand: Demand,
    /// Index of the stop that its trip demands; `None`: its trip withdraws the permit.
    pub reaction: Option<usize>,
    /// How long a violation must last before it trips, in nanoseconds.
    pub on_delay_ns: u64,
    /// How far the axis may travel beyond the limit of its speed before it trips all the same, units.
    pub allowed_overrun: Option<Q>,
    /// What it watches.
    pub kind: Kind,
}

/// Comparison of the two positions.
#[derive(Clone, Debug, PartialEq)]
pub struct Discrepancy {
    /// Allowed difference at standstill, units.
    pub tolerance: Q,
    /// Time by which the readings may be apart, in nanoseconds.
    pub skew_allowance_ns: u64,
    /// Whether each position is moved to the instant of the frame by its own speed.
    pub align: bool,
    /// How long a violation must last before it trips, in nanoseconds.
    pub discrepancy_time_ns: u64,
}

/// Comparison of the two speeds.
#[derive(Clone, Debug, PartialEq)]
pub struct SpeedDiscrepancy {
    /// Allowed difference, units per second.
    pub tolerance: Q,
    /// How long a violation must last before it trips, in nanoseconds.
    pub discrepancy_time_ns: u64,
}

/// Everything an axis is set up with.
#[derive(Clone, Debug, PartialEq)]
pub struct Setup {
    /// Source of channel A.
    pub a: Source,
    /// Source of channel B.
    pub b: Source,
    /// How the positions of channel A and channel B come to be referenced.
    pub referencing: [Referencing; 2],
    /// The window of the speed, in nanoseconds: 10 µs to 2 s.
    pub window_ns: u64,
    /// How many points of the past a channel can store; odd, at least 3, or 7 with an acceleration.
    pub points: usize,
    /// Whether warming up withholds the permit.
    pub warm_up_withholds: bool,
    /// Comparison of the positions.
    pub discrepancy: Option<Discrepancy>,
    /// Comparison of the speeds.
    pub speed_discrepancy: Option<SpeedDiscrepancy>,
    /// The analogue values.
    pub analogues: Vec<Analogue>,
    /// The inputs.
    pub inputs: Vec<Input>,
    /// The line of the reset, high while pressed.
    pub reset_line: Option<u8>,
    /// How long a level of that line must be read unchanged before it takes effect, in nanoseconds.
    pub reset_filter_ns: u64,
    /// The monitors, in their order.
    pub monitors: Vec<Monitor>,
}

impl Setup {
    /// Whether a rule compares an acceleration.
    #[must_use]
    pub fn needs_acceleration(&self) -> bool {
        self.monitors.iter().any(|monitor| monitor.kind.needs_acceleration())
    }

    /// Spacing of the stored points in nanoseconds, `floor(window / M)`: `M` is half the points less one, or, with an
    /// acceleration, a quarter of the points less three.
    #[must_use]
    pub fn spacing_ns(&self) -> u64 {
        let pairs = if self.needs_acceleration() { (self.points - 3) / 4 } else { (self.points - 1) / 2 };
        self.window_ns / u64::try_from(pairs).expect("a number of points fits 64 bits")
    }

    /// The setup as it is held after the rounding of decimal settings towards the stricter side. Applied
    /// twice it changes nothing more.
    #[must_use]
    pub fn as_held(&self) -> Self {
        let mut held = self.clone();
        for source in [&mut held.a, &mut held.b] {
            source.unit_per_count = scale_nearest(&source.unit_per_count);
            down(&mut source.max_speed);
        }
        if let Some(rule) = &mut held.discrepancy {
            down(&mut rule.tolerance);
        }
        if let Some(rule) = &mut held.speed_discrepancy {
            down(&mut rule.tolerance);
        }
        for referencing in &mut held.referencing {
            // A place has no stricter side.
            if let Referencing::Absolute { offset: place } | Referencing::Event { position: place, .. } =
                referencing
            {
                *place = nearest_ulp(place);
            }
        }
        for analogue in &mut held.analogues {
            up(&mut analogue.low);
            down(&mut analogue.high);
            down(&mut analogue.tolerance);
        }
        for monitor in &mut held.monitors {
            monitor.kind.hold();
            monitor.allowed_overrun.iter_mut().for_each(down);
        }
        held
    }

    /// Whether the setup can be run at all.
    ///
    /// # Errors
    /// The first thing that is out of range, in words.
    pub fn check(&self) -> Result<(), String> {
        let least = if self.needs_acceleration() { 7 } else { 3 };
        if self.points < least || self.points.is_multiple_of(2) {
            return Err(format!("{} points: not an odd number from {least}", self.points));
        }
        for source in [&self.a, &self.b] {
            if !(8..=64).contains(&source.counter_bits) {
                return Err(format!("counter_bits {} is not 8 to 64", source.counter_bits));
            }
            if source.unit_per_count.is_zero() {
                return Err("unit_per_count is zero".into());
            }
            if !source.max_speed.is_positive() {
                return Err("max_speed is not positive".into());
            }
            let reach = self.window_ns.saturating_add(source.timeout_ns).saturating_add(self.spacing_ns());
            if reach >= 1 << 32 {
                return Err(format!("window + spacing + timeout is {reach} ns, not below 2^32 ns"));
            }
        }
        if !(10_000..=2_000_000_000).contains(&self.window_ns) {
            return Err(format!("window {} ns is not 10 us to 2 s", self.window_ns));
        }
        let lines = self.inputs.iter().flat_map(|input| match input.lines {
            Lines::One(line) => vec![line],
            Lines::Two { first, second, .. } => vec![first, second],
        });
        if let Some(line) = lines.chain(self.reset_line).find(|&line| line >= 32) {
            return Err(format!("line {line} is not below 32"));
        }
        for monitor in &self.monitors {
            monitor.kind.check()?;
            if let Some(distance) = &monitor.allowed_overrun {
                magnitude("allowed_overrun", distance)?;
                if !monitor.kind.can_overrun() {
                    return Err("allowed_overrun on a rule that limits no speed".into());
                }
            }
        }
        for referencing in &self.referencing {
            if let Referencing::Event { input, .. } = referencing {
                self.check_input(*input)?;
            }
        }
        for analogue in &self.analogues {
            range(&analogue.low, &analogue.high)?;
            magnitude("tolerance", &analogue.tolerance)?;
        }
        self.monitors.iter().enumerate().try_for_each(|(index, monitor)| self.check_links(index, monitor))
    }

    fn check_input(&self, input: usize) -> Result<(), String> {
        if input < self.inputs.len() { Ok(()) } else { Err(format!("there is no input {input}")) }
    }

    /// What a monitor refers to.
    fn check_links(&self, index: usize, monitor: &Monitor) -> Result<(), String> {
        for term in monitor.demand.terms() {
            match *term {
                Term::Input(input) | Term::NotInput(input) => self.check_input(input)?,
                Term::Output(output) | Term::NotOutput(output) => {
                    if output >= index || !self.monitors[output].kind.demands() {
                        return Err(format!("{output} is no output that stands before monitor {index}"));
                    }
                }
            }
        }
        let is_stop = matches!(monitor.kind, Kind::Stop { .. });
        match monitor.demand {
            Demand::Reactions if !is_stop => return Err("only a stop is a reaction".into()),
            Demand::Any(_) if matches!(monitor.kind, Kind::BrakeOutput { .. }) => {
                return Err("a brake has no demand".into());
            }
            _ => {}
        }
        if let Some(stop) = monitor.reaction {
            let found = self.monitors.get(stop).map(|stop| &stop.kind);
            if is_stop || !matches!(found, Some(Kind::Stop { until: Until::TorqueOff, .. })) {
                return Err("a reaction is a stop that ends in torque-off, and a stop has none".into());
            }
        }
        match monitor.kind.analogue() {
            Some(analogue) if analogue >= self.analogues.len() => {
                Err(format!("there is no analogue value {analogue}"))
            }
            _ => Ok(()),
        }
    }
}

fn down(setting: &mut Q) {
    *setting = ulp_down(setting);
}

fn up(setting: &mut Q) {
    *setting = ulp_up(setting);
}

fn magnitude(name: &str, setting: &Q) -> Result<(), String> {
    if setting.is_negative() { Err(format!("{name} is negative")) } else { Ok(()) }
}

fn positive(name: &str, setting: &Q) -> Result<(), String> {
    if setting.is_positive() { Ok(()) } else { Err(format!("{name} is not positive")) }
}

/// A limit of an acceleration is smaller than the largest one, which stands for everything beyond it too.
fn acceleration(name: &str, setting: &Q) -> Result<(), String> {
    if setting.abs() < largest() { Ok(()) } else { Err(format!("{name} is beyond what can be told")) }
}

fn range(low: &Q, high: &Q) -> Result<(), String> {
    if low <= high { Ok(()) } else { Err("the lower end of a range is above its upper end".into()) }
}
