//! Values with units out of a section, rounded to the grid of the monitors.

use std::ops::Range;

use monitor_core::{Acceleration, Jerk, Position, Span, Speed, Value};
use num_traits::{Signed, Zero};

use super::MIN_COUNT_NANO_ULPS;
use super::model::{AnalogueUnit, AxisUnit, Setting};
use super::section::{Entry, Got, Reported, Section, Text};
use crate::decimal::{
    Dimension, Exact, Quantity, RangeError, Rounding, ULPS_PER_UNIT, Unit, ValueError, ValueErrorKind,
    exact_text, parse_quantity, parse_unit, round_scaled, short_text, to_nano_ulps, to_nanos, to_ulps,
};

/// How a setting is rounded, and which it may be.
#[derive(Clone, Copy)]
pub(crate) struct Rule {
    rounding: Rounding,
    least: Least,
}

/// Which values a setting may have.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Least {
    /// Any of either sign, and zero.
    Signed,
    /// Zero or above.
    Zero,
    /// Above zero.
    AboveZero,
}

/// Above zero, rounded down.
pub(crate) const POSITIVE: Rule = Rule { rounding: Rounding::Down, least: Least::AboveZero };
/// Zero or above, rounded down.
pub(super) const OR_ZERO: Rule = Rule { rounding: Rounding::Down, least: Least::Zero };
/// Above zero, rounded up.
pub(super) const POSITIVE_UP: Rule = Rule { rounding: Rounding::Up, least: Least::AboveZero };
/// Zero or above, rounded up.
pub(super) const OR_ZERO_UP: Rule = Rule { rounding: Rounding::Up, least: Least::Zero };
/// A place, of either sign: it has no stricter side.
pub(super) const PLACE: Rule = Rule { rounding: Rounding::Nearest, least: Least::Signed };
/// The lower end of a range: of either sign, rounded up.
pub(super) const LOW: Rule = Rule { rounding: Rounding::Up, least: Least::Signed };
/// The upper end of a range: of either sign, rounded down.
pub(super) const HIGH: Rule = Rule { rounding: Rounding::Down, least: Least::Signed };

/// A quantity of the monitors that can be read from a text.
pub(crate) trait Measured: Sized {
    fn dimension(axis: AxisUnit) -> Dimension;
    fn convert(value: &Exact, rounding: Rounding) -> Result<Self, RangeError>;
    /// The finest step and the largest value, for a message.
    fn bounds(axis: AxisUnit) -> (String, String);
}

/// A value that its negative is one of too, so that every setting has a magnitude.
fn with_magnitude(bits: i64) -> Result<i64, RangeError> {
    if bits == i64::MIN { Err(RangeError::TooLarge) } else { Ok(bits) }
}

/// A value that is none of the largest there are.
fn inside(bits: i64) -> Result<i64, RangeError> {
    if bits.saturating_abs() == i64::MAX { Err(RangeError::TooLarge) } else { Ok(bits) }
}

/// Step and largest value of the fixed point, in the base of a dimension.
fn fixed_point_bounds(base: &str) -> (String, String) {
    let step = Exact::new(1, i128::from(ULPS_PER_UNIT));
    (format!("{} {base}", short_text(&step, Rounding::Up)), format!("549755813887 {base}"))
}

impl Measured for Position {
    fn dimension(axis: AxisUnit) -> Dimension {
        axis.position()
    }
    fn convert(value: &Exact, rounding: Rounding) -> Result<Self, RangeError> {
        // One that was measured beyond the range counts as its end.
        inside(to_ulps(value, rounding)?).map(Self::from_bits)
    }
    fn bounds(axis: AxisUnit) -> (String, String) {
        fixed_point_bounds(axis.symbol())
    }
}

impl Measured for Speed {
    fn dimension(axis: AxisUnit) -> Dimension {
        axis.speed()
    }
    fn convert(value: &Exact, rounding: Rounding) -> Result<Self, RangeError> {
        to_ulps(value, rounding).and_then(with_magnitude).map(Self::from_bits)
    }
    fn bounds(axis: AxisUnit) -> (String, String) {
        fixed_point_bounds(&format!("{}/s", axis.symbol()))
    }
}

/// A quantity that is zero where a key is left out.
pub(super) trait MeasuredZero: Measured {
    fn zero(axis: AxisUnit) -> Setting<Self>;
}

impl MeasuredZero for Position {
    fn zero(axis: AxisUnit) -> Setting<Self> {
        Setting { value: Self::ZERO, text: format!("0 {}", axis.symbol()), span: 0..0 }
    }
}

