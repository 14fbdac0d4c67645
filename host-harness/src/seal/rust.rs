//! The image as Rust source for a firmware.

use std::collections::BTreeSet;
use std::fmt::Write;

use super::held::Value;
use super::printable::{cut, quoted, wrap};
use super::review::{Review, Section};
use crate::report::CAUTION;

/// Columns of a comment.
const COMMENT: usize = 90;
/// The longest identifier.
const IDENTIFIER: usize = 60;
const BYTES_PER_LINE: usize = 16;
/// More bytes than this are told of: a compiler checks them slowly, and they are nearly all labels.
const MANY: usize = 1 << 16;

/// A source and what to know about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RustSource {
    /// The text of a module.
    pub text: String,
    /// Names that could not become identifiers as they are, each with what became of it; and an image so long that it is better
    /// sealed without names.
    pub notes: Vec<String>,
}

/// The image of a review as a module: its bytes with a check at compile time, its sizes, types and where everything is.
///
/// The module needs `monitor-core` and nothing else, not even `std`; it forbids itself `unsafe`.
#[must_use]
pub fn rust_source(review: &Review, image: &[u8]) -> RustSource {
    let mut text = head(review) + &constants(review, image);
    let mut notes = Vec::new();
    for (name, about, items) in [
        (
            "monitor",
            "The place of each monitor: index, and bit in a set of monitors.",
            owned(review, "monitor"),
        ),
        ("input", "The place of each input: index, and bit in a set of inputs.", owned(review, "input")),
        ("line", "The line of each level in a frame.", lines(review)),
    ] {
        let (module, said) = module(name, about, &items);
        text += &module;
        notes.extend(said);
    }
    if image.len() > MANY {
        let length = image.len();
        notes.push(format!(
            "{length} bytes of image take a compiler long to check; --no-labels leaves names out of them"
        ));
    }
    RustSource { text, notes }
}

/// What belongs to the axis as a whole, and what it does not have.
fn whole(review: &Review) -> Vec<String> {
    let is_owned =
        |section: &&Section| !section.path.starts_with("monitor.") && !section.path.starts_with("input.");
    let mut lines: Vec<String> = review.sections.iter().filter(is_owned).flat_map(titled).collect();
    if !review.host.is_empty() {
        lines.push("Not in the axis, for the firmware to provide for".to_owned());
        lines.extend(review.host.iter().map(|item| format!("  {} = {}", item.path, quoted(&item.text))));
    }
    lines
}

fn head(review: &Review) -> String {
    let image = &review.image;
    let title = review.title.as_deref().map_or_else(|| "a setup".to_owned(), quoted);
    let about = format!(
        "{title}, sealed for the target: image CRC-32 {}, setup checksum {}. Written by `cowitness seal`; seal the setup again \
         instead of editing.",
        image.crc32, image.setup_checksum
    );
    let mut text = String::new();
    for line in wrap("A sealed setup.", COMMENT) {
        let _ = writeln!(text, "//! {line}");
    }
    text += "//!\n//! ```text\n";
    for line in wrap(&about, COMMENT).into_iter().chain(wrap(&CAUTION.replace('\n', " "), COMMENT)) {
        let _ = writeln!(text, "//! {line}");
    }
    text += "//! ```\n";
    text += "#![allow(dead_code, long_running_const_eval)]\n";
    text += "#![forbid(unsafe_code)]\n\n";
    text += "use monitor_core::seal::{Image, SealError, VERSION, crc32};\nuse monitor_core::{Axis, AxisConfig};\n";
    text
}

