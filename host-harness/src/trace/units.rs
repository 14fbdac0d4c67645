//! The row of units that may follow the header.

use super::cell::{Decimal, NoDecimal, level};
use super::layout::{SourceKind, TimeUnit};

/// A unit that a row of units may name. Synonyms share one symbol, the first in their line.
const UNITS: &[&[&str]] = &[
    &["s", "sec", "secs", "second", "seconds"],
    &["ms", "msec", "millisecond", "milliseconds"],
    &["us", "\u{b5}s", "\u{3bc}s", "usec", "microsecond", "microseconds"],
    &["ns", "nsec", "nanosecond", "nanoseconds"],
    &["min", "minute", "minutes"],
    &["h", "hour", "hours"],
    &["m", "metre", "metres", "meter", "meters"],
    &["cm"],
    &["mm", "millimetre", "millimetres", "millimeter", "millimeters"],
    &["um", "\u{b5}m", "\u{3bc}m", "micron", "microns"],
    &["nm"],
    &["in", "inch", "inches"],
    &["deg", "\u{b0}", "degree", "degrees"],
    &["rad", "radian", "radians"],
    &["mrad"],
    &["rev", "turn", "turns", "revolution", "revolutions"],
    &["m/s"],
    &["mm/s"],
    &["m/min"],
    &["deg/s", "\u{b0}/s"],
    &["rad/s"],
    &["rpm", "1/min", "min-1"],
    &["V"],
    &["A"],
    &["Nm", "N m", "N\u{b7}m"],
    &["%"],
    &["degC", "\u{b0}C"],
    &["Hz"],
];
/// How many lines of [`UNITS`] are units of time.
const TIME_UNITS: usize = 6;
/// The units that an analogue value can have.
const ANALOGUE_UNITS: [&str; 3] = ["Nm", "%", "degC"];

/// The text inside brackets, if it is in brackets.
pub(crate) fn bare(text: &str) -> &str {
    let text = text.trim();
    let inside = |open, close| text.strip_prefix(open)?.strip_suffix(close);
    inside('(', ')').or_else(|| inside('[', ']')).unwrap_or(text).trim()
}

/// The symbol of a known unit.
pub(crate) fn symbol(text: &str) -> Option<&'static str> {
    // Upper and lower case are different units in general, and the same in a word written out.
    let is = |name: &&str| **name == *text || (name.len() > 3 && name.eq_ignore_ascii_case(text));
    UNITS.iter().find(|names| names.iter().any(is)).and_then(|names| names.first().copied())
}

/// Whether a text in the time column names a unit of time.
pub(super) fn is_time_unit(text: &str) -> bool {
    let found = symbol(bare(text));
    UNITS[..TIME_UNITS].iter().any(|names| names.first().copied() == found)
}

/// Whether a cell can stand in a row of units: anything that is neither a number nor a level.
pub(crate) fn may_be_unit(text: &str) -> bool {
    matches!(Decimal::parse(text.trim()), Err(NoDecimal::Text | NoDecimal::Empty))
        && level(text.trim()).is_none()
}

/// Checks the unit of a column of times. The unit named is returned when it is another one.
pub(super) fn contradicts_time(text: &str, declared: TimeUnit) -> Option<String> {
    let unit = bare(text);
    (!unit.is_empty() && unit != "-" && symbol(unit) != Some(declared.symbol())).then(|| unit.to_owned())
}

/// Checks the unit of a column of decimal numbers. The unit named is returned when it is any other text than the declared one or
/// a synonym.
pub(super) fn contradicts_unit(text: &str, declared: &str) -> Option<String> {
    let found = bare(text);
    let same = found == declared || (symbol(found).is_some() && symbol(found) == symbol(declared));
    (!found.is_empty() && found != "-" && !same).then(|| found.to_owned())
}

/// The units that a column of an analogue value can be in, for a message: with every way of writing them.
pub(super) fn of_analogues() -> String {
    let spelled = |unit: &str| match UNITS.iter().find(|names| names.first() == Some(&unit)) {
        Some([_, others @ ..]) if !others.is_empty() => format!("{unit} (or {})", others.join(", ")),
        _ => unit.to_owned(),
    };
    let [torque, share, temperature] = ANALOGUE_UNITS.map(spelled);
    format!("{torque}, {share} or {temperature}")
}

/// Checks the unit of a source. Returns the unit named and the one declared when they differ: for positions,
/// when it is any other text than the declared unit or a synonym; for counters, when it is a known physical
/// unit, since counts go by many names.
pub(super) fn contradicts_source(text: &str, kind: &SourceKind) -> Option<(String, String)> {
    match kind {
        SourceKind::Counter { .. } => {
            let found = bare(text);
            symbol(found).map(|_| (found.to_owned(), "counts".to_owned()))
        }
        SourceKind::Position { unit, .. } => contradicts_unit(text, unit).map(|found| (found, unit.clone())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_of_time_are_known_by_all_their_names() {
        for text in ["s", "(s)", "[ms]", "\u{b5}s", "\u{3bc}s", "[ us ]", "ns", "Seconds", "min"] {
            assert!(is_time_unit(text), "{text}");
        }
        for text in ["", "-", "mm", "0", "S", "time", "nan"] {
            assert!(!is_time_unit(text), "{text}");
        }
    }

    #[test]
    fn a_number_or_a_level_is_never_a_unit() {
        for text in ["0", "-12.5", "1e3", "nan", "inf", "true", "LOW", "1,5"] {
            assert!(!may_be_unit(text), "{text}");
        }
        for text in ["", "mm", "(counts)", "0/1", "-", "\u{b0}"] {
            assert!(may_be_unit(text), "{text}");
        }
    }

    #[test]
    fn the_units_of_an_analogue_value_are_those_of_the_setup() {
        assert_eq!(ANALOGUE_UNITS, crate::setup::AnalogueUnit::ALL.map(crate::setup::AnalogueUnit::symbol));
        assert_eq!(of_analogues(), "Nm (or N m, N\u{b7}m), % or degC (or \u{b0}C)");
    }

    #[test]
    fn only_another_unit_contradicts() {
        let counter = SourceKind::Counter { bits: 32 };
        let position = SourceKind::Position { unit: "um".into(), scale: num_rational::Ratio::new(1, 1000) };
        assert_eq!(contradicts_source("[counts]", &counter), None);
        assert_eq!(contradicts_source("(inc)", &counter), None);
        assert_eq!(contradicts_source("(mm)", &counter), Some(("mm".into(), "counts".into())));
        assert_eq!(contradicts_source("\u{b5}m", &position), None);
        assert_eq!(contradicts_source("", &position), None);
        assert_eq!(contradicts_source("mm", &position), Some(("mm".into(), "um".into())));
        assert_eq!(contradicts_unit("[\u{b0}C]", "degC"), None);
        assert_eq!(contradicts_unit("-", "%"), None);
        assert_eq!(contradicts_unit("(Nm)", "%"), Some("Nm".into()));
        assert_eq!(contradicts_time("[s]", TimeUnit::Seconds), None);
        assert_eq!(contradicts_time("[s]", TimeUnit::Millis), Some("s".into()));
    }
}
