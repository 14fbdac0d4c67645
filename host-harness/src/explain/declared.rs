//! What the setup declares of a cause, beside what was found of it.

use monitor_core::{Channel, Span};
use schemars::JsonSchema;
use serde::Serialize;

use super::raw::seconds;
use super::track::number;
use super::words::{ms, plain};
use crate::causes::{Cause, Estimate, Side, Term};
use crate::setup::{SensorSetup, Setup};

/// The most of a cause that the setup declares in `[sensors]`, from which the tolerances are worked out.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Declared {
    /// Where in the setup file.
    pub key: String,
    /// The most that it declares; null: nothing.
    pub at_most: Option<f64>,
    /// The size that was found, in the same unit.
    pub found: f64,
    /// The unit of both.
    pub unit: String,
    /// The whole 95 % interval of what was found lies beyond it.
    pub is_beyond: bool,
}

/// What is declared of the main cause of a disagreement; `None` for a failure, of which nothing can be.
pub(super) fn declared(setup: &Setup, term: &Term) -> Option<Declared> {
    let (sensors, unit) = (&setup.sensors, setup.unit.symbol());
    let length = |setting: Option<f64>| (setting, unit.to_owned());
    let (key, (at_most, unit), found): (_, _, Estimate) = match &term.cause {
        Cause::Scale { ppm } => {
            #[expect(clippy::cast_precision_loss, reason = "an explanation needs no more than 53 bits")]
            let at_most = sensors.scale_error.as_ref().map(|error| error.value as f64 / 1000.0);
            ("sensors.scale_error", (at_most, "ppm".to_owned()), *ppm)
        }
        Cause::TimeSkew { by, .. } => {
            let own = |channel| {
                let SensorSetup { delay, jitter, .. } = sensors.channel(channel);
                [delay, jitter].into_iter().flatten().map(|setting| setting.value.as_nanos()).sum::<u64>()
            };
            let skew = sensors.time_skew.as_ref().map(|skew| {
                let all = skew.value.as_nanos().saturating_add(own(Channel::A) + own(Channel::B));
                seconds(Span::from_nanos(all).as_nanos())
            });
            ("sensors.time_skew", (skew, "s".to_owned()), *by)
        }
        Cause::Compliance { per_acceleration } => {
            let each = sensors.compliance.as_ref().map(|compliance| {
                1000.0 * number(compliance.by.value.to_bits()) / number(compliance.per.value.to_bits())
            });
            let unit = format!("{unit} for every 1000 {unit}/s^2");
            ("sensors.compliance", (each, unit), per_acceleration.times(1000.0))
        }
        Cause::Backlash { width, .. } => {
            let play = sensors.backlash.as_ref().map(|play| number(play.value.to_bits()));
            ("sensors.backlash", length(play), *width)
        }
        Cause::Eccentricity { side, amplitude, .. } => {
            let of = |sensor: &SensorSetup| {
                sensor.eccentricity.as_ref().map(|turn| number(turn.amplitude.value.to_bits()))
            };
            let (key, most) = match side {
                Some(Side::A) => ("sensors.a.eccentricity", of(&sensors.a)),
                Some(Side::B) => ("sensors.b.eccentricity", of(&sensors.b)),
                // It may be of either: the larger of the two is held against it.
                None if of(&sensors.b) > of(&sensors.a) => ("sensors.b.eccentricity", of(&sensors.b)),
                None => ("sensors.a.eccentricity", of(&sensors.a)),
            };
            (key, length(most), *amplitude)
        }
        Cause::Drift { .. } => {
            let drift = sensors.drift.as_ref().map(|drift| number(drift.value.to_bits()));
            ("sensors.drift", length(drift), term.share)
        }
        _ => return None,
    };
    let least = found.value.abs() - found.margin();
    Some(Declared {
        key: key.to_owned(),
        at_most,
        found: found.value.abs(),
        unit,
        is_beyond: at_most.is_some_and(|most| least > most),
    })
}

impl Declared {
    /// In words.
    pub(super) fn text(&self) -> String {
        let key = &self.key;
        let shown = |value: f64| match self.unit.as_str() {
            "s" => format!("{}, delays and jitters included", ms(value)),
            unit => format!("{} {unit}", plain(value)),
        };
        match self.at_most {
            None => format!(
                "the setup declares nothing of that (`{key}`), so `cowitness margins` does not reckon with it"
            ),
            Some(most) if self.is_beyond => format!(
                "`{key}` declares at most {}: the machine is not what the tolerance was worked out for",
                shown(most)
            ),
            Some(most) => format!(
                "`{key}` declares up to {}: `cowitness margins` tells the tolerance that this takes",
                shown(most)
            ),
        }
    }
}
