//! The sheet that a second person reviews: plain text in pages.

use super::compare::Comparison;
use super::held::{Asked, Fit, Value};
use super::page::{Block, PAGE_LINES, PAGE_WIDTH, line_of, pages};
use super::printable::{cut, quoted, width, wrap};
use super::review::{LabelKind, Review};
use crate::report::CAUTION;

/// What a line of values is set in by.
const INDENT: &str = "      ";
/// Columns of the key of a value.
const KEY: usize = 20;

const HOW_TO_READ: &str = "Each value is shown as it is in force, with every decimal that is held, and below it as it is \
    stored: the whole number of steps, and its bits in hexadecimal (two's complement). ULP is 2^-24 of the unit beside the value: that of \
    the axis, per second, per second squared or cubed, or of an analogue value its own (Nm, % or degC). A distance per count is held in 1e-9 ULP, as its size; reversed 0x01 beside it means that the position falls \
    while the counter rises, 0x00 that both rise together. Values marked * follow from others and are not stored. \
    Tick a box when the value is what the document that asks for it says.";

const NOT_ON_TARGET: &str = "The axis of the target knows nothing of these. Whoever writes the firmware provides for them: a latency \
    is taken off the capture times before readings are handed in, invalid readings are marked as such, and frames come at the cycle.";

/// The review as pages of [`PAGE_LINES`] lines of at most [`PAGE_WIDTH`] columns, with a form feed between them. Every page names
/// the image by its checksum and has a place to sign.
#[must_use]
pub fn sheet(review: &Review) -> String {
    let mut sheet = Sheet { blocks: Vec::new() };
    sheet.image(review);
    if let Some(setup) = &review.setup {
        sheet.setup(setup);
    }
    sheet.misfits(review);
    for section in &review.sections {
        sheet.open(&section.heading);
        for value in &section.values {
            sheet.block(value_lines(value));
        }
    }
    sheet.host(review);
    let (header, footer) = (header(review), footer());
    let room = PAGE_LINES - header.len() - footer.len() - 1;
    let pages = pages(&sheet.blocks, room);
    let count = pages.len();
    let mut out = String::new();
    for (page, number) in pages.iter().zip(1..) {
        if number > 1 {
            out.push('\u{c}');
        }
        let blank = std::iter::repeat_n(String::new(), room - page.len());
        let first = line_of("REVIEW OF A SEALED SETUP", &format!("page {number} of {count}"));
        let lines = [first].into_iter().chain(header.iter().cloned()).chain(page.iter().cloned());
        for line in lines.chain(blank).chain(footer.iter().cloned()) {
            out += line.trim_end();
            out.push('\n');
        }
    }
    out
}

fn header(review: &Review) -> Vec<String> {
    let image = &review.image;
    let title = review.title.as_deref().map_or_else(|| "(sealed without a title)".to_owned(), quoted);
    let sums = format!("image CRC-32 {}   setup checksum {}", image.crc32, image.setup_checksum);
    vec![
        cut(&title, PAGE_WIDTH),
        line_of(&sums, &format!("points {}", image.points)),
        cut(&held_against(review), PAGE_WIDTH),
        "-".repeat(PAGE_WIDTH),
    ]
}

/// What came of the comparison, on every page: pages are signed and kept one by one.
fn held_against(review: &Review) -> String {
    match &review.setup {
        None => "not held against a setup".to_owned(),
        Some(setup) => {
            let result = if setup.same { "the same" } else { "NOT THE SAME" };
            format!("held against the setup: {result}, {}", quoted(&setup.path))
        }
    }
}

fn footer() -> Vec<String> {
    vec![
        "-".repeat(PAGE_WIDTH),
        line_of("Accepted [ ]   Rejected [ ]", concat!("printed by cowitness ", env!("CARGO_PKG_VERSION"))),
        String::new(),
        "Reviewed by ____________________  Date ______________  Signature ______________".to_owned(),
    ]
}

struct Sheet {
    blocks: Vec<Block>,
}

impl Sheet {
    fn open(&mut self, heading: &str) {
        let short = cut(heading, PAGE_WIDTH - " (continued)".len());
        self.blocks.push(Block { heading: short, lines: wrap(heading, PAGE_WIDTH), opens: true });
    }

    fn block(&mut self, lines: Vec<String>) {
        let heading = self.blocks.last().map_or_else(String::new, |block| block.heading.clone());
        self.blocks.push(Block { heading, lines, opens: false });
    }

    fn text(&mut self, text: &str) {
        self.block(wrap(text, PAGE_WIDTH));
    }

    /// One thing that is known of the image.
    fn fact(&mut self, key: &str, text: &str) {
        self.block(hang(&format!("  {key:<KEY$}"), text));
    }

