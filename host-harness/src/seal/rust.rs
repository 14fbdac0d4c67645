//! The image as Rust source for a firmware.

use std::fmt::Write;

use super::places::{Group, about, byte_lines, groups, whole};
use super::printable::wrap;
use super::review::Review;
use crate::report::CAUTION;

/// Columns of a comment.
const COMMENT: usize = 90;
/// The longest identifier.
const IDENTIFIER: usize = 60;
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
    for group in groups(review) {
        let (module, said) = module(&group);
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

fn head(review: &Review) -> String {
    let mut text = String::new();
    for line in wrap("A sealed setup.", COMMENT) {
        let _ = writeln!(text, "//! {line}");
    }
    text += "//!\n//! ```text\n";
    for line in wrap(&about(review), COMMENT).into_iter().chain(wrap(&CAUTION.replace('\n', " "), COMMENT)) {
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
    text += &byte_lines(image);
    text += "];\n";
    text
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

fn module(group: &Group) -> (String, Vec<String>) {
    let name = group.name;
    let mut text = format!("\n/// {}\npub mod {name} {{", group.about);
    let (identifiers, notes) =
        group.identifiers(IDENTIFIER, |identifier| format!("{name}::{identifier} in the source"));
    for (item, identifier) in group.items.iter().zip(identifiers) {
        let about = comment("    ", &item.about);
        let _ = write!(text, "\n{about}    pub const {identifier}: u8 = {};\n", item.index);
    }
    text += "}\n";
    (text, notes)
}
