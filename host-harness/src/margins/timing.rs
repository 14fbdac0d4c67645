//! When a frame sees what: periods, ages of readings, effective windows, and how long a stop takes.

use monitor_core::{Channel, Span, Speed};

use crate::setup::{By, ChannelSetup, HISTORY_POINTS, LimitSetup, MonitorKind, RampSetup, Setup};

const NANOS_PER_SECOND: u128 = 1_000_000_000;

/// The longest time between two evaluations: `given` (as on the command line), else `cycle`, else `frame_period` of `[machine]`.
/// `None` when nothing says it.
#[must_use]
pub fn period(setup: &Setup, given: Option<Span>) -> Option<Span> {
    let of_machine = || setup.machine.frame_period.as_ref().map(|period| period.value);
    given.or_else(|| setup.cycle.as_ref().map(|cycle| cycle.value)).or_else(of_machine)
}

pub(super) fn plus(one: Span, other: Span) -> Span {
    Span::from_nanos(one.as_nanos().saturating_add(other.as_nanos()))
}

fn less(one: Span, other: Span) -> Span {
    Span::from_nanos(one.as_nanos().saturating_sub(other.as_nanos()))
}

/// How old the newest reading of a source can be at a frame, in its parts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Age {
    /// By the latency of the setup.
    pub(super) latency: Span,
    /// By what it is on its way for beyond that.
    pub(super) delay: Span,
    /// By the time until the next one.
    pub(super) waiting: Span,
    /// By a capture time that is off.
    pub(super) jitter: Span,
    /// The longest time between two readings that are evaluated.
    pub(super) interval: Span,
    /// Only the timeout bounds it.
    pub(super) by_timeout: bool,
}

impl Age {
    /// Of a position source. Where nothing says how often it takes a reading: one for every frame, in step with it where every row is a
    /// frame; but a source that is sparse, or has capture times of its own, is only known to be no older than its `timeout`.
    ///
    /// A reading that is older than `timeout` is a channel fault, which takes the permit at once: no reading that is judged is.
    pub(super) fn of_source(setup: &Setup, period: Span, channel: Channel) -> Self {
        let (source, sensor) = (setup.channel(channel), setup.sensors.channel(channel));
        let value = |setting: &Option<crate::setup::Setting<Span>>| {
            setting.as_ref().map_or(Span::ZERO, |setting| setting.value)
        };
        let said = sensor.period.as_ref().map(|period| period.value);
        let (waiting, by_timeout) = waiting(setup, period, said, keeps_its_own_time(source));
        let jitter = value(&sensor.jitter);
        let between = if by_timeout { source.timeout.value } else { plus(period, waiting) };
        let between = plus(between.min(source.timeout.value), plus(jitter, jitter));
        Self {
            jitter,
            interval: between,
            ..Self::within(
                source.timeout.value,
                source.latency.value,
                value(&sensor.delay),
                waiting,
                by_timeout,
            )
        }
    }

    /// Of the lines of an analogue value.
    pub(super) fn of_value(setup: &Setup, period: Span, of: usize) -> Self {
        let analogue = &setup.analogues[of];
        let (waiting, by_timeout) = waiting(setup, period, None, analogue.sparse);
        Self::within(analogue.timeout.value, analogue.latency.value, Span::ZERO, waiting, by_timeout)
    }

    fn within(timeout: Span, latency: Span, delay: Span, waiting: Span, by_timeout: bool) -> Self {
        let latency = latency.min(timeout);
        let delay = delay.min(less(timeout, latency));
        let rest = less(timeout, plus(latency, delay));
        let waiting = if by_timeout { rest } else { waiting.min(rest) };
        Self { latency, delay, waiting, jitter: Span::ZERO, interval: timeout, by_timeout }
    }

    /// All of it.
    pub(super) fn total(&self) -> Span {
        plus(plus(self.latency, self.delay), plus(self.waiting, self.jitter))
    }
}

fn keeps_its_own_time(source: &ChannelSetup) -> bool {
    source.sparse || source.capture.is_some()
}

/// How long after the newest reading a frame can come, and whether only the timeout bounds that.
fn waiting(setup: &Setup, period: Span, said: Option<Span>, own_time: bool) -> (Span, bool) {
    match said {
        Some(said) => (said, false),
        None if own_time => (Span::ZERO, true),
        None if setup.cycle.is_some() => (period, false),
        None => (Span::ZERO, false),
    }
}

/// The longest window that a speed may look back over: the set one and the larger of the spacing of the stored readings and the
/// longest time between two readings (rules, section 4).
pub(super) fn effective_window(setup: &Setup, interval: Span) -> Span {
    // A replay has points enough for any axis.
    let spacing = setup.spacing(HISTORY_POINTS).unwrap_or(Span::ZERO);
    plus(setup.speed.window.value, spacing.max(interval))
}

