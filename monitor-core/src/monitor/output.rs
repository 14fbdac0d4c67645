//! Outputs that tell others about the motion: where it is (safe cam, SCA), that it is slow (safe speed monitor, SSM), and that the
//! brake may be released (safe brake control, SBC).
//!
//! The hazard: a guard is unlocked, a neighbouring axis is let in, or a load is left to its brake, on a word of this axis that is not true.
//!
//! ```text
//!            low        low + h           high − h      high
//!   ──────────┼────────────┼──────────────────┼───────────┼────────── x
//!   on                     ├── becomes true ──┤                       stays true within [low, high]
//!   near      ├──────────────── becomes true ─────────────┤           stays true within [low − h, high + h]
//!
//!              0     threshold − h    threshold    threshold + h
//!   ───────────┼────────────┼─────────────┼─────────────┼────── abs(v)
//!   on         ├─ becomes ──┤                                   stays true below the threshold
//!   near       ├───────── becomes ────────┤                     stays true below threshold + h
//!
//!   permit   ────────╮_____________
//!   brake    ────────────────╮_____        the output is false: the brake closes
//!                     ←delay→
//! ```
//!
//! The output is true while it is on at both channels, so that it never says more than what is so; what it demands is demanded while it is near on
//! either. All comparisons are exact. A brake output is true with the permit, and false at the latest `delay` after the permit went: a frame
//! early where the next one would be too late. An output never trips.
//!
//! Worst-case reaction: latency + two frames, for a speed also half the window; that of a brake is its delay.
//!
//! Not detected: what becomes of the output behind the pin.
//!
//! ```
//! # use monitor_core::*;
//! # let source = SourceConfig::try_new(24, Scale::from_ratio(1, 1000).unwrap(), Speed::from_int(3000).unwrap(),
//! #     Span::from_millis(4).unwrap()).unwrap();
//! # let window = Span::from_millis(2).unwrap();
//! # let mut axis = AxisConfig::<33, 16, 16>::try_new(source, source, window, WarmUp::Permit).unwrap();
//! let mm = |n| Position::from_int(n).unwrap();
//! for channel in Channel::BOTH {
//!     axis.set_referencing(channel, Referencing::Absolute { offset: mm(0) })?;
//! }
//! let crossing = CamOutput::try_new(mm(10), mm(20), mm(1)).unwrap();
//! let crossing = axis.add_monitor(Rule::CamOutput(crossing), Demand::Always, Span::ZERO)?;
//! // Where the walkway crosses the rail, no faster than 250 mm/s.
//! let slow = SpeedLimit::try_new(Speed::from_int(250).unwrap(), None).unwrap();
//! let at_crossing = Demand::Any(Demands { outputs: MonitorSet::NONE.with(crossing), ..Demands::default() });
//! let slow = axis.add_monitor(Rule::SpeedLimit(slow), at_crossing, Span::ZERO)?;
//! let mut axis = Axis::new(axis);
//! // 1 m/s: on from 11 mm on, and too fast from 10 mm on.
//! let mut step = |ms: u64| {
//!     let now = Instant::from_nanos(ms * 1_000_000);
//!     let reading = Some(Reading { captured_at: now, sample: Sample::Count(ms * 1000) });
//!     axis.step(&Frame { now, a: reading, b: reading, levels: Levels::default() })
//! };
//! let seen: Vec<_> = (0..30).map(&mut step).collect();
//! assert_eq!(seen.iter().position(|outcome| outcome.outputs.contains(crossing)), Some(11));
//! assert_eq!(seen.iter().position(|outcome| outcome.tripped.a.contains(slow)), Some(10));
//! assert!(seen[20].outputs.contains(crossing) && !seen[21].outputs.contains(crossing));
//! # Ok::<(), AxisError>(())
//! ```

use crate::monitor::{Motion, Place};
use crate::units::{Position, Span, Speed};

/// A range of positions that an output tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CamOutput {
    low: Position,
    high: Position,
    hysteresis: Position,
}

impl CamOutput {
    /// From `low` to `high`, switched on `hysteresis` (0 or more) inside. `None` when nothing is left inside, or a place that is
    /// compared with is at the end of what there is.
    #[must_use]
    pub fn try_new(low: Position, high: Position, hysteresis: Position) -> Option<Self> {
        let h = hysteresis.to_bits();
        let (inner_low, inner_high) = (low.to_bits().checked_add(h)?, high.to_bits().checked_sub(h)?);
        let (outer_low, outer_high) = (low.to_bits().checked_sub(h)?, high.to_bits().checked_add(h)?);
        let is_inside = outer_low > i64::MIN && outer_high < i64::MAX;
        (h >= 0 && inner_low <= inner_high && is_inside).then_some(Self { low, high, hysteresis })
    }

    /// The lower end.
    #[must_use]
    pub const fn low(&self) -> Position {
        self.low
    }

    /// The upper end.
    #[must_use]
    pub const fn high(&self) -> Position {
        self.high
    }

    /// How far inside it switches on, and outside it is near.
    #[must_use]
    pub const fn hysteresis(&self) -> Position {
        self.hysteresis
    }

