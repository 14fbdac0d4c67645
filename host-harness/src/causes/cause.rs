//! The causes by name, what was estimated of each, and what usually cures it.

use monitor_core::Channel;
use schemars::JsonSchema;
use serde::Serialize;

use super::kind::CauseKind;
use super::words::{Words, length, plain, rate, seconds, with_margin};

/// One of the two channels.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// The first.
    A,
    /// The second.
    B,
}

impl Side {
    /// Both, A first.
    pub const BOTH: [Self; 2] = [Self::A, Self::B];

    /// 0 for A, 1 for B.
    #[must_use]
    pub const fn index(self) -> usize {
        match self {
            Self::A => 0,
            Self::B => 1,
        }
    }

    /// `a` or `b`.
    #[must_use]
    pub const fn letter(self) -> &'static str {
        match self {
            Self::A => "a",
            Self::B => "b",
        }
    }

    /// The other one.
    #[must_use]
    pub const fn other(self) -> Self {
        match self {
            Self::A => Self::B,
            Self::B => Self::A,
        }
    }

    /// Its sign in `d = x_A − x_B`.
    #[must_use]
    pub const fn sign(self) -> f64 {
        match self {
            Self::A => 1.0,
            Self::B => -1.0,
        }
    }
}

impl From<Channel> for Side {
    fn from(channel: Channel) -> Self {
        match channel {
            Channel::A => Self::A,
            Channel::B => Self::B,
        }
    }
}

/// An estimated value with its standard error.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Estimate {
    /// The estimate.
    pub value: f64,
    /// Its standard error, in the same unit: see [the module](super) for what it allows for. Zero where the value is known.
    pub standard_error: f64,
}

/// Two-sided 95 % point of the standard normal distribution (any table of it).
const NORMAL_95: f64 = 1.959_964;

impl Estimate {
    /// A value that is known.
    #[must_use]
    pub const fn known(value: f64) -> Self {
        Self { value, standard_error: 0.0 }
    }

    /// Half the width of the 95 % interval.
    #[must_use]
    pub fn margin(self) -> f64 {
        NORMAL_95 * self.standard_error
    }

    /// The ends of the 95 % interval.
    #[must_use]
    pub fn interval(self) -> [f64; 2] {
        [self.value - self.margin(), self.value + self.margin()]
    }

    /// Whether the 95 % interval holds a value.
    #[must_use]
    pub fn holds(self, value: f64) -> bool {
        (self.value - value).abs() <= self.margin()
    }

    /// The same in another unit.
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        Self { value: self.value * factor, standard_error: self.standard_error * factor.abs() }
    }
}

/// A cause of a disagreement of the two channels, with the evidence for it.
///
/// Lengths are in the axis unit (mm or deg), times in seconds. Instants are nanoseconds on the clock of the frames plus
/// [`Options::origin_ns`](super::Options::origin_ns).
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Cause {
    /// The ages of the two readings differ by what the setup and the trace say: `latency`, capture columns, periods.
    KnownAges {
        /// Age of the reading of channel b less that of channel a at the trip, in seconds.
        difference: f64,
    },
    /// The two were apart at the reference instant already: an error of one reading there.
    Reference,
    /// The scales differ, all the time.
    Scale {
        /// What channel a counts more than channel b, in parts of a million of the travel of channel a: the negative of what b has to be corrected by.
        ppm: Estimate,
    },
    /// The readings of one channel are later than the setup says.
    TimeSkew {
        /// The later one.
        late: Side,
        /// By how much more than is known, in seconds.
        by: Estimate,
        /// From when on; `None`: all the time.
        since_ns: Option<i64>,
    },
    /// What connects the two gives way under acceleration.
    Compliance {
        /// What channel a leads by for each axis unit per second squared: in s².
        per_acceleration: Estimate,
    },
    /// Play between the two.
    Backlash {
        /// The one that stays behind at a reversal.
        lags: Side,
        /// The full play.
        width: Estimate,
    },
    /// One of the two turns out of centre.
    Eccentricity {
        /// The source whose turns they are; `None`: both fit.
        side: Option<Side>,
        /// Half of the whole swing.
        amplitude: Estimate,
        /// Travel of one turn.
        period: f64,
    },
    /// One drifts away from the other, all the time.
    Drift {
        /// Change of d in a second.
        rate: Estimate,
    },
    /// Something slipped between the two, at once or slowly.
    Slip {
        /// By how much in all, as far as the samples go: change of d.
        by: Estimate,
        /// Change of d in a second.
        rate: f64,
        /// When it began.
        from_ns: i64,
        /// When it ended; `None`: not within the samples.
        until_ns: Option<i64>,
    },
    /// The position of one channel jumped from one reading to the next, and stayed there.
    Jump {
        /// Which one; `None`: the readings around it were not kept.
        side: Option<Side>,
        /// Change of d.
        by: Estimate,
        /// When.
        at_ns: i64,
    },
    /// The position of one channel jumped, and back.
    Spike {
        /// Which one; `None`: the readings around it were not kept.
        side: Option<Side>,
        /// Change of d.
        by: Estimate,
        /// When it jumped.
        at_ns: i64,
        /// When it was back.
        until_ns: i64,
    },
    /// One channel counts only a part of the travel, from an instant on.
    LostCounts {
        /// The one that counts less.
        side: Side,
        /// The part that it misses, 0 to 1.
        part: Estimate,
        /// From when on.
        since_ns: i64,
    },
    /// One channel stands still while the other moves.
    Frozen {
        /// The one that stands still.
        side: Side,
        /// From when on.
        since_ns: i64,
        /// Readings of the other that moved meanwhile, up to the trip.
        readings: u32,
        /// What the other travelled meanwhile, up to the trip.
        travel: f64,
    },
    /// One channel moves against the other.
    Reversed {
        /// The one that changed its direction: the other one goes on as before.
        side: Side,
        /// From when on.
        since_ns: i64,
        /// What it counts of the travel of the other, about −1.
        ratio: Estimate,
    },
}

