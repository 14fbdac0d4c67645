//! A verdict in words.

use super::{Declared, Verdict, is_failure};
use crate::causes::Words;
use crate::explain::event::{Event, What};
use crate::explain::raw::seconds;
use crate::explain::words::{ms, plain};
use crate::report::short;

impl Verdict {
    /// What happened, in one line.
    #[must_use]
    pub fn what(&self, words: &Words) -> String {
        match self {
            Self::Motion { .. } => self.what_of_motion(),
            Self::AtTheLimit { beyond, .. } => format!(
                "{} at the limit of \"{}\": {} on {} {}, and within it on the other.",
                if beyond.of_lines() { "The value was" } else { "The axis moved" },
                beyond.monitor,
                beyond.text(),
                beyond.witness(),
                beyond.channel.letter()
            ),
            Self::OneChannel { beyond, cause, events, references_differ, .. } => {
                let references = references_differ.map(|by| {
                    format!(": the references of the channels differ by {} {}", plain(by), beyond.unit)
                });
                // What only parts them a little does not explain it where one of them did something alone.
                let why = match (cause, events.first()) {
                    (Some(cause), None) => format!(": {}", cause.text(words)),
                    (Some(cause), _) if is_failure(cause.kind()) => format!(": {}", cause.text(words)),
                    (_, Some(event)) => {
                        format!(": channel {} {}", event.channel.letter(), event.what.text(words.unit))
                    }
                    (None, None) => String::new(),
                };
                let why = references.unwrap_or(why);
                format!(
                    "Only {} {} broke \"{}\" ({}){why}.",
                    beyond.witness(),
                    beyond.channel.letter(),
                    beyond.monitor,
                    beyond.text()
                )
            }
            Self::Apart { cause, share, apart, position_unit, failing, failing_share, .. } => {
                let also = match failing {
                    Some(failing) if failing != cause => {
                        format!(
                            " And {}: {} {position_unit}.",
                            failing.text(words),
                            plain(failing_share.abs())
                        )
                    }
                    _ => String::new(),
                };
                let (share, apart) = (share.abs(), apart.abs());
                let of = if share > apart { "; other shares take some of it back, to" } else { " of" };
                format!(
                    "{}: {} {position_unit}{of} the {} {position_unit} apart.{also}",
                    capital(&cause.text(words)),
                    plain(share),
                    plain(apart)
                )
            }
            Self::ApartUnexplained { by, limit, unit, .. } => format!(
                "The channels came {} {unit} apart, {} allowed; the trace does not say why.",
                plain(*by),
                plain(*limit)
            ),
            Self::Lines { analogue, by, limit, unit, moved } => {
                let (line, by_how_much) =
                    if moved[0].abs() >= moved[1].abs() { ("a", moved[0]) } else { ("b", moved[1]) };
                let changed = if by_how_much.abs() > limit / 2.0 {
                    format!("; line {line} had just changed by {by_how_much:+.3} {unit}")
                } else {
                    String::new()
                };
                format!(
                    "The lines of \"{analogue}\" came {} {unit} apart, {} allowed{changed}.",
                    plain(*by),
                    plain(*limit)
                )
            }
            Self::Source { .. } => self.what_of_a_source(words),
            Self::Input { input, moved, stayed, stayed_high } => match (moved, stayed) {
                (Some((moved, at)), Some(stayed)) => format!(
                    "The lines of \"{input}\" disagree: {moved} changed at {} s, {stayed} stayed {}.",
                    short(at.0),
                    if *stayed_high { "high" } else { "low" }
                ),
                _ => format!("The lines of \"{input}\" disagreed for too long, or one of them cycled alone."),
            },
            Self::Unreferenced { monitor, channel, lost_by } => {
                let why = lost_by
                    .as_ref()
                    .map_or_else(String::new, |fault| format!(": its fault ({fault}) took it"));
                format!(
                    "\"{monitor}\" needs a place, and channel {} has no reference{why}.",
                    channel.letter()
                )
            }
            Self::Clock => "Time did not advance from one frame to the next.".to_owned(),
            Self::Planned { monitor, kind, demand } => {
                format!("The torque went as planned: \"{monitor}\" ({kind}), demanded by {demand}.")
            }
            Self::Clear { .. } => self.what_of_nothing(),
        }
    }

