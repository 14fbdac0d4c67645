//! Values with units: one table from the spelling of a unit to its dimension and exact size.

use std::fmt;
use std::ops::Range;

use num_rational::Ratio;
use num_traits::CheckedMul;

use super::{Exact, NumberError, NumberErrorKind, number_prefix};

/// The circle constant as the convergent 5706674932067741/1816491048114374 of its continued fraction, which agrees
/// with it to 30 decimals (difference 2.4·10⁻³¹). Only the radian needs it; it is the one unit that is not exact.
pub const PI: Exact = Ratio::new_raw(PI_ABOVE, PI_BELOW);
const PI_ABOVE: i128 = 5_706_674_932_067_741;
const PI_BELOW: i128 = 1_816_491_048_114_374;

/// What kind of quantity a unit measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// A length; base mm.
    Length,
    /// An angle; base deg.
    Angle,
    /// A time; base ns.
    Time,
    /// A speed along a line; base mm/s.
    Speed,
    /// A speed of rotation; base deg/s.
    AngularSpeed,
    /// An acceleration along a line; base mm/s².
    Acceleration,
    /// An acceleration of rotation; base deg/s².
    AngularAcceleration,
    /// A jerk along a line; base mm/s³.
    Jerk,
    /// A jerk of rotation; base deg/s³.
    AngularJerk,
    /// A torque; base Nm.
    Torque,
    /// A share of a rated value; base %.
    Share,
    /// A temperature; base degC.
    Temperature,
}

impl Dimension {
    /// The dimension with its article, as in "is a time".
    #[must_use]
    pub const fn with_article(self) -> &'static str {
        match self {
            Self::Length => "a length",
            Self::Angle => "an angle",
            Self::Time => "a time",
            Self::Speed => "a speed",
            Self::AngularSpeed => "an angular speed",
            Self::Acceleration => "an acceleration",
            Self::AngularAcceleration => "an angular acceleration",
            Self::Jerk => "a jerk",
            Self::AngularJerk => "an angular jerk",
            Self::Torque => "a torque",
            Self::Share => "a share",
            Self::Temperature => "a temperature",
        }
    }

    /// Usual units of this dimension, for a message.
    #[must_use]
    pub const fn examples(self) -> &'static str {
        match self {
            Self::Length => "um, mm, m, in",
            Self::Angle => "deg, arcmin, rev, rad",
            Self::Time => "us, ms, s",
            Self::Speed => "mm/s, m/s, m/min",
            Self::AngularSpeed => "deg/s, rev/min, rad/s",
            Self::Acceleration => "mm/s^2, m/s^2",
            Self::AngularAcceleration => "deg/s^2, rev/s^2, rad/s^2",
            Self::Jerk => "mm/s^3, m/s^3",
            Self::AngularJerk => "deg/s^3, rev/s^3, rad/s^3",
            Self::Torque => "mNm, Nm, kNm",
            Self::Share => "%",
            Self::Temperature => "degC",
        }
    }

    /// A whole value of this dimension, for a message.
    #[must_use]
    pub const fn sample(self) -> &'static str {
        match self {
            Self::Length => "1 mm",
            Self::Angle => "1 deg",
            Self::Time => "10 ms",
            Self::Speed => "250 mm/s",
            Self::AngularSpeed => "90 deg/s",
            Self::Acceleration => "2 m/s^2",
            Self::AngularAcceleration => "360 deg/s^2",
            Self::Jerk => "20 m/s^3",
            Self::AngularJerk => "3600 deg/s^3",
            Self::Torque => "40 Nm",
            Self::Share => "80 %",
            Self::Temperature => "90 degC",
        }
    }
}

/// A unit: its spelling, what it measures and how many bases it holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Unit {
    /// The spelling, as in the setup file.
    pub symbol: &'static str,
    /// What it measures; also names the base.
    pub dimension: Dimension,
    /// Its size in the base of its dimension.
    pub in_base: Exact,
}