    /// Moves on to this frame.
    fn update(&self, state: &mut OutputState, motion: &Motion<'_>) -> Lacks {
        let (upper, lower) = match motion.place() {
            Place::At { upper, lower, .. } => (upper.to_bits(), lower.to_bits()),
            unknown => {
                *state = OutputState::UNKNOWN;
                // A channel without a reading is warming up by itself.
                let is_unreferenced = matches!(unknown, Place::Unreferenced);
                return if is_unreferenced { Lacks::Reference } else { Lacks::Nothing };
            }
        };
        let h = self.hysteresis.to_bits();
        // Bounded because the constructor checked each sum.
        let is_within = |by: i64| {
            lower >= self.low.to_bits().wrapping_sub(by) && upper <= self.high.to_bits().wrapping_add(by)
        };
        state.on = is_within(if state.on { 0 } else { h.wrapping_neg() });
        state.near = is_within(if state.near { h } else { 0 });
        Lacks::Nothing
    }
}

/// A speed below which an output is true.
///
/// ```
/// # use monitor_core::*;
/// # let source = SourceConfig::try_new(24, Scale::from_ratio(1, 1000).unwrap(), Speed::from_int(3000).unwrap(),
/// #     Span::from_millis(4).unwrap()).unwrap();
/// # let window = Span::from_millis(2).unwrap();
/// # let mut axis = AxisConfig::<33, 16, 16>::try_new(source, source, window, WarmUp::Permit).unwrap();
/// let slow = SpeedOutput::try_new(Speed::from_int(50).unwrap(), Speed::from_int(5).unwrap()).unwrap();
/// let slow = axis.add_monitor(Rule::SpeedOutput(slow), Demand::Always, Span::ZERO)?;
/// let mut axis = Axis::new(axis);
/// // 100 mm/s, and from 10 ms on 40 mm/s: over a window of 2 ms that is 70 mm/s after one frame, and below 45 mm/s after two.
/// let mut step = |ms: u64| {
///     let now = Instant::from_nanos(ms * 1_000_000);
///     let count = 100 * ms.min(10) + 40 * ms.saturating_sub(10);
///     let reading = Some(Reading { captured_at: now, sample: Sample::Count(count) });
///     axis.step(&Frame { now, a: reading, b: reading, levels: Levels::default() }).outputs.contains(slow)
/// };
/// assert_eq!((0..20).find(|&ms| step(ms)), Some(12));
/// # Ok::<(), AxisError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SpeedOutput {
    threshold: Speed,
    hysteresis: Speed,
}

impl SpeedOutput {
    /// Below `threshold`, switched on `hysteresis` (0 or more) below that. `None` when nothing is left below, or a speed that is compared
    /// with is beyond the range.
    #[must_use]
    pub fn try_new(threshold: Speed, hysteresis: Speed) -> Option<Self> {
        let (t, h) = (threshold.to_bits(), hysteresis.to_bits());
        (h >= 0 && t > h && t.checked_add(h).is_some()).then_some(Self { threshold, hysteresis })
    }

    /// The speed from which on it is false.
    #[must_use]
    pub const fn threshold(&self) -> Speed {
        self.threshold
    }

    /// How far below it switches on, and above it is near.
    #[must_use]
    pub const fn hysteresis(&self) -> Speed {
        self.hysteresis
    }

    fn update(&self, state: &mut OutputState, motion: &Motion<'_>) -> Lacks {
        let Some(speed) = motion.speed() else {
            *state = OutputState::UNKNOWN;
            return Lacks::Speed;
        };
        let (speed, h) = (speed.magnitude_down().to_bits(), self.hysteresis.to_bits());
        // Below a whole number exactly when, rounded down, below it. Bounded because the constructor checked the sum.
        let is_below = |by: i64| speed < self.threshold.to_bits().wrapping_add(by);
        state.on = is_below(if state.on { 0 } else { h.wrapping_neg() });
        state.near = is_below(if state.near { h } else { 0 });
        Lacks::Nothing
    }
}

/// A brake that is to close when the permit goes.
///
/// ```
/// # use monitor_core::*;
/// # let source = SourceConfig::try_new(24, Scale::from_ratio(1, 1000).unwrap(), Speed::from_int(3000).unwrap(),
/// #     Span::from_millis(4).unwrap()).unwrap();
/// # let window = Span::from_millis(2).unwrap();
/// # let mut axis = AxisConfig::<33, 16, 16>::try_new(source, source, window, WarmUp::Permit).unwrap();
/// let line = axis.add_input(InputConfig::single(0, true, Span::ZERO).unwrap())?;
/// axis.add_monitor(Rule::TorqueOff, Demand::AnyOf(InputSet::NONE.with(line)), Span::ZERO)?;
/// let brake = BrakeOutput::try_new(Span::from_millis(5).unwrap()).unwrap();
/// let released = axis.add_monitor(Rule::BrakeOutput(brake), Demand::Always, Span::ZERO)?;
/// let mut axis = Axis::new(axis);
/// // The permit goes at 10 ms; the brake is told to close 5 ms later.
/// let mut step = |ms: u64| {
///     let now = Instant::from_nanos(ms * 1_000_000);
///     let reading = Some(Reading { captured_at: now, sample: Sample::Count(0) });
///     let levels = Levels::from_bits(u32::from(ms >= 10));
///     axis.step(&Frame { now, a: reading, b: reading, levels }).outputs.contains(released)
/// };
/// let closed: Vec<u64> = (1..20).filter(|&ms| !step(ms)).collect();
/// assert_eq!(closed.first(), Some(&15));
/// # Ok::<(), AxisError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct BrakeOutput {
    delay: Span,
}

