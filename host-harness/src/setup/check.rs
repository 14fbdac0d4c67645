//! Settings against each other: what each part alone allows, but the whole cannot do.
//!
//! All sums are exact, over the values in force after rounding. Bounds: steps and ULP fit an `i64`, so that a
//! product of two of them fits an `i128`.

use monitor_core::{Span, Speed};

use super::analogue;
use super::model::{
    AnalogueSetup, AxisUnit, BrakingSetup, By, ChannelSetup, DiscrepancySetup, LimitSetup, MonitorKind,
    MonitorSetup, ReferenceSetup, Setting, Source, SpeedDiscrepancySetup, SpeedSetup, StandstillSetup, Until,
    spacing,
};
use super::resolution::{resolution, resolution_of_accelerations};
use super::section::{ColumnUse, Got, Mistake, Reader, Role};
use super::value::{short_time_text, time_text};
use super::{HISTORY_POINTS, MAX_AGE_NS, MAX_HISTORY_NS, MAX_WINDOW_NS, MIN_WINDOW_NS};
use crate::decimal::{Exact, Rounding, ULPS_PER_UNIT, short_text};

/// Steps of 10⁻⁹ ULP in one ULP; also nanoseconds in a second.
pub(super) const NANO: i128 = 1_000_000_000;

/// What could be read of a setup.
pub(super) struct Parts<'a> {
    pub(super) axis: AxisUnit,
    pub(super) cycle: Option<&'a Setting<Span>>,
    pub(super) a: Option<&'a ChannelSetup>,
    pub(super) b: Option<&'a ChannelSetup>,
    pub(super) speed: Option<&'a SpeedSetup>,
    pub(super) discrepancy: Option<&'a DiscrepancySetup>,
    pub(super) speed_discrepancy: Option<&'a SpeedDiscrepancySetup>,
    pub(super) analogues: Vec<&'a AnalogueSetup>,
    pub(super) monitors: &'a [MonitorSetup],
}

/// A speed that the setup compares with.
pub(super) struct Threshold<'a> {
    pub(super) key: &'static str,
    pub(super) owner: String,
    role: ThresholdRole,
    pub(super) setting: &'a Setting<Speed>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum ThresholdRole {
    /// What the axis may run at most while a monitor is active, in both directions.
    Limit,
    /// The same in one direction, with the sign of that direction or without one.
    OneWay,
    /// What the axis must run at least while a monitor is active: the end of a range that is nearer to zero.
    Least,
    /// What counts as standing at the end of a stop.
    StandstillSpeed,
    /// What a standing axis may still move at.
    SpeedWindow,
    /// A difference of two speeds.
    Tolerance,
    /// Below which an output says that the axis is slow.
    Told,
    /// How far beside that the output switches.
    Hysteresis,
}

impl<'a> Parts<'a> {
    pub(super) fn channels(&self) -> impl Iterator<Item = (&'static str, &'a ChannelSetup)> {
        [("a", self.a), ("b", self.b)].into_iter().filter_map(|(letter, channel)| Some((letter, channel?)))
    }

    pub(super) fn standstills(&self) -> impl Iterator<Item = (String, &'a StandstillSetup)> {
        self.monitors.iter().filter_map(|monitor| match &monitor.kind {
            MonitorKind::Standstill(windows)
            | MonitorKind::Stop { until: Until::Standstill(windows), .. } => Some((owner(monitor), windows)),
            _ => None,
        })
    }

    fn needs_acceleration(&self) -> bool {
        self.monitors.iter().any(|monitor| monitor.kind.needs_acceleration())
    }