macro_rules! units {
    ($($dimension:ident: $($symbol:literal = $numerator:expr, $denominator:expr;)+)+) => {
        const UNITS: &[Unit] = &[$($(Unit {
            symbol: $symbol,
            dimension: Dimension::$dimension,
            in_base: Ratio::new_raw($numerator, $denominator),
        },)+)+];
    };
}

// Every fraction below is reduced, as `Ratio::new_raw` demands; a test holds that.
units! {
    Length:
        "mm" = 1, 1;
        "um" = 1, 1000;
        "µm" = 1, 1000; // micro sign, U+00B5
        "μm" = 1, 1000; // Greek mu, U+03BC
        "cm" = 10, 1;
        "m" = 1000, 1;
        "in" = 127, 5; // the international inch, 25.4 mm by definition
    Angle:
        "deg" = 1, 1;
        "arcmin" = 1, 60;
        "arcsec" = 1, 3600;
        "rev" = 360, 1;
        "rad" = 180 * PI_BELOW, PI_ABOVE;
        "mrad" = 180 * PI_BELOW / 40, 1000 * PI_ABOVE / 40; // 40 divides both
    Time:
        "ns" = 1, 1;
        "us" = 1000, 1;
        "µs" = 1000, 1;
        "μs" = 1000, 1;
        "ms" = 1_000_000, 1;
        "s" = 1_000_000_000, 1;
        "min" = 60_000_000_000, 1;
        "h" = 3_600_000_000_000, 1;
    Speed:
        "mm/s" = 1, 1;
        "m/s" = 1000, 1;
        "m/min" = 50, 3;
        "mm/min" = 1, 60;
        "in/s" = 127, 5;
    AngularSpeed:
        "deg/s" = 1, 1;
        "rev/s" = 360, 1;
        "rev/min" = 6, 1;
        "rpm" = 6, 1;
        "rad/s" = 180 * PI_BELOW, PI_ABOVE;
    Acceleration:
        "mm/s^2" = 1, 1;
        "mm/s²" = 1, 1;
        "m/s^2" = 1000, 1;
        "m/s²" = 1000, 1;
    AngularAcceleration:
        "deg/s^2" = 1, 1;
        "deg/s²" = 1, 1;
        "rev/s^2" = 360, 1;
        "rev/s²" = 360, 1;
        "rad/s^2" = 180 * PI_BELOW, PI_ABOVE;
        "rad/s²" = 180 * PI_BELOW, PI_ABOVE;
    Jerk:
        "mm/s^3" = 1, 1;
        "mm/s³" = 1, 1;
        "m/s^3" = 1000, 1;
        "m/s³" = 1000, 1;
    AngularJerk:
        "deg/s^3" = 1, 1;
        "deg/s³" = 1, 1;
        "rev/s^3" = 360, 1;
        "rev/s³" = 360, 1;
        "rad/s^3" = 180 * PI_BELOW, PI_ABOVE;
        "rad/s³" = 180 * PI_BELOW, PI_ABOVE;
    Torque:
        "Nm" = 1, 1;
        "mNm" = 1, 1000;
        "kNm" = 1000, 1;
    Share:
        "%" = 1, 1;
        "ppm" = 1, 10_000;
    Temperature:
        "degC" = 1, 1;
}

