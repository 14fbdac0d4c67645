//! Typed access to the tables of a setup file.
//!
//! Every access that fails leaves a diagnostic with the [`Reader`] and returns [`Reported`], so that reading goes on
//! and one run finds as many mistakes as possible.

use std::cell::RefCell;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeString, DeTable, DeValue};

use super::diagnostic::{Diagnostic, Place};
use super::model::AxisUnit;
use crate::nearest::nearest;

/// Says that a diagnostic has been left with the reader.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Reported;

/// A value, or the knowledge that its absence has been reported.
pub(crate) type Got<T> = Result<T, Reported>;

/// A mistake to be reported.
#[must_use]
pub(crate) struct Mistake {
    pub(crate) span: Range<usize>,
    pub(crate) message: String,
    pub(crate) label: String,
    pub(crate) related: Option<(Range<usize>, String)>,
    pub(crate) way_out: String,
}

/// What a column of the trace is used for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Role {
    Time,
    Position,
    Capture,
    Valid,
    Input,
    Reset,
    Analogue,
}

/// A column of the trace that the setup names.
#[derive(Clone, Debug)]
pub(crate) struct ColumnUse {
    pub(crate) column: String,
    pub(crate) role: Role,
    /// For a message, as in "the position of channel a".
    pub(crate) purpose: String,
    pub(crate) span: Range<usize>,
}

/// The text being read, with what was found wrong and what was found used.
pub(crate) struct Reader<'t> {
    text: &'t str,
    found: RefCell<Vec<Diagnostic>>,
    pub(crate) columns: RefCell<Vec<ColumnUse>>,
}

impl<'t> Reader<'t> {
    pub(crate) fn new(text: &'t str) -> Self {
        Self { text, found: RefCell::default(), columns: RefCell::default() }
    }

    /// Keeps a mistake for the report.
    pub(crate) fn report(&self, mistake: Mistake) -> Reported {
        let diagnostic = Diagnostic {
            place: Some(Place::new(self.text, mistake.span)),
            message: mistake.message,
            label: mistake.label,
            related: mistake.related.map(|(span, label)| (Place::new(self.text, span), label)),
            way_out: mistake.way_out,
        };
        self.found.borrow_mut().push(diagnostic);
        Reported
    }

    /// Keeps a mistake that needs nothing but a place.
    pub(crate) fn refuse(
        &self,
        span: Range<usize>,
        message: impl Into<String>,
        label: impl Into<String>,
        way_out: impl Into<String>,
    ) -> Reported {
        let (message, label, way_out) = (message.into(), label.into(), way_out.into());
        self.report(Mistake { span, message, label, related: None, way_out })
    }

    pub(crate) fn line_of(&self, span: &Range<usize>) -> usize {
        Place::new(self.text, span.clone()).line
    }

    pub(crate) fn source(&self, span: Range<usize>) -> &'t str {
        &self.text[span]
    }

    pub(crate) fn into_diagnostics(self) -> Vec<Diagnostic> {
        self.found.into_inner()
    }
}

/// A key of a table with its value.
#[derive(Clone)]
pub(crate) struct Entry<'r> {
    pub(crate) key: &'r str,
    pub(crate) key_span: Range<usize>,
    pub(crate) value: &'r DeValue<'r>,
    pub(crate) span: Range<usize>,
}

fn entry_from<'r>((key, value): (&'r Spanned<DeString<'r>>, &'r Spanned<DeValue<'r>>)) -> Entry<'r> {
    Entry { key: key.get_ref().as_ref(), key_span: key.span(), value: value.get_ref(), span: value.span() }
}

/// The entry of a key in a table.
pub(crate) fn entry_of<'r>(table: &'r DeTable<'r>, key: &str) -> Option<Entry<'r>> {
    table.iter().map(entry_from).find(|entry| entry.key == key)
}

impl<'r> Entry<'r> {
    /// Its text, if it is one.
    pub(crate) fn text(&self) -> Option<Text<'r>> {
        match self.value {
            DeValue::String(text) => Some(Text { text, span: self.span.clone() }),
            _ => None,
        }
    }
}

/// A string of the file: what it says, and where that is.
#[derive(Clone, Debug)]
pub(crate) struct Text<'r> {
    pub(crate) text: &'r str,
    pub(crate) span: Range<usize>,
}

/// One table of the file.
pub(crate) struct Section<'r> {
    pub(crate) reader: &'r Reader<'r>,
    table: &'r DeTable<'r>,
    /// How messages call it: `[channel.a]`, `this ramp`.
    pub(crate) title: String,
    /// Where its header is.
    pub(crate) span: Range<usize>,
    pub(crate) axis: AxisUnit,
    asked: RefCell<Vec<&'static str>>,
}