    /// The window, when it is one that a speed can be measured over.
    pub(super) fn window(&self) -> Option<&'a Setting<Span>> {
        let window = &self.speed?.window;
        (MIN_WINDOW_NS..=MAX_WINDOW_NS).contains(&window.value.as_nanos()).then_some(window)
    }

    pub(super) fn brakings(&self) -> impl Iterator<Item = (String, &'a BrakingSetup)> {
        self.monitors.iter().filter_map(|monitor| match &monitor.kind {
            MonitorKind::Stop { by: By::Deceleration { braking, .. }, .. } => Some((owner(monitor), braking)),
            _ => None,
        })
    }

    pub(super) fn thresholds(&self) -> Vec<Threshold<'a>> {
        let windows = self.standstills().map(|(owner, windows)| Threshold {
            key: "speed_window",
            owner,
            role: ThresholdRole::SpeedWindow,
            setting: &windows.speed_window,
        });
        let others = self.monitors.iter().filter_map(|monitor| {
            let (key, role, setting) = match &monitor.kind {
                MonitorKind::SpeedLimit { limit: LimitSetup::Both(limit), .. } => {
                    ("limit", ThresholdRole::Limit, limit)
                }
                MonitorKind::Stop {
                    by: By::Ramp { standstill_speed, .. } | By::Deceleration { standstill_speed, .. },
                    ..
                } => ("standstill_speed", ThresholdRole::StandstillSpeed, standstill_speed),
                MonitorKind::SpeedOutput { threshold, .. } => ("threshold", ThresholdRole::Told, threshold),
                _ => return None,
            };
            Some(Threshold { key, owner: owner(monitor), role, setting })
        });
        // Without one, an output switches on and off at the same speed.
        let hystereses = self.monitors.iter().filter_map(|monitor| match &monitor.kind {
            MonitorKind::SpeedOutput { hysteresis, .. } if hysteresis.value > Speed::ZERO => {
                Some(Threshold {
                    key: "hysteresis",
                    owner: owner(monitor),
                    role: ThresholdRole::Hysteresis,
                    setting: hysteresis,
                })
            }
            _ => None,
        });
        let ends = self.monitors.iter().flat_map(|monitor| {
            let (keys, ends) = match &monitor.kind {
                MonitorKind::SpeedLimit { limit: LimitSetup::Each { positive, negative }, .. } => {
                    (["positive", "negative"], [(positive, false), (negative, false)])
                }
                MonitorKind::SpeedRange(range) => {
                    let (low, high) = (&range.low, &range.high);
                    (["low", "high"], [(low, low.value > Speed::ZERO), (high, high.value < Speed::ZERO)])
                }
                _ => return Vec::new(),
            };
            let ends = keys.into_iter().zip(ends).map(|(key, (setting, is_least))| Threshold {
                key,
                owner: owner(monitor),
                role: if is_least { ThresholdRole::Least } else { ThresholdRole::OneWay },
                setting,
            });
            ends.collect()
        });
        let tolerance = self.speed_discrepancy.map(|watch| Threshold {
            key: "tolerance",
            owner: "[speed_discrepancy]".to_owned(),
            role: ThresholdRole::Tolerance,
            setting: &watch.tolerance,
        });
        windows.chain(others).chain(hystereses).chain(ends).chain(tolerance).collect()
    }
}

impl Threshold<'_> {
    /// How far it is from standing, whatever its direction.
    pub(super) fn size(&self) -> Speed {
        Speed::from_bits(self.setting.value.to_bits().saturating_abs())
    }

    /// Whether it is a step between two speeds, rounded up.
    pub(super) fn is_hysteresis(&self) -> bool {
        self.role == ThresholdRole::Hysteresis
    }

    /// Whether it belongs to one direction; it may then be zero.
    pub(super) fn has_direction(&self) -> bool {
        matches!(self.role, ThresholdRole::OneWay | ThresholdRole::Least)
    }
}

pub(super) fn owner(monitor: &MonitorSetup) -> String {
    format!("monitor \"{}\"", monitor.name)
}

