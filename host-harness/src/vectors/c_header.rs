//! The vectors as a C99 header: constant arrays of structures with integers of fixed width, and nothing else.

use std::fmt::Write;

use monitor_core::{Reading, Sample};

use super::columns::{COLUMNS, FAULTS, Kind, RESETS, numbers};
use super::{Row, Vectors};

/// What a source delivered, by its number: those of `CW_SAMPLE_` in `cowitness.h`, because a program that shows these vectors to an axis
/// copies one to the other, and no compiler tells numbers from numbers. None is 0, so that what was never filled in is no reading.
const NOTHING: u8 = 1;
const READING: u8 = 2;
const INVALID: u8 = 3;

/// What comes before the arrays, after the legend and the enumerations.
const TYPES: &str = "
/* What a source delivered at a frame. */
typedef struct {
    uint8_t kind;         /* enum cowitness_reading */
    uint64_t captured_ns; /* 0 without a reading */
    uint64_t raw;         /* the counter as read, in its width; 0 without one */
} cowitness_source;

typedef struct {
    uint32_t frame; /* in its case, from 0 */
    uint64_t now_ns;
    cowitness_source a;
    cowitness_source b;
    uint32_t levels; /* line 0 in the lowest bit */
} cowitness_stimulus;
";

/// What comes after them.
const FRAMES: &str = "
typedef struct {
    cowitness_stimulus stimulus;
    cowitness_outcome expected;
} cowitness_frame;

/* A case starts from a fresh axis. */
typedef struct {
    uint32_t first_frame; /* in cowitness_frames */
    uint32_t frame_count;
    const char *about;
} cowitness_case;
";

impl Vectors {
    /// The header. It needs `<stdbool.h>` and `<stdint.h>` only.
    #[must_use]
    pub fn to_c(&self) -> String {
        let mut out = String::from("/*\n");
        for line in self.legend() {
            out += &format!(" * {}\n", comment(&line));
        }
        out += " */\n#ifndef COWITNESS_VECTORS_H\n#define COWITNESS_VECTORS_H\n\n";
        out += "#include <stdbool.h>\n#include <stdint.h>\n\n";
        out += &format!("#define COWITNESS_SETUP_CHECKSUM UINT32_C(0x{:08x})\n", self.setup.checksum());
        out += &format!("#define COWITNESS_POINTS {} /* stored readings per channel */\n", self.points);
        out += &format!(
            "#define COWITNESS_CASES {}\n#define COWITNESS_FRAMES {}\n\n",
            self.cases.len(),
            self.frames()
        );
        out += "/* All numbers are those of cowitness.h. */\n";
        out += &format!(
            "enum cowitness_reading {{ COWITNESS_NOTHING = {NOTHING}, COWITNESS_READING = {READING}, \
             COWITNESS_INVALID = {INVALID} }};\n"
        );
        out += &enumeration("fault", &FAULTS);
        out += &enumeration("reset", &RESETS);
        out += TYPES;
        out += &outcome();
        out += FRAMES;
        self.arrays(&mut out);
        out += "\n#endif\n";
        out
    }

    fn arrays(&self, out: &mut String) {
        // Writing to a String does not fail.
        *out += "\nstatic const cowitness_case cowitness_cases[COWITNESS_CASES] = {\n";
        let mut first = 0;
        for case in &self.cases {
            let _ = writeln!(out, "    {{{first}, {}, \"{}\"}},", case.rows.len(), literal(&case.about));
            first += case.rows.len();
        }
        *out += "};\n\nstatic const cowitness_frame cowitness_frames[COWITNESS_FRAMES] = {\n";
        for case in &self.cases {
            for (number, row) in case.rows.iter().enumerate() {
                let _ = writeln!(out, "    {},", frame(number, row));
            }
        }
        *out += "};\n";
    }
}

/// Text that cannot end a comment, and is ASCII.
fn comment(text: &str) -> String {
    ascii(text).replace("*/", "* /").replace("/*", "/ *")
}

/// Text between the quotes of a string.
fn literal(text: &str) -> String {
    // A question mark could begin a trigraph.
    ascii(text).replace('\\', "\\\\").replace('"', "\\\"").replace('?', "\\?")
}

fn ascii(text: &str) -> String {
    text.chars().map(|letter| if letter.is_ascii_graphic() || letter == ' ' { letter } else { '_' }).collect()
}

fn enumeration(what: &str, words: &[&str]) -> String {
    let name =
        |word: &str| format!("COWITNESS_{}_{}", what.to_uppercase(), word.to_uppercase().replace('-', "_"));
    let values: Vec<String> =
        words.iter().enumerate().map(|(value, word)| format!("    {} = {value}", name(word))).collect();
    format!("enum cowitness_{what} {{\n{}\n}};\n", values.join(",\n"))
}

fn outcome() -> String {
    let mut text = String::from(
        "\n/* What a frame must come to. Sets have one bit for each, see the legend. */\ntypedef struct {\n",
    );
    for column in COLUMNS {
        let (kind, note) = match column.kind {
            Kind::Flag => ("bool", ""),
            Kind::Fault => ("uint8_t", " /* enum cowitness_fault */"),
            Kind::Reset => ("uint8_t", " /* enum cowitness_reset */"),
            Kind::Monitors | Kind::Inputs => ("uint32_t", ""),
        };
        text += &format!("    {kind} {};{note}\n", column.name);
    }
    text + "} cowitness_outcome;\n"
}

fn source(reading: Option<Reading>) -> String {
    match reading {
        None => format!("{{{NOTHING}, 0, 0}}"),
        Some(Reading { captured_at, sample }) => {
            let (kind, raw) = match sample {
                Sample::Count(raw) => (READING, raw),
                Sample::Invalid => (INVALID, 0),
            };
            format!("{{{kind}, UINT64_C({}), UINT64_C({raw})}}", captured_at.as_nanos())
        }
    }
}

fn frame(number: usize, row: &Row) -> String {
    let shown = &row.frame;
    let expected: Vec<String> = COLUMNS
        .iter()
        .zip(numbers(&row.outcome))
        .map(|(column, value)| match column.kind {
            Kind::Flag => (value == 1).to_string(),
            Kind::Monitors | Kind::Inputs => format!("{value:#x}"),
            Kind::Fault | Kind::Reset => value.to_string(),
        })
        .collect();
    format!(
        "{{{{{number}, UINT64_C({}), {}, {}, {:#x}}}, {{{}}}}}",
        shown.now.as_nanos(),
        source(shown.a),
        source(shown.b),
        shown.levels.to_bits(),
        expected.join(", ")
    )
}