impl Cause {
    /// Which one it is.
    #[must_use]
    pub const fn kind(&self) -> CauseKind {
        match self {
            Self::KnownAges { .. } => CauseKind::KnownAges,
            Self::Reference => CauseKind::Reference,
            Self::Scale { .. } => CauseKind::Scale,
            Self::TimeSkew { .. } => CauseKind::TimeSkew,
            Self::Compliance { .. } => CauseKind::Compliance,
            Self::Backlash { .. } => CauseKind::Backlash,
            Self::Eccentricity { .. } => CauseKind::Eccentricity,
            Self::Drift { .. } => CauseKind::Drift,
            Self::Slip { .. } => CauseKind::Slip,
            Self::Jump { .. } => CauseKind::Jump,
            Self::Spike { .. } => CauseKind::Spike,
            Self::LostCounts { .. } => CauseKind::LostCounts,
            Self::Frozen { .. } => CauseKind::Frozen,
            Self::Reversed { .. } => CauseKind::Reversed,
        }
    }

    /// The channel that it is found on, where it can be told.
    #[must_use]
    pub const fn side(&self) -> Option<Side> {
        match self {
            Self::TimeSkew { late: side, .. }
            | Self::Backlash { lags: side, .. }
            | Self::LostCounts { side, .. }
            | Self::Frozen { side, .. }
            | Self::Reversed { side, .. } => Some(*side),
            Self::Eccentricity { side, .. } | Self::Jump { side, .. } | Self::Spike { side, .. } => *side,
            _ => None,
        }
    }

    /// When it set in, on the clock of the trace; `None`: it was there all the time.
    #[must_use]
    pub const fn since_ns(&self) -> Option<i64> {
        match self {
            Self::TimeSkew { since_ns, .. } => *since_ns,
            Self::Slip { from_ns: at, .. }
            | Self::Jump { at_ns: at, .. }
            | Self::Spike { at_ns: at, .. }
            | Self::LostCounts { since_ns: at, .. }
            | Self::Frozen { since_ns: at, .. }
            | Self::Reversed { since_ns: at, .. } => Some(*at),
            _ => None,
        }
    }

    /// Its size; `None` where it has none or that is known.
    #[must_use]
    pub const fn size(&self) -> Option<Estimate> {
        match self {
            Self::Scale { ppm: size }
            | Self::TimeSkew { by: size, .. }
            | Self::Compliance { per_acceleration: size }
            | Self::Backlash { width: size, .. }
            | Self::Eccentricity { amplitude: size, .. }
            | Self::Drift { rate: size }
            | Self::Slip { by: size, .. }
            | Self::Jump { by: size, .. }
            | Self::Spike { by: size, .. }
            | Self::LostCounts { part: size, .. }
            | Self::Reversed { ratio: size, .. } => Some(*size),
            Self::KnownAges { .. } | Self::Reference | Self::Frozen { .. } => None,
        }
    }

