//! Settings against each other: what each part alone allows, but the whole cannot do.
//!
//! All sums are exact, over the values in force after rounding. Bounds: steps and ULP fit an `i64`, so that a
//! product of two of them fits an `i128`.

use monitor_core::{Span, Speed};

use super::model::{
    AxisUnit, By, ChannelSetup, DiscrepancySetup, MonitorKind, MonitorSetup, Setting, Source,
    SpeedDiscrepancySetup, SpeedSetup, StandstillSetup, Until,
};
use super::section::{ColumnUse, Got, Mistake, Reader, Role};
use super::value::{short_time_text, time_text};
use super::{HISTORY_POINTS, MAX_AGE_NS, MAX_HISTORY_NS, MAX_WINDOW_NS, MIN_WINDOW_NS};
use crate::decimal::{Exact, NANO_ULPS_PER_UNIT, Rounding, ULPS_PER_UNIT, short_text};

/// Steps of 10⁻⁹ ULP in one ULP; also nanoseconds in a second.
const NANO: i128 = 1_000_000_000;

/// What could be read of a setup.
pub(super) struct Parts<'a> {
    pub(super) axis: AxisUnit,
    pub(super) cycle: Option<&'a Setting<Span>>,
    pub(super) a: Option<&'a ChannelSetup>,
    pub(super) b: Option<&'a ChannelSetup>,
    pub(super) speed: Option<&'a SpeedSetup>,
    pub(super) discrepancy: Option<&'a DiscrepancySetup>,
    pub(super) speed_discrepancy: Option<&'a SpeedDiscrepancySetup>,
    pub(super) monitors: &'a [MonitorSetup],
}

/// A speed that the setup compares with.
struct Threshold<'a> {
    key: &'static str,
    owner: String,
    role: ThresholdRole,
    setting: &'a Setting<Speed>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum ThresholdRole {
    /// What the axis may run at most while a monitor is active.
    Limit,
    /// What counts as standing at the end of a stop.
    StandstillSpeed,
    /// What a standing axis may still move at.
    SpeedWindow,
    /// A difference of two speeds.
    Tolerance,
}

impl<'a> Parts<'a> {
    fn channels(&self) -> impl Iterator<Item = (&'static str, &'a ChannelSetup)> {
        [("a", self.a), ("b", self.b)].into_iter().filter_map(|(letter, channel)| Some((letter, channel?)))
    }

    fn standstills(&self) -> impl Iterator<Item = (String, &'a StandstillSetup)> {
        self.monitors.iter().filter_map(|monitor| match &monitor.kind {
            MonitorKind::Standstill(windows)
            | MonitorKind::Stop { until: Until::Standstill(windows), .. } => Some((owner(monitor), windows)),
            _ => None,
        })
    }

    fn thresholds(&self) -> Vec<Threshold<'a>> {
        let windows = self.standstills().map(|(owner, windows)| Threshold {
            key: "speed_window",
            owner,
            role: ThresholdRole::SpeedWindow,
            setting: &windows.speed_window,
        });
        let others = self.monitors.iter().filter_map(|monitor| {
            let (key, role, setting) = match &monitor.kind {
                MonitorKind::SpeedLimit { limit, .. } => ("limit", ThresholdRole::Limit, limit),
                MonitorKind::Stop { by: By::Ramp { standstill_speed, .. }, .. } => {
                    ("standstill_speed", ThresholdRole::StandstillSpeed, standstill_speed)
                }
                _ => return None,
            };
            Some(Threshold { key, owner: owner(monitor), role, setting })
        });
        let tolerance = self.speed_discrepancy.map(|watch| Threshold {
            key: "tolerance",
            owner: "[speed_discrepancy]".to_owned(),
            role: ThresholdRole::Tolerance,
            setting: &watch.tolerance,
        });
        windows.chain(others).chain(tolerance).collect()
    }
}

fn owner(monitor: &MonitorSetup) -> String {
    format!("monitor \"{}\"", monitor.name)
}

/// Runs every check and reports all that fail.
pub(super) fn run(reader: &Reader<'_>, parts: &Parts<'_>) -> Got<()> {
    let checks = [
        columns(reader),
        times(reader, parts),
        resolution(reader, parts),
        wraps(reader, parts),
        order_of_speeds(reader, parts),
    ];
    checks.into_iter().collect()
}

