//! One value: as it is held, in units and in raw steps, beside how it was written.

use monitor_core::{Acceleration, Jerk, Position, Span, Speed, Value as Analogue};
use num_traits::CheckedMul;
use serde::Serialize;

use super::labels::Label;
use crate::decimal::{
    Dimension, Exact, NANO_ULPS_PER_UNIT, Rounding, ULPS_PER_UNIT, exact_text, parse_quantity, round_scaled,
    short_text,
};
use crate::setup::{AnalogueUnit, AxisUnit};

/// One value of a sealed setup.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Value {
    /// Where it belongs: `monitor.1.limit`. Inputs, analogue values and monitors are numbered from 0, in the order of the setup.
    pub path: String,
    /// The key as in a setup.
    pub key: String,
    /// The value in force: all digits of a number, or a word.
    pub held: String,
    /// The unit of a number.
    pub unit: Option<String>,
    /// The same as it is stored.
    pub raw: Raw,
    /// It is not stored but follows from others.
    pub derived: bool,
    /// Names of what it points to.
    pub names: Option<String>,
    /// How the setup asked for it; `None` for words, and where the image does not say.
    pub asked: Option<Asked>,
}

/// A value as it is stored.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Raw {
    /// The whole number, in decimal.
    pub steps: String,
    /// What one step is: `ULP`, `1e-9 ULP`, `ns`, or nothing.
    pub step: &'static str,
    /// The bits in the stored width, two's complement.
    pub hex: String,
}

/// How the setup asked for a value.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Asked {
    /// As written.
    pub text: String,
    /// The setup left it out, this is the default.
    pub default: bool,
    /// How what is held lies to it.
    pub fit: Fit,
    /// How far what is held is from it, in steps: a decimal, to four digits unless it is exact. `None` when it is exact or
    /// cannot be told.
    pub off_by: Option<String>,
}

/// How a value in force lies to what was asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Fit {
    /// The same.
    Exact,
    /// Rounded down to the next step, the stricter side.
    StricterBelow,
    /// Rounded up to the next step, the stricter side.
    StricterAbove,
    /// Rounded to the nearest step.
    Nearest,
    /// Not what the text is rounded to: the image was not made from it.
    Differs,
}

/// What a number is held in.
pub(super) struct Number {
    /// In steps.
    steps: i128,
    hex: String,
    grid: Grid,
    rounding: Rounding,
}

#[derive(Clone, Copy)]
enum Grid {
    /// ULP of the axis unit, per second, per second squared.
    Ulp(u8),
    NanoUlp,
    Nanosecond,
    /// ULP of an analogue value's own unit, where that is known.
    Own(Option<AnalogueUnit>),
}

impl Number {
    fn ulps(bits: i64, per_second: u8) -> Self {
        let (hex, grid) = (format!("0x{bits:016x}"), Grid::Ulp(per_second));
        Self { steps: bits.into(), hex, grid, rounding: Rounding::Down }
    }

    /// A setting that is stricter when it is larger.
    pub(super) fn up(self) -> Self {
        Self { rounding: Rounding::Up, ..self }
    }

    /// A setting that has no stricter side.
    pub(super) fn nearest(self) -> Self {
        Self { rounding: Rounding::Nearest, ..self }
    }

    /// An analogue value, whose unit the image may say.
    pub(super) fn of_its_own(value: Analogue, unit: Option<AnalogueUnit>) -> Self {
        let bits = value.to_bits();
        let (hex, grid) = (format!("0x{bits:016x}"), Grid::Own(unit));
        Self { steps: bits.into(), hex, grid, rounding: Rounding::Down }
    }

    /// Travel of a count, of either sign; stored as its size and its sign.
    pub(super) fn per_count(nano: u64, reversed: bool) -> Self {
        let steps = if reversed { -i128::from(nano) } else { nano.into() };
        let reversed = if reversed { "0x01 (yes)" } else { "0x00 (no)" };
        let hex = format!("0x{nano:016x}, reversed {reversed}");
        Self { steps, hex, grid: Grid::NanoUlp, rounding: Rounding::Nearest }
    }
}

impl From<Span> for Number {
    fn from(span: Span) -> Self {
        let nanos = span.as_nanos();
        let hex = format!("0x{nanos:016x}");
        Self { steps: nanos.into(), hex, grid: Grid::Nanosecond, rounding: Rounding::Down }
    }
}

impl From<Position> for Number {
    fn from(value: Position) -> Self {
        Self::ulps(value.to_bits(), 0)
    }
}

impl From<Speed> for Number {
    fn from(value: Speed) -> Self {
        Self::ulps(value.to_bits(), 1)
    }
}

impl From<Acceleration> for Number {
    fn from(value: Acceleration) -> Self {
        Self::ulps(value.to_bits(), 2)
    }
}

impl From<Jerk> for Number {
    fn from(value: Jerk) -> Self {
        Self::ulps(value.to_bits(), 3)
    }
}

