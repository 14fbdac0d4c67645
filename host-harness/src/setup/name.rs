//! Who is named in a setup: what demands a monitor, and which stop its trip demands.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::input::{Inputs, declared};
use super::model::{DemandSetup, DemandSource};
use super::monitor::KINDS;
use super::output::OF_THE_MOTION;
use super::section::{Got, Mistake, Reader, Reported, Section, Text, entry_of};
use crate::nearest::nearest;

/// A monitor as others may name it, before any is read.
pub(super) struct Named<'r> {
    pub(super) name: &'r str,
    /// Where its name is.
    pub(super) span: Range<usize>,
    /// Its kind, when it is one of this version.
    kind: Option<&'r str>,
    until: Option<Text<'r>>,
    reaction: Option<Text<'r>>,
    /// What is named in its demand.
    demand: Vec<&'r str>,
}

/// The reaction without a stop, and the end of a stop that may be one.
const TORQUE_OFF: &str = "torque-off";

impl Named<'_> {
    /// Whether it is a stop that a trip may demand.
    fn may_react(&self) -> bool {
        let is_torque_off = |text: &Text<'_>| text.text == TORQUE_OFF;
        self.kind == Some("stop")
            && self.name != TORQUE_OFF
            && self.until.as_ref().is_some_and(is_torque_off)
            && self.reaction.as_ref().is_none_or(is_torque_off)
    }

    fn is_output(&self) -> bool {
        self.kind.is_some_and(|kind| OF_THE_MOTION.contains(&kind))
    }

    /// Whether its demand is a column that is called as it is: what watches cannot be meant.
    pub(super) fn goes_by_a_column_of_its_name(&self) -> bool {
        !self.is_output() && self.demand.iter().any(|demand| plain(demand) == self.name)
    }
}

/// All monitors of the file, in its order.
#[derive(Default)]
pub(super) struct Names<'r>(Vec<Option<Named<'r>>>);

impl<'r> Names<'r> {
    pub(super) fn of(list: &'r [Spanned<DeValue<'r>>]) -> Self {
        Self(list.iter().map(|item| named(item.get_ref())).collect())
    }

    /// The first monitor of a name, and its place.
    pub(super) fn find(&self, name: &str) -> Option<(usize, &Named<'r>)> {
        let known = self.0.iter().enumerate();
        known
            .filter_map(|(place, named)| Some((place, named.as_ref()?)))
            .find(|(_, named)| named.name == name)
    }

    fn named(&self) -> impl Iterator<Item = &Named<'r>> {
        self.0.iter().flatten()
    }

    /// A stop that the monitor at `own` may have as its reaction, if there is any.
    fn reaction_of(&self, own: usize) -> Option<&'r str> {
        let others = self.0.iter().enumerate().filter(|(place, _)| *place != own);
        others.filter_map(|(_, named)| named.as_ref()).find(|named| named.may_react()).map(|named| named.name)
    }

    /// How the output at `from` comes to follow the one at `to`: the places from the first to the last.
    fn chain(&self, from: usize, to: usize) -> Option<Vec<usize>> {
        let mut ways = vec![vec![from]];
        let mut seen = vec![from];
        while let Some(way) = ways.pop() {
            let last = *way.last()?;
            if last == to {
                return Some(way);
            }
            let Some(Some(named)) = self.0.get(last) else { continue };
            for demand in &named.demand {
                if let Some((next, output)) = self.find(plain(demand))
                    && output.is_output()
                    && !seen.contains(&next)
                {
                    seen.push(next);
                    ways.push(way.iter().copied().chain([next]).collect());
                }
            }
        }
        None
    }
}

fn named<'r>(item: &'r DeValue<'r>) -> Option<Named<'r>> {
    let DeValue::Table(table) = item else { return None };
    let text = |key: &str| entry_of(table, key)?.text();
    let name = text("name")?;
    Some(Named {
        name: name.text,
        span: name.span,
        kind: text("kind").map(|kind| kind.text).filter(|kind| KINDS.contains(kind)),
        until: text("until"),
        reaction: text("reaction"),
        demand: demanded_by(table),
    })
}

fn demanded_by<'r>(table: &'r DeTable<'r>) -> Vec<&'r str> {
    match entry_of(table, "demand").map(|entry| entry.value) {
        Some(DeValue::Array(list)) => list
            .iter()
            .filter_map(|item| match item.get_ref() {
                DeValue::String(text) => Some(text.as_ref()),
                _ => None,
            })
            .collect(),
        _ => Vec::new(),
    }
}

/// The name in a demand.
fn plain(demand: &str) -> &str {
    demand.strip_prefix("not ").map_or(demand, str::trim)
}

/// Whether a text begins with the word `not`, as what is inverted does.
pub(super) fn is_inverted(text: &str) -> bool {
    text.split_whitespace().next().is_some_and(|word| word.eq_ignore_ascii_case("not"))
}

