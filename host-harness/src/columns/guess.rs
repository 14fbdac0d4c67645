//! What names and values let one guess. Whatever comes from here is called a guess where it is used.

use std::collections::HashMap;

use crate::trace::{bare, symbol};

/// The unit at the end of a name, in brackets: `speed [mm/s]`, `time (s)`.
pub(super) fn unit_in(name: &str) -> Option<&str> {
    let name = name.trim_end();
    let open = match name.chars().next_back() {
        Some(']') => '[',
        Some(')') => '(',
        _ => return None,
    };
    let at = name.rfind(open).filter(|at| *at > 0)?;
    Some(bare(&name[at..])).filter(|unit| !unit.is_empty())
}

/// Words that a column of times begins or ends with.
const TIMES: [&str; 8] = ["time", "t", "timestamp", "timestamps", "zeit", "temps", "tiempo", "elapsed"];

/// Whether a column of this name may be the time of the rows, and the unit that the name says.
pub(super) fn is_time_name(name: &str) -> bool {
    let lower = name.to_lowercase();
    let bare_name = lower.split(['[', '(']).next().unwrap_or_default().trim();
    let mut words = bare_name.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty());
    let first = words.next().unwrap_or_default();
    // Behind the word at most a unit: the `time of the last fault` is no time of the row.
    TIMES.contains(&first) && words.all(|word| time_unit(word).is_some())
}

/// The unit of a column of times by its name, `time [s]` or `t_us`.
pub(super) fn time_unit_in(name: &str) -> Option<&'static str> {
    let last = name.rsplit(|c: char| !c.is_alphanumeric() && c != '\u{b5}').find(|word| !word.is_empty())?;
    unit_in(name).and_then(time_unit).or_else(|| if last == name { None } else { time_unit(last) })
}

/// The symbol of a unit that a setup takes for a time of rows.
pub(super) fn time_unit(text: &str) -> Option<&'static str> {
    symbol(bare(text)).filter(|symbol| ["s", "ms", "us", "ns"].contains(symbol))
}

/// Whether a unit is one of a length, true, or of an angle, false; otherwise `None`.
pub(super) fn is_length(unit: &str) -> Option<bool> {
    match symbol(bare(unit))? {
        "m" | "cm" | "mm" | "um" | "in" => Some(true),
        "deg" | "rad" | "mrad" | "rev" => Some(false),
        _ => None,
    }
}

/// The unit of a length or an angle that is the last word of a name, `pos_mm`. A lone `m` or `in` may be a motor or an input.
pub(super) fn length_behind(name: &str) -> Option<&str> {
    let at = name.rfind(|c: char| !c.is_alphanumeric() && c != '\u{b5}')?;
    let (stem, last) =
        (&name[..at], name[at..].trim_start_matches(|c: char| !c.is_alphanumeric() && c != '\u{b5}'));
    let is_doubtful = matches!(last, "m" | "in");
    (!stem.is_empty() && !is_doubtful && is_length(last).is_some()).then_some(last)
}

/// How much a name looks like that of a counter or a position.
pub(super) fn likeness_to_position(name: &str) -> u32 {
    const WORDS: [&str; 12] = [
        "count", "cnt", "enc", "pos", "motor", "rail", "tick", "inc", "angle", "travel", "scale", "resolver",
    ];
    let lower = name.to_lowercase();
    u32::try_from(WORDS.iter().filter(|word| lower.contains(**word)).count()).unwrap_or(0)
}

/// Two columns whose names differ in a last letter or digit that counts lines: `door_1` and `door_2`, `gate A` and `gate B`.
pub(super) fn pairs(names: &[&str]) -> Vec<[usize; 2]> {
    const LASTS: [(char, char); 3] = [('1', '2'), ('a', 'b'), ('A', 'B')];
    let mut places: HashMap<&str, usize> = HashMap::new();
    for (place, name) in names.iter().enumerate() {
        places.entry(name).or_insert(place);
    }
    let second = |name: &&str| {
        let last = name.chars().next_back()?;
        let (_, next) = LASTS.iter().find(|(first, _)| *first == last)?;
        let stem = &name[..name.len() - last.len_utf8()];
        // A name of one letter is no numbered one, and the 1 of 11 is not its number.
        let numbered = stem.chars().next_back().is_some_and(|before| match last {
            '1' => !before.is_ascii_digit(),
            _ => !before.is_alphanumeric(),
        });
        places.get(format!("{stem}{next}").as_str()).copied().filter(|_| numbered)
    };
    names.iter().enumerate().filter_map(|(first, name)| Some([first, second(name)?])).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_unit_stands_in_brackets_at_the_end_of_a_name() {
        for (name, unit) in [
            ("speed [mm/s]", Some("mm/s")),
            ("time (s) ", Some("s")),
            ("a [b] c", None),
            ("[s]", None),
            ("x []", None),
            ("plain", None),
        ] {
            assert_eq!(unit_in(name), unit, "{name}");
        }
    }

    #[test]
    fn a_time_is_told_by_its_first_word_with_nothing_but_a_unit_behind() {
        for (name, is_time, unit) in [
            ("time", true, None),
            ("Time [s]", true, Some("s")),
            ("t_us", true, Some("us")),
            ("t", true, None),
            ("timestamp (ns)", true, Some("ns")),
            ("time of the last fault", false, None),
            ("torque", false, None),
            ("s", false, None),
        ] {
            assert_eq!((is_time_name(name), time_unit_in(name)), (is_time, unit), "{name}");
        }
    }

    #[test]
    fn a_unit_of_length_is_told_by_the_last_word_of_a_name_unless_that_may_be_something_else() {
        for (name, unit) in [
            ("pos_mm", Some("mm")),
            ("rail pos um", Some("um")),
            ("angle.deg", Some("deg")),
            ("pos_m", None),
            ("motor_in", None),
            ("mm", None),
            ("_mm", None),
            ("speed_mm_s", None),
        ] {
            assert_eq!(length_behind(name), unit, "{name}");
        }
    }

    #[test]
    fn two_lines_are_told_by_the_last_letter_of_their_names() {
        let names = [
            "door_1", "x", "door_2", "gate A", "gate B", "data", "datb", "n11", "n12", "1", "2", "in1", "in2",
        ];
        assert_eq!(pairs(&names), [[0, 2], [3, 4], [11, 12]]);
    }
}