fn constants(review: &Review, image: &[u8]) -> String {
    let facts = &review.image;
    let mut text = format!(
        "\n/// Stored readings per channel that the setup was sealed for.\npub const POINTS: usize = {};\n\
         /// Monitors.\npub const MONITORS: usize = {};\n\
         /// Inputs, the reset aside.\npub const INPUTS: usize = {};\n\
         /// The checksum of the image, as on its review sheet.\npub const IMAGE_CRC: u32 = 0x{};\n\
         /// The checksum of the setup, as in a replay report.\npub const SETUP_CHECKSUM: u32 = 0x{};\n\
         \n/// The setup of the axis.\n///\n{}pub type SealedConfig = AxisConfig<POINTS, MONITORS, INPUTS>;\n\
         /// The axis.\npub type SealedAxis = Axis<POINTS, MONITORS, INPUTS>;\n\
         \n/// The axis as it was sealed.\n///\n/// # Errors\n///\n\
         /// [`SealError`] when this version of the core does not take it.\n\
         pub fn sealed_config() -> Result<SealedConfig, SealError> {{\n    Image::open(IMAGE)?.axis()\n}}\n",
        facts.points,
        facts.monitors,
        facts.inputs,
        facts.crc32,
        facts.setup_checksum,
        comment("", &whole(review))
    );
    text += "\nconst fn has_its_checksum(image: &[u8]) -> bool {\n    match image.split_last_chunk::<4>() {\n        \
             Some((content, stored)) => {\n            let crc = crc32(content);\n            \
             crc == u32::from_le_bytes(*stored) && crc == IMAGE_CRC\n        }\n        None => false,\n    }\n}\n\n";
    text += "const _: () = assert!(has_its_checksum(IMAGE), \"the image was altered\");\n";
    let _ = writeln!(text, "const _: () = assert!(VERSION == {}, \"another image format\");", facts.format);
    let _ =
        writeln!(text, "\n/// The image.\n#[rustfmt::skip]\npub const IMAGE: &[u8; {}] = &[", image.len());
    for bytes in image.chunks(BYTES_PER_LINE) {
        let bytes: Vec<_> = bytes.iter().map(|byte| format!("0x{byte:02x},")).collect();
        let _ = writeln!(text, "    {}", bytes.join(" "));
    }
    text += "];\n";
    text
}

/// Something with a place.
struct Item {
    /// What it is called, if it has a name.
    name: Option<String>,
    index: String,
    about: Vec<String>,
}

/// Monitors or inputs.
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

/// A documenting comment that shows text as it is.
fn comment(indent: &str, lines: &[String]) -> String {
    let mut text = format!("{indent}/// ```text\n");
    for line in lines.iter().flat_map(|line| wrap(line, COMMENT - indent.len())) {
        let _ = writeln!(text, "{indent}/// {line}");
    }
    text += &format!("{indent}/// ```\n");
    text
}

fn module(name: &str, about: &str, items: &[Item]) -> (String, Vec<String>) {
    let mut text = format!("\n/// {about}\npub mod {name} {{");
    let (mut taken, mut notes) = (BTreeSet::new(), Vec::new());
    for item in items {
        let wanted = item.name.as_deref().map_or_else(String::new, identifier);
        let mut identifier = if wanted.is_empty() { numbered(name, &item.index) } else { wanted.clone() };
        while !taken.insert(identifier.clone()) {
            identifier = format!("{identifier}_{}", item.index);
        }
        if let Some(name_of) = item.name.as_deref().filter(|_| wanted != identifier) {
            let why = if wanted.is_empty() { "has no letter or digit of ASCII" } else { "is like another" };
            let name_of = cut(name_of, IDENTIFIER);
            notes.push(format!("the name {name_of} {why}: it is {name}::{identifier} in the source"));
        }
        let about = comment("    ", &item.about);
        let _ = write!(text, "\n{about}    pub const {identifier}: u8 = {};\n", item.index);
    }
    text += "}\n";
    (text, notes)
}

fn numbered(module: &str, index: &str) -> String {
    format!("{}_{index}", module.to_ascii_uppercase())
}

/// A name as a constant: capital letters, digits, and one `_` for everything between. Empty when nothing is left.
fn identifier(name: &str) -> String {
    let mut identifier = String::new();
    for character in name.chars() {
        if character.is_ascii_alphanumeric() {
            identifier.push(character.to_ascii_uppercase());
        } else if !identifier.ends_with('_') {
            identifier.push('_');
        }
    }
    identifier.truncate(IDENTIFIER);
    let identifier = identifier.trim_matches('_');
    // No constant begins with a digit.
    if identifier.starts_with(|first: char| first.is_ascii_digit()) {
        format!("N_{identifier}")
    } else {
        identifier.to_owned()
    }
}
