//! What a trial wants, by its keys: each sort of trial has its own.

use monitor_core::{Channel, Position, Span};
use num_traits::Signed;

use super::amount::Amount;
use super::functions::can_be_violated;
use super::plan::{Count, Rest, Rule, Sort, Wanted};
use super::words;
use crate::decimal::{Dimension, Rounding, parse_quantity, to_ulps};
use crate::nearest::nearest;
use crate::setup::section::{Got, Reported, Section, Text};
use crate::setup::value::POSITIVE;
use crate::setup::{By, InputLines, MonitorKind, Setting, Setup, Until};

/// The sorts of faults.
const SORTS: [&str; 8] =
    ["invalid", "out-of-order", "stale", "implausible", "range", "input", "unreferenced", "clock"];

/// What must happen in a trial, by its keys.
pub(super) fn wanted(section: &Section<'_>, setup: &Setup) -> Got<Wanted> {
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
pub(super) fn unsuited(section: &Section<'_>, text: &Text<'_>, what: &str, way_out: &str) -> Reported {
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
