//! Which known name was probably meant.

/// The known name nearest to `name`, when one is near enough to be a slip of the pen: up to one change in a short name
/// and up to one in three letters of a longer one, three at most; case does not count.
pub(crate) fn nearest<'a>(name: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let folded = name.to_lowercase();
    let allowed = (folded.chars().count() / 3).clamp(1, 3);
    known
        .into_iter()
        .map(|candidate| (changes(&folded, &candidate.to_lowercase()), candidate))
        .filter(|(changes, candidate)| *changes <= allowed && *changes < candidate.chars().count())
        .min_by_key(|(changes, _)| *changes)
        .map(|(_, candidate)| candidate)
}

/// Whether two names differ in their digits alone, as those of a row of like things do (`zone_1`, `zone_2`).
pub(super) fn are_numbered_alike(one: &str, other: &str) -> bool {
    let letters = |name: &str| name.chars().filter(|letter| !letter.is_ascii_digit()).collect::<String>();
    let numbered = |name: &str| name.contains(|letter: char| letter.is_ascii_digit());
    numbered(one) && numbered(other) && letters(one) == letters(other)
}

/// The fewest insertions, deletions, replacements and swaps of neighbours that turn one name into the other.
fn changes(one: &str, other: &str) -> usize {
    let (one, other): (Vec<char>, Vec<char>) = (one.chars().collect(), other.chars().collect());
    let mut rows = vec![(0..=other.len()).collect::<Vec<usize>>()];
    for i in 1..=one.len() {
        let mut row = vec![i];
        for j in 1..=other.len() {
            let replaced = rows[i - 1][j - 1] + usize::from(one[i - 1] != other[j - 1]);
            let mut fewest = replaced.min(rows[i - 1][j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && one[i - 1] == other[j - 2] && one[i - 2] == other[j - 1] {
                fewest = fewest.min(rows[i - 2][j - 2] + 1);
            }
            row.push(fewest);
        }
        rows.push(row);
    }
    rows[one.len()][other.len()]
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
            assert_eq!(changes(one, other), expected, "{one} {other}");
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
    }

    #[test]
    fn names_that_differ_in_their_number_are_alike_on_purpose() {
        assert!(are_numbered_alike("zone_1", "zone_2"));
        assert!(!are_numbered_alike("zone", "zone_2"));
        assert!(!are_numbered_alike("zoen_1", "zone_1"));
    }
}