impl MeasuredZero for Speed {
    fn zero(axis: AxisUnit) -> Setting<Self> {
        Setting { value: Self::ZERO, text: format!("0 {}/s", axis.symbol()), span: 0..0 }
    }
}

impl Measured for Acceleration {
    fn dimension(axis: AxisUnit) -> Dimension {
        axis.acceleration()
    }
    fn convert(value: &Exact, rounding: Rounding) -> Result<Self, RangeError> {
        // One that was measured beyond the range counts as the largest: no limit may be that.
        inside(to_ulps(value, rounding)?).map(Self::from_bits)
    }
    fn bounds(axis: AxisUnit) -> (String, String) {
        fixed_point_bounds(&format!("{}/s^2", axis.symbol()))
    }
}

impl Measured for Jerk {
    fn dimension(axis: AxisUnit) -> Dimension {
        axis.jerk()
    }
    fn convert(value: &Exact, rounding: Rounding) -> Result<Self, RangeError> {
        to_ulps(value, rounding).map(Self::from_bits)
    }
    fn bounds(axis: AxisUnit) -> (String, String) {
        fixed_point_bounds(&format!("{}/s^3", axis.symbol()))
    }
}

impl Measured for Span {
    fn dimension(_: AxisUnit) -> Dimension {
        Dimension::Time
    }
    fn convert(value: &Exact, rounding: Rounding) -> Result<Self, RangeError> {
        to_nanos(value, rounding).map(Self::from_nanos)
    }
    fn bounds(_: AxisUnit) -> (String, String) {
        ("1 ns".to_owned(), "5124095 h".to_owned())
    }
}

/// How a setting of some quantity is read.
struct Reading<T> {
    dimension: Dimension,
    convert: fn(&Exact, Rounding) -> Result<T, RangeError>,
    /// As those of [`Measured`].
    bounds: (String, String),
}

impl<T: Measured> Reading<T> {
    fn on(axis: AxisUnit) -> Self {
        Self { dimension: T::dimension(axis), convert: T::convert, bounds: T::bounds(axis) }
    }
}

impl Reading<Value> {
    /// An analogue value, whose unit is its own and not that of the axis.
    fn in_unit(unit: AnalogueUnit) -> Self {
        // A difference that is beyond the range counts as its end: no tolerance may be that.
        let convert = |value: &Exact, rounding| inside(to_ulps(value, rounding)?).map(Value::from_bits);
        Self { dimension: unit.dimension(), convert, bounds: fixed_point_bounds(unit.symbol()) }
    }
}

impl Reading<Position> {
    /// A length in mm, whatever the unit of the axis.
    fn length() -> Self {
        let axis = AxisUnit::Millimetre;
        Self { dimension: Dimension::Length, convert: Position::convert, bounds: Position::bounds(axis) }
    }
}

impl Reading<u64> {
    /// A share in parts of 10⁻⁹.
    fn parts_per_billion() -> Self {
        let convert = |value: &Exact, rounding| {
            // Shares are held in %.
            let parts = round_scaled(value, 10_000_000, rounding);
            parts.and_then(|parts| u64::try_from(parts).ok()).ok_or(RangeError::TooLarge)
        };
        let bounds = ("0.001 ppm".to_owned(), "1000000000 %".to_owned());
        Self { dimension: Dimension::Share, convert, bounds }
    }
}

/// A value as it may be written for a key, for a message.
pub(super) fn example(key: &str, dimension: Dimension) -> &'static str {
    match (key, dimension) {
        ("timeout", _) => "4 ms",
        ("window", _) => "8 ms",
        ("delay", _) => "100 ms",
        ("discrepancy_time", _) => "20 ms",
        ("within", _) => "500 ms",
        ("max_speed", Dimension::Speed) => "3 m/s",
        ("max_speed", _) => "3600 deg/s",
        ("margin", Dimension::Speed) => "50 mm/s",
        ("margin", Dimension::Acceleration) => "0.3 m/s^2",
        ("margin", Dimension::AngularAcceleration) => "30 deg/s^2",
        ("margin", _) => "20 deg/s",
        ("low", Dimension::Length) => "-100 mm",
        ("low", Dimension::Angle) => "-90 deg",
        ("high" | "position", Dimension::Length) => "100 mm",
        ("high" | "position", Dimension::Angle) => "90 deg",
        ("low", Dimension::Speed) => "-250 mm/s",
        ("low", Dimension::AngularSpeed) => "-90 deg/s",
        ("low", Dimension::Acceleration) => "-2 m/s^2",
        ("low", Dimension::Torque) => "-120 Nm",
        ("low", Dimension::Share) => "-300 %",
        ("low", Dimension::Temperature) => "-40 degC",
        ("high", Dimension::Torque) => "120 Nm",
        ("high", Dimension::Share) => "300 %",
        ("high", Dimension::Temperature) => "200 degC",
        ("tolerance", Dimension::Torque) => "5 Nm",
        ("tolerance", Dimension::Share) => "5 %",
        ("tolerance", Dimension::Temperature) => "10 degC",
        ("low", _) => "-360 deg/s^2",
        ("speed_window" | "standstill_speed" | "threshold", Dimension::Speed) => "10 mm/s",
        ("speed_window" | "standstill_speed" | "threshold", _) => "5 deg/s",
        (_, dimension) => dimension.sample(),
    }
}