/// Refuses a name that a demand would take for the opposite of another.
pub(super) fn check_name(reader: &Reader<'_>, what: &str, name: &Text<'_>) -> Got<()> {
    if !is_inverted(name.text) {
        return Ok(());
    }
    Err(reader.refuse(
        name.span.clone(),
        format!("{what} cannot be called `{}`", name.text),
        "in a demand, `not` in front of a name means the opposite",
        "give it a name that does not begin with `not`",
    ))
}

/// What demands a monitor that stands at `own`; nothing when it has no `demand`.
pub(super) fn demand(
    section: &Section<'_>,
    inputs: &mut Inputs,
    names: &Names<'_>,
    own: usize,
) -> Got<Vec<DemandSetup>> {
    let Some(entry) = section.entry("demand") else {
        return Ok(Vec::new());
    };
    let texts = section.names(&entry, "[\"door\"]")?;
    if texts.is_empty() {
        return Err(section.reader.refuse(
            entry.span,
            format!("`demand` of {} is an empty list", section.title),
            "nothing would ever demand it",
            "name at least one input, or leave `demand` out for a monitor that is always active",
        ));
    }
    let mut demand: Vec<(DemandSetup, Text<'_>)> = Vec::new();
    let mut reported = None;
    for text in &texts {
        let one = without_not(section, text).and_then(|(name, inverted)| {
            let source = source(section, inputs, names, own, &name)?;
            Ok(DemandSetup { source, inverted })
        });
        match one.and_then(|one| unlike(section, one, text, &demand)) {
            Ok(one) => demand.push((one, text.clone())),
            Err(error) => reported = Some(error),
        }
    }
    reported.map_or_else(|| Ok(demand.into_iter().map(|(one, _)| one).collect()), Err)
}

/// Refuses what was named before, in the same sense or in the opposite one.
fn unlike(
    section: &Section<'_>,
    one: DemandSetup,
    text: &Text<'_>,
    demand: &[(DemandSetup, Text<'_>)],
) -> Got<DemandSetup> {
    let Some((first, earlier)) = demand.iter().find(|(first, _)| first.source == one.source) else {
        return Ok(one);
    };
    if *first == one {
        return Err(section.reader.refuse(
            text.span.clone(),
            format!("`demand` of {} names `{}` twice", section.title, text.text),
            "again here",
            "leave one of them out",
        ));
    }
    Err(section.reader.report(Mistake {
        span: text.span.clone(),
        message: format!("`demand` of {} names `{}` and `{}`", section.title, earlier.text, text.text),
        label: "at every frame one of the two demands".to_owned(),
        related: Some((earlier.span.clone(), "the opposite".to_owned())),
        way_out: "leave one of them out, or leave out `demand` for a monitor that is always active"
            .to_owned(),
    }))
}

/// The name in a demand, and whether it is inverted.
fn without_not<'r>(section: &Section<'_>, text: &Text<'r>) -> Got<(Text<'r>, bool)> {
    if !is_inverted(text.text) {
        return Ok((text.clone(), false));
    }
    let name = text.text.strip_prefix("not ").map(str::trim);
    match name.filter(|name| !name.is_empty() && !is_inverted(name)) {
        Some(name) => Ok((Text { text: name, span: text.span.clone() }, true)),
        None => Err(section.reader.refuse(
            text.span.clone(),
            format!("`demand` of {} has `{}`", section.title, text.text),
            "not the opposite of one name",
            "write `not`, in small letters and once, and behind it the name: demand = [\"not door\"]",
        )),
    }
}

/// What a name in the demand of the monitor at `own` goes by: an input, an output that stands earlier, or else a column.
fn source(
    section: &Section<'_>,
    inputs: &mut Inputs,
    names: &Names<'_>,
    own: usize,
    name: &Text<'_>,
) -> Got<DemandSource> {
    let reader = section.reader;
    let Some((place, monitor)) = names.find(name.text) else {
        let outputs = names.named().filter(|named| named.is_output()).map(|named| named.name);
        return inputs.named(reader, name, outputs).map(DemandSource::Input);
    };
    let is_input = inputs.is_known(reader, name.text);
    if !monitor.is_output() {
        if is_input || monitor.goes_by_a_column_of_its_name() {
            return inputs.named(reader, name, std::iter::empty()).map(DemandSource::Input);
        }
        // What is wrong with its kind is said where it is read.
        return Err(monitor.kind.map_or(Reported, |kind| no_output(section, name, monitor, kind)));
    }
    let refuse = |message, label, related: &str, way_out| {
        let related = Some((monitor.span.clone(), related.to_owned()));
        Err(reader.report(Mistake { span: name.span.clone(), message, label, related, way_out }))
    };
    if is_input {
        return refuse(
            format!("`{}` in the `demand` of {} is an input and an output", name.text, section.title),
            "which of the two demands?".to_owned(),
            "the output",
            "give the output, or the input, a name of its own".to_owned(),
        );
    }
    if place < own {
        return Ok(DemandSource::Output(place));
    }
    match names.chain(place, own) {
        Some(chain) => {
            let called =
                |place: usize| names.0.get(place).and_then(Option::as_ref).map_or("", |named| named.name);
            let mut links = Vec::new();
            let mut one = own;
            for next in chain {
                links.push(format!("\"{}\" by \"{}\"", called(one), called(next)));
                one = next;
            }
            refuse(
                format!("`demand` of {} is circular", section.title),
                format!("demanded are {}", links.join(", ")),
                "stands here",
                "leave one of these names out: an output can only follow what is known before it".to_owned(),
            )
        }
        None => refuse(
            format!("the output \"{}\" in the `demand` of {} stands later", name.text, section.title),
            "not known yet when this is looked at".to_owned(),
            "stands here",
            format!("move it up: its [[monitor]] must stand above that of {}", section.title),
        ),
    }
}

fn no_output(section: &Section<'_>, name: &Text<'_>, monitor: &Named<'_>, kind: &str) -> Reported {
    let label = match kind {
        "brake-output" => "goes by the permit, which follows from what is demanded",
        _ => "watches, and tells nothing that could demand",
    };
    section.reader.report(Mistake {
        span: name.span.clone(),
        message: format!("`demand` of {} names \"{}\", a {kind}", section.title, name.text),
        label: label.to_owned(),
        related: Some((monitor.span.clone(), "this monitor".to_owned())),
        way_out: format!(
            "name an input, a cam-output or a speed-output; a stop that a trip is to demand is the `reaction` of what \
             trips; if a column of the trace is meant, declare it: {}",
            declared(name.text)
        ),
    })
}

/// The stop that a trip of the monitor at `own` demands; `None` when it withdraws the permit at once.
pub(super) fn reaction(section: &Section<'_>, names: &Names<'_>, own: usize) -> Got<Option<usize>> {
    let fitting = names.reaction_of(own);
    let example = format!("\"{}\"", fitting.unwrap_or(TORQUE_OFF));
    let such_as = fitting.map_or_else(String::new, |stop| format!(", such as \"{stop}\""));
    let Some(text) = section.optional_string("reaction", &example)? else {
        return Ok(None);
    };
    let text = section.not_blank("reaction", text, &example)?;
    let found = names.find(text.text);
    let refuse = |message, label: &str, related: Option<(Range<usize>, &str)>, way_out: &str| {
        let related = related.map(|(span, label)| (span, label.to_owned()));
        let (label, way_out) = (label.to_owned(), way_out.to_owned());
        Err(section.reader.report(Mistake { span: text.span.clone(), message, label, related, way_out }))
    };
    let title = &section.title;
    if text.text == TORQUE_OFF {
        return match found {
            Some((_, stop)) if stop.kind == Some("stop") => refuse(
                format!("`reaction` of {title} is \"torque-off\", and so is the name of a stop"),
                "the permit at once, or this stop?",
                Some((stop.span.clone(), "called so here")),
                "give the stop another name",
            ),
            _ => Ok(None),
        };
    }
    let Some((place, stop)) = found else {
        let stops = names.named().filter(|named| named.kind == Some("stop")).map(|named| named.name);
        let way_out = match nearest(text.text, stops.chain([TORQUE_OFF])) {
            Some(known) => format!("did you mean \"{known}\"?"),
            None => {
                format!("write \"torque-off\", or the name of a monitor of kind = \"stop\"{such_as}")
            }
        };
        let message = format!("`reaction` of {title} names \"{}\", which is no monitor", text.text);
        return refuse(message, "not known", None, &way_out);
    };
    if place == own {
        return refuse(
            format!("`reaction` of {title} is the monitor itself"),
            "its trip means that this very stop has failed",
            None,
            "leave it out: a stop that fails withdraws the permit at once",
        );
    }
    // What is wrong with its kind or its end is said where it is read.
    let kind = stop.kind.ok_or(Reported)?;
    if kind != "stop" {
        return refuse(
            format!("`reaction` of {title} names \"{}\", a {kind}", text.text),
            "only a stop can be the reaction to a trip",
            Some((stop.span.clone(), "this monitor")),
            &format!(
                "name a monitor of kind = \"stop\" with until = \"torque-off\"{such_as}, or write \"torque-off\""
            ),
        );
    }
    match &stop.until {
        Some(until) if until.text == TORQUE_OFF => {}
        Some(until) if until.text == "standstill" => {
            return refuse(
                format!("`reaction` of {title} names \"{}\", a stop until standstill", text.text),
                "the permit would stay, although something has tripped",
                Some((until.span.clone(), "with this end the permit stays")),
                &format!(
                    "name a stop with until = \"torque-off\"{such_as}; to have both, write a second stop"
                ),
            );
        }
        _ => return Err(Reported),
    }
    match &stop.reaction {
        Some(second) if second.text != TORQUE_OFF => refuse(
            format!("`reaction` of {title} names \"{}\", which has a reaction of its own", text.text),
            "when this stop fails, the permit must go at once",
            Some((second.span.clone(), "its reaction")),
            "leave out the reaction of the stop, or write it as \"torque-off\"",
        ),
        _ => Ok(Some(place)),
    }
}
