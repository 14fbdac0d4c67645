//! How near everything came that did not trip: what would come first.

use monitor_core::Instant;
use schemars::JsonSchema;
use serde::Serialize;

use super::track::number;
use crate::causes::Side;
use crate::replay::{Headroom, MonitorFacts, Outcome};
use crate::report::Seconds;
use crate::setup::{By, LimitSetup, MonitorKind, RangeSetup, Setup, Until};

/// How near one rule came to its limit on one channel.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Nearest {
    /// The monitor, or `discrepancy` or `speed_discrepancy`, or an analogue value.
    pub rule: String,
    /// The channel; null for a comparison of both.
    pub channel: Option<Side>,
    /// The smallest distance to the limit, in `unit`; negative: beyond it, but not for its on-delay.
    pub headroom: f64,
    /// Its unit.
    pub unit: String,
    /// The headroom as a share of what is allowed, where that has a size of its own: the smallest of these would come first.
    pub share: Option<f64>,
    /// When.
    pub at_s: Seconds,
    /// Frames at which the limit was exceeded for less than its on-delay; null: they are not counted for a comparison of both.
    pub exceeded_frames: Option<u64>,
}

/// All rules that were ever compared, the smallest share first.
pub(super) fn nearest(setup: &Setup, outcome: &Outcome) -> Vec<Nearest> {
    let mut all: Vec<Nearest> =
        outcome.monitors.iter().filter_map(|facts| of_monitor(setup, outcome, facts)).collect();
    let unit = setup.unit.symbol();
    let both = |rule: &str, bits: i64, limit: Option<i64>, unit: String, at: Instant| {
        let headroom = number(bits);
        Nearest {
            rule: rule.to_owned(),
            channel: None,
            headroom,
            unit,
            share: limit.map(|limit| headroom / number(limit)),
            at_s: Seconds(outcome.time_ns(at)),
            exceeded_frames: None,
        }
    };
    if let (Some(apart), Some(rule)) = (&outcome.position_discrepancy, &setup.discrepancy) {
        let (headroom, at) = apart.headroom;
        let limit = Some(rule.tolerance.value.to_bits());
        all.push(both("discrepancy", headroom.to_bits(), limit, unit.to_owned(), at));
    }
    if let (Some(apart), Some(rule)) = (&outcome.speed_discrepancy, &setup.speed_discrepancy) {
        let (headroom, at) = apart.headroom;
        let limit = Some(rule.tolerance.value.to_bits());
        all.push(both("speed_discrepancy", headroom.to_bits(), limit, format!("{unit}/s"), at));
    }
    for (apart, analogue) in outcome.analogue_discrepancies.iter().zip(&setup.analogues) {
        if let Some(apart) = apart {
            let (headroom, at) = apart.headroom;
            let limit = Some(analogue.tolerance.value.to_bits());
            let unit = analogue.unit.symbol().to_owned();
            all.push(both(&analogue.name, headroom.to_bits(), limit, unit, at));
        }
    }
    let key = |nearest: &Nearest| nearest.share.unwrap_or(f64::INFINITY);
    all.sort_by(|one, other| key(one).total_cmp(&key(other)));
    all
}

/// The rules that were never active, or never compared anything: of them a trace says nothing.
pub(super) fn not_compared(setup: &Setup, outcome: &Outcome) -> Vec<String> {
    let of = |monitor: usize| outcome.monitors.iter().filter(move |facts| facts.monitor == monitor);
    let watches = |monitor: usize| {
        let kind = &setup.monitors[monitor].kind;
        !kind.is_output()
            && !matches!(kind, MonitorKind::TorqueOff | MonitorKind::Stop { by: By::Time { .. }, .. })
    };
    let names: Vec<_> = (0..setup.monitors.len())
        .filter(|&monitor| watches(monitor) && of(monitor).all(|facts| facts.headroom.is_none()))
        .map(|monitor| format!("\"{}\"", setup.monitors[monitor].name))
        .collect();
    if names.is_empty() {
        Vec::new()
    } else {
        vec![format!("never compared in this trace: {}", names.join(", "))]
    }
}

fn of_monitor(setup: &Setup, outcome: &Outcome, facts: &MonitorFacts) -> Option<Nearest> {
    let (headroom, at) = facts.headroom?;
    let monitor = setup.monitors.get(facts.monitor)?;
    let unit = setup.unit.symbol();
    let (bits, unit) = match headroom {
        Headroom::Position(headroom) => (headroom.to_bits(), unit.to_owned()),
        Headroom::Speed(headroom) => (headroom.to_bits(), format!("{unit}/s")),
        Headroom::Acceleration(headroom) => (headroom.to_bits(), format!("{unit}/s^2")),
        Headroom::Value(headroom) => (
            headroom.to_bits(),
            setup.analogue_unit(facts.monitor).map_or("", |unit| unit.symbol()).to_owned(),
        ),
    };
    let limit = allowed(&monitor.kind, &headroom).filter(|limit| *limit > 0).map(number);
    Some(Nearest {
        rule: monitor.name.clone(),
        channel: Some(Side::from(facts.channel)),
        headroom: number(bits),
        unit,
        share: limit.map(|limit| number(bits) / limit),
        at_s: Seconds(outcome.time_ns(at)),
        exceeded_frames: Some(facts.exceeded),
    })
}

/// What a monitor allows, in ULPs: the limit that stays, or half the width of a range.
fn allowed(kind: &MonitorKind, headroom: &Headroom) -> Option<i64> {
    fn half<T: Copy>(range: &RangeSetup<T>, bits: impl Fn(T) -> i64) -> i64 {
        bits(range.high.value).saturating_sub(bits(range.low.value)) / 2
    }
    let windows = match kind {
        MonitorKind::Standstill(windows) | MonitorKind::Stop { until: Until::Standstill(windows), .. } => {
            Some(windows)
        }
        _ => None,
    };
    match (kind, headroom) {
        (MonitorKind::Stop { by: By::Ramp { ramp, .. }, .. }, Headroom::Speed(_)) => {
            Some(ramp.margin.value.to_bits())
        }
        (MonitorKind::Stop { by: By::Deceleration { braking, .. }, .. }, Headroom::Acceleration(_)) => {
            Some(braking.deceleration.value.to_bits())
        }
        (MonitorKind::SpeedLimit { limit, .. }, _) => match limit {
            LimitSetup::Both(limit) => Some(limit.value.to_bits()),
            LimitSetup::Each { .. } => Some(limit.larger().to_bits()),
        },
        (MonitorKind::SpeedRange(range), _) => Some(half(range, |speed| speed.to_bits())),
        (MonitorKind::Direction { tolerance, .. }, _) => Some(tolerance.value.to_bits()),
        (MonitorKind::AccelerationLimit { limit }, _) => Some(limit.value.to_bits()),
        (MonitorKind::AccelerationRange(range), _) => Some(half(range, |value| value.to_bits())),
        (MonitorKind::TravelLimit { increment }, _) => Some(increment.value.to_bits()),
        (MonitorKind::PositionRange(range), _) => Some(half(range, |place| place.to_bits())),
        (MonitorKind::TorqueLimit { limit, .. } | MonitorKind::TemperatureLimit { limit, .. }, _) => {
            Some(limit.value.to_bits())
        }
        (MonitorKind::TorqueRange { range, .. }, _) => Some(half(range, |value| value.to_bits())),
        (_, Headroom::Position(_)) => windows.map(|windows| windows.position_window.value.to_bits()),
        (_, Headroom::Speed(_)) => windows.map(|windows| windows.speed_window.value.to_bits()),
        _ => None,
    }
}