    fn what_of_a_source(&self, words: &Words) -> String {
        let Self::Source { who, fault, lasted_s, events, change, both_say_so, is_gap, reading, .. } = self
        else {
            return String::new();
        };
        let unit = words.unit;
        if *is_gap {
            return format!(
                "The trace has no rows there, so {who} is {fault}: nothing is known of the axis."
            );
        }
        if let (true, Some([travel, within, most])) = (both_say_so, change) {
            return format!(
                "The axis moved faster than `max_speed`: {} {unit} in {}, at most {} {unit}/s; both channels say so.",
                plain(*travel),
                ms(*within),
                plain(*most)
            );
        }
        if let Some(reading) = reading {
            return format!("{} {reading}.", capital(who));
        }
        match (events.first(), change) {
            (Some(Event { what: What::Frozen { travel }, at_s, until_s, .. }), Some(_)) => format!(
                "{} stood still from {} s to {} s while the other travelled {} {unit}, and caught up at once.",
                capital(who),
                short(at_s.0),
                short(until_s.0),
                plain(*travel)
            ),
            (Some(event), _) => format!("{} {}.", capital(who), event.what.text(unit)),
            (None, Some([travel, within, most])) => format!(
                "{} jumped by {} {unit} in {}: faster than {} {unit}/s.",
                capital(who),
                plain(*travel),
                ms(*within),
                plain(*most)
            ),
            (None, None) => format!("{} {} for {}.", capital(who), in_words(fault), ms(*lasted_s)),
        }
    }

    /// Why it is judged so, in sentences.
    #[must_use]
    pub fn why(&self, words: &Words) -> Vec<String> {
        let mut why = Vec::new();
        match self {
            Self::Motion { .. } => why = self.why_of_motion(words),
            Self::AtTheLimit { beyond, difference, resolution } => why.push(format!(
                "the {}s differ by {} {unit}; resolution and noise of the two come to {} {unit}",
                beyond.witness(),
                plain(*difference),
                plain(*resolution),
                unit = beyond.unit
            )),
            Self::OneChannel { beyond, other_within, difference, references_differ, .. } => {
                let other = format!("{} {}", beyond.witness(), beyond.channel.other().letter());
                why.push(match other_within {
                    Some(within) => {
                        format!("{other} was at least {} {} within the limit", plain(*within), beyond.unit)
                    }
                    None => {
                        format!("{other} could not be seen: nobody contradicts and nobody confirms")
                    }
                });
                if let (Some(difference), None) = (difference, references_differ) {
                    let (who, unit) = (beyond.witness(), &beyond.unit);
                    why.push(format!(
                        "the {who}s differ by up to {} {unit} in what it compares",
                        plain(difference.abs())
                    ));
                }
            }
            Self::Apart { cause, or_else, failing, rest, share, declared, .. } => {
                why.push(if is_failure(cause.kind()) || failing.is_some() {
                    "the two witnesses no longer tell of the same motion: one of them is wrong from there on"
                        .to_owned()
                } else if rest.abs() > share.abs() {
                    "no cause that was found explains the larger part of it".to_owned()
                } else {
                    "both channels tell of the same motion; what parts them is how it is measured".to_owned()
                });
                why.extend(declared.as_ref().map(Declared::text));
                if let Some((other, tell_apart)) = or_else {
                    why.push(format!("{} would explain it nearly as well; {tell_apart}", other.name()));
                }
            }
            Self::ApartUnexplained { why: reasons, .. } => why.extend(reasons.iter().cloned()),
            Self::Lines { .. } => {
                why.push("two lines that contradict each other prove nothing: one is wrong".to_owned())
            }
            Self::Source {
                both_say_so: false,
                is_gap: false,
                other_speed,
                other_tripped,
                lasted_s,
                events,
                ..
            } => {
                let lasted = if *lasted_s > 0.0 { ms(*lasted_s) } else { "one frame".to_owned() };
                // The fault begins a timeout later than the silence.
                let silence = events.iter().find(|event| matches!(event.what, What::NoReading { .. }));
                let silence = silence.map_or_else(String::new, |event| {
                    let nanos = u64::try_from(event.until_s.0 - event.at_s.0).unwrap_or(0);
                    format!(", no reading came for {}", ms(seconds(nanos)))
                });
                why.push(format!(
                    "what cannot be seen may not move under power; the fault lasted {lasted}{silence}"
                ));
                if let Some(speed) = other_speed {
                    let speed = plain(speed.abs());
                    let tripped = match other_tripped {
                        Some(rule) => format!("on which \"{rule}\" had tripped"),
                        None => "on which nothing had tripped".to_owned(),
                    };
                    why.push(format!("the other channel, {tripped}, tells of {speed} {}/s then", words.unit));
                }
            }
            Self::Input { .. } => {
                why.push(
                    "of two contacts that are one, one did not follow: it may be stuck the next time"
                        .to_owned(),
                );
            }
            _ => {}
        }
        why
    }

