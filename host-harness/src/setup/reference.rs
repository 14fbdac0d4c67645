//! How the position of a channel comes to mean a place of the machine.

use super::input::Inputs;
use super::model::{EventSetup, ReferenceSetup};
use super::name::{Names, is_inverted};
use super::section::{Got, Mistake, Reported, Section, Text};
use super::value::PLACE;

/// The words of `reference`.
#[derive(Clone, Copy)]
enum Word {
    Absolute,
    Event,
}

/// Reads `reference` and `offset` of a channel.
pub(super) fn of_channel(section: &Section<'_>) -> Got<ReferenceSetup> {
    let word = section.optional_string("reference", "\"absolute\"").and_then(|text| {
        let words = [("absolute", Word::Absolute), ("event", Word::Event)];
        text.map(|text| section.choice(&text, "reference", &words)).transpose()
    });
    let (why, way_out) = match word {
        Ok(Some(Word::Absolute)) => {
            return section.or_zero("offset", PLACE).map(|offset| ReferenceSetup::Absolute { offset });
        }
        Ok(Some(Word::Event)) => (
            "the position comes from an event, not from the count zero",
            "leave it out, and write where the axis is then as `position` of [reference]",
        ),
        Ok(None) => (
            "there is no reference = \"absolute\"",
            "add reference = \"absolute\" if the counter knows its place, or leave `offset` out",
        ),
        Err(error) => {
            section.entry("offset");
            return Err(error);
        }
    };
    section.misplaced("offset", why, way_out)?;
    Ok(if word?.is_some() { ReferenceSetup::Event } else { ReferenceSetup::None })
}

/// Reads `[reference]`, which must be there exactly when a channel goes by it.
pub(super) fn event(root: &Section<'_>, inputs: &mut Inputs, names: &Names<'_>) -> Got<Option<EventSetup>> {
    let written: Vec<Text<'_>> = ["a", "b"]
        .into_iter()
        .filter_map(|letter| root.peek(&["channel", letter, "reference"])?.text())
        .collect();
    let by_event = written.iter().find(|text| text.text == "event");
    let Some(section) = root.subsection("reference", "[reference]")? else {
        return match by_event {
            None => Ok(None),
            Some(text) => Err(root.reader.refuse(
                text.span.clone(),
                "a channel goes by an event, and the setup has no section [reference]",
                "which event, and where is the axis then?",
                "add the section, beginning with: [reference] input = \"home\"; or write reference = \"absolute\" if the \
                 counter knows its place",
            )),
        };
    };
    let needed = match by_event {
        // A word that is not known has been reported, and may have been meant so.
        None if written.iter().all(|text| text.text == "absolute") => Err(not_needed(&section, &written)),
        _ => Ok(()),
    };
    let input = section.name("input", "\"home\"").and_then(|name| declaring(&section, inputs, names, &name));
    let position = section.required("position", PLACE);
    section.finish()?;
    needed?;
    Ok(Some(EventSetup { input: input?, position: position? }))
}

fn not_needed(section: &Section<'_>, written: &[Text<'_>]) -> Reported {
    section.reader.report(Mistake {
        span: section.span.clone(),
        message: "the setup has a section [reference], and no channel goes by an event".to_owned(),
        label: "would declare the position of no channel".to_owned(),
        related: written.first().map(|text| (text.span.clone(), "knows its place by itself".to_owned())),
        way_out: "write reference = \"event\" in [channel.a], [channel.b] or both, or leave the section out"
            .to_owned(),
    })
}

/// The input that declares a position.
fn declaring(section: &Section<'_>, inputs: &mut Inputs, names: &Names<'_>, name: &Text<'_>) -> Got<usize> {
    if is_inverted(name.text) {
        return Err(section.reader.refuse(
            name.span.clone(),
            format!("`input` of {} cannot be the opposite of an input", section.title),
            "the event is the beginning of a demand",
            "write the name alone; for an event at the other level, declare the input with the other `demand`",
        ));
    }
    match names.find(name.text) {
        Some((_, monitor))
            if !inputs.is_known(section.reader, name.text) && !monitor.goes_by_a_column_of_its_name() =>
        {
            Err(section.reader.report(Mistake {
                span: name.span.clone(),
                message: format!("`input` of {} is the monitor \"{}\"", section.title, name.text),
                label: "only an input declares a position".to_owned(),
                related: Some((monitor.span.clone(), "this monitor".to_owned())),
                way_out: format!(
                    "name an input; if a column of the trace is meant, declare it: [input.home] columns = [\"{}\"]",
                    name.text
                ),
            }))
        }
        _ => inputs.named(section.reader, name, std::iter::empty()),
    }
}