/// A time for a sentence with at most four significant digits, rounded as named (down unless up).
pub(super) fn short_time_text(nanos: u64, rounding: Rounding) -> String {
    let step = 10_u64.pow(nanos.checked_ilog10().unwrap_or(0).saturating_sub(3));
    let steps = if rounding == Rounding::Up { nanos.div_ceil(step) } else { nanos / step };
    time_text(steps * step)
}

/// A time for a sentence, exact, in the largest unit of which there is at least one.
pub(super) fn time_text(nanos: u64) -> String {
    let (size, unit) = match nanos {
        1_000_000_000.. => (1_000_000_000, "s"),
        1_000_000.. => (1_000_000, "ms"),
        1_000.. => (1_000, "us"),
        _ => (1, "ns"),
    };
    format!("{} {unit}", exact_text(&Exact::new(i128::from(nanos), size)))
}

/// What to write for a value in K: a difference is the same in degC, a temperature is not.
fn of_kelvins(key: &str, text: &str, error: &ValueError) -> Option<String> {
    let ValueErrorKind::UnknownUnit { unit, expected: Dimension::Temperature, .. } = &error.kind else {
        return None;
    };
    if !["k", "kelvin", "\u{b0}k"].contains(&unit.to_lowercase().as_str()) {
        return None;
    }
    let number = text.get(..error.range.start)?.trim();
    Some(match key {
        "tolerance" => format!("write it as \"{number} degC\": a difference is the same in both"),
        _ => "write the temperature in degC: 0 degC are 273.15 K".to_owned(),
    })
}

impl<'r> Section<'r> {
    /// Where inside the file a part of a string is: exact when the string is written without escapes.
    fn within(&self, text: &Text<'r>, part: Range<usize>) -> Range<usize> {
        match self.reader.source(text.span.clone()).find(text.text) {
            Some(offset) if !text.text.is_empty() => {
                let start = text.span.start + offset;
                start + part.start..start + part.end
            }
            _ => text.span.clone(),
        }
    }

    fn refuse_value(&self, key: &str, text: &Text<'r>, error: &ValueError) -> Reported {
        let label = match error.kind {
            ValueErrorKind::Number(_) => "here",
            ValueErrorKind::MissingUnit { .. } => "no unit",
            ValueErrorKind::UnknownUnit { .. } => "unknown unit",
            ValueErrorKind::WrongDimension { .. } => "unit of something else",
        };
        let span = self.within(text, error.range.clone());
        let way_out = of_kelvins(key, text.text, error).unwrap_or_else(|| error.way_out());
        self.reader.refuse(span, format!("`{key}` of {}: {error}", self.title), label, way_out)
    }

    /// A quantity as a string; a bare number is refused with the string it should have been.
    pub(crate) fn quantity(&self, entry: &Entry<'r>, dimension: Dimension) -> Got<(Quantity, Text<'r>)> {
        use toml::de::DeValue;
        let text = match entry.value {
            DeValue::String(text) => Text { text, span: entry.span.clone() },
            DeValue::Integer(_) | DeValue::Float(_) => {
                let number = self.reader.source(entry.span.clone());
                let unit = dimension.sample().split(' ').nth(1).unwrap_or_default();
                let way_out = format!(
                    "put number and unit in quotes, for example: {} = \"{number} {unit}\"",
                    entry.key
                );
                return Err(self.wrong_type(
                    entry,
                    &format!("{} with its unit", dimension.with_article()),
                    way_out,
                ));
            }
            _ => {
                let way_out = format!("write for example {} = \"{}\"", entry.key, dimension.sample());
                return Err(self.wrong_type(
                    entry,
                    &format!("{} with its unit", dimension.with_article()),
                    way_out,
                ));
            }
        };
        match parse_quantity(text.text, dimension) {
            Ok(quantity) => Ok((quantity, text)),
            Err(error) => Err(self.refuse_value(entry.key, &text, &error)),
        }
    }