impl Grid {
    /// Steps in one base of its dimension.
    const fn steps(self) -> u64 {
        match self {
            Self::Ulp(_) | Self::Own(_) => ULPS_PER_UNIT,
            Self::NanoUlp => NANO_ULPS_PER_UNIT,
            Self::Nanosecond => 1,
        }
    }

    const fn step(self) -> &'static str {
        match self {
            Self::Ulp(_) | Self::Own(_) => "ULP",
            Self::NanoUlp => "1e-9 ULP",
            Self::Nanosecond => "ns",
        }
    }

    /// `None` where the unit is not known.
    fn dimension(self, unit: Option<AxisUnit>) -> Option<Dimension> {
        match self {
            Self::Ulp(1) => unit.map(AxisUnit::speed),
            Self::Ulp(2) => unit.map(AxisUnit::acceleration),
            Self::Ulp(3) => unit.map(AxisUnit::jerk),
            Self::Ulp(_) | Self::NanoUlp => unit.map(AxisUnit::position),
            // Without the unit of the axis nothing is compared.
            Self::Nanosecond => unit.map(|_| Dimension::Time),
            Self::Own(unit) => unit.map(AnalogueUnit::dimension),
        }
    }
}

const NANOS_PER_MS: i128 = 1_000_000;

impl Value {
    pub(super) fn number(path: String, number: Number, unit: Option<AxisUnit>, label: Option<Label>) -> Self {
        let Number { steps, hex, grid, rounding } = number;
        let axis = unit.map_or("unit", AxisUnit::symbol);
        let (held, of) = match grid {
            Grid::Ulp(1) => (grid.steps().into(), format!("{axis}/s")),
            Grid::Ulp(2) => (grid.steps().into(), format!("{axis}/s^2")),
            Grid::Ulp(3) => (grid.steps().into(), format!("{axis}/s^3")),
            Grid::Ulp(_) | Grid::NanoUlp => (grid.steps().into(), axis.to_owned()),
            Grid::Own(Some(own)) => (grid.steps().into(), own.symbol().to_owned()),
            Grid::Own(None) => (grid.steps().into(), "of its own unit".to_owned()),
            Grid::Nanosecond => (NANOS_PER_MS, "ms".to_owned()),
        };
        let asked = label.map(|label| asked(label, steps, grid, rounding, unit));
        Self {
            key: key_of(&path),
            path,
            // Finite: the denominators are powers of two and of ten.
            held: exact_text(&Exact::new(steps, held)),
            unit: Some(of),
            raw: Raw { steps: steps.to_string(), step: grid.step(), hex },
            derived: false,
            names: None,
            asked,
        }
    }

    pub(super) fn word(path: String, held: impl Into<String>, raw: u32, bytes: usize) -> Self {
        Self {
            key: key_of(&path),
            path,
            held: held.into(),
            unit: None,
            raw: Raw {
                steps: raw.to_string(),
                step: "",
                hex: format!("0x{raw:0width$x}", width = 2 * bytes),
            },
            derived: false,
            names: None,
            asked: None,
        }
    }

    pub(super) fn derived(self) -> Self {
        Self { derived: true, ..self }
    }

    pub(super) fn named(self, names: Option<String>) -> Self {
        Self { names, ..self }
    }
}

/// The path without what it belongs to.
fn key_of(path: &str) -> String {
    let parts: Vec<&str> = path.split('.').collect();
    let owner =
        if matches!(parts.first(), Some(&("channel" | "input" | "analogue" | "monitor"))) { 2 } else { 1 };
    parts.get(owner..).unwrap_or_default().join(".")
}

fn asked(label: Label, steps: i128, grid: Grid, rounding: Rounding, unit: Option<AxisUnit>) -> Asked {
    let Label { text, default } = label;
    // Without a unit there is nothing to compare by; that cannot be told from a text that is no quantity.
    let exact = grid.dimension(unit).and_then(|dimension| parse_quantity(&text, dimension).ok());
    let rounded = exact.and_then(|exact| round_scaled(&exact.value, grid.steps(), rounding));
    let (Some(exact), true) = (exact, rounded == Some(steps)) else {
        return Asked { text, default, fit: Fit::Differs, off_by: None };
    };
    let is_exact = round_scaled(&exact.value, grid.steps(), Rounding::Down)
        == round_scaled(&exact.value, grid.steps(), Rounding::Up);
    let fit = match rounding {
        _ if is_exact => Fit::Exact,
        Rounding::Down => Fit::StricterBelow,
        Rounding::Up => Fit::StricterAbove,
        Rounding::Nearest => Fit::Nearest,
    };
    let in_steps = exact.value.checked_mul(&Exact::from_integer(grid.steps().into()));
    let off_by = in_steps.filter(|_| !is_exact).map(|asked| {
        let part = asked - asked.floor();
        let off =
            if asked.floor() == Exact::from_integer(steps) { part } else { Exact::from_integer(1) - part };
        short_text(&off, Rounding::Nearest)
    });
    Asked { text, default, fit, off_by }
}
