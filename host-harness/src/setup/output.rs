//! Rules on the position, and outputs: what is told of the axis, and the brake.

use monitor_core::{Position, Speed};

use super::model::{MonitorKind, RangeSetup, Setting};
use super::monitor::range;
use super::section::{Got, Mistake, Section};
use super::value::{OR_ZERO, OR_ZERO_UP, POSITIVE};

/// The outputs of the motion, which may demand other monitors.
pub(super) const OF_THE_MOTION: [&str; 2] = ["cam-output", "speed-output"];

pub(super) fn is_output(kind: &str) -> bool {
    OF_THE_MOTION.contains(&kind) || kind == "brake-output"
}

/// Refuses what belongs to a trip: an output has none. Where it is not written, nothing offers it.
pub(super) fn no_trip(section: &Section<'_>) -> Got<()> {
    const KEYS: [(&str, &str); 3] = [
        ("on_delay", "an output does not trip, so that there is nothing to delay"),
        ("allowed_overrun", "an output does not trip, so that there is nothing to overrun"),
        ("reaction", "an output does not trip, so that there is nothing to react to"),
    ];
    const WAY_OUT: &str = "leave it out; to watch a limit while the output is on, let it demand a monitor";
    KEYS.map(|(key, why)| section.misplaced(key, why, WAY_OUT)).into_iter().collect()
}

/// Refuses a demand of a brake.
pub(super) fn no_demand(section: &Section<'_>) -> Got<()> {
    section.misplaced(
        "demand",
        "the brake goes by the permit alone",
        "leave it out; what is to close the brake must withdraw the permit, for example kind = \"torque-off\"",
    )
}

pub(super) fn cam(section: &Section<'_>) -> Got<MonitorKind> {
    let range = range::<Position>(section);
    let hysteresis = section.or_zero::<Position>("hysteresis", OR_ZERO_UP);
    let (range, hysteresis) = (range?, hysteresis?);
    check_room(section, &range, &hysteresis)?;
    Ok(MonitorKind::CamOutput { range, hysteresis })
}

/// There is a place at which it switches on, and none that is compared with is beyond the range.
fn check_room(
    section: &Section<'_>,
    range: &RangeSetup<Position>,
    hysteresis: &Setting<Position>,
) -> Got<()> {
    let bits = |setting: &Setting<Position>| i128::from(setting.value.to_bits());
    let (low, high, h) = (bits(&range.low), bits(&range.high), bits(hysteresis));
    if low + h > high - h {
        return Err(section.reader.report(Mistake {
            span: hysteresis.span.clone(),
            message: format!("`hysteresis` of {} leaves nothing of its range", section.title),
            label: "switched on so far inside of both ends".to_owned(),
            related: Some((range.low.span.clone(), "the range begins here".to_owned())),
            way_out: format!(
                "lower `hysteresis` to at most half of what is between `low` and `high`, or move these apart; it is \
                 held in steps of 2^-24 {}, rounded up",
                section.axis.symbol()
            ),
        }));
    }
    let beyond = [("low", &range.low, low - h), ("high", &range.high, high + h)];
    // Both ends of what there is count as beyond it.
    match beyond.into_iter().find(|(.., place)| place.abs() >= i128::from(i64::MAX)) {
        None => Ok(()),
        Some((key, end, _)) => Err(section.reader.report(Mistake {
            span: end.span.clone(),
            message: format!("`{key}` of {} and its `hysteresis` are together too large", section.title),
            label: "beyond the range".to_owned(),
            related: Some((hysteresis.span.clone(), "is still near so far outside".to_owned())),
            way_out: format!(
                "keep both together within 549755813887 {}; is the unit the right one?",
                section.axis.symbol()
            ),
        })),
    }
}

pub(super) fn speed(section: &Section<'_>) -> Got<MonitorKind> {
    let threshold = section.required::<Speed>("threshold", POSITIVE);
    let hysteresis = section.or_zero::<Speed>("hysteresis", OR_ZERO_UP);
    let (threshold, hysteresis) = (threshold?, hysteresis?);
    let unit = section.axis.symbol();
    if hysteresis.value >= threshold.value {
        return Err(section.reader.report(Mistake {
            span: hysteresis.span.clone(),
            message: format!("`hysteresis` of {} is not below its `threshold`", section.title),
            label: "no speed is so far below it".to_owned(),
            related: Some((threshold.span.clone(), "is to be switched on below this".to_owned())),
            way_out: "lower `hysteresis`, or leave it out; some counts over the window are enough".to_owned(),
        }));
    }
    // The hysteresis is smaller, so that their sum stays within the range.
    if threshold.value.to_bits() >= 1 << 62 {
        return Err(section.reader.refuse(
            threshold.span.clone(),
            format!("`threshold` of {} is too large", section.title),
            "beyond the range",
            format!("write less than 274877906944 {unit}/s; is the unit the right one?"),
        ));
    }
    Ok(MonitorKind::SpeedOutput { threshold, hysteresis })
}

pub(super) fn brake(section: &Section<'_>) -> Got<MonitorKind> {
    let delay = section.span_or_zero("delay", OR_ZERO)?;
    if delay.value.as_nanos() >> 63 == 0 {
        return Ok(MonitorKind::BrakeOutput { delay });
    }
    Err(section.reader.refuse(
        delay.span,
        format!("`delay` of {} is too long", section.title),
        "beyond the range",
        "write what the brake takes to hold, usually below 1 s",
    ))
}
