//! A setting of a setup file, by name, set to other values.
//!
//! A setting is named by its place in the file: `speed.window`, `channel.b.timeout`, `input.door.filter`,
//! `monitor."slow while the door is open".ramp.margin`. Quotes are needed where a name holds a point, a quote or `=`; a monitor
//! stands under its `name`. One with a default need not be in the file. What can be varied is what [`Base::known`] lists: every value
//! with a unit, and of the words `align`, `warm_up` and `one_sided`. Names, columns, kinds and demands cannot, nor can
//! what only describes the machine (`[machine]`, `[sensors]`, `[contacts]`, `[approach]`), which no monitor reads.
//!
//! The value is put into the text of the file and that is read as any setup is, so that every check of a setup holds and what is
//! refused is refused for the reason that a person would be given who had edited the file by hand.
//!
//! Values are a list (`1 mm, 1.5 mm, 2 mm`) or ranges (`1 mm..3 mm step 0.5 mm`), or both, separated by commas. A range has both ends,
//! the upper one where a whole number of steps leads there. Its values are exact decimals in the unit of its first: no float is
//! involved, and the value of a range is the one that somebody would have typed.

mod edit;
mod known;
mod path;
mod values;

use std::path::Path as File;

use crate::nearest::{listed_as, nearest};
use crate::setup::{Setup, SetupError};
use known::{Known, known};
pub use path::Path;

/// The most values that one setting, or one grid, may have.
pub const MOST_POINTS: usize = 10_000;

/// What is wrong with what is to be varied, and what to do.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct VaryError(pub(crate) String);

/// A setup file, whose settings can be varied.
#[derive(Clone, Debug)]
pub struct Base {
    name: String,
    text: String,
    setup: Setup,
    known: Vec<Known>,
}

/// A setting of a setup file and the values that it is to have, as they are written in such a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Variation {
    path: Path,
    values: Vec<String>,
    is_quoted: bool,
    written: Option<String>,
}

impl Variation {
    /// The name of the setting.
    #[must_use]
    pub const fn path(&self) -> &Path {
        &self.path
    }

    /// Its values, at least one, in the order in which they were given.
    #[must_use]
    pub fn values(&self) -> &[String] {
        &self.values
    }

    /// What the file says; `None` where it leaves the setting out.
    #[must_use]
    pub fn written(&self) -> Option<&str> {
        self.written.as_deref()
    }
}

impl Base {
    /// Reads a setup file and checks it.
    ///
    /// # Errors
    ///
    /// As [`Setup::load`].
    pub fn load(path: &File) -> Result<Self, SetupError> {
        let text = crate::setup::read_file(path)?;
        Self::parse(&text, path)
    }

