//! From the text of a plan to its trials.

use std::path::Path;

use toml::de::DeValue;

use super::plan::{Plan, PlanError, Recorded, Trial, Window};
use super::wanted::{unsuited, wanted};
use crate::decimal::{Dimension, Rounding, round_scaled};
use crate::setup::section::{Entry, Got, Reported, Section, Text};
use crate::setup::{Place, Setup, SetupError, document};

/// The largest plan that is read, in bytes.
const MAX_PLAN_BYTES: u64 = 4 << 20;

impl Plan {
    /// Reads a plan and the setup that it names.
    ///
    /// # Errors
    ///
    /// [`PlanError`] when one of the two cannot be read, or anything in it is wrong: all that could be found, in the order of the file.
    pub fn load(path: &Path) -> Result<Self, PlanError> {
        let shown = path.display().to_string();
        let whole = text_of(path, &shown)?;
        let text = whole.strip_prefix('\u{feff}').unwrap_or(&whole);
        let mut of_setup = None;
        let plan = document(text, &shown, "plan of trials", |root| {
            Of { folder: path.parent().unwrap_or(Path::new("")), text }.plan(root, path, &mut of_setup)
        });
        match (plan, of_setup) {
            // With its mark: the report names the file by its bytes.
            (Ok(plan), _) => Ok(Self { text: whole, ..plan }),
            (Err(error), Some(setup)) if error.diagnostics().is_empty() => Err(setup.into()),
            (Err(error), _) => Err(error.into()),
        }
    }
}

fn text_of(path: &Path, shown: &str) -> Result<String, SetupError> {
    let refuse = |why: String, way_out: &str| {
        SetupError::unreadable(
            shown.to_owned(),
            format!("the plan cannot be read: {why}"),
            way_out.to_owned(),
        )
    };
    if let Ok(found) = path.metadata()
        && found.len() > MAX_PLAN_BYTES
    {
        let why = format!("larger than {} MiB, which no plan is", MAX_PLAN_BYTES >> 20);
        return Err(refuse(why, "is this a trace? The plan is the TOML file that lists the trials"));
    }
    let bytes =
        std::fs::read(path).map_err(|why| refuse(why.to_string(), "check the path; it is a TOML file"))?;
    crate::setup::utf8(bytes, shown)
}

/// Where a plan stands, and what it says.
struct Of<'t> {
    folder: &'t Path,
    text: &'t str,
}

/// Keys that only some trials have, each with what a trial of another sort is told.
const OF_SOME: [(&str, &str); 12] = [
    ("monitor", "a fault of this sort belongs to no monitor"),
    ("channel", "what this trial wants belongs to no channel alone"),
    ("input", "only a trial with fault = \"input\" has one"),
    ("analogue", "only a fault of a line has one; a rule on it is named by `monitor`"),
    ("demand", "only a trial that wants a trip has it"),
    ("within", "what this trial wants has no time that could be held to it"),
    ("within_of", "only a trial that wants a trip has it"),
    ("overshoot", "only a trial that wants a trip has it"),
    ("rest", "only a trial that wants a trip has it"),
    ("completes", "a trial wants one thing"),
    ("turns", "a trial wants one thing"),
    ("nothing_trips", "a trial wants one thing"),
];

