//! The list of the pages in a folder.

use super::{Table, escape, html, page, text};
use crate::report::VerdictReport;

/// A page in the list.
#[derive(Clone, Debug)]
pub struct Listed {
    /// The name of its file.
    pub file: String,
    /// The trace that it is of.
    pub trace: String,
    /// What the replay came to.
    pub verdict: VerdictReport,
    /// What stopped the axis.
    pub came_to: String,
}

/// A name of a file as a link: the letters that mean something else in an address are written by their numbers.
fn link(name: &str) -> String {
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || b"-_.".contains(&byte);
    name.bytes()
        .map(|byte| if plain(byte) { char::from(byte).to_string() } else { format!("%{byte:02X}") })
        .collect()
}

/// A page that lists others in its folder, in the order of the command; `unreadable` are the traces that have none.
#[must_use]
pub fn index(title: &str, listed: &[Listed], unreadable: &[String]) -> String {
    let mut table = Table::new("Traces", &["Trace", "Result", "What stopped the axis"]);
    for Listed { file, trace, verdict, came_to } in listed {
        let word = match verdict {
            VerdictReport::Clear => "\u{2713} CLEAR",
            VerdictReport::Tripped => "\u{25bc} TRIPPED",
            VerdictReport::Fault => "\u{25c6} FAULT",
        };
        table.row(&[
            // As a file of this folder, whatever its name begins with.
            html(format!("<a href=\"./{}\">{}</a>", link(file), escape(trace))),
            text(word),
            text(came_to),
        ]);
    }
    let mut body = format!(
        "<h1>{}</h1>\n<p>{}</p>\n{}",
        escape(title),
        crate::plural::plural(listed.len(), "trace"),
        table.end()
    );
    for trace in unreadable {
        body += &format!("<p class=\"verdict bad\">no page: {}</p>\n", escape(trace));
    }
    page(&format!("Traces, {title}"), &body, false)
}

#[cfg(test)]
mod tests {
    use super::link;

    #[test]
    fn names_of_files_are_links_whatever_is_in_them() {
        assert_eq!(link("a b#1?.csv.gz.html"), "a%20b%231%3F.csv.gz.html");
        assert_eq!(link("\"><b>\u{e9}"), "%22%3E%3Cb%3E%C3%A9");
    }
}
