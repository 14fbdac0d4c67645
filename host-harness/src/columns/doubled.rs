//! Columns that share a name: a replay that needs one of them cannot tell which is meant.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;

/// Several columns of one name.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct DoubledSurvey {
    /// The name.
    pub name: String,
    /// Which columns of the group are called so, from 1.
    pub columns: Vec<usize>,
}

/// The names that several columns of a group have, in the order in which they come first.
pub(super) fn doubled(names: &[&str]) -> Vec<DoubledSurvey> {
    let mut places: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (place, name) in names.iter().enumerate() {
        places.entry(name).or_default().push(place + 1);
    }
    let several = places.into_iter().filter(|(_, columns)| columns.len() > 1);
    let mut doubled: Vec<DoubledSurvey> =
        several.map(|(name, columns)| DoubledSurvey { name: name.to_owned(), columns }).collect();
    doubled.sort_by_key(|one| one.columns.first().copied());
    doubled
}

impl DoubledSurvey {
    /// What is wrong, and what to do, without the name.
    pub(super) fn in_words(&self) -> String {
        /// Beyond, the places say little.
        const SHOWN: usize = 8;
        let mut places: Vec<String> = self.columns.iter().take(SHOWN).map(ToString::to_string).collect();
        if self.columns.len() > SHOWN {
            places.push(format!("{} more", self.columns.len() - SHOWN));
        }
        let last = places.pop().unwrap_or_default();
        let places = places.join(", ");
        format!(
            "{} columns have this name, the columns {places} and {last}: a replay that needs it refuses the file; give each its own name",
            self.columns.len()
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_that_stand_twice_are_found_with_all_their_places() {
        let found = doubled(&["time", "b", "a", "b", "a", "a"]);
        let expected = [("b", vec![2, 4]), ("a", vec![3, 5, 6])]
            .map(|(name, columns)| DoubledSurvey { name: name.to_owned(), columns });
        assert_eq!(found, expected);
        assert!(
            found[1].in_words().starts_with("3 columns have this name, the columns 3, 5 and 6: a replay")
        );
    }
}