    pub(super) fn setting<T: Measured>(&self, entry: &Entry<'r>, rule: Rule) -> Got<Setting<T>> {
        self.read_setting(entry, rule, Reading::on(self.axis))
    }

    fn read_setting<T>(&self, entry: &Entry<'r>, rule: Rule, how: Reading<T>) -> Got<Setting<T>> {
        let Reading { dimension, convert, bounds: (step, largest) } = how;
        let (quantity, text) = self.quantity(entry, dimension)?;
        let (key, title) = (entry.key, &self.title);
        let refuse =
            |message, label, way_out| Err(self.reader.refuse(text.span.clone(), message, label, way_out));
        let negative = quantity.value.is_negative();
        if negative && rule.least != Least::Signed {
            let way_out = match rule.least {
                Least::AboveZero if dimension == Dimension::Time => "write a time above zero".to_owned(),
                Least::AboveZero => {
                    "write a positive value: what is meant is a magnitude, for both directions".to_owned()
                }
                _ => "write zero or a positive value: what is meant is a magnitude".to_owned(),
            };
            return refuse(format!("`{key}` of {title} must not be negative"), "negative", way_out);
        }
        if quantity.value.is_zero() && rule.least == Least::AboveZero {
            let way_out = format!("write a positive value, for example \"{}\"", example(key, dimension));
            return refuse(format!("`{key}` of {title} must be above zero"), "zero", way_out);
        }
        match convert(&quantity.value, rule.rounding) {
            Ok(value) => Ok(Setting { value, text: text.text.trim().to_owned(), span: text.span }),
            Err(RangeError::TooFine) => refuse(
                format!("`{key}` of {title} is smaller than the step of {step} it is held in"),
                "would be rounded to zero",
                match (rule.least, negative) {
                    (Least::AboveZero, _) => format!("write at least {step}"),
                    (_, false) => format!("write at least {step}, or zero"),
                    (_, true) => format!("write -{step} or less, or zero"),
                },
            ),
            Err(RangeError::TooLarge | RangeError::Negative) => refuse(
                format!("`{key}` of {title} is too large"),
                "beyond the range",
                match negative {
                    true => format!("write -{largest} or more; is the unit the right one?"),
                    false => format!("write at most {largest}; is the unit the right one?"),
                },
            ),
        }
    }

    /// A setting that must be there.
    pub(crate) fn required<T: Measured>(&self, key: &'static str, rule: Rule) -> Got<Setting<T>> {
        let entry = self.needed(key, &format!("\"{}\"", example(key, T::dimension(self.axis))))?;
        self.setting(&entry, rule)
    }

    /// As [`Self::required`], in the unit of an analogue value.
    pub(super) fn required_in(
        &self,
        key: &'static str,
        rule: Rule,
        unit: AnalogueUnit,
    ) -> Got<Setting<Value>> {
        let entry = self.needed(key, &format!("\"{}\"", example(key, unit.dimension())))?;
        self.read_setting(&entry, rule, Reading::in_unit(unit))
    }

    /// A setting that may be left out.
    pub(crate) fn optional<T: Measured>(&self, key: &'static str, rule: Rule) -> Got<Option<Setting<T>>> {
        self.entry(key).map(|entry| self.setting(&entry, rule)).transpose()
    }

    /// A length in mm that may be left out, whatever the unit of the axis.
    pub(super) fn length(&self, key: &'static str, rule: Rule) -> Got<Option<Setting<Position>>> {
        self.entry(key)
            .map(|entry| self.read_setting(&entry, rule, Reading::<Position>::length()))
            .transpose()
    }

    /// A share in parts of 10⁻⁹ that may be left out, rounded up.
    pub(super) fn parts_per_billion(&self, key: &'static str) -> Got<Option<Setting<u64>>> {
        let read = |entry| self.read_setting(&entry, OR_ZERO_UP, Reading::<u64>::parts_per_billion());
        self.entry(key).map(read).transpose()
    }

    /// A time that is zero when left out.
    pub(super) fn span_or_zero(&self, key: &'static str, rule: Rule) -> Got<Setting<Span>> {
        let zero = || Setting { value: Span::ZERO, text: "0 ms".to_owned(), span: 0..0 };
        self.optional(key, rule).map(|setting| setting.unwrap_or_else(zero))
    }

