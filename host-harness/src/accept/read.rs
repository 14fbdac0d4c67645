//! From the text of a plan to its trials.

use std::path::Path;

use monitor_core::{Channel, Position, Span};
use num_traits::Signed;
use toml::de::DeValue;

use super::amount::Amount;
use super::functions::can_be_violated;
use super::plan::{Count, Plan, PlanError, Recorded, Rest, Rule, Sort, Trial, Wanted, Window};
use super::words;
use crate::decimal::{Dimension, Rounding, parse_quantity, round_scaled, to_ulps};
use crate::setup::nearest::nearest;
use crate::setup::section::{Entry, Got, Reported, Section, Text};
use crate::setup::value::POSITIVE;
use crate::setup::{By, InputLines, MonitorKind, Place, Setting, Setup, SetupError, Until, document};

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
        let text = text_of(path, &shown)?;
        let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
        let mut of_setup = None;
        let plan = document(text, &shown, "plan of trials", |root| {
            Of { folder: path.parent().unwrap_or(Path::new("")), text }.plan(root, path, &mut of_setup)
        });
        match (plan, of_setup) {
            (Ok(plan), _) => Ok(plan),
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
    std::fs::read_to_string(path).map_err(|why| refuse(why.to_string(), "check the path; it is a TOML file"))
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

/// The sorts of faults.
const SORTS: [&str; 8] =
    ["invalid", "out-of-order", "stale", "implausible", "range", "input", "unreferenced", "clock"];

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
            OF_SOME.iter().for_each(|(key, _)| drop(section.entry(key)));
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

fn wanted(section: &Section<'_>, setup: &Setup) -> Got<Wanted> {
    if section.entry("fault").is_some() {
        let sort = section.name("fault", "\"stale\"").and_then(|text| fault(section, setup, &text));
        return sort.map(Wanted::Faults);
    }
    let rule = section.name("monitor", "\"slow while the door is open\"");
    let rule = rule.and_then(|text| rule_named(section, setup, &text).map(|rule| (rule, text)));
    let is_nothing = section.flag("nothing_trips", false)?;
    if is_nothing {
        return rule.and_then(|(rule, text)| nothing(section, setup, rule, &text));
    }
    let completes = section.flag("completes", false)?;
    if completes {
        return rule.and_then(|(rule, text)| completed(section, setup, rule, &text));
    }
    if section.entry("turns").is_some() {
        let turns = section.string("turns", "\"off\"")?;
        let on = section.choice(&turns, "turns", &[("on", true), ("off", false)])?;
        return rule.and_then(|(rule, text)| match rule {
            Rule::Monitor(monitor) if setup.monitors[monitor].kind.is_output() => {
                Ok(Wanted::Turns { monitor, on })
            }
            _ => Err(unsuited(section, &text, "is no output", "leave `turns` out, or name an output")),
        });
    }
    rule.and_then(|(rule, text)| trips(section, setup, rule, &text))
}

/// A rule that cannot do what a trial wants of it.
fn unsuited(section: &Section<'_>, text: &Text<'_>, what: &str, way_out: &str) -> Reported {
    let message = format!("{}: `{}` {what}", section.title, text.text);
    section.reader.refuse(text.span.clone(), message, "", way_out)
}

fn rule_named(section: &Section<'_>, setup: &Setup, text: &Text<'_>) -> Got<Rule> {
    let all = words::rules(setup);
    if let Some((_, rule)) = all.iter().find(|(name, _)| *name == text.text) {
        return Ok(*rule);
    }
    let names = all.iter().map(|(name, _)| *name);
    Err(unknown(section, text, "monitor", names))
}

fn unknown<'n>(
    section: &Section<'_>,
    text: &Text<'_>,
    what: &str,
    known: impl Iterator<Item = &'n str> + Clone,
) -> Reported {
    let all: Vec<_> = known.clone().map(|name| format!("`{name}`")).collect();
    let way_out = match (nearest(text.text, known), all.is_empty()) {
        (Some(near), _) => format!("did you mean `{near}`? The setup has {}", all.join(", ")),
        (None, false) => format!("use one that it has: {}", all.join(", ")),
        (None, true) => "the setup has none; leave this trial out".to_owned(),
    };
    let message = format!("{}: the setup has no {what} `{}`", section.title, text.text);
    section.reader.refuse(text.span.clone(), message, "not in the setup", way_out)
}

fn never_trips(section: &Section<'_>, setup: &Setup, rule: Rule, text: &Text<'_>) -> Got<()> {
    let Rule::Monitor(monitor) = rule else { return Ok(()) };
    match &setup.monitors[monitor].kind {
        MonitorKind::TorqueOff => {
            Err(unsuited(section, text, "never trips: it withdraws the permit", "write completes = true"))
        }
        MonitorKind::Stop { until, by } if !can_be_violated(until, by) => {
            Err(unsuited(section, text, "never trips: only its time is watched", "write completes = true"))
        }
        kind if kind.is_output() => Err(unsuited(
            section,
            text,
            "is an output and never trips",
            "write turns = \"on\" or turns = \"off\"",
        )),
        _ => Ok(()),
    }
}