    fn image(&mut self, review: &Review) {
        let image = &review.image;
        self.open("The image");
        if let Some(title) = &review.title {
            self.fact("title", &quoted(title));
        }
        self.fact("axis unit", review.unit.unwrap_or("not in the image: mm or deg, see the setup"));
        self.fact("length", &format!("{} bytes, version {} of the format", image.bytes, image.format));
        self.fact("CRC-32", &format!("{} (CRC-32/ISO-HDLC of all bytes but the last four)", image.crc32));
        self.fact("setup checksum", &format!("{} (a replay report names the same)", image.setup_checksum));
        self.fact("made for", &format!("{} stored readings per channel (points)", image.points));
        self.fact("monitors, inputs", &format!("{}, {}", image.monitors, image.inputs));
        let boxes = review.values().count() + review.host.len();
        self.fact("boxes to tick", &format!("{boxes}"));
        match image.labels {
            LabelKind::Full => {}
            _ if review.title.is_some() => {
                self.text("Sealed without names and texts; they are those of the setup it was held against.");
            }
            _ => self.text(
                "Sealed without names and texts: monitors, inputs, analogue values and lines are numbered, and what was asked for is not in it.",
            ),
        }
        self.text(&format!("{HOW_TO_READ} {}", CAUTION.replace('\n', " ")));
        let halves = image.points / 2;
        self.text(&format!(
            "Outcomes depend on the points through the effective window of the speed: it exceeds the set one by at most 1/{halves} \
             while readings come at least every window/{halves}, and by at most one reading interval otherwise. A replay with other \
             points than the target has may differ from it by that."
        ));
    }

    fn setup(&mut self, setup: &Comparison) {
        self.open("Held against the setup");
        let path = quoted(&setup.path);
        if setup.same {
            self.text(&format!("THE SAME: sealing {path} again gives this image, byte for byte."));
            return;
        }
        self.text(&format!("NOT THE SAME: this is not the image of {path}."));
        for difference in &setup.differences {
            let side = |side: &Option<String>| side.as_deref().map_or("-".to_owned(), shown);
            let mut lines = wrap(&format!("  {}", difference.path), PAGE_WIDTH);
            lines.extend(hang("      image  ", &side(&difference.image)));
            lines.extend(hang("      setup  ", &side(&difference.setup)));
            self.block(lines);
        }
    }

    fn misfits(&mut self, review: &Review) {
        if review.misfits().next().is_some() {
            self.open("Values that are not what they were asked to be");
            for value in review.misfits() {
                self.block(wrap(&format!("  {}", value.path), PAGE_WIDTH));
            }
        }
    }

    fn host(&mut self, review: &Review) {
        self.open("Kept on the host, not in the axis of the target");
        self.text(NOT_ON_TARGET);
        if review.image.labels != LabelKind::Full {
            self.text(match &review.setup {
                None => "Which they are is not in the image: it was sealed without names and texts. See the setup.",
                Some(setup) if setup.same => {
                    "These are those of the setup it was held against; the image was sealed without names and texts."
                }
                Some(_) => {
                    "These are those of the setup it was held against, WHICH IS NOT THAT OF THE IMAGE; the image was sealed without \
                     names and texts."
                }
            });
        }
        for item in &review.host {
            self.block(hang(&format!("  [ ] {:<26}", item.path), &shown(&item.text)));
        }
    }
}

/// A text as it is, unless something in it cannot be seen or would break the line.
fn shown(text: &str) -> String {
    let quoted = quoted(text);
    let plain = quoted.trim_matches('"').replace("\\\"", "\"");
    if plain == text { plain } else { quoted }
}

/// A text beside its key, in as many lines as it needs.
fn hang(key: &str, text: &str) -> Vec<String> {
    let blank = " ".repeat(width(key));
    let room = PAGE_WIDTH.saturating_sub(width(key));
    let lines = wrap(text, room).into_iter().enumerate();
    lines.map(|(i, line)| format!("{}{line}", if i == 0 { key } else { &blank })).collect()
}

/// A value with its box.
fn value_lines(value: &Value) -> Vec<String> {
    let star = if value.derived { "*" } else { "" };
    let unit = value.unit.as_deref().map_or_else(String::new, |unit| format!(" {unit}"));
    let names = value.names.as_deref().map_or_else(String::new, |names| format!("  {names}"));
    let key = format!("  [ ] {:<KEY$}", format!("{}{star}", value.key));
    let mut lines = hang(&key, &format!("{}{unit}{names}", value.held));
    for line in raw_lines(value) {
        lines.extend(hang(INDENT, &line));
    }
    lines
}

fn raw_lines(value: &Value) -> Vec<String> {
    let raw = &value.raw;
    let stored = if value.derived {
        format!("{} {}", raw.steps, raw.step)
    } else if raw.step.is_empty() {
        raw.hex.clone()
    } else {
        format!("{} {} = {}", raw.steps, raw.step, raw.hex)
    };
    let Some(asked) = value.asked.as_ref().map(|asked| asked_text(asked, raw.step)) else {
        return vec![stored];
    };
    let one = format!("{stored}; {asked}");
    if width(&one) <= PAGE_WIDTH - INDENT.len() { vec![one] } else { vec![stored, asked] }
}

/// How a value was asked for, and where what is held lies.
fn asked_text(asked: &Asked, step: &str) -> String {
    let default = if asked.default { " by default" } else { "" };
    // "0.6 ULP", but "0.6 of 1e-9 ULP".
    let of = if step.starts_with(|first: char| first.is_ascii_digit()) { " of" } else { "" };
    let by = format!("{}{of} {step}", asked.off_by.as_deref().unwrap_or("a part"));
    let fit = match asked.fit {
        Fit::Exact => "held exactly".to_owned(),
        Fit::StricterBelow => format!("held {by} lower, the stricter side"),
        Fit::StricterAbove => format!("held {by} higher, the stricter side"),
        Fit::Nearest => format!("held to the nearest step, {by} off"),
        Fit::Differs => "NOT WHAT IS HELD".to_owned(),
    };
    format!("asked {}{default}: {fit}", shown(&asked.text))
}