/// Runs every check and reports all that fail.
pub(super) fn run(reader: &Reader<'_>, parts: &Parts<'_>) -> Got<()> {
    let checks = [
        columns(reader),
        times(reader, parts),
        analogue::times(reader, parts),
        brakings(reader, parts),
        references(reader, parts),
        resolution(reader, parts),
        resolution_of_accelerations(reader, parts),
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
        // There are enough points for any axis.
        let spacing = spacing(Span::from_nanos(window), HISTORY_POINTS, parts.needs_acceleration())
            .map_or(0, Span::as_nanos);
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
pub(super) fn count(channel: &ChannelSetup) -> i128 {
    channel.count_nano_ulps().map_or(NANO, i128::from)
}

fn speed_text(speed: Speed, axis: AxisUnit) -> String {
    let exact = Exact::new(i128::from(speed.to_bits()), i128::from(ULPS_PER_UNIT));
    format!("{} {}/s", short_text(&exact, Rounding::Nearest), axis.symbol())
}

/// The deceleration of a stop looks back over two windows: earlier it would see the motion before the braking.
fn brakings(reader: &Reader<'_>, parts: &Parts<'_>) -> Got<()> {
    let Some(window) = parts.window() else {
        return Ok(());
    };
    let two = window.value.as_nanos() * 2;
    let mut all = Ok(());
    for (owner, braking) in parts.brakings().filter(|(_, braking)| braking.delay.value.as_nanos() < two) {
        all = Err(reader.report(Mistake {
            span: braking.delay.span.clone(),
            message: format!("`delay` of the braking of {owner} is shorter than two windows of the speed"),
            label: "would compare with motion from before the braking".to_owned(),
            related: Some((window.span.clone(), "a deceleration looks back over two of these".to_owned())),
            way_out: format!(
                "raise `delay` to at least {} and the time until the axis brakes, or shorten `window` of [speed]",
                time_text(two)
            ),
        }));
    }
    all
}

/// A rule on the position needs one that means a place of the machine, on both channels.
fn references(reader: &Reader<'_>, parts: &Parts<'_>) -> Got<()> {
    let unreferenced: Vec<_> = parts
        .channels()
        .filter(|(_, channel)| channel.reference == ReferenceSetup::None)
        .map(|(letter, _)| letter)
        .collect();
    let (channels, sections) = match unreferenced.as_slice() {
        [] => return Ok(()),
        [one] => (format!("channel {one} has"), format!("[channel.{one}]")),
        _ => ("channels a and b have".to_owned(), "[channel.a] and [channel.b]".to_owned()),
    };
    let mut all = Ok(());
    for monitor in parts.monitors {
        let (MonitorKind::PositionRange(range) | MonitorKind::CamOutput { range, .. }) = &monitor.kind else {
            continue;
        };
        all = Err(reader.refuse(
            range.low.span.clone(),
            format!("{} goes by places of the machine, and {channels} no `reference`", owner(monitor)),
            "without a reference, positions count from wherever they started",
            format!(
                "add to {sections}: reference = \"absolute\" where the counter knows its place; or reference = \"event\" and \
                 a section [reference] with the input that declares a position, and that position"
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
    // A limit of zero forbids a direction and does not say what is slow.
    let slowest_limit = thresholds
        .iter()
        .filter(|threshold| matches!(threshold.role, ThresholdRole::Limit | ThresholdRole::OneWay))
        .filter(|threshold| threshold.size() > Speed::ZERO)
        .min_by_key(|threshold| threshold.size());
    let slowest_axis = parts.channels().min_by_key(|(_, channel)| channel.max_speed.value);
    let compared =
        |role| !matches!(role, ThresholdRole::Tolerance | ThresholdRole::Least | ThresholdRole::Hysteresis);
    for threshold in thresholds.iter().filter(|threshold| compared(threshold.role)) {
        let Threshold { key, owner, setting, role } = threshold;
        if let Some((letter, channel)) = slowest_axis
            && channel.max_speed.value < threshold.size()
        {
            let fastest = speed_text(channel.max_speed.value, parts.axis);
            let (beyond, lower) = match setting.value < Speed::ZERO {
                true => ("beyond", format!("raise `{key}` above -{fastest}")),
                false => ("above", format!("lower `{key}` below {fastest}")),
            };
            all = Err(reader.report(Mistake {
                span: setting.span.clone(),
                message: format!("`{key}` of {owner} is {beyond} `max_speed` of channel {letter}"),
                label: "could never be exceeded".to_owned(),
                related: Some((
                    channel.max_speed.span.clone(),
                    "faster is a fault of the channel".to_owned(),
                )),
                way_out: format!("{lower}, or raise `max_speed` to what the mechanics can reach"),
            }));
            continue;
        }
        if let Some(limit) = slowest_limit
            && *role == ThresholdRole::StandstillSpeed
            && limit.size() <= setting.value
        {
            let slow = speed_text(limit.size(), parts.axis);
            all = Err(reader.report(Mistake {
                span: setting.span.clone(),
                message: format!("`{key}` of {owner} is not below `{}` of {}", limit.key, limit.owner),
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
