//! A verdict in words.

use super::{Beyond, Declared, Verdict, is_failure};
use crate::causes::Words;
use crate::explain::event::{Event, What};
use crate::explain::words::{ms, plain};
use crate::report::short;

impl Verdict {
    /// What happened, in one line.
    #[must_use]
    pub fn what(&self, words: &Words) -> String {
        match self {
            Self::Motion { beyond, from_the_start: true, .. } => format!(
                "The axis was beyond \"{}\" already when it was demanded: {}.",
                beyond.monitor,
                beyond.text()
            ),
            Self::Motion { beyond, .. } => {
                let (what, who) = beyond.words();
                format!("{what} broke \"{}\": {}; both {who} saw it.", beyond.monitor, beyond.text())
            }
            Self::AtTheLimit { beyond, .. } => format!(
                "The axis moved at the limit of \"{}\": {} on channel {}, and within it on the other.",
                beyond.monitor,
                beyond.text(),
                beyond.channel.letter()
            ),
            Self::OneChannel { beyond, cause, events, .. } => {
                // What only parts them a little does not explain it where one of them did something alone.
                let why = match (cause, events.first()) {
                    (Some(cause), None) => format!(": {}", cause.text(words)),
                    (Some(cause), _) if is_failure(cause.kind()) => format!(": {}", cause.text(words)),
                    (_, Some(event)) => {
                        format!(": channel {} {}", event.channel.letter(), event.what.text(words.unit))
                    }
                    (None, None) => String::new(),
                };
                format!(
                    "Only channel {} broke \"{}\" ({}){why}.",
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
                format!(
                    "{}: {} {position_unit} of the {} {position_unit} apart.{also}",
                    capital(&cause.text(words)),
                    plain(share.abs()),
                    plain(apart.abs())
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
            Self::Clear { nearest, share } => {
                let near = match (nearest, share) {
                    (Some(rule), Some(share)) if *share < 0.0 => {
                        format!(
                            " But \"{rule}\" was beyond its limit by {:.0} %, never long enough.",
                            share * -100.0
                        )
                    }
                    (Some(rule), Some(share)) => {
                        format!(" Nearest to its limit came \"{rule}\", with {:.0} % left.", share * 100.0)
                    }
                    _ => String::new(),
                };
                format!("Nothing tripped and nothing was faulted.{near}")
            }
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
            Self::Motion { beyond, other_beyond, is_confirmed, braking, demanded_by_fault, .. } => {
                let other = beyond.channel.other().letter();
                let (_, who) = beyond.words();
                let who = if who == "lines" { "line" } else { "channel" };
                why.push(if *is_confirmed {
                    format!("{who} {other} came to the same verdict by itself")
                } else {
                    format!(
                        "{who} {other} saw it beyond by {} {} too, but not for its on-delay",
                        plain(*other_beyond),
                        beyond.unit
                    )
                });
                if let Some([motion, line]) = braking {
                    let how = if *motion < 0.0 { "got faster" } else { "braked" };
                    why.push(format!(
                        "just before it the axis {how} at {} {unit}/s^2, the limit falls at {} {unit}/s^2",
                        plain(motion.abs()),
                        plain(*line),
                        unit = words.unit
                    ));
                }
                if let Some((input, at)) = demanded_by_fault {
                    why.push(format!(
                        "it was demanded by the fault of \"{input}\" at {} s, which lasts until a reset",
                        short(at.0)
                    ));
                }
            }
            Self::AtTheLimit { beyond, difference, resolution } => why.push(format!(
                "the channels differ by {} {unit}; resolution and noise of the two come to {} {unit}",
                plain(*difference),
                plain(*resolution),
                unit = beyond.unit
            )),
            Self::OneChannel { beyond, other_within, .. } => {
                let other = beyond.channel.other().letter();
                why.push(match other_within {
                    Some(within) => {
                        format!(
                            "channel {other} was at least {} {} within the limit",
                            plain(*within),
                            beyond.unit
                        )
                    }
                    None => {
                        format!("channel {other} could not be seen: nobody contradicts and nobody confirms")
                    }
                });
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
                both_say_so: false, is_gap: false, other_speed, other_tripped, lasted_s, ..
            } => {
                let lasted = if *lasted_s > 0.0 { ms(*lasted_s) } else { "one frame".to_owned() };
                why.push(format!("what cannot be seen may not move under power; it lasted {lasted}"));
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
            Self::Motion { demanded_by_fault: Some((input, _)), .. } => vec![
                format!("repair \"{input}\" first: while its fault is latched it demands (`--fault` explains it)"),
                "then look at why the motion did not follow the demand".to_owned(),
            ],
            Self::Motion { from_the_start: true, .. } => vec![
                "slow down before the rule is demanded, or give it a `ramp` that the control can follow".to_owned(),
                NO_WIDER.to_owned(),
            ],
            Self::Motion { braking: Some(_), .. } => vec![
                "look at what brakes the axis: deceleration of the drive, torque limit, load, brake, slope".to_owned(),
                "a flatter or later line needs a longer safety distance".to_owned(),
            ],
            Self::Motion { beyond, .. } if beyond.words().1 == "lines" => vec![
                "look at what the drive was told to do, and at what it met".to_owned(),
                "a wider limit lets the same pass the next time: that is a matter of the risk assessment".to_owned(),
            ],
            Self::Motion { .. } => vec![
                "look at what commanded the motion, or moved the axis: program, drive, load, brake".to_owned(),
                NO_WIDER.to_owned(),
            ],
            Self::AtTheLimit { .. } => vec![
                "let the control keep further away from the limit; a longer window or a finer sensor shows less noise"
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

const NO_WIDER: &str =
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

impl Beyond {
    /// What was beyond, and who told of it.
    fn words(&self) -> (&'static str, &'static str) {
        match self.kind.as_str() {
            "torque-limit" | "torque-range" => ("The torque", "lines"),
            "temperature-limit" => ("The temperature", "lines"),
            _ => ("The motion", "channels"),
        }
    }

    fn text(&self) -> String {
        let (observed, limit, unit) = (plain(self.observed), plain(self.limit), &self.unit);
        if self.is_least {
            return format!("{observed} {unit} where at least {limit} {unit} are required");
        }
        if self.is_overrun {
            return format!("{observed} {unit} beyond the speed limit where {limit} {unit} are allowed");
        }
        format!(
            "{} {unit} where {} {unit} are allowed",
            plain(self.observed),
            plain(self.limit),
            unit = self.unit
        )
    }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map_or_else(String::new, |first| first.to_uppercase().collect::<String>() + letters.as_str())
}
