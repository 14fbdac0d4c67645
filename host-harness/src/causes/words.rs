//! Numbers in words.

use crate::setup::AxisUnit;

use super::cause::Estimate;

/// What the plain text of a result needs besides the result.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Words {
    /// `mm` or `deg`.
    pub unit: &'static str,
}

impl Words {
    /// For an axis in this unit.
    #[must_use]
    pub const fn new(unit: AxisUnit) -> Self {
        Self { unit: unit.symbol() }
    }

    /// A time in ms with its 95 % margin.
    pub(super) fn time(self, time: Estimate) -> String {
        with_margin(time.times(1000.0), "ms")
    }
}

/// An instant in seconds, to 0.1 ms.
pub(super) fn seconds(ns: i64) -> String {
    format!("{:.4}", ns as f64 / 1e9)
}

/// A length with its 95 % margin.
pub(super) fn length(length: Estimate, unit: &str) -> String {
    with_margin(length, unit)
}

/// A speed with its 95 % margin.
pub(super) fn rate(rate: Estimate, unit: &str) -> String {
    with_margin(rate, &format!("{unit}/s"))
}

pub(super) fn with_margin(value: Estimate, unit: &str) -> String {
    if value.standard_error == 0.0 {
        return format!("{} {unit}", plain(value.value, value.value));
    }
    // As many digits as show two of the margin.
    let step = value.margin();
    format!("{} {unit}, +-{} {unit}", plain(value.value, step * 100.0), plain(step, step * 100.0))
}

/// A number with about four digits of `size`.
pub(super) fn plain(value: f64, size: f64) -> String {
    let digits = if size == 0.0 { 3.0 } else { (3.0 - size.abs().log10().floor()).clamp(0.0, 9.0) };
    // Bounded because it was clamped.
    let digits = digits as usize;
    format!("{value:.digits$}")
}
