//! Ways to a lower speed: ramps, and stops with what supervises them.

use std::ops::Range;

use monitor_core::{Acceleration, Jerk, Span, Speed};

use super::model::{BrakingSetup, By, MonitorKind, RampSetup, Setting, Until};
use super::monitor::{ask, standstill};
use super::section::{Got, Mistake, Section};
use super::value::{OR_ZERO, POSITIVE, POSITIVE_UP, example, time_text};
use crate::decimal::{Exact, Rounding, ULPS_PER_UNIT, short_text};

pub(super) fn optional_ramp(section: &Section<'_>) -> Got<Option<RampSetup>> {
    let title = format!("the ramp of {}", section.title);
    section.subsection("ramp", &title)?.map(ramp).transpose()
}

fn ramp(section: Section<'_>) -> Got<RampSetup> {
    let delay = section.required("delay", OR_ZERO);
    let deceleration = section.required("deceleration", POSITIVE_UP);
    let margin = section.required("margin", OR_ZERO);
    let margin = margin.and_then(|margin| check_margin(&section, margin));
    let jerk = section.optional("jerk", POSITIVE_UP);
    let round = match (&deceleration, &jerk) {
        (Ok(deceleration), Ok(Some(jerk))) => check_corners(&section, deceleration, jerk),
        _ => Ok(()),
    };
    section.finish()?;
    round?;
    Ok(RampSetup { delay: delay?, deceleration: deceleration?, margin: margin?, jerk: jerk? })
}

/// Both stay within the range of what is worked out from them, and the deceleration is reached in less than 2³² ns.
fn check_corners(
    section: &Section<'_>,
    deceleration: &Setting<Acceleration>,
    jerk: &Setting<Jerk>,
) -> Got<()> {
    let unit = section.axis.symbol();
    let (d, j) = (deceleration.value.to_bits(), jerk.value.to_bits());
    let too_large = |key, span: &Range<usize>, per: &str| {
        section.reader.refuse(
            span.clone(),
            format!("`{key}` of {} is too large for a ramp with rounded corners", section.title),
            "beyond the range",
            format!("write less than 137438953472 {unit}/{per}; is the unit the right one?"),
        )
    };
    let in_range = [
        (d < 1 << 61).then_some(()).ok_or_else(|| too_large("deceleration", &deceleration.span, "s^2")),
        (j < 1 << 61).then_some(()).ok_or_else(|| too_large("jerk", &jerk.span, "s^3")),
    ];
    in_range.into_iter().collect::<Got<()>>()?;
    // ULP per second squared times ns in a second: below 2⁹¹.
    let rise = i128::from(d) * 1_000_000_000;
    if rise / i128::from(j) <= i128::from(u32::MAX) {
        return Ok(());
    }
    let least = Exact::new((rise >> 32) + 1, i128::from(ULPS_PER_UNIT));
    let least = short_text(&least, Rounding::Up);
    Err(section.reader.report(Mistake {
        span: jerk.span.clone(),
        message: format!("`jerk` of {} takes more than 4.29 s to its `deceleration`", section.title),
        label: "a corner would last too long".to_owned(),
        related: Some((deceleration.span.clone(), "is reached by this jerk".to_owned())),
        way_out: format!(
            "raise `jerk` to at least {least} {unit}/s^3, or leave it out for a ramp with corners"
        ),
    }))
}

/// The margin on top of a speed must stay within the range of a speed.
fn check_margin(section: &Section<'_>, margin: Setting<Speed>) -> Got<Setting<Speed>> {
    if margin.value.to_bits() < 1 << 61 {
        return Ok(margin);
    }
    let unit = section.axis.symbol();
    Err(section.reader.refuse(
        margin.span,
        format!("`margin` of {} is too large", section.title),
        "beyond the range",
        format!("write less than 137438953472 {unit}/s; is the unit the right one?"),
    ))
}

fn braking(section: Section<'_>) -> Got<BrakingSetup> {
    let delay = section.required("delay", OR_ZERO);
    let deceleration = section.required::<Acceleration>("deceleration", POSITIVE_UP);
    let margin = section.required::<Acceleration>("margin", OR_ZERO);
    let enough = match (&deceleration, &margin) {
        (Ok(deceleration), Ok(margin)) if margin.value >= deceleration.value => {
            Err(section.reader.report(Mistake {
                span: margin.span.clone(),
                message: format!("`margin` of {} is not below its `deceleration`", section.title),
                label: "an axis that does not brake at all would be within it".to_owned(),
                related: Some((deceleration.span.clone(), "is to be reached but for the margin".to_owned())),
                way_out: "lower `margin` to the part of the deceleration that may be lacking".to_owned(),
            }))
        }
        _ => Ok(()),
    };
    section.finish()?;
    enough?;
    Ok(BrakingSetup { delay: delay?, deceleration: deceleration?, margin: margin? })
}

