//! What is wrong with a setup file, and how it is shown.

use std::fmt;
use std::ops::Range;

use annotate_snippets::{AnnotationKind, Level, Renderer, Snippet};

/// A place in the setup file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// The line, from 1.
    pub line: usize,
    /// The column in characters, from 1.
    pub column: usize,
    /// The offending bytes; empty when something is missing there.
    pub span: Range<usize>,
}

impl Place {
    /// The place of `span` in `text`.
    pub(crate) fn new(text: &str, span: Range<usize>) -> Self {
        let before = &text[..span.start];
        let start = before.rfind('\n').map_or(0, |newline| newline + 1);
        let line = before.matches('\n').count() + 1;
        Self { line, column: before[start..].chars().count() + 1, span }
    }
}

/// One thing that is wrong with a setup file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Diagnostic {
    /// Where; `None` when the file as a whole is meant.
    pub place: Option<Place>,
    /// What is wrong.
    pub message: String,
    /// What is wrong with the marked text, in few words; may be empty.
    pub label: String,
    /// Another place that has to do with it, and what that is.
    pub related: Option<(Place, String)>,
    /// What to do about it.
    pub way_out: String,
}

/// How many are shown: a file that is no setup has something wrong on every line.
const SHOWN: usize = 20;

/// Everything that is wrong with a setup file, in the order of the file.
///
/// `Display` gives one line for each, `path:line:column: what is wrong; what to do`; [`SetupError::render`] shows the
/// text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SetupError {
    path: String,
    text: String,
    diagnostics: Vec<Diagnostic>,
    /// What kind of file it should be.
    what: &'static str,
}

impl SetupError {
    /// At least one diagnostic is expected; they are put into the order of the file.
    pub(super) fn new(
        path: String,
        text: String,
        mut diagnostics: Vec<Diagnostic>,
        what: &'static str,
    ) -> Self {
        diagnostics.sort_by_key(|diagnostic| diagnostic.place.as_ref().map_or(0, |place| place.span.start));
        Self { path, text, diagnostics, what }
    }

    /// A file that cannot be read at all.
    pub(crate) fn unreadable(path: String, message: String, way_out: String) -> Self {
        let diagnostic = Diagnostic { place: None, message, label: String::new(), related: None, way_out };
        Self { path, text: String::new(), diagnostics: vec![diagnostic], what: "setup file" }
    }

    /// What is wrong, one by one, in the order of the file; never empty.
    #[must_use]
    pub fn diagnostics(&self) -> &[Diagnostic] {
        &self.diagnostics
    }

    /// All of it for a terminal: the offending lines with the offending text underlined. Escape sequences for
    /// colours only if `color`.
    #[must_use]
    pub fn render(&self, color: bool) -> String {
        let renderer = if color { Renderer::styled() } else { Renderer::plain() };
        let mut shown: Vec<String> =
            self.diagnostics.iter().take(SHOWN).map(|one| self.render_one(one, &renderer)).collect();
        if self.diagnostics.len() > SHOWN {
            let more = self.diagnostics.len() - SHOWN;
            shown.push(format!("... and {more} more in {}; is it a {}?", self.path, self.what));
        }
        shown.join("\n\n")
    }

    fn render_one(&self, diagnostic: &Diagnostic, renderer: &Renderer) -> String {
        let way_out = Level::HELP.message(&diagnostic.way_out);
        let title = Level::ERROR.primary_title(match diagnostic.place {
            Some(_) => diagnostic.message.clone(),
            None => format!("{}: {}", self.path, diagnostic.message),
        });
        let Some(place) = &diagnostic.place else {
            return renderer.render(&[title.element(way_out)]);
        };
        let label = Some(diagnostic.label.as_str()).filter(|label| !label.is_empty());
        let mut snippet = Snippet::source(&self.text)
            .path(&self.path)
            .annotation(AnnotationKind::Primary.span(place.span.clone()).label(label));
        if let Some((place, label)) = &diagnostic.related {
            snippet =
                snippet.annotation(AnnotationKind::Context.span(place.span.clone()).label(label.as_str()));
        }
        renderer.render(&[title.element(snippet).element(way_out)])
    }
}

impl fmt::Display for SetupError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, diagnostic) in self.diagnostics.iter().enumerate() {
            if index > 0 {
                f.write_str("\n")?;
            }
            f.write_str(&self.path)?;
            if let Some(place) = &diagnostic.place {
                write!(f, ":{}:{}", place.line, place.column)?;
            }
            write!(f, ": {}; {}", diagnostic.message, diagnostic.way_out)?;
        }
        Ok(())
    }
}

impl std::error::Error for SetupError {}
