//! What source of a firmware says of an image, in whatever language: where everything is, by name, and what belongs to it.

use std::collections::BTreeSet;
use std::fmt::Write;

use super::held::Value;
use super::printable::{cut, quoted};
use super::review::{Review, Section};

/// The most columns of a name in a note.
const NAME: usize = 60;
const BYTES_PER_LINE: usize = 16;

/// Things of one kind.
pub(super) struct Group {
    /// `monitor`, `input`, `analogue` or `line`.
    pub(super) name: &'static str,
    /// What the places are.
    pub(super) about: &'static str,
    pub(super) items: Vec<Item>,
}

/// Something with a place.
pub(super) struct Item {
    /// What it is called, if it has a name.
    name: Option<String>,
    pub(super) index: String,
    /// Its values.
    pub(super) about: Vec<String>,
}

/// Everything that has a place.
pub(super) fn groups(review: &Review) -> [Group; 4] {
    [
        Group {
            name: "monitor",
            about: "The place of each monitor: index, and bit in a set of monitors.",
            items: owned(review, "monitor"),
        },
        Group {
            name: "input",
            about: "The place of each input: index, and bit in a set of inputs.",
            items: owned(review, "input"),
        },
        Group {
            name: "analogue",
            about: "The place of each analogue value: index, and bit in a set of analogue values.",
            items: analogues(review),
        },
        Group { name: "line", about: "The line of each level in a frame.", items: lines(review) },
    ]
}

impl Group {
    /// An identifier for each, in capitals and of about `longest` letters at most, and notes of the names that could not become one as
    /// they are. `shown` is how a note calls it.
    pub(super) fn identifiers(
        &self,
        longest: usize,
        shown: impl Fn(&str) -> String,
    ) -> (Vec<String>, Vec<String>) {
        let (mut taken, mut identifiers, mut notes) = (BTreeSet::new(), Vec::new(), Vec::new());
        for item in &self.items {
            let wanted = item.name.as_deref().map_or_else(String::new, |name| identifier(name, longest));
            let mut identifier =
                if wanted.is_empty() { numbered(self.name, &item.index) } else { wanted.clone() };
            while !taken.insert(identifier.clone()) {
                identifier = format!("{identifier}_{}", item.index);
            }
            if let Some(name) = item.name.as_deref().filter(|_| wanted != identifier) {
                let why =
                    if wanted.is_empty() { "has no letter or digit of ASCII" } else { "is like another" };
                notes.push(format!("the name {} {why}: it is {}", cut(name, NAME), shown(&identifier)));
            }
            identifiers.push(identifier);
        }
        (identifiers, notes)
    }
}

/// Which image it is, and where it comes from.
pub(super) fn about(review: &Review) -> String {
    let image = &review.image;
    let title = review.title.as_deref().map_or_else(|| "a setup".to_owned(), quoted);
    format!(
        "{title}, sealed for the target: image CRC-32 {}, setup checksum {}. Written by `cowitness seal`; seal the setup again \
         instead of editing.",
        image.crc32, image.setup_checksum
    )
}

/// What belongs to the axis as a whole, and what it does not have.
pub(super) fn whole(review: &Review) -> Vec<String> {
    let is_owned = |section: &&Section| {
        !["monitor.", "input.", "analogue."].iter().any(|kind| section.path.starts_with(kind))
    };
    let mut lines: Vec<String> = review.sections.iter().filter(is_owned).flat_map(titled).collect();
    if !review.host.is_empty() {
        lines.push("Not in the axis, for the firmware to provide for".to_owned());
        lines.extend(review.host.iter().map(|item| format!("  {} = {}", item.path, quoted(&item.text))));
    }
    lines
}

/// The bytes of the image as both languages list them.
pub(super) fn byte_lines(image: &[u8]) -> String {
    let mut text = String::new();
    for bytes in image.chunks(BYTES_PER_LINE) {
        let bytes: Vec<_> = bytes.iter().map(|byte| format!("0x{byte:02x},")).collect();
        let _ = writeln!(text, "    {}", bytes.join(" "));
    }
    text
}

/// Analogue values, with the columns of their lines where the image says them.
fn analogues(review: &Review) -> Vec<Item> {
    let mut items = owned(review, "analogue");
    for item in &mut items {
        let column = |key: &str| {
            let path = format!("analogue.{}.{key}", item.index);
            review.host.iter().find(|host| host.path == path).map(|host| quoted(&host.text))
        };
        if let (Some(first), Some(second)) = (column("first_column"), column("second_column")) {
            item.about.push(format!("  channel A is the line {first}, channel B the line {second}"));
        }
    }
    items
}

/// Monitors, inputs or analogue values.
fn owned(review: &Review, kind: &str) -> Vec<Item> {
    let of_kind = |section: &&Section| section.path.split('.').next() == Some(kind);
    let item = |section: &Section| Item {
        name: section.heading.split_once(": ").map(|(_, name)| name.to_owned()),
        index: section.path.split('.').nth(1).unwrap_or_default().to_owned(),
        about: titled(section),
    };
    review.sections.iter().filter(of_kind).map(item).collect()
}

/// Lines that inputs and the reset read.
fn lines(review: &Review) -> Vec<Item> {
    let mut seen = BTreeSet::new();
    let mut items = Vec::new();
    for value in review.values().filter(|value| value.key == "line" || value.key.ends_with("_line")) {
        if seen.insert(value.raw.steps.clone()) {
            let name = value.names.clone();
            let about = vec![name.clone().unwrap_or_else(|| value.held.clone())];
            items.push(Item { name, index: value.raw.steps.clone(), about });
        }
    }
    items
}

fn titled(section: &Section) -> Vec<String> {
    std::iter::once(section.heading.clone()).chain(values(section)).collect()
}

fn values(section: &Section) -> Vec<String> {
    section.values.iter().map(line).collect()
}

fn line(value: &Value) -> String {
    let unit = value.unit.as_deref().map_or_else(String::new, |unit| format!(" {unit}"));
    let names = value.names.as_deref().map_or_else(String::new, |names| format!(" {names}"));
    let raw = &value.raw;
    let stored = if raw.step.is_empty() {
        raw.hex.clone()
    } else {
        format!("{} {}, {}", raw.steps, raw.step, raw.hex)
    };
    let stored = if value.derived { format!("{} {}, not stored", raw.steps, raw.step) } else { stored };
    format!("  {} = {}{unit}{names} ({stored})", value.key, value.held)
}

fn numbered(module: &str, index: &str) -> String {
    format!("{}_{index}", module.to_ascii_uppercase())
}

/// A name as a constant: capital letters, digits, and one `_` for everything between. Empty when nothing is left.
pub(super) fn identifier(name: &str, longest: usize) -> String {
    let mut identifier = String::new();
    for character in name.chars() {
        if character.is_ascii_alphanumeric() {
            identifier.push(character.to_ascii_uppercase());
        } else if !identifier.ends_with('_') {
            identifier.push('_');
        }
    }
    identifier.truncate(longest);
    let identifier = identifier.trim_matches('_');
    // No constant begins with a digit.
    if identifier.starts_with(|first: char| first.is_ascii_digit()) {
        format!("N_{identifier}")
    } else {
        identifier.to_owned()
    }
}
