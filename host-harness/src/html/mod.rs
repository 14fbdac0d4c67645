//! A report as one HTML file that opens offline: it asks nothing of a network, and what comes from a trace or a setup is text in it.
//!
//! The charts are drawn by the scripts beside this file on a small library for axes and cursor, which stands in `uplot/` with its licence;
//! everything else is plain tables, which need no script.

mod accept;
mod charts;
mod encode;
mod explained;
mod index;
mod marked;
mod report;
#[cfg(test)]
mod tests;
mod words;

pub use accept::acceptance;
pub use index::{Listed, index};
pub use report::{Sheet, report};
pub use words::came_to;

use crate::report::CAUTION;

const UPLOT: &str = include_str!("uplot/uPlot.iife.min.js");
const UPLOT_CSS: &str = include_str!("uplot/uPlot.min.css");
const UPLOT_LICENCE: &str = include_str!("uplot/LICENSE");
const SCRIPTS: [&str; 5] = [
    include_str!("plot.js"),
    include_str!("draw.js"),
    include_str!("marks.js"),
    include_str!("reading.js"),
    include_str!("page.js"),
];
const STYLE: &str = include_str!("page.css");

/// Text as text of a page, whatever is in it.
#[must_use]
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => out += "&amp;",
            '<' => out += "&lt;",
            '>' => out += "&gt;",
            '"' => out += "&quot;",
            '\'' => out += "&#39;",
            '\n' | '\t' => out.push(letter),
            // Not allowed in a page, and not to be seen otherwise.
            control if control.is_control() => out.push('\u{fffd}'),
            other => out.push(other),
        }
    }
    out
}

/// JSON as the content of a script element.
fn in_script(json: &str) -> String {
    json.replace('<', "\\u003c").replace('\u{2028}', "\\u2028").replace('\u{2029}', "\\u2029")
}

/// A whole page; `body` is HTML, and so are the scripts of a page with charts.
fn page(title: &str, body: &str, with_charts: bool) -> String {
    let mut out = String::from("<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n");
    out += "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n";
    // Nothing is loaded from anywhere, whatever stands in the page.
    out += "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; \
            script-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'\">\n";
    out += &format!("<title>{}</title>\n<style>\n", escape(title));
    if with_charts {
        out += UPLOT_CSS;
        out += "\n";
    }
    out += STYLE;
    out += "</style>\n</head>\n<body>\n<main>\n";
    out += body;
    out += "</main>\n";
    out += &format!(
        "<footer>\n<p>{}</p>\n<p>Made by cowitness {}.{}</p>\n</footer>\n",
        escape(CAUTION),
        env!("CARGO_PKG_VERSION"),
        if with_charts {
            " The charts use uPlot 1.6.32 under the MIT licence, which stands in the source of this page."
        } else {
            ""
        },
    );
    if with_charts {
        out += &format!("<script>\n/*\n{}*/\n{UPLOT}\n</script>\n", UPLOT_LICENCE.replace("*/", "* /"));
        for script in SCRIPTS {
            out += &format!("<script>\n{script}</script>\n");
        }
    }
    out += "</body>\n</html>\n";
    out
}

/// A table in the making.
struct Table(String);

impl Table {
    /// What it is of, for those who do not see the heading above it, and heads; one that begins with `#` is that of a column of numbers.
    fn new(what: &str, heads: &[&str]) -> Self {
        let what = escape(what);
        let mut out = format!("<div class=\"scroll\"><table aria-label=\"{what}\">\n<thead><tr>");
        for head in heads {
            let (class, head) = head.strip_prefix('#').map_or(("", *head), |head| (" class=\"n\"", head));
            out += &format!("<th scope=\"col\"{class}>{}</th>", escape(head));
        }
        out += "</tr></thead>\n<tbody>\n";
        Self(out)
    }

    /// A row of cells, each HTML with its class.
    fn row(&mut self, cells: &[Cell]) {
        self.0 += "<tr>";
        for cell in cells {
            self.0 += &format!("<td{}>{}</td>", cell.class, cell.html);
        }
        self.0 += "</tr>\n";
    }

    fn end(self) -> String {
        self.0 + "</tbody></table></div>\n"
    }
}

/// A cell of a table.
struct Cell {
    html: String,
    class: &'static str,
}

/// A cell of text.
fn text(text: impl AsRef<str>) -> Cell {
    Cell { html: escape(text.as_ref()), class: "" }
}

/// A cell of a number.
fn number(text: impl AsRef<str>) -> Cell {
    Cell { html: escape(text.as_ref()), class: " class=\"n\"" }
}

/// A cell of HTML.
const fn html(html: String) -> Cell {
    Cell { html, class: "" }
}