impl<'r> Section<'r> {
    pub(crate) fn root(reader: &'r Reader<'r>, table: &'r DeTable<'r>) -> Self {
        let (title, asked) = ("the setup".to_owned(), RefCell::default());
        Self { reader, table, title, span: 0..0, axis: AxisUnit::Millimetre, asked }
    }

    /// The same table of `value` under another title.
    pub(crate) fn of(&self, entry: &Entry<'r>, title: String) -> Got<Self> {
        let DeValue::Table(table) = entry.value else {
            let way_out = if title.starts_with('[') {
                format!("write it as a section, {title}, with its keys below")
            } else {
                format!("write it as a table: {} = {{ key = \"value\", .. }}", entry.key)
            };
            return Err(self.wrong_type(entry, "a table", way_out));
        };
        let span = entry.span.clone();
        Ok(Self { reader: self.reader, table, title, span, axis: self.axis, asked: RefCell::default() })
    }

    /// All entries in the order of the file.
    pub(crate) fn entries(&self) -> Vec<Entry<'r>> {
        let mut entries: Vec<_> = self.table.iter().map(entry_from).collect();
        entries.sort_by_key(|entry| entry.key_span.start);
        entries
    }

    /// The entry of a key, which from now on is a known one.
    pub(crate) fn entry(&self, key: &'static str) -> Option<Entry<'r>> {
        let mut asked = self.asked.borrow_mut();
        if !asked.contains(&key) {
            asked.push(key);
        }
        self.find(key)
    }

    /// Whether a key is a known one by now.
    pub(crate) fn has_asked(&self, key: &str) -> bool {
        self.asked.borrow().contains(&key)
    }

    fn find(&self, key: &str) -> Option<Entry<'r>> {
        entry_of(self.table, key)
    }

    /// What stands below a row of keys, if anything does, without a word about it: none of them becomes a known one.
    pub(crate) fn peek(&self, keys: &[&str]) -> Option<Entry<'r>> {
        let (first, rest) = keys.split_first()?;
        rest.iter().try_fold(self.find(first)?, |above, key| match above.value {
            DeValue::Table(table) => entry_of(table, key),
            _ => None,
        })
    }

    /// The entry of a key that must be there; `example` is a value as it may be written.
    pub(crate) fn needed(&self, key: &'static str, example: &str) -> Got<Entry<'r>> {
        self.entry(key).ok_or_else(|| self.missing(key, example))
    }

    /// Reports a key that must be there and is not.
    pub(crate) fn missing(&self, key: &str, example: &str) -> Reported {
        self.reader.refuse(
            self.span.clone(),
            format!("{} has no `{key}`", self.title),
            format!("`{key}` is missing here"),
            format!("add it, for example: {key} = {example}"),
        )
    }

    pub(crate) fn wrong_type(&self, entry: &Entry<'r>, expected: &str, way_out: String) -> Reported {
        let found = match entry.value {
            DeValue::String(_) => "a string",
            DeValue::Integer(_) => "an integer",
            DeValue::Float(_) => "a number",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date or time of day",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        };
        let message = format!("`{}` of {} must be {expected}", entry.key, self.title);
        self.reader.refuse(entry.span.clone(), message, format!("this is {found}"), way_out)
    }

    fn text_of(&self, entry: &Entry<'r>, example: &str) -> Got<Text<'r>> {
        let DeValue::String(text) = entry.value else {
            let way_out = format!("put it in quotes, for example: {} = {example}", entry.key);
            return Err(self.wrong_type(entry, "a string", way_out));
        };
        Ok(Text { text, span: entry.span.clone() })
    }

    pub(crate) fn string(&self, key: &'static str, example: &str) -> Got<Text<'r>> {
        let entry = self.needed(key, example)?;
        self.text_of(&entry, example)
    }

    /// A string if it is one, without a word about it if it is not.
    pub(crate) fn plain(&self, key: &'static str) -> Option<&'r str> {
        match self.entry(key)?.value {
            DeValue::String(text) => Some(text),
            _ => None,
        }
    }

    /// A string that is not blank.
    pub(crate) fn name(&self, key: &'static str, example: &str) -> Got<Text<'r>> {
        let text = self.string(key, example)?;
        self.not_blank(key, text, example)
    }

    pub(crate) fn not_blank(&self, key: &str, text: Text<'r>, example: &str) -> Got<Text<'r>> {
        if text.text.trim().is_empty() {
            let message = format!("`{key}` of {} is empty", self.title);
            return Err(self.reader.refuse(
                text.span,
                message,
                "nothing here",
                format!("write for example {example}"),
            ));
        }
        Ok(text)
    }

    pub(crate) fn optional_string(&self, key: &'static str, example: &str) -> Got<Option<Text<'r>>> {
        self.entry(key).map(|entry| self.text_of(&entry, example)).transpose()
    }

    pub(crate) fn flag(&self, key: &'static str, default: bool) -> Got<bool> {
        match self.entry(key) {
            None => Ok(default),
            Some(Entry { value: DeValue::Boolean(value), .. }) => Ok(*value),
            Some(entry) => Err(self.wrong_type(
                &entry,
                "true or false",
                format!("write {key} = true or {key} = false, without quotes"),
            )),
        }
    }

    /// One of a few words.
    pub(crate) fn choice<T: Copy>(&self, text: &Text<'r>, key: &str, choices: &[(&str, T)]) -> Got<T> {
        self.choice_meant(text, key, choices, None)
    }

    /// The same, when it is known which of them is `meant` by a word that is none.
    pub(crate) fn choice_meant<T: Copy>(
        &self,
        text: &Text<'r>,
        key: &str,
        choices: &[(&str, T)],
        meant: Option<&str>,
    ) -> Got<T> {
        if let Some((_, choice)) = choices.iter().find(|(word, _)| *word == text.text) {
            return Ok(*choice);
        }
        let words: Vec<_> = choices.iter().map(|(word, _)| format!("\"{word}\"")).collect();
        let mut way_out = format!("write {}", words.join(" or "));
        if let Some(word) = meant.or_else(|| nearest(text.text, choices.iter().map(|(word, _)| *word))) {
            way_out = format!("did you mean \"{word}\"? Known are {}", words.join(", "));
        }
        let message = format!("`{key}` of {} cannot be \"{}\"", self.title, text.text);
        Err(self.reader.refuse(text.span.clone(), message, "not a known word", way_out))
    }

    /// One of a few words, the first of them when the key is left out.
    pub(crate) fn choice_or_first<T: Copy>(&self, key: &'static str, choices: &[(&str, T)]) -> Got<T> {
        let example = format!("\"{}\"", choices[0].0);
        match self.optional_string(key, &example)? {
            None => Ok(choices[0].1),
            Some(text) => self.choice(&text, key, choices),
        }
    }

    /// A list of names that holds at least one.
    pub(crate) fn names(&self, entry: &Entry<'r>, example: &str) -> Got<Vec<Text<'r>>> {
        let DeValue::Array(list) = entry.value else {
            let way_out = match entry.value {
                DeValue::String(_) => format!(
                    "put it in brackets: {} = [{}]",
                    entry.key,
                    self.reader.source(entry.span.clone())
                ),
                _ => format!("write for example {} = {example}", entry.key),
            };
            return Err(self.wrong_type(entry, "a list of names", way_out));
        };
        let mut names = Vec::new();
        let mut reported = None;
        for item in list.iter() {
            let item = Entry {
                key: entry.key,
                key_span: entry.key_span.clone(),
                value: item.get_ref(),
                span: item.span(),
            };
            let name = match item.value {
                DeValue::String(_) => {
                    self.text_of(&item, example).and_then(|text| self.not_blank(entry.key, text, example))
                }
                _ => Err(self.wrong_type(
                    &item,
                    "a list of names",
                    format!("write for example {} = {example}", entry.key),
                )),
            };
            match name {
                Ok(name) => names.push(name),
                Err(error) => reported = Some(error),
            }
        }
        reported.map_or(Ok(names), Err)
    }

    /// A section below this one that may be left out.
    pub(crate) fn subsection(&self, key: &'static str, title: &str) -> Got<Option<Self>> {
        self.entry(key).map(|entry| self.of(&entry, title.to_owned())).transpose()
    }

    /// A section below this one that must be there; `first` is its first line below the header.
    pub(crate) fn needed_section(&self, key: &'static str, title: &str, first: &str) -> Got<Self> {
        self.subsection(key, title)?.ok_or_else(|| {
            self.reader.refuse(
                self.span.clone(),
                format!("{} has no section {title}", self.title),
                format!("{title} is missing"),
                format!("add the section, beginning with: {title} {first}"),
            )
        })
    }

    /// Refuses a key that exists, but not here. Where it is not written, no message offers it.
    pub(crate) fn misplaced(&self, key: &'static str, why: &str, way_out: &str) -> Got<()> {
        match self.find(key).and_then(|_| self.entry(key)) {
            None => Ok(()),
            Some(entry) => Err(self.reader.refuse(
                entry.key_span,
                format!("`{key}` of {}: {why}", self.title),
                "",
                way_out,
            )),
        }
    }

    /// Refuses every key that nobody asked for.
    pub(crate) fn finish(self) -> Got<()> {
        let asked = self.asked.into_inner();
        let mut all_known = Ok(());
        for key in self.table.keys().filter(|key| !asked.contains(&key.get_ref().as_ref())) {
            let name = key.get_ref().as_ref();
            let way_out = match nearest(name, asked.iter().copied()) {
                Some(known) => format!("did you mean `{known}`?"),
                None => format!("leave it out; known here are {}", asked.join(", ")),
            };
            let message = format!("unknown key `{name}` in {}", self.title);
            all_known = Err(self.reader.refuse(key.span(), message, "not known here", way_out));
        }
        all_known
    }
}