/// Every column is used for one thing.
fn columns(reader: &Reader<'_>) -> Got<()> {
    let uses = reader.columns.borrow().clone();
    let mut all = Ok(());
    for (index, late) in uses.iter().enumerate() {
        let Some(early) =
            uses[..index].iter().find(|early| early.column == late.column && clash(early, late))
        else {
            continue;
        };
        let both_positions = early.role == Role::Position && late.role == Role::Position;
        let way_out = if both_positions {
            "name the column of the other source: two channels on one source cannot catch its faults"
        } else if late.role == Role::Reset {
            "give the reset a column of its own: what demands must not reset"
        } else {
            "name the right column here or there"
        };
        all = Err(reader.report(Mistake {
            span: late.span.clone(),
            message: format!("the column `{}` is both {} and {}", late.column, early.purpose, late.purpose),
            label: late.purpose.clone(),
            related: Some((early.span.clone(), early.purpose.clone())),
            way_out: way_out.to_owned(),
        }));
    }
    all
}

/// Whether two uses of one column contradict each other.
fn clash(one: &ColumnUse, other: &ColumnUse) -> bool {
    let is_time = |role| matches!(role, Role::Time | Role::Capture);
    let is_level = |role| matches!(role, Role::Valid | Role::Input | Role::Reset);
    match (one.role, other.role) {
        // Rows may be stamped by a capture, and a line may serve several inputs; a reset may not.
        (one, other) if is_time(one) && is_time(other) => false,
        (Role::Reset, other) | (other, Role::Reset) => other != Role::Valid,
        (one, other) => !(is_level(one) && is_level(other)),
    }
}

fn times(reader: &Reader<'_>, parts: &Parts<'_>) -> Got<()> {
    let mut all = Ok(());
    let window = parts.speed.map(|speed| &speed.window);
    if let Some(window) = window {
        let nanos = window.value.as_nanos();
        if !(MIN_WINDOW_NS..=MAX_WINDOW_NS).contains(&nanos) {
            all = Err(reader.refuse(
                window.span.clone(),
                format!(
                    "`window` of [speed] must be {} to {}",
                    time_text(MIN_WINDOW_NS),
                    time_text(MAX_WINDOW_NS)
                ),
                format!("{} after rounding", time_text(nanos)),
                "a longer window resolves slower speeds, a shorter one reacts faster; some ms are usual",
            ));
        }
    }
    let skew = parts.discrepancy.map(|watch| &watch.skew_allowance);
    if let Some(skew) = skew.filter(|skew| skew.value.as_nanos() > MAX_AGE_NS) {
        all = Err(reader.refuse(
            skew.span.clone(),
            format!("`skew_allowance` of [discrepancy] must be at most {}", time_text(MAX_AGE_NS)),
            format!("{} after rounding", time_text(skew.value.as_nanos())),
            "it is the time by which the two captures may be apart; some ms are usual",
        ));
    }
    for (letter, channel) in parts.channels() {
        let timeout = channel.timeout.value.as_nanos();
        let latency = &channel.latency;
        if timeout <= latency.value.as_nanos() {
            let latency_text = time_text(latency.value.as_nanos());
            all = Err(reader.report(Mistake {
                span: channel.timeout.span.clone(),
                message: format!("`timeout` of [channel.{letter}] is not longer than its `latency`"),
                label: format!("{} old is stale", time_text(timeout)),
                related: Some((latency.span.clone(), "every reading is this old when it arrives".to_owned())),
                way_out: format!(
                    "raise `timeout` well above {latency_text}: latency, the time between two readings, and some reserve"
                ),
            }));
        }
        if let Some(cycle) = parts.cycle.filter(|cycle| timeout < cycle.value.as_nanos()) {
            all = Err(reader.report(Mistake {
                span: channel.timeout.span.clone(),
                message: format!("`timeout` of [channel.{letter}] is shorter than the `cycle`"),
                label: format!("a reading after {} is stale", time_text(timeout)),
                related: Some((cycle.span.clone(), "readings are taken this far apart".to_owned())),
                way_out: format!(
                    "raise `timeout` to at least {}, or shorten `cycle`",
                    time_text(cycle.value.as_nanos())
                ),
            }));
        }
        if timeout > MAX_AGE_NS {
            all = Err(reader.refuse(
                channel.timeout.span.clone(),
                format!("`timeout` of [channel.{letter}] must be at most {}", time_text(MAX_AGE_NS)),
                format!("{} after rounding", time_text(timeout)),
                "a few times the time between two readings is enough: older positions protect nobody",
            ));
            continue;
        }
        let Some(window) =
            window.map(|window| window.value.as_nanos()).filter(|nanos| *nanos <= MAX_WINDOW_NS)
        else {
            continue;
        };
        let spacing = window / ((HISTORY_POINTS as u64 - 1) / 2);
        let room = MAX_HISTORY_NS - window - spacing;
        if timeout >= room {
            all = Err(reader.refuse(
                channel.timeout.span.clone(),
                format!("`timeout` of [channel.{letter}] and the speed window together are too long"),
                format!("beside a window of {}", time_text(window)),
                format!(
                    "keep `timeout` below {}: older readings could not be told apart in time",
                    time_text(room)
                ),
            ));
        }
    }
    all
}

