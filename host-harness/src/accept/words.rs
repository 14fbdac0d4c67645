//! What rules, functions and wishes are called.

use monitor_core::Channel;

use super::functions::{Function, Part, Subject};
use super::plan::{Count, Rule, Sort, Trial, Wanted, Window};
use crate::report::short;
use crate::setup::Setup;

/// Everything that a trial can name as its `monitor`.
pub(super) fn rules(setup: &Setup) -> Vec<(&str, Rule)> {
    let monitors = setup.monitors.iter().enumerate();
    let mut all: Vec<_> = monitors.map(|(place, one)| (one.name.as_str(), Rule::Monitor(place))).collect();
    all.extend(setup.discrepancy.is_some().then_some(("discrepancy", Rule::Position)));
    all.extend(setup.speed_discrepancy.is_some().then_some(("speed_discrepancy", Rule::Speed)));
    let analogues = setup.analogues.iter().enumerate();
    all.extend(analogues.map(|(place, one)| (one.name.as_str(), Rule::Analogue(place))));
    all
}

/// Name and kind of a rule.
pub(super) fn rule(setup: &Setup, rule: Rule) -> (&str, &'static str) {
    match rule {
        Rule::Monitor(place) => (&setup.monitors[place].name, setup.monitors[place].kind.name()),
        Rule::Position => ("discrepancy", "discrepancy"),
        Rule::Speed => ("speed_discrepancy", "speed-discrepancy"),
        Rule::Analogue(place) => (&setup.analogues[place].name, "analogue-discrepancy"),
    }
}

pub(super) const fn channel(channel: Channel) -> &'static str {
    match channel {
        Channel::A => "a",
        Channel::B => "b",
    }
}

/// Name and kind of a function.
pub(super) fn function(setup: &Setup, function: &Function) -> (String, &'static str) {
    match function.subject {
        Subject::Rule(of) => {
            let (name, kind) = rule(setup, of);
            (name.to_owned(), kind)
        }
        Subject::Source => {
            let source = setup.channel(function.channel.unwrap_or(Channel::A));
            (source.column.clone(), "position source")
        }
        Subject::Input(place) => (setup.inputs[place].name.clone(), "input with two lines"),
        Subject::Line(of) => (setup.analogues[of].name.clone(), "line of an analogue value"),
        Subject::Reference(place) => (setup.monitors[place].name.clone(), "reference"),
    }
}

/// What a function has to show.
pub(super) const fn shows(function: &Function) -> &'static str {
    match (function.part, function.subject) {
        (Part::Faults, Subject::Input(_)) => "lines that disagree are a fault",
        (Part::Faults, Subject::Reference(_)) => "to have none is a fault",
        (Part::Faults, _) => "a bad reading is a fault",
        (part, _) => part.name(),
    }
}

fn on(channels: &[Channel]) -> String {
    match channels {
        [] => String::new(),
        [one] => format!(" on channel {}", channel(*one)),
        _ => " on both channels".to_owned(),
    }
}

/// The window in words, with a blank before; empty where it is the whole trace.
pub(super) fn window(window: Window) -> String {
    match (window.from, window.to) {
        (None, None) => String::new(),
        (Some(from), None) => format!(" from {} s on", short(from)),
        (None, Some(to)) => format!(" until {} s", short(to)),
        (Some(from), Some(to)) => format!(" from {} s to {} s", short(from), short(to)),
    }
}

/// What is faulted, and how.
pub(super) fn sort(setup: &Setup, sort: Sort) -> String {
    match sort {
        Sort::Channel(how, of) => format!("a fault `{how}` on channel {}", channel(of)),
        Sort::Line(how, of, line) => {
            format!("a fault `{how}` of line {} of {}", channel(line), setup.analogues[of].name)
        }
        Sort::Input(place) => format!("a fault of the lines of {}", setup.inputs[place].name),
        Sort::Unreferenced(place, of) => {
            let on = of.map_or_else(String::new, |of| format!(" on channel {}", channel(of)));
            format!("a fault `unreferenced` of {}{on}", setup.monitors[place].name)
        }
        Sort::Clock => "a fault of the clock".to_owned(),
    }
}

/// What a trial wants, in one sentence without its stop.
pub(super) fn wanted(setup: &Setup, trial: &Trial) -> String {
    let when = window(trial.window);
    let mut text = match &trial.wanted {
        Wanted::Trips { rule: of, channels, demand, within, count, overshoot, rest } => {
            let mut text = format!("\"{}\" trips{}{when}", rule(setup, *of).0, on(channels));
            if *demand {
                text += ", after a demand that the trace shows";
            }
            if let Some(within) = within {
                let from = match count {
                    Count::Crossing => "the crossing of its limit",
                    Count::Demand => "the demand",
                };
                text += &format!(", at most {} after {from}", within.text);
            }
            if let Some(overshoot) = overshoot {
                text += &format!(", at most {} beyond its limit until then", overshoot.text);
            }
            if let Some(rest) = rest {
                text += &format!(
                    "; at rest (at most {}) within {} from there",
                    rest.speed.text, rest.within.text
                );
            }
            text
        }
        Wanted::Nothing(of) => format!("\"{}\" is active and does not trip{when}", rule(setup, *of).0),
        Wanted::Completes { monitor, channels, within } => {
            let what = if channels.is_empty() { "withdraws the permit" } else { "is carried through" };
            let name = &setup.monitors[*monitor].name;
            let mut text = format!("\"{name}\" {what}{}{when}", on(channels));
            if let Some(within) = within {
                text += &format!(", at most {} after the demand", within.text);
            }
            text
        }
        Wanted::Turns { monitor, on } => {
            let level = if *on { "on" } else { "off" };
            format!("\"{}\" turns {level}{when}", setup.monitors[*monitor].name)
        }
        Wanted::Faults(of) => format!("{}{when}", sort(setup, *of)),
    };
    if !trial.allow_others {
        text += "; nothing else trips or is faulted";
    }
    text
}

/// The name and the kind that stand for what a trial is about.
pub(super) fn about(setup: &Setup, wanted: &Wanted) -> (String, &'static str) {
    let of = |of| {
        let (name, kind) = rule(setup, of);
        (name.to_owned(), kind)
    };
    match wanted {
        Wanted::Trips { rule, .. } | Wanted::Nothing(rule) => of(*rule),
        Wanted::Completes { monitor, .. } | Wanted::Turns { monitor, .. } => of(Rule::Monitor(*monitor)),
        Wanted::Faults(of) => match *of {
            Sort::Channel(how, of) => (setup.channel(of).column.clone(), how),
            Sort::Line(how, of, _) => (setup.analogues[of].name.clone(), how),
            Sort::Input(place) => (setup.inputs[place].name.clone(), "input"),
            Sort::Unreferenced(place, _) => (setup.monitors[place].name.clone(), "unreferenced"),
            Sort::Clock => ("clock".to_owned(), "clock"),
        },
    }
}
