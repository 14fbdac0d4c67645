//! Counts in sentences.

use std::fmt::Display;

/// `1 row`, and with an s of any other number: `0 rows`, `2 rows`.
pub(crate) fn plural(count: impl Display, what: &str) -> String {
    let count = count.to_string();
    let ending = if count == "1" { "" } else { "s" };
    format!("{count} {what}{ending}")
}

#[cfg(test)]
mod tests {
    use super::plural;

    #[test]
    fn one_is_told_without_an_s_and_all_else_with_it() {
        assert_eq!([0, 1, 2, 11].map(|count| plural(count, "row")), ["0 rows", "1 row", "2 rows", "11 rows"]);
    }
}