/// Travel of one count in steps of 10⁻⁹ ULP, without its sign.
fn count(channel: &ChannelSetup) -> i128 {
    channel.count_nano_ulps().map_or(NANO, i128::from)
}

fn travel_text(nano_ulps: i128, axis: AxisUnit) -> String {
    let travel = Exact::new(nano_ulps, i128::from(NANO_ULPS_PER_UNIT));
    format!("{} {}", short_text(&travel, Rounding::Up), axis.symbol())
}

fn speed_text(speed: Speed, axis: AxisUnit) -> String {
    let exact = Exact::new(i128::from(speed.to_bits()), i128::from(ULPS_PER_UNIT));
    format!("{} {}/s", short_text(&exact, Rounding::Nearest), axis.symbol())
}

/// Nothing is asked for that is finer than the coarser of the two sources.
///
/// Settings were rounded down, so that one of exactly one count may now lie less than a ULP below it: what counts
/// is the next ULP.
fn resolution(reader: &Reader<'_>, parts: &Parts<'_>) -> Got<()> {
    let Some((letter, coarsest)) =
        parts.channels().map(|(letter, channel)| (letter, count(channel))).max_by_key(|(_, count)| *count)
    else {
        return Ok(());
    };
    let mut all = Ok(());
    let one_count = travel_text(coarsest, parts.axis);
    let windows =
        parts.standstills().map(|(owner, windows)| ("position_window", owner, &windows.position_window));
    let tolerance =
        parts.discrepancy.map(|watch| ("tolerance", "[discrepancy]".to_owned(), &watch.tolerance));
    for (key, owner, setting) in windows.chain(tolerance) {
        if (i128::from(setting.value.to_bits()) + 1) * NANO <= coarsest {
            all = Err(reader.refuse(
                setting.span.clone(),
                format!("`{key}` of {owner} is finer than channel {letter} can resolve"),
                format!("less than one count of {one_count}"),
                format!("one count of channel {letter} is {one_count}: raise `{key}` to at least that, or use a finer sensor"),
            ));
        }
    }
    let window = parts.speed.map(|speed| speed.window.value.as_nanos());
    let Some(window) = window.filter(|nanos| (MIN_WINDOW_NS..=MAX_WINDOW_NS).contains(nanos)) else {
        return all;
    };
    for Threshold { key, owner, setting, .. } in parts.thresholds() {
        let bits = i128::from(setting.value.to_bits());
        // Steps of 10⁻⁹ ULP over nanoseconds are ULP over seconds.
        if (bits + 1) * i128::from(window) > coarsest {
            continue;
        }
        let resolved = Exact::new(coarsest, i128::from(window) * i128::from(ULPS_PER_UNIT));
        let needed = u64::try_from(coarsest / (bits + 1) + 1).ok().filter(|nanos| *nanos <= MAX_WINDOW_NS);
        let longer = needed.map_or(String::new(), |nanos| {
            format!(", lengthen `window` of [speed] to at least {}", short_time_text(nanos, Rounding::Up))
        });
        all = Err(reader.refuse(
            setting.span.clone(),
            format!("`{key}` of {owner} is finer than channel {letter} can resolve"),
            "less than one count over the window",
            format!(
                "one count of channel {letter} over the {} window is {} {}/s; a speed below it can never be told from \
                 standstill: raise `{key}` to at least that{longer}, or use a finer sensor",
                time_text(window),
                short_text(&resolved, Rounding::Up),
                parts.axis.symbol(),
            ),
        ));
    }
    all
}

