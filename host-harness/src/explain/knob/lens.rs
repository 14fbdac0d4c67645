//! A setting at its place in a setup, counted in steps.

use monitor_core::{Acceleration, Jerk, Position, Span, Speed, Value};

use super::Way;
use crate::setup::{AxisUnit, OneSided, Setting};

/// Steps of a value in one unit: a thousandth of it.
const STEPS: i128 = 1000;

/// Nanoseconds in one step of a time: a microsecond.
const TIME_STEP: i64 = 1000;

/// ULPs in one unit.
const ULPS: i128 = 1 << 24;

/// A setting in a setup.
pub(super) enum Lens<'a> {
    Time(&'a mut Setting<Span>),
    Position(&'a mut Setting<Position>),
    Speed(&'a mut Setting<Speed>),
    Acceleration(&'a mut Setting<Acceleration>),
    Jerk(&'a mut Setting<Jerk>),
    Value(&'a mut Setting<Value>),
    /// Two words, the stricter one is step 0.
    OneSided(&'a mut OneSided),
}

impl Lens<'_> {
    /// Whether its values are words.
    pub(super) const fn is_word(&self) -> bool {
        matches!(self, Self::OneSided(_))
    }

    /// The value in ULPs, where it is one of 24 fractional bits.
    fn bits(&self) -> Option<i64> {
        Some(match self {
            Self::Position(setting) => setting.value.to_bits(),
            Self::Speed(setting) => setting.value.to_bits(),
            Self::Acceleration(setting) => setting.value.to_bits(),
            Self::Jerk(setting) => setting.value.to_bits(),
            Self::Value(setting) => setting.value.to_bits(),
            Self::Time(_) | Self::OneSided(_) => return None,
        })
    }

    /// The value in steps; `round` has what is not in ULPs in steps already.
    fn in_steps(&self, of_bits: impl Fn(i64) -> Option<i64>, of_nanos: impl Fn(i64) -> i64) -> Option<i64> {
        match self {
            Self::Time(setting) => i64::try_from(setting.value.as_nanos()).ok().map(of_nanos),
            Self::OneSided(one_sided) => Some(i64::from(**one_sided == OneSided::Ignore)),
            _ => of_bits(self.bits()?),
        }
    }

    /// The value in steps, rounded to the stricter side.
    pub(super) fn steps(&self, looser: Way) -> Option<i64> {
        self.in_steps(
            |bits| steps_of(bits, looser),
            |nanos| match looser {
                Way::Up => nanos.div_euclid(TIME_STEP),
                Way::Down => -(-nanos).div_euclid(TIME_STEP),
            },
        )
    }

    /// The value in steps, to the nearest.
    pub(super) fn nearest(&self) -> Option<i64> {
        self.in_steps(
            |bits| i64::try_from((i128::from(bits) * STEPS * 2 + ULPS).div_euclid(2 * ULPS)).ok(),
            |nanos| (nanos + TIME_STEP / 2) / TIME_STEP,
        )
    }

    /// Sets it to so many steps, rounded as told; `None` where it cannot be.
    pub(super) fn set(self, steps: i64, rounds: Way) -> Option<()> {
        let scaled = i128::from(steps) * ULPS;
        let bits = match rounds {
            Way::Down => scaled.div_euclid(STEPS),
            Way::Up => -(-scaled).div_euclid(STEPS),
        };
        let bits = i64::try_from(bits).ok()?;
        match self {
            Self::Time(setting) => {
                let nanos = u64::try_from(steps.checked_mul(TIME_STEP)?).ok()?;
                setting.value = Span::from_nanos(nanos);
            }
            Self::Position(setting) => setting.value = Position::from_bits(bits),
            Self::Speed(setting) => setting.value = Speed::from_bits(bits),
            Self::Acceleration(setting) => setting.value = Acceleration::from_bits(bits),
            Self::Jerk(setting) => setting.value = Jerk::from_bits(bits),
            Self::Value(setting) => setting.value = Value::from_bits(bits),
            Self::OneSided(one_sided) => {
                *one_sided = if steps == 0 { OneSided::Fault } else { OneSided::Ignore };
            }
        }
        Some(())
    }

    /// So many steps as the file would have them.
    pub(super) fn written(&self, steps: i64, unit: AxisUnit, value_unit: &str) -> String {
        let (unit, thousandths) = (unit.symbol(), thousandths(steps));
        match self {
            Self::Time(_) => format!("{thousandths} ms"),
            Self::Position(_) => format!("{thousandths} {unit}"),
            Self::Speed(_) => format!("{thousandths} {unit}/s"),
            Self::Acceleration(_) => format!("{thousandths} {unit}/s^2"),
            Self::Jerk(_) => format!("{thousandths} {unit}/s^3"),
            Self::Value(_) => format!("{thousandths} {value_unit}"),
            Self::OneSided(_) => if steps == 0 { "fault" } else { "ignore" }.to_owned(),
        }
    }
}

/// ULPs in steps, rounded to the stricter side.
pub(super) fn steps_of(bits: i64, looser: Way) -> Option<i64> {
    let scaled = i128::from(bits) * STEPS;
    let steps = match looser {
        Way::Up => scaled.div_euclid(ULPS),
        Way::Down => -(-scaled).div_euclid(ULPS),
    };
    i64::try_from(steps).ok()
}

/// Thousandths as a decimal without zeros at its end.
fn thousandths(steps: i64) -> String {
    let size = steps.unsigned_abs();
    let sign = if steps < 0 { "-" } else { "" };
    let text = format!("{sign}{}.{:03}", size / 1000, size % 1000);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
