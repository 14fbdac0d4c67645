//! What the cells of one column come to, in memory that does not grow with their number.

use std::cmp::Ordering;

use crate::trace::{Content, Number};

/// A number of a column. Those of one column are all of one sort.
#[derive(Clone, Debug)]
pub(super) enum Value {
    /// Out of text.
    Decimal(Number),
    /// A whole number.
    Whole(i128),
    /// A floating-point number that is finite.
    Real(f64),
}

impl Value {
    fn compare(&self, other: &Self) -> Ordering {
        match (self, other) {
            (Self::Decimal(one), Self::Decimal(other)) => one.compare(other),
            (Self::Whole(one), Self::Whole(other)) => one.cmp(other),
            (Self::Real(one), Self::Real(other)) => one.total_cmp(other),
            // A column has one sort of number.
            _ => Ordering::Equal,
        }
    }

    fn is_whole(&self) -> bool {
        match self {
            Self::Decimal(number) => number.is_whole(),
            Self::Whole(_) => true,
            Self::Real(number) => number.fract() == 0.0,
        }
    }

    fn as_level(&self) -> Option<bool> {
        match self {
            Self::Decimal(number) => number.as_level(),
            Self::Whole(0) => Some(false),
            Self::Whole(1) => Some(true),
            Self::Real(0.0) => Some(false),
            Self::Real(1.0) => Some(true),
            _ => None,
        }
    }
}

/// A number with the text that stands for it.
#[derive(Clone, Debug)]
struct Shown {
    value: Value,
    text: String,
}

/// What a column holds, by its cells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Holds {
    /// No cell has anything in it.
    Nothing,
    /// 0 and 1, or words for them, only.
    Levels,
    /// Whole numbers.
    Whole,
    /// Numbers.
    Numbers,
    /// Numbers or levels, and other text.
    Mixed,
    /// Text.
    Text,
}

/// A cell that is not what the others are.
#[derive(Clone, Debug)]
pub(super) struct Odd {
    /// The row of data, from 1.
    pub(super) row: u64,
    /// What it holds.
    pub(super) text: String,
}

/// Longer texts are cut where they are shown.
const SHOWN_BYTES: usize = 40;

/// What the cells of a column come to so far.
#[derive(Clone, Debug, Default)]
pub(super) struct Profile {
    pub(super) empty: u64,
    numbers: u64,
    whole: u64,
    /// Numbers that are 0 or 1.
    bits: u64,
    /// Words for levels.
    words: u64,
    /// Neither numbers nor levels.
    pub(super) texts: u64,
    pub(super) first_text: Option<Odd>,
    pub(super) changes: u64,
    first: Option<String>,
    last: String,
    smallest: Option<Shown>,
    largest: Option<Shown>,
    /// As a level, in this row.
    pub(super) level: Option<bool>,
}

impl Profile {
    /// Takes the text of a cell; returns the number that it is.
    pub(super) fn add_text(&mut self, row: u64, text: &str) -> Option<Number> {
        match Content::of(text) {
            Content::Number(number) => {
                let value = Value::Decimal(number);
                self.add(text, &value);
                match value {
                    Value::Decimal(number) => return Some(number),
                    Value::Whole(_) | Value::Real(_) => {}
                }
            }
            Content::Empty => self.add_empty(),
            Content::Level(level) => {
                self.see(text);
                self.words += 1;
                self.level = Some(level);
            }
            Content::Text => self.add_odd(row, text),
        }
        None
    }

    /// Takes a number; `text` stands for it.
    pub(super) fn add(&mut self, text: &str, value: &Value) {
        self.see(text);
        self.numbers += 1;
        self.whole += u64::from(value.is_whole());
        self.level = value.as_level();
        self.bits += u64::from(self.level.is_some());
        put(&mut self.smallest, Ordering::Less, value, text);
        put(&mut self.largest, Ordering::Greater, value, text);
    }