/// Between two readings a counter moves less than half its range, so that its change has one meaning.
fn wraps(reader: &Reader<'_>, parts: &Parts<'_>) -> Got<()> {
    let mut all = Ok(());
    for (letter, channel) in parts.channels() {
        let bits = match channel.source {
            Source::Counter { bits, .. } => bits,
            Source::Position { .. } => 64,
        };
        // Half the range, less the count that a plausible change may be longer and one for rounding.
        let half = (1_i128 << (bits - 1)) - 2;
        let count = count(channel);
        let speed = i128::from(channel.max_speed.value.to_bits());
        // A product beyond an `i128` is beyond any counter.
        let travel = speed.checked_mul(i128::from(channel.timeout.value.as_nanos())).unwrap_or(i128::MAX);
        if travel < half * count {
            continue;
        }
        let shortest = u64::try_from((half * count - 1) / speed).ok().filter(|nanos| *nanos > 0);
        let shorter = shortest.map_or(String::new(), |nanos| {
            format!("; shorten `timeout` to at most {}", short_time_text(nanos, Rounding::Down))
        });
        let (from, to) =
            (speed_text(channel.max_speed.value, parts.axis), time_text(channel.timeout.value.as_nanos()));
        all = Err(reader.report(Mistake {
            span: channel.timeout.span.clone(),
            message: format!("the counter of channel {letter} cannot be unwrapped within its `timeout`"),
            label: format!("time for {} counts", travel / count),
            related: Some((channel.max_speed.span.clone(), format!("at {from}"))),
            way_out: format!(
                "with {bits} bits, a change of {half} counts or more in {to} could be one the other way{shorter}, lower \
                 `max_speed` to what the mechanics can reach, or use more bits"
            ),
        }));
    }
    all
}

/// Standing is slower than slow, and slow is slower than what the mechanics can do.
fn order_of_speeds(reader: &Reader<'_>, parts: &Parts<'_>) -> Got<()> {
    let mut all = Ok(());
    let thresholds = parts.thresholds();
    let slowest_limit = thresholds
        .iter()
        .filter(|threshold| threshold.role == ThresholdRole::Limit)
        .min_by_key(|threshold| threshold.setting.value);
    let slowest_axis = parts.channels().min_by_key(|(_, channel)| channel.max_speed.value);
    for threshold in thresholds.iter().filter(|threshold| threshold.role != ThresholdRole::Tolerance) {
        let Threshold { key, owner, setting, role } = threshold;
        if let Some((letter, channel)) = slowest_axis
            && channel.max_speed.value < setting.value
        {
            let fastest = speed_text(channel.max_speed.value, parts.axis);
            all = Err(reader.report(Mistake {
                span: setting.span.clone(),
                message: format!("`{key}` of {owner} is above `max_speed` of channel {letter}"),
                label: "could never be exceeded".to_owned(),
                related: Some((
                    channel.max_speed.span.clone(),
                    "faster is a fault of the channel".to_owned(),
                )),
                way_out: format!(
                    "lower `{key}` below {fastest}, or raise `max_speed` to what the mechanics can reach"
                ),
            }));
            continue;
        }
        if let Some(limit) = slowest_limit
            && *role == ThresholdRole::StandstillSpeed
            && limit.setting.value <= setting.value
        {
            let slow = speed_text(limit.setting.value, parts.axis);
            all = Err(reader.report(Mistake {
                span: setting.span.clone(),
                message: format!("`{key}` of {owner} is not below `limit` of {}", limit.owner),
                label: "counts as standing".to_owned(),
                related: Some((limit.setting.span.clone(), "counts as slow".to_owned())),
                way_out: format!(
                    "lower `{key}` below {slow}: an axis that still moves like that has not stopped"
                ),
            }));
        }
    }
    all
}