    /// A position or a speed that is zero when left out.
    pub(super) fn or_zero<T: MeasuredZero>(&self, key: &'static str, rule: Rule) -> Got<Setting<T>> {
        self.optional(key, rule).map(|setting| setting.unwrap_or_else(|| T::zero(self.axis)))
    }

    /// The name of a unit.
    pub(super) fn unit(&self, text: &Text<'r>, key: &str, dimension: Dimension) -> Got<Unit> {
        parse_unit(text.text, dimension).map_err(|error| self.refuse_unit(text, key, dimension, &error))
    }

    /// The unit of a column of times: one of which a nanosecond is a decimal fraction.
    pub(super) fn time_unit(&self, text: &Text<'r>, key: &str) -> Got<Unit> {
        let unit = self.unit(text, key, Dimension::Time)?;
        if ["min", "h"].contains(&unit.symbol) {
            return Err(self.reader.refuse(
                text.span.clone(),
                format!(
                    "`{key}` of {} cannot be {}: a nanosecond is no decimal fraction of it",
                    self.title, unit.symbol
                ),
                "not the unit of a time column",
                "write s, ms, us or ns, and record the times in it",
            ));
        }
        Ok(unit)
    }

    fn refuse_unit(&self, text: &Text<'r>, key: &str, dimension: Dimension, error: &ValueError) -> Reported {
        // Not every time is the unit of a column.
        let examples = if dimension == Dimension::Time { "s, ms, us, ns" } else { dimension.examples() };
        let (span, label) = (text.span.clone(), "not a unit for this column");
        let way_out = match &error.kind {
            ValueErrorKind::UnknownUnit { meant: Some(_), .. } => error.way_out(),
            _ => format!("write one of: {examples}"),
        };
        match error.kind {
            ValueErrorKind::MissingUnit { .. } => {
                let message =
                    format!("`{key}` of {} is empty; expected {}", self.title, dimension.with_article());
                self.reader.refuse(span, message, label, way_out)
            }
            _ => {
                let span = self.within(text, error.range.clone());
                self.reader.refuse(span, format!("`{key}` of {}: {error}", self.title), label, way_out)
            }
        }
    }

    /// The travel of one count: not zero, of either sign, in steps of 10⁻⁹ ULP.
    pub(super) fn unit_per_count(&self, entry: &Entry<'r>) -> Got<Setting<i64>> {
        let dimension = self.axis.position();
        let (quantity, text) = self.quantity(entry, dimension)?;
        let (key, title, unit) = (entry.key, &self.title, self.axis.symbol());
        let refuse =
            |message, label, way_out| Err(self.reader.refuse(text.span.clone(), message, label, way_out));
        if quantity.value.is_zero() {
            let way_out = format!(
                "write the travel of one count, for example \"{}\"",
                match self.axis {
                    AxisUnit::Millimetre => "0.001 mm",
                    AxisUnit::Degree => "360/4096 deg",
                }
            );
            return refuse(format!("`{key}` of {title} must not be zero"), "zero", way_out);
        }
        match to_nano_ulps(&quantity.value) {
            Ok(value) if value.unsigned_abs() >= MIN_COUNT_NANO_ULPS => {
                Ok(Setting { value, text: text.text.trim().to_owned(), span: text.span })
            }
            Ok(_) | Err(RangeError::TooFine) => refuse(
                format!("`{key}` of {title} is smaller than 2^-34 {unit}"),
                "too fine to be held without visible rounding",
                format!("one count must be at least 6e-11 {unit}; is the unit the right one?"),
            ),
            Err(RangeError::TooLarge | RangeError::Negative) => refuse(
                format!("`{key}` of {title} is too large"),
                "beyond the range",
                format!("one count may be at most 549 {unit}; is the unit the right one?"),
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_is_said_in_the_unit_that_suits_it() {
        for (nanos, text) in
            [(0, "0 ns"), (999, "999 ns"), (10_000, "10 us"), (8_000_000, "8 ms"), (2_500_000_000, "2.5 s")]
        {
            assert_eq!(time_text(nanos), text);
        }
    }

    #[test]
    fn a_short_time_has_four_digits_on_the_named_side() {
        assert_eq!(short_time_text(10_000_004, Rounding::Up), "10.01 ms");
        assert_eq!(short_time_text(41_999, Rounding::Down), "41.99 us");
        assert_eq!(short_time_text(0, Rounding::Up), "0 ns");
        assert_eq!(short_time_text(8_000_000, Rounding::Up), "8 ms");
    }
}