fn nothing(section: &Section<'_>, setup: &Setup, rule: Rule, text: &Text<'_>) -> Got<Wanted> {
    never_trips(section, setup, rule, text)?;
    Ok(Wanted::Nothing(rule))
}

/// The channels that are named, or both.
fn channels(section: &Section<'_>) -> Got<Vec<Channel>> {
    let Some(text) = section.optional_string("channel", "\"a\"")? else { return Ok(Channel::BOTH.to_vec()) };
    let choices = [("a", Some(Channel::A)), ("b", Some(Channel::B)), ("both", None)];
    let choice = section.choice(&text, "channel", &choices)?;
    Ok(choice.map_or_else(|| Channel::BOTH.to_vec(), |channel| vec![channel]))
}

/// One channel, which must be named.
fn channel(section: &Section<'_>) -> Got<Channel> {
    let text = section.string("channel", "\"a\"")?;
    section.choice(&text, "channel", &[("a", Channel::A), ("b", Channel::B)])
}

fn completed(section: &Section<'_>, setup: &Setup, rule: Rule, text: &Text<'_>) -> Got<Wanted> {
    let refuse = || {
        let way_out = "leave `completes` out, or name a `stop` or a `torque-off`";
        Err(unsuited(section, text, "is neither a stop nor a torque-off", way_out))
    };
    let Rule::Monitor(monitor) = rule else { return refuse() };
    let (channels, within) = match &setup.monitors[monitor].kind {
        MonitorKind::Stop { .. } => (channels(section), section.optional::<Span>("within", POSITIVE)),
        // At once: a time would be kept by itself.
        MonitorKind::TorqueOff => (Ok(vec![]), Ok(None)),
        _ => return refuse(),
    };
    Ok(Wanted::Completes { monitor, channels: channels?, within: within? })
}

fn trips(section: &Section<'_>, setup: &Setup, rule: Rule, text: &Text<'_>) -> Got<Wanted> {
    never_trips(section, setup, rule, text)?;
    let channels = match rule {
        Rule::Monitor(_) => channels(section),
        _ => match section.optional_string("channel", "\"both\"")? {
            Some(other) if other.text != "both" => Err(section.reader.refuse(
                other.span.clone(),
                format!("{}: `{}` belongs to both channels", section.title, text.text),
                "one of them",
                "write \"both\", or leave `channel` out",
            )),
            _ => Ok(vec![]),
        },
    };
    let within = section.optional::<Span>("within", POSITIVE);
    let count =
        section.choice_or_first("within_of", &[("crossing", Count::Crossing), ("demand", Count::Demand)]);
    let demand = section.flag("demand", false);
    let has_demand = match rule {
        Rule::Monitor(monitor) => !setup.monitors[monitor].is_always_active(),
        _ => false,
    };
    let wants_demand = matches!(demand, Ok(true)) || matches!(count, Ok(Count::Demand));
    if wants_demand && !has_demand {
        return Err(unsuited(
            section,
            text,
            "is always active: nothing demands it",
            "leave `demand` and `within_of` out",
        ));
    }
    let overshoot = overshoot(section, setup, rule);
    let rest = rest(section);
    Ok(Wanted::Trips {
        rule,
        channels: channels?,
        demand: demand?,
        within: within?,
        count: count?,
        overshoot: overshoot?,
        rest: rest?,
    })
}

fn rest(section: &Section<'_>) -> Got<Option<Rest>> {
    let Some(rest) = section.subsection("rest", "the `rest` of this trial")? else { return Ok(None) };
    let (within, speed) = (rest.required("within", POSITIVE), rest.required("speed", POSITIVE));
    rest.finish()?;
    Ok(Some(Rest { within: within?, speed: speed? }))
}

