//! Values with units, as a scenario writes them: `"250 mm/s"`, `"0.25 ms"`, `"1/4096 rev"`.
//!
//! Lengths, angles and their rates become `f64` in the axis unit: the decimal is converted with one correct rounding,
//! and each unit factor or fraction adds at most one more, so the result has the same bits on every machine.
//! Times become whole nanoseconds, exactly, or are refused.

use super::error::Complaint;

/// The unit of the axis: every position of a scenario is held in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum AxisUnit {
    Millimetre,
    Degree,
}

impl AxisUnit {
    pub(super) fn parse(text: &str) -> Result<Self, Complaint> {
        match text {
            "mm" => Ok(Self::Millimetre),
            "deg" => Ok(Self::Degree),
            other => Err(Complaint::new(
                format!("`{other}` is no axis unit"),
                "write \"mm\" for a linear axis or \"deg\" for a rotary one",
            )),
        }
    }

    pub(super) const fn symbol(self) -> &'static str {
        match self {
            Self::Millimetre => "mm",
            Self::Degree => "deg",
        }
    }

    /// The unit's length or angle as a fraction of the axis unit.
    fn factor(self, symbol: &str) -> Option<(f64, f64)> {
        match (self, symbol) {
            (Self::Millimetre, "um" | "µm") => Some((1.0, 1000.0)),
            (Self::Millimetre, "mm") | (Self::Degree, "deg") => Some((1.0, 1.0)),
            (Self::Millimetre, "m") => Some((1000.0, 1.0)),
            (Self::Degree, "rev") => Some((360.0, 1.0)),
            _ => None,
        }
    }

    /// The symbols that fit this axis, each followed by `suffix`, for an advice.
    fn known(self, suffix: &str) -> String {
        let symbols: &[&str] = match self {
            Self::Millimetre => &["um", "mm", "m"],
            Self::Degree => &["deg", "rev"],
        };
        symbols.iter().map(|symbol| format!("{symbol}{suffix}")).collect::<Vec<_>>().join(" or ")
    }
}

/// How often a position has been differentiated by time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Order {
    Position,
    Speed,
    Acceleration,
    Jerk,
}

impl Order {
    const fn suffix(self) -> &'static str {
        match self {
            Self::Position => "",
            Self::Speed => "/s",
            Self::Acceleration => "/s^2",
            Self::Jerk => "/s^3",
        }
    }

    const fn name(self) -> &'static str {
        match self {
            Self::Position => "position",
            Self::Speed => "speed",
            Self::Acceleration => "acceleration",
            Self::Jerk => "jerk",
        }
    }
}

/// Largest magnitude of a value in the axis unit: 10^12 mm is a million kilometres.
const LARGEST: f64 = 1e12;

/// A decimal, or a fraction of two, in front of its unit.
struct Number<'a> {
    /// The numerator as written.
    numerator: &'a str,
    /// 1 when no fraction is written.
    denominator: u64,
    unit: &'a str,
}

/// Splits `text` into its number and its unit.
fn split(text: &str) -> Result<Number<'_>, Complaint> {
    let bad =
        || Complaint::new(format!("`{text}` is no value with a unit"), "write a number, a space and a unit");
    let text = text.trim();
    let bytes = text.as_bytes();
    let digits = |mut at: usize| {
        while bytes.get(at).is_some_and(u8::is_ascii_digit) {
            at += 1;
        }
        at
    };
    let sign = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    let mut end = digits(sign);
    if end == sign {
        return Err(bad());
    }
    if bytes.get(end) == Some(&b'.') {
        let fraction = digits(end + 1);
        if fraction == end + 1 {
            return Err(bad());
        }
        end = fraction;
    }
    if matches!(bytes.get(end), Some(b'e' | b'E')) {
        let start = end + 1 + usize::from(matches!(bytes.get(end + 1), Some(b'+' | b'-')));
        let exponent = digits(start);
        if exponent > start {
            end = exponent;
        }
    }
    let numerator = &text[..end];
    let mut denominator = 1;
    if bytes.get(end) == Some(&b'/') {
        let stop = digits(end + 1);
        denominator = text[end + 1..stop].parse().map_err(|_| bad())?;
        if denominator == 0 {
            return Err(bad());
        }
        end = stop;
    }
    Ok(Number { numerator, denominator, unit: text[end..].trim() })
}

impl Number<'_> {
    fn value(&self) -> Result<f64, Complaint> {
        let parsed = self.numerator.parse::<f64>();
        parsed.map(|numerator| numerator / self.denominator as f64).map_err(|_| {
            Complaint::new(format!("`{}` is no number", self.numerator), "write a decimal number")
        })
    }
}

