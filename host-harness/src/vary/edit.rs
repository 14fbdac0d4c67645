//! A value put into the text of a setup file, where a person would put it.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::path::Path;

/// A string of the file.
pub(super) fn quoted(text: &str) -> String {
    toml::Value::from(text).to_string()
}

/// Where a setting is, or would be.
enum Found {
    /// The bytes of its value.
    Value(Range<usize>),
    /// Its section: the bytes of its header or of its braces. `None`: the top of the file.
    Section(Option<Range<usize>>),
}

/// The value of a setting as it stands in the file, without quotes.
pub(super) fn written(text: &str, path: &Path) -> Option<String> {
    let table = DeTable::parse(text).ok()?;
    let Found::Value(span) = find(table.get_ref(), path)? else { return None };
    let literal = text.get(span)?;
    // A string of any of the four forms that TOML has.
    let parsed = toml::from_str::<toml::Table>(&format!("x = {literal}")).ok()?;
    match parsed.get("x")? {
        toml::Value::String(text) => Some(text.clone()),
        _ => Some(literal.to_owned()),
    }
}

/// The text with a setting at another value. Every other byte stays, so that messages name the lines of the file, but for one line more
/// where the setting was left out.
pub(super) fn set(text: &str, path: &Path, literal: &str) -> String {
    let Ok(table) = DeTable::parse(text) else { return text.to_owned() };
    let key = path.keys().last().map_or("", String::as_str);
    match find(table.get_ref(), path) {
        Some(Found::Value(span)) => format!("{}{literal}{}", &text[..span.start], &text[span.end..]),
        Some(Found::Section(Some(span))) if text[span.clone()].starts_with('{') => {
            let (before, behind) = text.split_at(span.start + 1);
            let comma = if behind.trim_start().starts_with('}') { "" } else { "," };
            format!("{before} {key} = {literal}{comma}{behind}")
        }
        Some(Found::Section(Some(span))) => {
            let end = text[span.start..].find('\n').map_or(text.len(), |newline| span.start + newline + 1);
            let (before, behind) = text.split_at(end);
            let newline = if before.ends_with('\n') { "" } else { "\n" };
            format!("{before}{newline}{key} = {literal}\n{behind}")
        }
        Some(Found::Section(None)) => format!("{key} = {literal}\n{text}"),
        None => text.to_owned(),
    }
}

/// Whether [`set`] finds a place for the setting: not where its section is spread over dotted keys and the setting is left out.
pub(super) fn has_place(text: &str, path: &Path) -> bool {
    let Ok(table) = DeTable::parse(text) else { return false };
    match find(table.get_ref(), path) {
        None => false,
        Some(Found::Value(_) | Found::Section(None)) => true,
        Some(Found::Section(Some(span))) => text.get(span).is_some_and(|head| head.starts_with(['{', '['])),
    }
}

fn find(root: &DeTable<'_>, path: &Path) -> Option<Found> {
    let (last, above) = path.keys().split_last()?;
    let mut section: Option<Range<usize>> = None;
    let mut table = root;
    let mut keys = above.iter();
    while let Some(key) = keys.next() {
        let mut value = entry(table, key)?;
        if let DeValue::Array(list) = value.get_ref() {
            let name = keys.next()?;
            value = list.iter().find(|item| is_called(item, name))?;
        }
        let DeValue::Table(below) = value.get_ref() else { return None };
        (section, table) = (Some(value.span()), below);
    }
    Some(match entry(table, last) {
        Some(value) => Found::Value(value.span()),
        None => Found::Section(section),
    })
}

fn entry<'t, 'i>(table: &'t DeTable<'i>, key: &str) -> Option<&'t Spanned<DeValue<'i>>> {
    table.iter().find(|(known, _)| known.get_ref().as_ref() == key).map(|(_, value)| value)
}

fn is_called(item: &Spanned<DeValue<'_>>, name: &str) -> bool {
    let DeValue::Table(table) = item.get_ref() else { return false };
    matches!(entry(table, "name").map(Spanned::get_ref), Some(DeValue::String(known)) if known == name)
}