pub(super) fn stop(section: &Section<'_>) -> Got<MonitorKind> {
    let until = until(section);
    let by = by(section);
    Ok(MonitorKind::Stop { until: until?, by: by? })
}

fn until(section: &Section<'_>) -> Got<Until> {
    let word = section
        .string("until", "\"torque-off\"")
        .and_then(|text| section.choice(&text, "until", &[("torque-off", true), ("standstill", false)]));
    match word {
        Ok(false) => standstill(section).map(Until::Standstill),
        Ok(true) => {
            const WHY: &str = "a stop until torque-off does not watch a standstill";
            const WAY_OUT: &str = "leave it out, or write until = \"standstill\"";
            let refused = ["position_window", "speed_window"].map(|key| section.misplaced(key, WHY, WAY_OUT));
            refused.into_iter().collect::<Got<()>>().map(|()| Until::TorqueOff)
        }
        Err(error) => {
            ask(section, &["position_window", "speed_window"]);
            Err(error)
        }
    }
}

/// The words of `by`.
#[derive(Clone, Copy)]
enum Supervised {
    Ramp,
    Deceleration,
    Time,
}

fn by(section: &Section<'_>) -> Got<By> {
    const WORDS: [(&str, Supervised); 3] =
        [("ramp", Supervised::Ramp), ("deceleration", Supervised::Deceleration), ("time", Supervised::Time)];
    let word = section.string("by", "\"ramp\"").and_then(|text| section.choice(&text, "by", &WORDS));
    match word {
        Ok(Supervised::Ramp) => {
            let misplaced = section.misplaced(
                "braking",
                "a stop by ramp watches the speed, not the deceleration",
                "leave it out, or write by = \"deceleration\" and leave out `ramp`",
            );
            let ramp = table(section, "ramp", example("margin", section.axis.speed())).and_then(ramp);
            let standstill_speed = section.required("standstill_speed", POSITIVE);
            let within = section.optional("within", POSITIVE);
            misplaced?;
            Ok(By::Ramp { ramp: ramp?, standstill_speed: standstill_speed?, within: within? })
        }
        Ok(Supervised::Deceleration) => {
            let misplaced = section.misplaced(
                "ramp",
                "a stop by deceleration places no limit on the speed",
                "leave it out, or write by = \"ramp\" and leave out `braking`",
            );
            let braking =
                table(section, "braking", example("margin", section.axis.acceleration())).and_then(braking);
            let standstill_speed = section.required("standstill_speed", POSITIVE);
            let within = section.optional("within", POSITIVE);
            misplaced?;
            let (braking, within) = (braking?, within?);
            compared(section, &braking, within.as_ref())?;
            Ok(By::Deceleration { braking, standstill_speed: standstill_speed?, within })
        }
        Ok(Supervised::Time) => {
            const WHY: &str = "a stop by time watches no speed on the way";
            let refused = [("ramp", "ramp"), ("braking", "deceleration"), ("standstill_speed", "ramp")].map(
                |(key, by)| section.misplaced(key, WHY, &format!("leave it out, or write by = \"{by}\"")),
            );
            let within = section.required("within", POSITIVE);
            refused.into_iter().collect::<Got<()>>()?;
            Ok(By::Time { within: within? })
        }
        Err(error) => {
            ask(section, &["ramp", "braking", "standstill_speed", "within"]);
            Err(error)
        }
    }
}

/// The table of a ramp or a braking, which must be there.
fn table<'r>(section: &Section<'r>, key: &'static str, margin: &str) -> Got<Section<'r>> {
    section.subsection(key, &format!("the {key} of {}", section.title))?.ok_or_else(|| {
        let slope = example("deceleration", section.axis.acceleration());
        let table = format!("{{ delay = \"100 ms\", deceleration = \"{slope}\", margin = \"{margin}\" }}");
        section.missing(key, &table)
    })
}

/// A stop is not complete before its deceleration was compared.
fn compared(section: &Section<'_>, braking: &BrakingSetup, within: Option<&Setting<Span>>) -> Got<()> {
    match within {
        Some(within) if within.value <= braking.delay.value => Err(section.reader.report(Mistake {
            span: within.span.clone(),
            message: format!("`within` of {} is not above the `delay` of its braking", section.title),
            label: "complete before any deceleration was compared".to_owned(),
            related: Some((braking.delay.span.clone(), "compared from here on".to_owned())),
            way_out: format!(
                "raise `within` above {}, or write by = \"time\" and leave out `braking`",
                time_text(braking.delay.value.as_nanos())
            ),
        })),
        _ => Ok(()),
    }
}