/// A position, speed, acceleration or jerk in the axis unit and seconds.
pub(super) fn motion(text: &str, axis: AxisUnit, order: Order) -> Result<f64, Complaint> {
    let number = split(text)?;
    let factor = number.unit.strip_suffix(order.suffix()).and_then(|symbol| axis.factor(symbol));
    let Some((up, down)) = factor else {
        return Err(Complaint::new(
            format!("`{text}` is no {} of an axis in {}", order.name(), axis.symbol()),
            format!("write a number and {}", axis.known(order.suffix())),
        ));
    };
    let value = number.value()? * up / down;
    if value.abs() > LARGEST {
        return Err(Complaint::new(
            format!("`{text}` is out of range"),
            format!("stay within 1e12 {}{}", axis.symbol(), order.suffix()),
        ));
    }
    Ok(value)
}

/// The size of `symbol` in the axis unit, as numerator and denominator.
pub(super) fn column_unit(symbol: &str, axis: AxisUnit) -> Result<(f64, f64), Complaint> {
    axis.factor(symbol).ok_or_else(|| {
        Complaint::new(
            format!("`{symbol}` is no unit of an axis in {}", axis.symbol()),
            format!("use {}", axis.known("")),
        )
    })
}

/// An angle as a fraction of one turn.
pub(super) fn turns(text: &str) -> Result<f64, Complaint> {
    let number = split(text)?;
    match number.unit {
        "deg" => Ok(number.value()? / 360.0),
        "rev" => number.value(),
        _ => Err(Complaint::new(format!("`{text}` is no angle"), "write a number and deg or rev")),
    }
}

/// A ratio: parts per million or per cent.
pub(super) fn ratio(text: &str) -> Result<f64, Complaint> {
    let number = split(text)?;
    match number.unit {
        "ppm" => Ok(number.value()? / 1e6),
        "%" => Ok(number.value()? / 100.0),
        _ => Err(Complaint::new(format!("`{text}` is no ratio"), "write a number and ppm or %")),
    }
}

/// A frequency in hertz.
pub(super) fn frequency(text: &str) -> Result<f64, Complaint> {
    let number = split(text)?;
    match number.unit {
        "Hz" => number.value(),
        "kHz" => Ok(number.value()? * 1000.0),
        _ => Err(Complaint::new(format!("`{text}` is no frequency"), "write a number and Hz or kHz")),
    }
}

/// A time in whole nanoseconds, from 0 to 2^60 ns (about 36 years).
pub(super) fn time(text: &str) -> Result<i64, Complaint> {
    let number = split(text)?;
    let unit = match number.unit {
        "ns" => 1,
        "us" | "µs" => 1_000,
        "ms" => 1_000_000,
        "s" => 1_000_000_000,
        "min" => 60_000_000_000,
        _ => {
            return Err(Complaint::new(
                format!("`{text}` is no time"),
                "write a number and ns, us, ms, s or min",
            ));
        }
    };
    let (numerator, denominator) = exact(&number, unit).ok_or_else(|| {
        Complaint::new(format!("`{text}` has too many digits or is negative"), "write a time from 0 on")
    })?;
    if numerator % denominator != 0 {
        return Err(Complaint::new(
            format!("`{text}` is no whole number of nanoseconds"),
            "round it to 1 ns: instants are held in nanoseconds",
        ));
    }
    let ns = numerator / denominator;
    i64::try_from(ns)
        .ok()
        .filter(|ns| *ns <= 1 << 60)
        .ok_or_else(|| Complaint::new(format!("`{text}` is too long"), "stay below 36 years"))
}

/// The period of a rate, in nanoseconds, as numerator and denominator.
pub(super) fn rate_period(text: &str) -> Result<(u64, u64), Complaint> {
    let number = split(text)?;
    let unit = match number.unit {
        "Hz" => 1,
        "kHz" => 1_000,
        "MHz" => 1_000_000,
        _ => return Err(Complaint::new(format!("`{text}` is no rate"), "write a number and Hz, kHz or MHz")),
    };
    let bad = || Complaint::new(format!("`{text}` is no usable rate"), "write a rate from 1 mHz to 1 MHz");
    let (hertz, per) = exact(&number, unit).ok_or_else(bad)?;
    let numerator = per.checked_mul(1_000_000_000).ok_or_else(bad)?;
    if hertz == 0 || numerator / hertz < 1_000 || numerator / hertz > 1_000_000_000_000 {
        return Err(bad());
    }
    let divisor = greatest_common_divisor(numerator, hertz);
    let small = |value: u128| u64::try_from(value / divisor).map_err(|_| bad());
    Ok((small(numerator)?, small(hertz)?))
}

