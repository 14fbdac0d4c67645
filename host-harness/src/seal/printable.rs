//! Text that may come from anybody, for a page and for a comment.

use unicode_width::UnicodeWidthStr;

/// A name in quotes; what cannot be seen, or would break or turn a line, is shown as its escape.
pub(super) fn quoted(name: &str) -> String {
    format!("{name:?}")
}

/// Columns that a text takes.
pub(crate) fn width(text: &str) -> usize {
    UnicodeWidthStr::width(text)
}

/// No line has more characters than this, whatever their width: marks upon marks take no column.
const MOST_CHARS: usize = 400;

/// A text in lines of at most `most` columns, parted at blanks where there are any. At least one line.
pub(crate) fn wrap(text: &str, most: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split_inclusive(' ') {
        if !line.is_empty() && width(&line) + width(word.trim_end()) > most {
            lines.push(std::mem::take(&mut line).trim_end().to_owned());
        }
        if width(word.trim_end()) <= most && word.chars().count() <= MOST_CHARS {
            line += word;
            continue;
        }
        for character in word.chars() {
            let before = line.len();
            line.push(character);
            if before > 0 && (width(&line) > most || line.chars().count() > MOST_CHARS) {
                line.truncate(before);
                lines.push(std::mem::take(&mut line));
                line.push(character);
            }
        }
    }
    if !line.is_empty() || lines.is_empty() {
        lines.push(line.trim_end().to_owned());
    }
    lines
}

/// A text cut to `most` columns, with dots where something is missing.
pub(crate) fn cut(text: &str, most: usize) -> String {
    const DOTS: &str = "...";
    if width(text) <= most && text.chars().count() <= MOST_CHARS {
        return text.to_owned();
    }
    let first = wrap(&text.replace(' ', "\u{1}"), most.saturating_sub(DOTS.len()));
    first.first().map_or_else(String::new, |line| line.replace('\u{1}', " ") + DOTS)
}