    /// What to try, in order: a cause is cured before a tolerance is widened.
    #[must_use]
    pub fn advice(&self) -> Vec<String> {
        match self {
            Self::Motion { .. } => self.advice_of_motion(),
            Self::AtTheLimit { .. } => vec![
                "let the control keep further away from the limit; a longer window or a finer sensor shows less noise"
                    .to_owned(),
            ],
            Self::OneChannel { references_differ: Some(_), .. } => vec![
                "reference the axis anew, and look at the switch, mark or offset by which each channel is referenced"
                    .to_owned(),
            ],
            Self::OneChannel { events, cause, .. }
                if !events.is_empty() && cause.as_ref().is_none_or(|cause| !is_failure(cause.kind())) =>
            {
                vec![ONE_SOURCE.to_owned()]
            }
            Self::OneChannel { cause: Some(cause), .. } => vec![cause.kind().advice().to_owned()],
            Self::Apart { failing: Some(failing), cause, .. } if failing != cause => {
                vec![failing.kind().advice().to_owned(), cause.kind().advice().to_owned()]
            }
            Self::Apart { cause, .. } => vec![cause.kind().advice().to_owned()],
            Self::OneChannel { .. } => vec![
                "record a longer stretch before it, with motion there and back, and explain that".to_owned(),
            ],
            Self::ApartUnexplained { .. } => vec![
                "record the axis from rest, through a start, two speeds, a stop and back, and explain that".to_owned(),
            ],
            Self::Lines { .. } => vec!["look at the sensor, the wires and the scaling of each line".to_owned()],
            Self::Source { is_gap: true, .. } => vec![
                "look at the recorder first: it wrote no rows; the axis may have been seen all the time".to_owned(),
            ],
            Self::Source { both_say_so: true, .. } => vec![
                "either the axis ran away, or `max_speed` is below what the mechanics can do: find out which".to_owned(),
            ],
            Self::Source { .. } => vec![ONE_SOURCE.to_owned()],
            Self::Input { .. } => {
                vec!["look at the contact, its actuator and its wires; both must be seen demanding before a reset".to_owned()]
            }
            Self::Unreferenced { .. } => vec!["reference the axis anew; then look why the reference was lost".to_owned()],
            Self::Clock => vec!["look at the clock of the recorder, or of the safety part".to_owned()],
            Self::Planned { .. } | Self::Clear { .. } => Vec::new(),
        }
    }
}

pub(super) const NO_WIDER: &str =
    "a wider limit lets the same motion pass the next time: that is a matter of the risk assessment";
const ONE_SOURCE: &str =
    "look at this source: wire, connector, shield, supply, mount, and what its telegram says of errors";

/// What a source that is faulted so does.
fn in_words(fault: &str) -> &str {
    match fault {
        "stale" => "sent no reading that is young enough",
        "invalid" => "marked its readings as invalid",
        "implausible" => "changed faster than can be",
        "out-of-order" => "sent a reading that was captured before the last one",
        "range" => "showed what cannot be",
        other => other,
    }
}

pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map_or_else(String::new, |first| first.to_uppercase().collect::<String>() + letters.as_str())
}
