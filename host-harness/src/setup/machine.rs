//! What the machine, its sensors and its contacts are like: what no monitor reads, and `cowitness margins` reckons with.
//!
//! None of it is evaluated by the safety part: it is neither in the [checksum](Setup::checksum) nor in a sealed image, and no
//! replay depends on it. Everything may be left out; what is then not known is named where it would have been needed.
//! Each value is rounded towards what is worse for the axis, so that no bound is better than what was written.

use monitor_core::{Acceleration, Channel, Position, Span, Speed};

use super::model::{Setting, Setup};

/// `[machine]`: what the drive, the brake and the axis do.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct MachineSetup {
    /// The longest time between two evaluations, rounded up, where the setup has no `cycle`.
    pub frame_period: Option<Setting<Span>>,
    /// From the permit that is gone to the torque that is gone, rounded up.
    pub output_delay: Option<Setting<Span>>,
    /// From the demand of a stop or of a lower limit to the drive that brakes, rounded up.
    pub drive_delay: Option<Setting<Span>>,
    /// The hardest that the drive can accelerate the axis when it runs away, rounded up.
    pub max_acceleration: Option<Setting<Acceleration>>,
    /// The hardest acceleration or deceleration of ordinary operation, rounded up.
    pub operating_acceleration: Option<Setting<Acceleration>>,
    /// The fastest of ordinary operation, rounded up.
    pub operating_speed: Option<Setting<Speed>>,
    /// The fastest of ordinary operation while a monitor is active, by its place in [`Setup::monitors`], rounded up.
    pub operating_speeds: Vec<(usize, Setting<Speed>)>,
    /// The furthest that the axis gets from where its two positions were last made to agree, rounded up.
    pub max_travel: Option<Setting<Position>>,
    /// From the torque that is gone to the brake that holds, rounded up.
    pub brake_delay: Option<Setting<Span>>,
    /// How hard the brake slows the axis down at the least, rounded down.
    pub brake_deceleration: Option<Setting<Acceleration>>,
    /// How hard the axis speeds up by itself without torque and without the brake, as a load that hangs does, rounded up.
    pub fall_acceleration: Option<Setting<Acceleration>>,
    /// How far the axis may get until it stands, from where a rule was truly broken, rounded down.
    pub overtravel: Option<Setting<Position>>,
}

impl MachineSetup {
    /// The fastest of ordinary operation while a monitor is active: that of `operating_speeds`, or for one that is always active that of
    /// all operation.
    #[must_use]
    pub fn operating_speed_of(&self, setup: &Setup, monitor: usize) -> Option<&Setting<Speed>> {
        let own = self.operating_speeds.iter().find(|(of, _)| *of == monitor).map(|(_, speed)| speed);
        let always = setup.monitors.get(monitor).is_some_and(super::MonitorSetup::is_always_active);
        own.or_else(|| self.operating_speed.as_ref().filter(|_| always))
    }
}

/// `[sensors]`: what the two position sources may be off.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SensorsSetup {
    /// The part of the time between their captures that no latency accounts for, rounded up.
    pub time_skew: Option<Setting<Span>>,
    /// How much longer one reads a travel than the other, in parts of 10⁻⁹ of it, rounded up.
    pub scale_error: Option<Setting<u64>>,
    /// How far one leads the other under acceleration.
    pub compliance: Option<ComplianceSetup>,
    /// The full play between them, rounded up.
    pub backlash: Option<Setting<Position>>,
    /// How far they come apart by warmth, load or creeping slip between two starts, rounded up.
    pub drift: Option<Setting<Position>>,
    /// Channel A alone.
    pub a: SensorSetup,
    /// Channel B alone.
    pub b: SensorSetup,
}

impl SensorsSetup {
    /// What is said of one source alone.
    #[must_use]
    pub const fn channel(&self, channel: Channel) -> &SensorSetup {
        match channel {
            Channel::A => &self.a,
            Channel::B => &self.b,
        }
    }
}

/// `[sensors.a]`, `[sensors.b]`: what one source may be off.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SensorSetup {
    /// The longest time between two readings that it takes, rounded up; zero when it takes one for every evaluation.
    pub period: Option<Setting<Span>>,
    /// How much longer than by the latency of its channel a reading is on its way, rounded up.
    pub delay: Option<Setting<Span>>,
    /// How far off, either way, a capture time is, rounded up.
    pub jitter: Option<Setting<Span>>,
    /// How far off, either way, noise makes a reading at the most (a peak, not an rms), rounded up.
    pub noise: Option<Setting<Position>>,
    /// An error that comes again with every turn.
    pub eccentricity: Option<EccentricitySetup>,
}

/// So much travel for so much acceleration.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ComplianceSetup {
    /// The travel, rounded up.
    pub by: Setting<Position>,
    /// The acceleration, rounded down, above zero.
    pub per: Setting<Acceleration>,
}

/// A sine of the position.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EccentricitySetup {
    /// How far off, either way, rounded up.
    pub amplitude: Setting<Position>,
    /// After which travel it comes again, rounded down, above zero.
    pub period: Setting<Position>,
}

/// `[contacts]`: what the lines of the inputs do.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ContactsSetup {
    /// The longest time from the first of two contacts to the second, chatter included, rounded up.
    pub spread: Option<Setting<Span>>,
    /// The longest test pulse of an output that checks itself, rounded up.
    pub test_pulse: Option<Setting<Span>>,
}

/// `[approach]`: how a person comes to the hazard, for ISO 13855.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ApproachSetup {
    /// The way there.
    pub way: WaySetup,
    /// The distance that there is, in mm, rounded down.
    pub distance: Option<Setting<Position>>,
    /// From the person that is detected to the change of the input's lines, rounded up.
    pub detection_time: Option<Setting<Span>>,
    /// The input by which the protective device comes, an index into [`Setup::inputs`].
    pub input: usize,
}

/// How a person comes to the hazard. Lengths are in mm, whatever the unit of the axis.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum WaySetup {
    /// At a right angle to a field that detects things as small as this (the resolution, at most 70 mm), rounded up.
    Normal {
        /// The resolution.
        resolution: Setting<Position>,
    },
    /// At a right angle to separate beams.
    Beams,
    /// Along a field.
    Parallel {
        /// How high it lies, rounded down, at most 1000 mm.
        height: Setting<Position>,
        /// The resolution, rounded up.
        resolution: Setting<Position>,
    },
    /// Over a mat on the floor.
    Mat,
    /// Through a guard whose opening stops the hazard, without a lock.
    Guard {
        /// How far one reaches through the gap before it does, rounded up; zero where nothing gets through.
        reach: Setting<Position>,
    },
    /// From a control for two hands.
    TwoHand {
        /// Whether a cover keeps the hands from reaching in while it is actuated.
        covered: bool,
    },
}