impl Of<'_> {
    fn plan(&self, mut root: Section<'_>, path: &Path, of_setup: &mut Option<SetupError>) -> Got<Plan> {
        root.title = "the plan".to_owned();
        let title =
            root.name("title", "\"Acceptance of the transfer axis\"").map(|text| text.text.to_owned());
        let keys = ["machine", "place", "tested_by"];
        let about = keys.map(|key| {
            let text = root.optional_string(key, "\"hall 2\"")?;
            Ok(text.map(|text| (key, text.text.to_owned())))
        });
        let named = root.name("setup", "\"axis.toml\"").map(|text| self.folder.join(text.text));
        let setup = named.and_then(|setup_path| {
            let loaded = crate::setup::read_file(&setup_path)
                .and_then(|text| Setup::parse(&text, &setup_path).map(|setup| (text, setup)));
            let (text, setup) = loaded.map_err(|error| {
                *of_setup = Some(error);
                Reported
            })?;
            Ok((setup_path, text, setup))
        });
        let trials = root.needed("trial", "a list of sections, each of which begins with [[trial]]");
        // Names are those of the setup: without it no trial can be judged, and what is wrong with the setup is said first.
        let trials = match (&setup, trials) {
            (Ok((_, _, setup)), Ok(entry)) => self.trials(&root, &entry, setup),
            _ => Err(Reported),
        };
        root.finish()?;
        let (setup_path, setup_text, setup) = setup?;
        let about = about.into_iter().collect::<Got<Vec<_>>>()?.into_iter().flatten().collect();
        let (path, text) = (path.to_path_buf(), self.text.to_owned());
        Ok(Plan { path, text, title: title?, about, setup_path, setup_text, setup, trials: trials? })
    }

    fn trials(&self, root: &Section<'_>, entry: &Entry<'_>, setup: &Setup) -> Got<Vec<Trial>> {
        let DeValue::Array(list) = entry.value else {
            let way_out = "begin every trial with the line [[trial]], in double brackets".to_owned();
            return Err(root.wrong_type(entry, "a list of sections", way_out));
        };
        if list.is_empty() {
            let way_out = "begin each with the line [[trial]], in double brackets";
            return Err(root.reader.refuse(
                entry.span.clone(),
                "the plan has no trial",
                "none here",
                way_out,
            ));
        }
        let (mut trials, mut reported) = (Vec::new(), None);
        for item in list.iter() {
            let item =
                Entry { key: "trial", key_span: item.span(), value: item.get_ref(), span: item.span() };
            match root.of(&item, "[[trial]]".to_owned()).and_then(|section| self.trial(section, setup)) {
                Ok(trial) => trials.push(trial),
                Err(error) => reported = Some(error),
            }
        }
        reported.map_or(Ok(trials), Err)
    }

    fn trial(&self, mut section: Section<'_>, setup: &Setup) -> Got<Trial> {
        section.axis = setup.unit;
        let name = section.name("name", "\"too fast with the door open\"");
        if let Ok(name) = &name {
            section.title = format!("trial \"{}\"", name.text);
        }
        let how = section.name("how", "\"door open, the drive told to run at 400 mm/s\"");
        let recorded = match section.entry("trace") {
            None => Ok(None),
            Some(_) => section.name("trace", "\"run.csv\"").and_then(|text| self.recorded(&section, &text)),
        };
        let window = window(&section);
        let allow_others = section.flag("allow_others", false);
        let wanted = wanted(&section, setup);
        // A key of another sort of trial is told so, and not that nobody knows it.
        let mut misplaced = Ok(());
        if wanted.is_ok() {
            for (key, why) in OF_SOME {
                if !section.has_asked(key) {
                    misplaced = section.misplaced(key, why, "leave it out").and(misplaced);
                }
            }
        } else {
            // Whether it belongs there is not known then.
            for (key, _) in OF_SOME {
                let _ = section.entry(key);
            }
        }
        let line = Place::new(self.text, section.span.clone()).line;
        section.finish()?;
        misplaced?;
        Ok(Trial {
            name: name?.text.to_owned(),
            how: how?.text.to_owned(),
            line,
            recorded: recorded?,
            wanted: wanted?,
            window: window?,
            allow_others: allow_others?,
        })
    }

    fn recorded(&self, section: &Section<'_>, text: &Text<'_>) -> Got<Option<Recorded>> {
        let Place { line, column, .. } = Place::new(self.text, text.span.clone());
        let path = self.folder.join(text.text);
        if path.as_os_str() == "-" {
            let way_out = "name the file, so that it can be held against the report later";
            return Err(unsuited(section, text, "is standard input, which is kept nowhere", way_out));
        }
        Ok(Some(Recorded { path, at: (line, column) }))
    }
}

fn window(section: &Section<'_>) -> Got<Window> {
    let time = |key| -> Got<Option<i128>> {
        let Some(entry) = section.entry(key) else { return Ok(None) };
        let (quantity, text) = section.quantity(&entry, Dimension::Time)?;
        round_scaled(&quantity.value, 1, Rounding::Nearest).map(Some).ok_or_else(|| {
            let message = format!("`{key}` of {} is beyond the range", section.title);
            section.reader.refuse(text.span, message, "too large", "write a time of the trace")
        })
    };
    let (from, to) = (time("from"), time("to"));
    let window = Window { from: from?, to: to? };
    match (window.from, window.to, section.entry("to")) {
        (Some(from), Some(to), Some(entry)) if from > to => Err(section.reader.refuse(
            entry.span,
            format!("the window of {} ends before it begins", section.title),
            "before `from`",
            "exchange the two times",
        )),
        _ => Ok(window),
    }
}