    /// Whether the samples say that it is there: the 95 % interval of its size does not hold 0.
    #[must_use]
    pub fn is_certain(&self) -> bool {
        self.size().is_none_or(|size| !size.holds(0.0))
    }

    /// What it is and how much of it, in one line without its share.
    #[must_use]
    pub fn text(&self, words: &Words) -> String {
        let unit = words.unit;
        let at = |ns: i64| format!("{} s", seconds(ns));
        let of = |side: &Option<Side>| {
            side.map_or_else(String::new, |side| format!(" of channel {}", side.letter()))
        };
        match self {
            Self::KnownAges { difference } => {
                format!(
                    "readings of known different age, {} apart",
                    words.time(Estimate::known(difference.abs()))
                )
            }
            Self::Reference => "the two were apart at the reference already".to_owned(),
            Self::Scale { ppm } => {
                let more = if ppm.value < 0.0 { "b" } else { "a" };
                let ppm = ppm.times(ppm.value.signum());
                format!(
                    "scale mismatch: channel {more} counts more than the other by {} of the travel of channel a",
                    with_margin(ppm, "ppm")
                )
            }
            Self::TimeSkew { late, by, since_ns } => {
                let since = since_ns.map_or_else(String::new, |ns| format!(" since {}", at(ns)));
                format!("time skew of channel {} by {}{since}", late.letter(), words.time(*by))
            }
            Self::Compliance { per_acceleration } => {
                let leads = if per_acceleration.value < 0.0 { "b" } else { "a" };
                let by = per_acceleration.times(1000.0 * per_acceleration.value.signum());
                format!("compliance: channel {leads} leads by {} for every 1000 {unit}/s^2", length(by, unit))
            }
            Self::Backlash { lags, width } => {
                format!("backlash: channel {} lags at a reversal by {}", lags.letter(), length(*width, unit))
            }
            Self::Eccentricity { side, amplitude, period } => {
                let period = plain(*period, *period);
                format!("eccentricity{}: {} once in {period} {unit}", of(side), length(*amplitude, unit))
            }
            Self::Drift { rate: by } => {
                let (ahead, by) = gained(*by);
                format!(
                    "drift: channel {} gains on {} by {}",
                    ahead.letter(),
                    ahead.other().letter(),
                    rate(by, unit)
                )
            }
            Self::Slip { by, rate: speed, from_ns, until_ns } => {
                let until =
                    until_ns.map_or_else(|| "still going on".to_owned(), |ns| format!("until {}", at(ns)));
                let (ahead, by) = gained(*by);
                let (ahead, behind, by) = (ahead.letter(), ahead.other().letter(), length(by, unit));
                let (from, speed) = (at(*from_ns), rate(Estimate::known(speed.abs()), unit));
                format!("slip: channel {ahead} gained {by} on {behind} from {from} on, {until}, {speed}")
            }
            Self::Jump { side, by, at_ns } => {
                format!("jump{} by {} at {}", of(side), length(*by, unit), at(*at_ns))
            }
            Self::Spike { side, by, at_ns, until_ns } => {
                let by = length(*by, unit);
                format!("spike{} of {by} from {} to {}", of(side), at(*at_ns), at(*until_ns))
            }
            Self::LostCounts { side, part, since_ns } => {
                let part = with_margin(part.times(100.0), "%");
                let of = format!("lost counts of channel {} since {}", side.letter(), at(*since_ns));
                format!("{of}: {part} of the travel")
            }
            Self::Frozen { side, since_ns, readings, travel } => {
                let (frozen, other) = (side.letter(), side.other().letter());
                let travel = plain(*travel, *travel);
                let moved = format!("channel {other} moved {travel} {unit} in {readings} readings");
                format!("channel {frozen} frozen since {} while {moved}", at(*since_ns))
            }
            Self::Reversed { side, since_ns, ratio } => {
                let ratio = format!("{:.3} of the travel of the other", ratio.value);
                format!("channel {} reversed since {}: {ratio}", side.letter(), at(*since_ns))
            }
        }
    }
}

/// The channel that ran ahead where d changes by so much, towards larger positions, and by how much.
fn gained(by: Estimate) -> (Side, Estimate) {
    let ahead = if by.value < 0.0 { Side::B } else { Side::A };
    (ahead, by.times(ahead.sign()))
}
