//! Which known name was probably meant, and how names are listed for who named none of them.

use strsim::osa_distance;

/// So many names are listed in a message.
const LISTED: usize = 40;

/// The known name nearest to `name`, when one is near enough to be meant: up to one change in a short name and up to one in three letters
/// of a longer one, three at most, or the name with its unit behind it, `time [s]` for `time`. Case does not count.
pub(crate) fn nearest<'a>(name: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let folded = name.to_lowercase();
    let allowed = (folded.chars().count() / 3).clamp(1, 3);
    known
        .into_iter()
        .map(|candidate| (changes(&folded, candidate, allowed), candidate))
        .filter(|(changes, candidate)| *changes <= allowed && *changes < candidate.chars().count())
        .min_by_key(|(changes, _)| *changes)
        .map(|(_, candidate)| candidate)
}

/// Names in back quotes for a message that `name` is none of them: all in their order, or of many the nearest, the nearest first, and
/// how many more there are.
pub(crate) fn listed<'a>(name: &str, known: impl IntoIterator<Item = &'a str>) -> String {
    listed_as(name, known, |name| format!("`{name}`"))
}

/// The same, with the names as they are to be shown.
pub(crate) fn listed_as<'a>(
    name: &str,
    known: impl IntoIterator<Item = &'a str>,
    shown: impl Fn(&str) -> String,
) -> String {
    let mut known: Vec<&str> = known.into_iter().collect();
    let left = known.len().saturating_sub(LISTED);
    if left > 0 {
        let folded = name.to_lowercase();
        // Names of the same distance stay in their order.
        known.sort_by_cached_key(|candidate| changes(&folded, candidate, 1));
        known.truncate(LISTED);
    }
    let mut words: Vec<String> = known.into_iter().map(shown).collect();
    if left > 0 {
        words.push(format!("and {left} more"));
    }
    words.join(", ")
}

/// Whether two names differ in their digits alone, as those of a row of like things do (`zone_1`, `zone_2`).
pub(crate) fn are_numbered_alike(one: &str, other: &str) -> bool {
    let letters = |name: &str| name.chars().filter(|letter| !letter.is_ascii_digit()).collect::<String>();
    let numbered = |name: &str| name.contains(|letter: char| letter.is_ascii_digit());
    numbered(one) && numbered(other) && letters(one) == letters(other)
}

/// The insertions, deletions, replacements and swaps of neighbours that lead from a name in small letters to a known one. One that goes on
/// with its unit is meant as surely as one with `goes_on` slips of the pen.
fn changes(folded: &str, candidate: &str, goes_on: usize) -> usize {
    let candidate = candidate.to_lowercase();
    let behind = candidate.strip_prefix(folded).filter(|_| !folded.is_empty());
    if behind.is_some_and(|behind| behind.starts_with([' ', '(', '[', '_'])) {
        return goes_on;
    }
    osa_distance(folded, &candidate)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_change_of_each_sort_counts_one() {
        for (one, other, expected) in [
            ("limit", "limit", 0),
            ("limt", "limit", 1),
            ("limmit", "limit", 1),
            ("limet", "limit", 1),
            ("liimt", "limit", 1),
            ("", "abc", 3),
            ("door", "rail", 4),
        ] {
            assert_eq!(changes(one, other, 1), expected, "{one} {other}");
        }
    }

    #[test]
    fn a_name_is_offered_only_when_it_is_near() {
        let known = ["column", "counter_bits", "timeout", "max_speed"];
        assert_eq!(nearest("colum", known), Some("column"));
        assert_eq!(nearest("Counter-Bits", known), Some("counter_bits"));
        assert_eq!(nearest("time_out", known), Some("timeout"));
        assert_eq!(nearest("reference", known), None);
        assert_eq!(nearest("x", ["y"]), None);
        let columns = ["time [s]", "motor_count", "rail_count", ""];
        assert_eq!(nearest("time", columns), Some("time [s]"));
        assert_eq!(nearest("rail_cuont", columns), Some("rail_count"));
        assert_eq!(nearest("door", columns), None);
    }

    #[test]
    fn of_many_names_the_nearest_are_listed_first_and_the_rest_is_counted() {
        let names: Vec<String> =
            (0..10_000).map(|n| format!("c{n}")).chain(["pos_a".to_owned(), "pos".to_owned()]).collect();
        let shown = listed("pos_x", names.iter().map(String::as_str));
        assert!(shown.starts_with("`pos_a`, `pos`, `c0`, "), "{shown}");
        assert!(shown.ends_with(", and 9962 more"), "{shown}");
        assert!(shown.len() < 500, "{shown}");
        assert_eq!(listed("x", ["b", "a"]), "`b`, `a`");
    }

    #[test]
    fn names_that_differ_in_their_number_are_alike_on_purpose() {
        assert!(are_numbered_alike("zone_1", "zone_2"));
        assert!(!are_numbered_alike("zone", "zone_2"));
        assert!(!are_numbered_alike("zoen_1", "zone_1"));
    }
}
