//! What the model is set up with. Everything is an exact fraction or a whole number of nanoseconds.

use super::exact::{Q, scale_nearest, ulp_down, ulp_up};
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
#[expect(clippy::large_enum_variant, reason = "a setup has a handful of them, and plain beats small here")]
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
    /// Nothing is watched until the time has passed.
    Time {
        /// That time, in nanoseconds.
        within_ns: u64,
    },
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
    /// The axis comes to a stop (SS1, SS2).
    Stop {
        /// What follows.
        until: Until,
        /// How it is supervised.
        by: By,
    },
}

/// One monitor.
#[derive(Clone, Debug, PartialEq)]
pub struct Monitor {
    /// Indices of the inputs that demand it; none: always active.
    pub demand: Vec<usize>,
    /// How long a violation must last before it trips, in nanoseconds.
    pub on_delay_ns: u64,
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
    /// The window of the speed, in nanoseconds: 10 µs to 2 s.
    pub window_ns: u64,
    /// How many points of the past a channel can store; odd, at least 3.
    pub points: usize,
    /// Whether warming up withholds the permit.
    pub warm_up_withholds: bool,
    /// Comparison of the positions.
    pub discrepancy: Option<Discrepancy>,
    /// Comparison of the speeds.
    pub speed_discrepancy: Option<SpeedDiscrepancy>,
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
    /// Spacing of the stored points in nanoseconds: `floor(window / ((points − 1) / 2))`.
    #[must_use]
    pub fn spacing_ns(&self) -> u64 {
        let pairs = (self.points - 1) / 2;
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
        for monitor in &mut held.monitors {
            match &mut monitor.kind {
                Kind::TorqueOff => {}
                Kind::Standstill { position_window, speed_window } => {
                    down(position_window);
                    down(speed_window);
                }
                Kind::SpeedLimit { limit, ramp } => {
                    down(limit);
                    ramp.iter_mut().for_each(hold_ramp);
                }
                Kind::Stop { until, by } => {
                    if let Until::Standstill { position_window, speed_window } = until {
                        down(position_window);
                        down(speed_window);
                    }
                    if let By::Ramp { ramp, standstill_speed, .. } = by {
                        hold_ramp(ramp);
                        down(standstill_speed);
                    }
                }
            }
        }
        held
    }

    /// Whether the setup can be run at all.
    ///
    /// # Errors
    /// The first thing that is out of range, in words.
    pub fn check(&self) -> Result<(), String> {
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
        if self.points < 3 || self.points.is_multiple_of(2) {
            return Err(format!("{} points: not an odd number from 3", self.points));
        }
        let lines = self.inputs.iter().flat_map(|input| match input.lines {
            Lines::One(line) => vec![line],
            Lines::Two { first, second, .. } => vec![first, second],
        });
        if let Some(line) = lines.chain(self.reset_line).find(|&line| line >= 32) {
            return Err(format!("line {line} is not below 32"));
        }
        let demands = self.monitors.iter().flat_map(|monitor| &monitor.demand);
        match demands.max() {
            Some(&input) if input >= self.inputs.len() => Err(format!("there is no input {input}")),
            _ => Ok(()),
        }
    }
}

fn down(setting: &mut Q) {
    *setting = ulp_down(setting);
}

fn hold_ramp(ramp: &mut Ramp) {
    ramp.deceleration = ulp_up(&ramp.deceleration);
    down(&mut ramp.margin);
}