    /// The same of a text; `path` is what messages call it.
    ///
    /// # Errors
    ///
    /// As [`Setup::parse`].
    pub fn parse(text: &str, path: impl AsRef<File>) -> Result<Self, SetupError> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text).to_owned();
        let setup = Setup::parse(&text, path.as_ref())?;
        let known = known(&setup, &text);
        Ok(Self { name: path.as_ref().display().to_string(), text, setup, known })
    }

    /// The setup as it is written.
    #[must_use]
    pub const fn setup(&self) -> &Setup {
        &self.setup
    }

    /// The file itself.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Every setting that can be varied, in the order of the documentation of a setup.
    pub fn known(&self) -> impl Iterator<Item = &Path> {
        self.known.iter().map(|known| &known.path)
    }

    /// Reads `SETTING=VALUES`.
    ///
    /// # Errors
    ///
    /// [`VaryError`] when there is no such setting, when the name is that of several, or when a value cannot be one of this setting.
    pub fn variation(&self, text: &str) -> Result<Variation, VaryError> {
        let (path, values) = path::split(text)?;
        let known = self.find(&path)?;
        let values = values::read(values, known)?;
        let written = edit::written(&self.text, &known.path);
        Ok(Variation { path: known.path.clone(), values, is_quoted: known.what.is_quoted(), written })
    }

    fn find(&self, path: &Path) -> Result<&Known, VaryError> {
        if let Some(known) = self.known.iter().find(|known| known.path == *path) {
            return Ok(known);
        }
        let refuse = |why: String| Err(VaryError(format!("--vary {path}: {why}")));
        // A monitor is named by its name, not by its number or kind.
        if path.keys().first().is_some_and(|first| first == "monitor") {
            let of = |name: &str| self.setup.monitors.iter().any(|monitor| monitor.name == name);
            if path.keys().get(1).is_none_or(|name| !of(name)) {
                return refuse(self.which_monitor(path));
            }
        }
        let shown: Vec<String> = self.known().map(ToString::to_string).collect();
        if let Some(near) = nearest(&path.to_string(), shown.iter().map(String::as_str)) {
            return refuse(format!("there is no such setting; did you mean `{near}`?"));
        }
        let last = path.keys().last().map_or("", String::as_str);
        let alike = self.known().filter(|known| known.keys().last().is_some_and(|key| key == last));
        let alike: Vec<String> = alike.map(|known| format!("`{known}`")).collect();
        if !alike.is_empty() {
            return refuse(format!("there is no such setting in {}; use {}", self.name, alike.join(" or ")));
        }
        let listed = listed_as(&path.to_string(), shown.iter().map(String::as_str), str::to_owned);
        refuse(format!("there is no such setting in {}; it has {listed}", self.name))
    }

    /// What to say where it is not clear which monitor is meant.
    fn which_monitor(&self, path: &Path) -> String {
        let names = || self.setup.monitors.iter().map(|monitor| monitor.name.as_str());
        let quoted = |name: &str| format!("\"{name}\"");
        let key = path.keys().last().map_or("on_delay", String::as_str);
        let has_key = |name: &&str| {
            let below = |known: &&Path| known.keys().get(1).is_some_and(|of| of == name);
            self.known().filter(below).any(|known| known.keys().last().is_some_and(|last| last == key))
        };
        let full = |name: &str| {
            let known = self.known().find(|known| {
                known.keys().get(1).is_some_and(|of| of == name)
                    && known.keys().last().is_some_and(|last| last == key)
            });
            known.map(|known| format!("`{known}`"))
        };
        // `monitor.KEY` names none; of `monitor.NAME.KEY` the name is wrong.
        let named =
            path.keys().get(1).filter(|name| path.keys().len() > 2 || nearest(name, names()).is_some());
        let all: Vec<String> = names().filter(has_key).filter_map(full).collect();
        if let Some(named) = named {
            let none = format!("there is no monitor \"{named}\"");
            return match (nearest(named, names()), all.is_empty()) {
                (Some(near), _) => {
                    let near = full(near).unwrap_or_else(|| format!("\"{near}\""));
                    format!("{none}; did you mean {near}?")
                }
                (None, false) => format!("{none}; use {}", all.join(" or ")),
                (None, true) => {
                    format!("{none}; the setup has {}", listed_as(named, names(), quoted))
                }
            };
        }
        match all.len() {
            0 => format!("the setup has no monitor with `{key}`; it has {}", listed_as(key, names(), quoted)),
            1 => format!("which monitor? Write {}", all[0]),
            _ => format!("which monitor? Several have `{key}`: write {}", all.join(" or ")),
        }
    }

    /// The setup with some of its settings at other values: of each variation the value at that place, or its last.
    ///
    /// # Errors
    ///
    /// [`SetupError`] where a check of the setup refuses the values.
    pub fn with(&self, changes: &[(&Variation, usize)]) -> Result<Setup, SetupError> {
        Setup::parse(&self.text_with(changes), &self.name)
    }

    /// The text of that setup.
    #[must_use]
    pub fn text_with(&self, changes: &[(&Variation, usize)]) -> String {
        let mut text = self.text.clone();
        for (variation, place) in changes {
            let Some(value) = variation.values.get(*place).or(variation.values.last()) else { continue };
            let literal = if variation.is_quoted { edit::quoted(value) } else { value.clone() };
            text = edit::set(&text, &variation.path, &literal);
        }
        text
    }
}

#[cfg(test)]
mod tests;