/// The fastest that the axis can be while every rule that is always active holds: the smallest of their limits on the speed, and at most
/// `max_speed` of the channel. Of a limit for each direction, and of a range, the larger magnitude.
pub(super) fn fastest_allowed(setup: &Setup, channel: Channel) -> Speed {
    let always = setup.monitors.iter().filter(|monitor| monitor.is_always_active());
    let limits = always.filter_map(|monitor| match &monitor.kind {
        MonitorKind::SpeedLimit { limit: LimitSetup::Both(limit), ramp: None } => Some(limit.value),
        MonitorKind::SpeedLimit { limit, ramp: None } => Some(limit.larger()),
        MonitorKind::SpeedRange(range) => Some(larger(range.low.value, range.high.value)),
        _ => None,
    });
    limits.chain([setup.channel(channel).max_speed.value]).min().unwrap_or(Speed::MAX)
}

fn larger(one: Speed, other: Speed) -> Speed {
    let bits = one.to_bits().saturating_abs().max(other.to_bits().saturating_abs());
    Speed::from_bits(bits)
}

/// The longest time from the demand of a stop to its completion, without the frames at either end; `None` when it has no end that can
/// be worked out. Rounded up.
///
/// - by time: `within`;
/// - by ramp: the line from the fastest that the axis may be and `margin` on top, down to the standstill speed, or `within` where that is
///   shorter. The fastest is the smallest limit on the speed that is always active, or `max_speed`;
/// - by deceleration: `within`, or the braking from `max_speed` with the least deceleration that is no violation, and two windows until
///   that is seen.
#[must_use]
pub fn stop_duration(setup: &Setup, by: &By, channel: Channel) -> Option<Span> {
    match by {
        By::Time { within } => Some(within.value),
        By::Ramp { ramp, standstill_speed, within } => {
            let line = line_duration(ramp, fastest_allowed(setup, channel), standstill_speed.value);
            shorter(line, within.as_ref().map(|within| within.value))
        }
        By::Deceleration { braking, within, .. } => {
            let fastest = setup.channel(channel).max_speed.value.to_bits().unsigned_abs();
            let least = braking.deceleration.value.to_bits().checked_sub(braking.margin.value.to_bits());
            let least = least.and_then(|least| u64::try_from(least).ok());
            let slows = least.and_then(|least| nanos(u128::from(fastest), u128::from(least)));
            let window = setup.speed.window.value;
            let slows = slows.map(|slows| plus(plus(braking.delay.value, slows), plus(window, window)));
            shorter(slows, within.as_ref().map(|within| within.value))
        }
    }
}

fn shorter(one: Option<Span>, other: Option<Span>) -> Option<Span> {
    one.into_iter().chain(other).min()
}

/// Speed over acceleration, in ns, rounded up. ULP over ULP are seconds.
fn nanos(speed: u128, acceleration: u128) -> Option<Span> {
    let nanos = speed.checked_mul(NANOS_PER_SECOND)?.checked_add(acceleration.checked_sub(1)?)?;
    u64::try_from(nanos.checked_div(acceleration)?).ok().map(Span::from_nanos)
}

/// How long a line takes from its demand to its target, from a speed of at most `from`, rounded up.
pub(super) fn line_duration(ramp: &RampSetup, from: Speed, target: Speed) -> Option<Span> {
    let bits = |bits: i64| u128::from(bits.unsigned_abs());
    let top = bits(from.to_bits()) + bits(ramp.margin.value.to_bits());
    let fall = top.saturating_sub(bits(target.to_bits()));
    let (slope, delay) = (bits(ramp.deceleration.value.to_bits()), ramp.delay.value);
    let straight = nanos(fall, slope)?;
    let Some(jerk) = ramp.jerk.as_ref().map(|jerk| bits(jerk.value.to_bits())) else {
        return Some(plus(delay, straight));
    };
    if fall.checked_mul(jerk)? >= slope.checked_mul(slope)? {
        return Some(plus(delay, plus(straight, nanos(slope, jerk)?)));
    }
    // Twice the root of fall over jerk: in ns², with a ns for the rounding of each.
    let square = fall.checked_mul(NANOS_PER_SECOND.checked_mul(NANOS_PER_SECOND)?)? / jerk;
    let rise = u64::try_from(square.isqrt()).ok()?.checked_add(1)?;
    Some(plus(delay, Span::from_nanos(rise.checked_mul(2)?)))
}

/// The longest window that a speed of a channel may look back over.
pub(super) fn window_of(setup: &Setup, period: Span, channel: Channel) -> Span {
    effective_window(setup, Age::of_source(setup, period, channel).interval)
}
