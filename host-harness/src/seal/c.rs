//! The image as a C header for a firmware.

use std::fmt::Write;
use std::path::Path;

use super::places::{Group, about, byte_lines, groups, identifier, whole};
use super::printable::wrap;
use super::review::Review;
use crate::report::CAUTION;

/// Columns of a comment.
const COMMENT: usize = 110;
/// The longest parts of an identifier. C99 lets a compiler look at no more than its first 63 letters.
const PREFIX: usize = 16;
const IDENTIFIER: usize = 36;
/// Stored readings per channel of the library for C, as it is and with its feature `small`.
const LIBRARY_POINTS: [u16; 2] = [33, 17];

/// A header and what to know about it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CHeader {
    /// The text of the header.
    pub text: String,
    /// Names that could not become identifiers as they are, each with what became of it; and that the library for C has other points.
    pub notes: Vec<String>,
}

/// The image of a review as a header for C99 and C++ that includes nothing: its bytes, its sizes and where everything is. Every name in it
/// begins with that of the file, so that several can be included.
///
/// Behind `cowitness.h` it does not compile when the library could not load the image.
#[must_use]
pub fn c_header(review: &Review, image: &[u8], file: &Path) -> CHeader {
    let name = prefix(file);
    let mut text = head(review);
    let _ = writeln!(text, "#ifndef {name}_SEALED_H\n#define {name}_SEALED_H\n");
    text += &constants(review, &name);
    text += &guards(review, &name);
    let mut notes = Vec::new();
    for group in groups(review) {
        let (places, said) = places(&group, &name);
        text += &places;
        notes.extend(said);
    }
    let array = format!("{}_image", name.to_ascii_lowercase());
    let _ = writeln!(
        text,
        "\n/* The image, for cw_axis_load(). */\nstatic const unsigned char {array}[{}] = {{",
        image.len()
    );
    text += &byte_lines(image);
    text += "};\n\n#endif\n";
    let points = review.image.points;
    if !LIBRARY_POINTS.contains(&points) {
        let [usual, small] = LIBRARY_POINTS;
        notes.push(format!(
            "sealed for {points} stored readings per channel; the library for C has {usual}, or {small} as `small`: seal with \
             --points {usual} or --points {small}"
        ));
    }
    CHeader { text, notes }
}

/// What every name begins with.
fn prefix(file: &Path) -> String {
    let stem = file.file_stem().and_then(|stem| stem.to_str()).unwrap_or_default();
    let prefix = identifier(stem, PREFIX);
    if prefix.is_empty() { "AXIS".to_owned() } else { prefix }
}

/// Lines of a comment, in which nothing ends it or begins another one.
fn comment(lines: &[String]) -> String {
    let mut text = String::new();
    for line in lines.iter().flat_map(|line| wrap(line, COMMENT)) {
        // The last is how some compilers still read a backslash.
        let line = line.replace("*/", "* /").replace("/*", "/ *").replace("??/", "? ?/");
        let start = if text.is_empty() { "/*" } else { " *" };
        text += format!("{start} {line}").trim_end();
        text.push('\n');
    }
    text + " */\n"
}

fn head(review: &Review) -> String {
    let mut lines = vec![
        "A sealed setup.".to_owned(),
        String::new(),
        about(review),
        CAUTION.replace('\n', " "),
        String::new(),
    ];
    lines.extend(whole(review));
    comment(&lines)
}

fn constants(review: &Review, name: &str) -> String {
    let facts = &review.image;
    format!(
        "/* Stored readings per channel that the setup was sealed for. */\n#define {name}_IMAGE_POINTS {}\n\
         /* Monitors. */\n#define {name}_IMAGE_MONITORS {}\n\
         /* Inputs, the reset aside. */\n#define {name}_IMAGE_INPUTS {}\n\
         /* The checksum of the image, as on its review sheet. */\n#define {name}_IMAGE_CRC 0x{}UL\n\
         /* The checksum of the setup, as in a replay report. */\n#define {name}_SETUP_CHECKSUM 0x{}UL\n",
        facts.points, facts.monitors, facts.inputs, facts.crc32, facts.setup_checksum,
    )
}

/// What would be refused at the start of a machine is refused by the compiler, where it knows the library.
fn guards(review: &Review, name: &str) -> String {
    let points = review.image.points;
    format!(
        "\n/* Included behind cowitness.h, it is only for a library that can load it. */\n\
         #if defined(CW_POINTS)\n\
         #if CW_POINTS != {name}_IMAGE_POINTS\n\
         #error \"sealed for {points} stored readings per channel; seal it with --points and the CW_POINTS of the library\"\n\
         #endif\n\
         #if CW_MONITORS < {name}_IMAGE_MONITORS || CW_INPUTS < {name}_IMAGE_INPUTS\n\
         #error \"more monitors or inputs than the library has room for: CW_MONITORS, CW_INPUTS\"\n\
         #endif\n\
         #endif\n",
    )
}

fn places(group: &Group, name: &str) -> (String, Vec<String>) {
    let kind = group.name.to_ascii_uppercase();
    let mut text = format!("\n/* {} */\n", group.about);
    let full = |identifier: &str| format!("{name}_{kind}_{identifier}");
    let (identifiers, notes) =
        group.identifiers(IDENTIFIER, |identifier| format!("{} in the header", full(identifier)));
    for (item, identifier) in group.items.iter().zip(identifiers) {
        let _ = write!(text, "\n{}#define {} {}u\n", comment(&item.about), full(&identifier), item.index);
    }
    (text, notes)
}