/// Spellings that people write for a unit of the table; offered, not accepted, so that one file reads like another.
const OTHER_SPELLINGS: &[(&str, &str)] = &[
    ("sec", "s"),
    ("msec", "ms"),
    ("usec", "us"),
    ("inch", "in"),
    ("inches", "in"),
    ("\"", "in"),
    ("°", "deg"),
    ("degree", "deg"),
    ("degrees", "deg"),
    ("turn", "rev"),
    ("mm/sec", "mm/s"),
    ("m/sec", "m/s"),
    ("mps", "m/s"),
    ("°/s", "deg/s"),
    ("deg/sec", "deg/s"),
    ("rps", "rev/s"),
    ("1/min", "rpm"),
    ("mm/s2", "mm/s^2"),
    ("m/s2", "m/s^2"),
    ("mm/s/s", "mm/s^2"),
    ("m/s/s", "m/s^2"),
    ("deg/s2", "deg/s^2"),
    ("rev/s2", "rev/s^2"),
    ("rad/s2", "rad/s^2"),
    ("mm/s3", "mm/s^3"),
    ("m/s3", "m/s^3"),
    ("mm/s/s/s", "mm/s^3"),
    ("m/s/s/s", "m/s^3"),
    ("deg/s3", "deg/s^3"),
    ("rev/s3", "rev/s^3"),
    ("rad/s3", "rad/s^3"),
    ("n*m", "Nm"),
    ("n·m", "Nm"),
    ("n m", "Nm"),
    ("n.m", "Nm"),
    ("percent", "%"),
    ("°c", "degC"),
    ("c", "degC"),
    ("celsius", "degC"),
];

/// Why a text is not a value of the expected dimension. The range is in bytes of the text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ValueError {
    /// The offending bytes.
    pub range: Range<usize>,
    /// What is wrong there.
    pub kind: ValueErrorKind,
}

/// What is wrong with a value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ValueErrorKind {
    /// The number in front of the unit.
    Number(NumberErrorKind),
    /// A number alone.
    MissingUnit {
        /// What was expected.
        expected: Dimension,
    },
    /// A unit that the table does not hold.
    UnknownUnit {
        /// As written.
        unit: String,
        /// What was expected.
        expected: Dimension,
        /// A unit that is probably meant.
        meant: Option<&'static str>,
    },
    /// A unit of something else.
    WrongDimension {
        /// As written.
        unit: &'static str,
        /// What it measures.
        found: Dimension,
        /// What was expected.
        expected: Dimension,
    },
}

impl ValueError {
    /// What to do about it.
    #[must_use]
    pub fn way_out(&self) -> String {
        match &self.kind {
            ValueErrorKind::Number(_) => {
                "write a number and its unit, for example \"2.5 mm\" or \"360/4096 deg\"".into()
            }
            ValueErrorKind::MissingUnit { expected } => {
                format!("write the unit behind the number, for example \"{}\"", expected.sample())
            }
            ValueErrorKind::UnknownUnit { meant: Some(meant), .. } => format!("did you mean `{meant}`?"),
            ValueErrorKind::UnknownUnit { expected, .. }
            | ValueErrorKind::WrongDimension { expected, .. } => {
                format!("use one of: {}", all_symbols(*expected))
            }
        }
    }
}

impl fmt::Display for ValueError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.kind {
            ValueErrorKind::Number(kind) => {
                fmt::Display::fmt(&NumberError { range: self.range.clone(), kind: *kind }, f)
            }
            ValueErrorKind::MissingUnit { expected } => {
                write!(
                    f,
                    "a number without a unit; expected {} such as {}",
                    expected.with_article(),
                    expected.examples()
                )
            }
            ValueErrorKind::UnknownUnit { unit, expected, .. } => {
                write!(
                    f,
                    "`{unit}` is not a known unit; expected {} such as {}",
                    expected.with_article(),
                    expected.examples()
                )
            }
            ValueErrorKind::WrongDimension { unit, found, expected } => {
                let (found, expected, examples) =
                    (found.with_article(), expected.with_article(), expected.examples());
                write!(f, "`{unit}` is {found}; expected {expected} such as {examples}")
            }
        }
    }
}

impl std::error::Error for ValueError {}

/// All spellings of one dimension but the doubled micro signs.
fn all_symbols(dimension: Dimension) -> String {
    let symbols: Vec<_> = UNITS
        .iter()
        .filter(|unit| unit.dimension == dimension && unit.symbol.is_ascii())
        .map(|unit| unit.symbol)
        .collect();
    symbols.join(", ")
}

