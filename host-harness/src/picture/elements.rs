//! Elements of SVG. What comes from a trace or a setup is text in them, whatever it is.

use unicode_width::UnicodeWidthChar;

use crate::report::Seconds;

/// The width of a picture, in units of which a screen has one for each pixel.
pub(super) const WIDTH: f64 = 960.0;

/// Of nearly everything that is written.
pub(super) const TEXT: &str = "#222";

/// Text as text of XML, whatever is in it.
pub(super) fn escape(text: &str) -> String {
    crate::html::escape(text).replace(['\u{fffe}', '\u{ffff}'], "\u{fffd}")
}

/// About how wide a text is.
pub(super) fn width(text: &str, size: f64) -> f64 {
    let columns = |letter: char| match letter.width() {
        Some(0) | None => 0.0,
        Some(1) if letter.is_ascii_uppercase() => 0.68,
        Some(1) => 0.55,
        Some(_) => 1.05,
    };
    size * text.chars().map(columns).sum::<f64>()
}

/// As much of a text as there is room for; with dots where something is missing.
fn fitted(text: &str, size: f64, room: f64) -> String {
    if width(text, size) <= room {
        return text.to_owned();
    }
    let mut out = String::new();
    for letter in text.chars() {
        out.push(letter);
        if width(&out, size) + size > room {
            out.pop();
            break;
        }
    }
    out + "\u{2026}"
}

/// Where text is held.
#[derive(Clone, Copy)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

#[derive(Default)]
pub(super) struct Svg(pub(super) String);

impl Svg {
    pub(super) fn put(&mut self, line: &str) {
        self.0 += line;
        self.0.push('\n');
    }

    /// Text with as much of it as there is room for.
    pub(super) fn text(
        &mut self,
        (x, y): (f64, f64),
        size: f64,
        anchor: Anchor,
        (colour, text): (&str, &str),
    ) {
        let (anchor, room) = match anchor {
            Anchor::Start => ("start", WIDTH - 6.0 - x),
            Anchor::Middle => ("middle", 2.0 * (WIDTH - x).min(x)),
            Anchor::End => ("end", x - 4.0),
        };
        let shown = fitted(text, size, room);
        let whole = if shown == text { String::new() } else { format!("<title>{}</title>", escape(text)) };
        self.put(&format!(
            "<text x=\"{x:.1}\" y=\"{y:.1}\" font-size=\"{size}\" text-anchor=\"{anchor}\" fill=\"{colour}\">{whole}{}</text>",
            escape(&shown)
        ));
    }

    /// Text that no line crosses out.
    pub(super) fn title(&mut self, at: (f64, f64), text: &str) {
        // No more than most letters need: what is covered beside them would be a gap in a line.
        let room = (0.8 * width(text, 12.0) + 4.0, 14.0);
        self.bar((at.0 - 2.0, at.1 - 11.0), room, "fill=\"#fff\" fill-opacity=\"0.85\"");
        self.text(at, 12.0, Anchor::Start, (TEXT, text));
    }

    pub(super) fn line(&mut self, (x1, y1): (f64, f64), (x2, y2): (f64, f64), style: &str) {
        self.put(&format!("<line x1=\"{x1:.2}\" y1=\"{y1:.2}\" x2=\"{x2:.2}\" y2=\"{y2:.2}\" {style}/>"));
    }

    pub(super) fn bar(&mut self, (x, y): (f64, f64), (width, height): (f64, f64), style: &str) {
        self.put(&format!(
            "<rect x=\"{x:.2}\" y=\"{y:.2}\" width=\"{width:.2}\" height=\"{height:.2}\" {style}/>"
        ));
    }
}

/// A text in lines that fit.
pub(super) fn in_lines(text: &str, size: f64, room: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match lines.last_mut() {
            Some(line) if width(line, size) + width(word, size) + size < room => {
                line.push(' ');
                *line += word;
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// Nanoseconds as seconds without the zeros at the end, and with a sign that is as wide as a digit.
pub(super) fn short(nanos: i128) -> String {
    let text = Seconds(nanos).to_string();
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text.is_empty() { "0".to_owned() } else { text.replace('-', "\u{2212}") }
}