impl BrakeOutput {
    /// A brake that is told to close at the latest `delay` after the permit went; 0 with it. `None` from 2⁶³ ns on.
    #[must_use]
    pub const fn try_new(delay: Span) -> Option<Self> {
        if delay.as_nanos() >> 63 == 0 { Some(Self { delay }) } else { None }
    }

    /// From the permit to the brake.
    #[must_use]
    pub const fn delay(&self) -> Span {
        self.delay
    }

    /// Whether it may stay released so long after the permit went, with frames so far apart.
    pub(crate) fn may_wait(&self, gone_for: u64, period: u64) -> bool {
        gone_for.checked_add(period).is_some_and(|next| next <= self.delay.as_nanos())
    }
}

/// Within what an output stays what it is.
pub(crate) enum Steady {
    /// So many counts to either side.
    Counts(i64),
    /// While the magnitude of the speed is above the one and not above the other.
    Speeds(Speed, Speed),
    /// It may change at any frame.
    No,
}

/// How far a place between `lower` and `upper` is from the nearest of the places where something changes; negative for none at all.
fn distance(lower: i64, upper: i64, places: &[i64]) -> i64 {
    let mut nearest = i64::MAX;
    for place in places {
        let away = place.saturating_sub(upper).max(lower.saturating_sub(*place));
        nearest = nearest.min(away);
    }
    nearest
}

impl CamOutput {
    fn steady(&self, state: OutputState, motion: &Motion<'_>) -> Steady {
        let Place::At { upper, lower, .. } = motion.place() else { return Steady::No };
        let (low, high, h) = (self.low.to_bits(), self.high.to_bits(), self.hysteresis.to_bits());
        // Bounded because the constructor checked each sum.
        let switching =
            [low.wrapping_sub(h), low.wrapping_add(h), high.wrapping_sub(h), high.wrapping_add(h)];
        // It stays on, or far, up to the ends themselves.
        let places = if state.is_between() { switching } else { [low, low, high, high] };
        // Two steps for the rounding of the place here and there.
        let away = distance(lower.to_bits(), upper.to_bits(), &places).saturating_sub(2);
        if away <= 0 { Steady::No } else { Steady::Counts(motion.scale.counts_surely_within(away)) }
    }
}

impl SpeedOutput {
    fn steady(&self, state: OutputState, motion: &Motion<'_>) -> Steady {
        let Some(speed) = motion.speed() else { return Steady::No };
        let (speed, t, h) =
            (speed.magnitude_down().to_bits(), self.threshold.to_bits(), self.hysteresis.to_bits());
        let (mut above, mut below) = (Speed::ZERO, Speed::MAX);
        // Bounded because the constructor checked each sum.
        let switching = [t.wrapping_sub(h), t.wrapping_add(h)];
        for place in if state.is_between() { switching } else { [t, t] } {
            if speed < place {
                // Up to the last step before it.
                below = below.min(Speed::from_bits(place.wrapping_sub(1)));
            } else {
                above = above.max(Speed::from_bits(place));
            }
        }
        Steady::Speeds(above, below)
    }
}

/// What an output tells on one channel.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct OutputState {
    /// So it is, for certain.
    pub(crate) on: bool,
    /// So it is, or nearly, or it is not known.
    pub(crate) near: bool,
}

impl OutputState {
    const UNKNOWN: Self = Self { on: false, near: true };

    /// Near without being on: it may become either.
    const fn is_between(self) -> bool {
        self.near && !self.on
    }
}

/// What an output needs and does not have at a frame.
pub(crate) enum Lacks {
    Nothing,
    /// The speed: it is warming up.
    Speed,
    /// A referenced position: a fault.
    Reference,
}

/// The rules that are outputs of the motion.
pub(crate) enum Output<'a> {
    Cam(&'a CamOutput),
    Speed(&'a SpeedOutput),
}

impl Output<'_> {
    /// Within what it stays what it has come to at this frame.
    #[inline(never)]
    pub(crate) fn steady(&self, state: OutputState, motion: &Motion<'_>) -> Steady {
        match self {
            Self::Cam(rule) => rule.steady(state, motion),
            Self::Speed(rule) => rule.steady(state, motion),
        }
    }

    /// Moves on to this frame.
    pub(crate) fn update(&self, state: &mut OutputState, motion: &Motion<'_>) -> Lacks {
        if !motion.visible {
            *state = OutputState::UNKNOWN;
            return Lacks::Nothing;
        }
        match self {
            Self::Cam(rule) => rule.update(state, motion),
            Self::Speed(rule) => rule.update(state, motion),
        }
    }
}