/// `number x unit` as an exact fraction; `None` when negative or too large for 128 bits.
fn exact(number: &Number<'_>, unit: u128) -> Option<(u128, u128)> {
    let (mantissa, exponent) = match number.numerator.split_once(['e', 'E']) {
        Some((mantissa, exponent)) => (mantissa, exponent.parse::<i32>().ok()?),
        None => (number.numerator, 0),
    };
    let (whole, fraction) = mantissa.split_once('.').unwrap_or((mantissa, ""));
    let digits: u128 = format!("{}{fraction}", whole.trim_start_matches('+')).parse().ok()?;
    let scale = exponent.checked_sub(i32::try_from(fraction.len()).ok()?)?;
    let power = 10u128.checked_pow(scale.unsigned_abs())?;
    let numerator = digits.checked_mul(unit)?;
    let denominator = u128::from(number.denominator);
    if scale >= 0 {
        Some((numerator.checked_mul(power)?, denominator))
    } else {
        Some((numerator, denominator.checked_mul(power)?))
    }
}

fn greatest_common_divisor(mut a: u128, mut b: u128) -> u128 {
    while b != 0 {
        (a, b) = (b, a % b);
    }
    a
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn positions_and_their_rates_come_out_in_the_axis_unit() {
        for (text, axis, order, expected) in [
            ("25 um", AxisUnit::Millimetre, Order::Position, 0.025),
            ("-1.5 m", AxisUnit::Millimetre, Order::Position, -1500.0),
            ("0.5 rev", AxisUnit::Degree, Order::Position, 180.0),
            ("1/4096 rev", AxisUnit::Degree, Order::Position, 360.0 / 4096.0),
            ("250 mm/s", AxisUnit::Millimetre, Order::Speed, 250.0),
            ("2 m/s^2", AxisUnit::Millimetre, Order::Acceleration, 2000.0),
            ("1e3 deg/s^3", AxisUnit::Degree, Order::Jerk, 1000.0),
        ] {
            assert_eq!(motion(text, axis, order), Ok(expected), "{text}");
        }
    }

    #[test]
    fn a_wrong_dimension_is_refused() {
        for (text, axis, order) in [
            ("25 deg", AxisUnit::Millimetre, Order::Position),
            ("25 mm", AxisUnit::Degree, Order::Position),
            ("25 mm/s", AxisUnit::Millimetre, Order::Position),
            ("25 mm", AxisUnit::Millimetre, Order::Speed),
            ("25 mm/s", AxisUnit::Millimetre, Order::Acceleration),
            ("25", AxisUnit::Millimetre, Order::Position),
            ("mm", AxisUnit::Millimetre, Order::Position),
            ("1. mm", AxisUnit::Millimetre, Order::Position),
            ("1/0 mm", AxisUnit::Millimetre, Order::Position),
            ("1e13 mm", AxisUnit::Millimetre, Order::Position),
            ("1e999 mm", AxisUnit::Millimetre, Order::Position),
        ] {
            assert!(motion(text, axis, order).is_err(), "{text}");
        }
    }

    #[test]
    fn a_time_is_exact_to_the_nanosecond_or_refused() {
        assert_eq!(time("0.25 ms"), Ok(250_000));
        assert_eq!(time("1.000000001 s"), Ok(1_000_000_001));
        assert_eq!(time("1/8 us"), Ok(125));
        assert_eq!(time("2e-3 s"), Ok(2_000_000));
        assert_eq!(time("1 min"), Ok(60_000_000_000));
        for text in ["0.5 ns", "-1 s", "1/3 s", "1 h", "1 mm", "1e40 s", "100000000 min"] {
            assert!(time(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_rate_becomes_an_exact_period() {
        assert_eq!(rate_period("8 kHz"), Ok((125_000, 1)));
        assert_eq!(rate_period("3 kHz"), Ok((1_000_000, 3)));
        assert_eq!(rate_period("0.5 Hz"), Ok((2_000_000_000, 1)));
        for text in ["0 Hz", "2 MHz", "0.0001 Hz", "1 ms"] {
            assert!(rate_period(text).is_err(), "{text}");
        }
    }

    #[test]
    fn ratios_angles_and_frequencies_have_their_own_units() {
        assert_eq!(ratio("80 ppm"), Ok(80e-6));
        assert_eq!(ratio("2.5 %"), Ok(0.025));
        assert_eq!(turns("90 deg"), Ok(0.25));
        assert_eq!(turns("0.5 rev"), Ok(0.5));
        assert_eq!(frequency("0.2 kHz"), Ok(200.0));
        assert!(ratio("80").is_err() && turns("3 mm").is_err() && frequency("3 s").is_err());
    }
}