/// Reads the name of a unit, blanks around it ignored.
///
/// # Errors
/// [`ValueError`] when the name is unknown or of another dimension.
pub fn parse_unit(text: &str, expected: Dimension) -> Result<Unit, ValueError> {
    let symbol = text.trim();
    let start = text.len() - text.trim_start().len();
    let range = start..start + symbol.len();
    if symbol.is_empty() {
        return Err(ValueError { range: 0..text.len(), kind: ValueErrorKind::MissingUnit { expected } });
    }
    let Some(unit) = UNITS.iter().find(|unit| unit.symbol == symbol) else {
        let unit = symbol.to_owned();
        return Err(ValueError {
            range,
            kind: ValueErrorKind::UnknownUnit { unit, expected, meant: meant(symbol, expected) },
        });
    };
    if unit.dimension != expected {
        let kind = ValueErrorKind::WrongDimension { unit: unit.symbol, found: unit.dimension, expected };
        return Err(ValueError { range, kind });
    }
    Ok(*unit)
}

/// The unit of the expected dimension that an unknown spelling stands for.
fn meant(symbol: &str, expected: Dimension) -> Option<&'static str> {
    let folded = symbol.to_lowercase();
    let other = OTHER_SPELLINGS.iter().find(|(spelling, _)| *spelling == folded).map(|(_, unit)| *unit);
    UNITS
        .iter()
        .filter(|unit| unit.dimension == expected)
        .map(|unit| unit.symbol)
        .find(|unit| Some(*unit) == other || unit.to_lowercase() == folded)
}

/// A value with its unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Quantity {
    /// The value, exact, in the base of its dimension.
    pub value: Exact,
    /// The unit it was written in.
    pub unit: Unit,
}

/// Reads a number and its unit, with or without a blank between: `250 mm/s`, `4ms`, `360/4096 deg`.
///
/// # Errors
/// [`ValueError`] with the offending bytes, when there is no number, no unit, an unknown unit or one of another
/// dimension than expected, or when the value has more digits than can be held exactly.
pub fn parse_quantity(text: &str, expected: Dimension) -> Result<Quantity, ValueError> {
    let (number, end) = number_prefix(text)
        .map_err(|error| ValueError { range: error.range, kind: ValueErrorKind::Number(error.kind) })?;
    let unit = parse_unit(&text[end..], expected).map_err(|error| match error.kind {
        ValueErrorKind::MissingUnit { .. } => ValueError { range: 0..text.len(), ..error },
        _ => ValueError { range: end + error.range.start..end + error.range.end, ..error },
    })?;
    let value = number
        .checked_mul(&unit.in_base)
        .ok_or(ValueError { range: 0..end, kind: ValueErrorKind::Number(NumberErrorKind::TooLong) })?;
    Ok(Quantity { value, unit })
}

#[cfg(test)]
mod tests {
    use num_traits::One;

    use super::*;

    #[test]
    fn every_unit_has_a_reduced_fraction_and_a_name_of_its_own() {
        for (index, unit) in UNITS.iter().enumerate() {
            let (numerator, denominator) = (*unit.in_base.numer(), *unit.in_base.denom());
            assert_eq!(
                Exact::new(numerator, denominator).into_raw(),
                (numerator, denominator),
                "{}",
                unit.symbol
            );
            assert!(UNITS[..index].iter().all(|other| other.symbol != unit.symbol), "{} twice", unit.symbol);
        }
    }

    #[test]
    fn every_other_spelling_leads_to_a_unit_of_the_table() {
        for (spelling, symbol) in OTHER_SPELLINGS {
            assert!(UNITS.iter().any(|unit| unit.symbol == *symbol), "{spelling}");
            assert!(UNITS.iter().all(|unit| unit.symbol != *spelling), "{spelling} is a unit itself");
        }
    }

    #[test]
    fn the_base_of_every_dimension_is_in_the_table() {
        for symbol in
            ["mm", "deg", "ns", "mm/s", "deg/s", "mm/s^2", "deg/s^2", "mm/s^3", "deg/s^3", "Nm", "%", "degC"]
        {
            assert!(UNITS.iter().any(|unit| unit.symbol == symbol && unit.in_base.is_one()), "{symbol}");
        }
    }
}