    /// Takes a cell that is neither a number nor a level.
    pub(super) fn add_odd(&mut self, row: u64, text: &str) {
        let end =
            (0..=SHOWN_BYTES.min(text.len())).rev().find(|&end| text.is_char_boundary(end)).unwrap_or(0);
        let shown = if end < text.len() { format!("{}...", &text[..end]) } else { text.to_owned() };
        self.see(&shown);
        self.texts += 1;
        self.level = None;
        if self.first_text.is_none() {
            self.first_text = Some(Odd { row, text: shown });
        }
    }

    /// Takes a cell that is not there.
    pub(super) const fn add_empty(&mut self) {
        self.empty += 1;
        self.level = None;
    }

    fn see(&mut self, text: &str) {
        if self.first.is_none() {
            self.first = Some(text.to_owned());
        } else if self.last == text {
            return;
        } else {
            self.changes += 1;
        }
        self.last.clear();
        self.last.push_str(text);
    }

    pub(super) const fn holds(&self) -> Holds {
        match self {
            Self { numbers: 0, words: 0, texts: 0, .. } => Holds::Nothing,
            Self { numbers: 0, words: 0, .. } => Holds::Text,
            Self { texts: 1.., .. } => Holds::Mixed,
            _ if self.bits == self.numbers => Holds::Levels,
            Self { words: 1.., .. } => Holds::Mixed,
            _ if self.whole == self.numbers => Holds::Whole,
            _ => Holds::Numbers,
        }
    }

    /// Whether there are numbers, and all of them are whole.
    pub(super) const fn all_whole(&self) -> bool {
        self.numbers > 0 && self.whole == self.numbers
    }

    pub(super) fn first(&self) -> Option<&str> {
        self.first.as_deref()
    }

    pub(super) fn last(&self) -> Option<&str> {
        self.first.is_some().then_some(self.last.as_str())
    }

    pub(super) fn smallest(&self) -> Option<&str> {
        self.smallest.as_ref().map(|shown| shown.text.as_str())
    }

    pub(super) fn largest(&self) -> Option<&str> {
        self.largest.as_ref().map(|shown| shown.text.as_str())
    }
}

/// Keeps a value that lies further out.
fn put(kept: &mut Option<Shown>, further: Ordering, value: &Value, text: &str) {
    match kept {
        Some(shown) if value.compare(&shown.value) == further => {
            shown.value = value.clone();
            shown.text.clear();
            shown.text.push_str(text);
        }
        Some(_) => {}
        None => *kept = Some(Shown { value: value.clone(), text: text.to_owned() }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn profile(cells: &[&str]) -> Profile {
        let mut profile = Profile::default();
        for (row, cell) in (1..).zip(cells) {
            profile.add_text(row, cell);
        }
        profile
    }

    #[test]
    fn what_a_column_holds_is_what_all_its_cells_are() {
        for (cells, expected) in [
            (&["", ""][..], Holds::Nothing),
            (&["0", "1", "1.0"], Holds::Levels),
            (&["true", "", "FALSE"], Holds::Levels),
            (&["0", "high"], Holds::Levels),
            (&["0", "2"], Holds::Whole),
            (&["1", "1e3"], Holds::Whole),
            (&["0", "0.5"], Holds::Numbers),
            (&["0,5", "-3"], Holds::Numbers),
            (&["5", "true"], Holds::Mixed),
            (&["1", "nan"], Holds::Mixed),
            (&["run", "stop"], Holds::Text),
        ] {
            assert_eq!(profile(cells).holds(), expected, "{cells:?}");
        }
    }

    #[test]
    fn the_ends_of_a_column_are_shown_as_they_are_written() {
        let profile = profile(&["1.50", "", "-2e1", "x", "15e-1", "15e-1"]);
        assert_eq!((profile.first(), profile.last()), (Some("1.50"), Some("15e-1")));
        assert_eq!((profile.smallest(), profile.largest()), (Some("-2e1"), Some("1.50")));
        assert_eq!((profile.empty, profile.texts, profile.changes), (1, 1, 3));
        assert_eq!(profile.first_text.map(|odd| (odd.row, odd.text)), Some((4, "x".to_owned())));
    }
}