/// What a rule may compare, each with its unit.
fn compared(setup: &Setup, rule: Rule) -> Vec<(Dimension, String)> {
    let unit = setup.unit;
    let position = || (unit.position(), unit.symbol().to_owned());
    let speed = || (unit.speed(), format!("{}/s", unit.symbol()));
    let acceleration = || (unit.acceleration(), format!("{}/s^2", unit.symbol()));
    let value = |of: usize| {
        let unit = setup.analogues[of].unit;
        (unit.dimension(), unit.symbol().to_owned())
    };
    let monitor = match rule {
        Rule::Position => return vec![position()],
        Rule::Speed => return vec![speed()],
        Rule::Analogue(of) => return vec![value(of)],
        Rule::Monitor(monitor) => &setup.monitors[monitor],
    };
    let mut all = match &monitor.kind {
        MonitorKind::Standstill(_) => vec![position(), speed()],
        MonitorKind::SpeedLimit { .. } | MonitorKind::SpeedRange(_) => vec![speed()],
        MonitorKind::AccelerationLimit { .. } | MonitorKind::AccelerationRange(_) => vec![acceleration()],
        MonitorKind::TorqueLimit { of, .. }
        | MonitorKind::TorqueRange { of, .. }
        | MonitorKind::TemperatureLimit { of, .. } => vec![value(*of)],
        MonitorKind::Stop { until, by } => {
            let mut all = match by {
                By::Ramp { .. } => vec![speed()],
                By::Deceleration { .. } => vec![acceleration()],
                By::Time { .. } => vec![],
            };
            if let Until::Standstill(_) = until {
                all.extend([position(), speed()]);
            }
            all
        }
        _ => vec![position()],
    };
    if monitor.allowed_overrun.is_some() {
        all.push(position());
    }
    all
}

/// Read in the unit of whichever quantity of the rule it fits, and rounded down as every limit is.
fn overshoot(section: &Section<'_>, setup: &Setup, rule: Rule) -> Got<Option<Setting<Amount>>> {
    let Some(entry) = section.entry("overshoot") else { return Ok(None) };
    let all = compared(setup, rule);
    let fits =
        |of: &&(Dimension, String)| entry.text().is_some_and(|text| parse_quantity(text.text, of.0).is_ok());
    let Some((dimension, unit)) = all.iter().find(fits).or(all.first()) else { return Ok(None) };
    let (quantity, text) = section.quantity(&entry, *dimension)?;
    let refuse = |message: &str, label: &str, way_out: &str| {
        let message = format!("`overshoot` of {} {message}", section.title);
        Err(section.reader.refuse(text.span.clone(), message, label, way_out))
    };
    if quantity.value.is_negative() {
        return refuse("must not be negative", "negative", "write how far beyond the limit it may be");
    }
    match to_ulps(&quantity.value, Rounding::Down) {
        Ok(bits) if Position::from_bits(bits) < Position::MAX => Ok(Some(Setting {
            value: Amount::Value(bits, unit.clone()),
            text: text.text.trim().to_owned(),
            span: text.span.clone(),
        })),
        _ => refuse("is beyond the range", "too large or too fine", "is the unit the right one?"),
    }
}

fn fault(section: &Section<'_>, setup: &Setup, text: &Text<'_>) -> Got<Sort> {
    let sort = section.choice(text, "fault", &SORTS.map(|sort| (sort, sort)))?;
    match sort {
        "clock" => Ok(Sort::Clock),
        "input" => {
            let text = section.name("input", "\"door\"")?;
            let found = setup.inputs.iter().position(|input| input.name == text.text);
            let names = setup.inputs.iter().map(|input| input.name.as_str());
            let place = found.ok_or_else(|| unknown(section, &text, "input", names))?;
            match setup.inputs[place].lines {
                InputLines::Dual { .. } => Ok(Sort::Input(place)),
                InputLines::Single(_) => {
                    let way_out = "name an input with two lines";
                    Err(unsuited(section, &text, "has one line, which nothing is held against", way_out))
                }
            }
        }
        "unreferenced" => {
            let text = section.name("monitor", "\"kiln mouth\"")?;
            let needs = |monitor: &&crate::setup::MonitorSetup| monitor.kind.needs_reference();
            let names = setup.monitors.iter().filter(needs).map(|monitor| monitor.name.as_str());
            let found =
                setup.monitors.iter().position(|of| of.name == text.text && of.kind.needs_reference());
            let what = "monitor that needs a referenced position,";
            let place = found.ok_or_else(|| unknown(section, &text, what, names))?;
            let channels = channels(section)?;
            let one = if let [one] = channels[..] { Some(one) } else { None };
            Ok(Sort::Unreferenced(place, one))
        }
        sort => {
            let of = match section.entry("analogue") {
                None => None,
                Some(_) => {
                    let text = section.name("analogue", "\"torque\"")?;
                    let found = setup.analogues.iter().position(|analogue| analogue.name == text.text);
                    let names = setup.analogues.iter().map(|analogue| analogue.name.as_str());
                    Some(found.ok_or_else(|| unknown(section, &text, "analogue value", names))?)
                }
            };
            let channel = channel(section)?;
            match (of, sort) {
                (Some(_), "implausible") => Err(section.reader.refuse(
                    text.span.clone(),
                    format!("{}: a line of an analogue value is never implausible", section.title),
                    "",
                    "write \"range\", \"stale\", \"invalid\" or \"out-of-order\"",
                )),
                (Some(of), sort) => Ok(Sort::Line(sort, of, channel)),
                (None, sort) => Ok(Sort::Channel(sort, channel)),
            }
        }
    }
}
