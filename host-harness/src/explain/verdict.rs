//! Why it happened: one enum of verdicts with their evidence, each with a text that says what, why, and what to try.

use schemars::JsonSchema;
use serde::Serialize;

use super::event::Event;
use super::words::{ms, plain};
use crate::causes::{Cause, CauseKind, Side, Words};
use crate::report::Seconds;

/// Whether it was right to take the permit, as far as this trace tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Guard {
    /// The motion broke the rule, or a witness of it failed.
    Right,
    /// The motion was plausible and within what the rule is there for: what it tripped on is how it is measured.
    Nuisance,
    /// The trace does not tell.
    Undecided,
    /// The permit went as planned.
    Planned,
    /// Nothing tripped and nothing was faulted.
    Clear,
}

impl Guard {
    /// One word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Right => "RIGHT",
            Self::Nuisance => "NUISANCE",
            Self::Undecided => "UNDECIDED",
            Self::Planned => "PLANNED",
            Self::Clear => "CLEAR",
        }
    }
}

/// What a rule was held against.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Beyond {
    /// The monitor.
    pub monitor: String,
    /// Its kind.
    pub kind: String,
    /// The channel that tripped.
    pub channel: Side,
    /// What was observed at the trip.
    pub observed: f64,
    /// What was allowed then.
    pub limit: f64,
    /// The unit of both.
    pub unit: String,
}

/// Why it happened.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "verdict", rename_all = "kebab-case")]
pub enum Verdict {
    /// Both channels saw the motion beyond what the rule allows.
    Motion {
        /// What it was held against.
        beyond: Beyond,
        /// The furthest that the other channel saw it beyond the limit.
        other_beyond: f64,
        /// The other channel tripped, too.
        is_confirmed: bool,
        /// It was beyond when the rule was demanded.
        from_the_start: bool,
        /// An input whose latched fault demanded it, and since when.
        demanded_by_fault: Option<(String, Seconds)>,
        /// The mean acceleration before it, where the rule has a falling limit: that of the motion, and that of the limit.
        braking: Option<[f64; 2]>,
    },
    /// Only one channel saw it beyond, and by less than what the two can tell apart.
    AtTheLimit {
        /// What it was held against.
        beyond: Beyond,
        /// How much the two channels differ in what is observed.
        difference: f64,
        /// How much of that is resolution and noise.
        resolution: f64,
    },
    /// Only one channel saw it beyond; the other one contradicts.
    OneChannel {
        /// What it was held against.
        beyond: Beyond,
        /// How far within the limit the other channel always was; null: it could not be seen.
        other_within: Option<f64>,
        /// What this channel did alone around it.
        events: Vec<Event>,
        /// Where the disagreement of the two positions comes from, as far as it is known.
        cause: Option<Box<Cause>>,
    },
    /// The channels came apart.
    Apart {
        /// The rule that told.
        rule: String,
        /// How far.
        by: f64,
        /// What was allowed.
        limit: f64,
        /// The unit of both.
        unit: String,
        /// The main cause.
        cause: Box<Cause>,
        /// What it has in the difference of the positions at the trip.
        share: f64,
        /// That difference.
        apart: f64,
        /// The unit of both.
        position_unit: String,
        /// Another cause that would do nearly as well, and what motion would tell them apart.
        or_else: Option<(CauseKind, String)>,
    },
    /// The channels came apart, and the trace does not say why.
    ApartUnexplained {
        /// The rule that told.
        rule: String,
        /// How far.
        by: f64,
        /// What was allowed.
        limit: f64,
        /// The unit of both.
        unit: String,
        /// Why not.
        why: Vec<String>,
    },
    /// The two lines of an analogue value came apart.
    Lines {
        /// The value.
        analogue: String,
        /// How far.
        by: f64,
        /// What was allowed.
        limit: f64,
        /// The unit.
        unit: String,
        /// What each line changed in the last tenth of a second before, A first.
        moved: [f64; 2],
    },
    /// A source, or the line of a value, could not be seen.
    Source {
        /// The channel or line, as a report names it.
        who: String,
        /// The fault, as a report names it.
        fault: String,
        /// For how long, in seconds.
        lasted_s: f64,
        /// What that was in the readings.
        events: Vec<Event>,
        /// What was implausible: the travel, its time in seconds, and the fastest that the setup says.
        change: Option<[f64; 3]>,
        /// The other source moved as fast then: the motion, not the source.
        both_say_so: bool,
        /// The rows of the trace themselves have a gap there.
        is_gap: bool,
        /// The speed of the other channel then, in the axis unit per second; null where it is not known.
        other_speed: Option<f64>,
    },
    /// The two lines of an input did not agree.
    Input {
        /// The input.
        input: String,
        /// The line that moved last, and when.
        moved: Option<(String, Seconds)>,
        /// The line that did not follow.
        stayed: Option<String>,
        /// Its level.
        stayed_high: bool,
    },
    /// A rule needs a place, and the position had no reference.
    Unreferenced {
        /// The monitor.
        monitor: String,
        /// The channel.
        channel: Side,
        /// A fault of the channel took the reference before: which.
        lost_by: Option<String>,
    },
    /// Time did not advance.
    Clock,
    /// The permit went as planned.
    Planned {
        /// The monitor.
        monitor: String,
        /// Its kind.
        kind: String,
        /// What demanded it.
        demand: String,
    },
    /// Nothing tripped and nothing was faulted.
    Clear {
        /// The rule that was nearest to its limit.
        nearest: Option<String>,
        /// What was left of it, as a share of what is allowed.
        share: Option<f64>,
    },
}

impl Verdict {
    /// Whether it was right to take the permit.
    #[must_use]
    pub fn guard(&self) -> Guard {
        match self {
            Self::Motion { .. } => Guard::Right,
            Self::Input { .. } | Self::Unreferenced { .. } => Guard::Right,
            Self::AtTheLimit { .. } => Guard::Undecided,
            Self::OneChannel { events, cause, .. } => {
                match cause.as_ref().map(|cause| is_failure(cause.kind())) {
                    Some(false) if events.is_empty() => Guard::Nuisance,
                    Some(true) => Guard::Right,
                    _ if !events.is_empty() => Guard::Right,
                    _ => Guard::Undecided,
                }
            }
            Self::Apart { cause, or_else, .. } => {
                let is_failure_of_it = is_failure(cause.kind());
                match or_else {
                    Some((other, _)) if is_failure(*other) != is_failure_of_it => Guard::Undecided,
                    _ if is_failure_of_it => Guard::Right,
                    _ => Guard::Nuisance,
                }
            }
            Self::ApartUnexplained { .. } => Guard::Undecided,
            Self::Lines { .. } | Self::Clock => Guard::Right,
            Self::Source { both_say_so, is_gap, .. } => {
                if *both_say_so || *is_gap {
                    Guard::Undecided
                } else {
                    Guard::Right
                }
            }
            Self::Planned { .. } => Guard::Planned,
            Self::Clear { .. } => Guard::Clear,
        }
    }

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
                let why = match (cause, events.first()) {
                    (Some(cause), _) => format!(": {}", cause.text(words)),
                    (None, Some(event)) => format!(": it {}", event.what.text(words.unit)),
                    (None, None) => String::new(),
                };
                format!(
                    "Only channel {} broke \"{}\" ({}){why}.",
                    beyond.channel.letter(),
                    beyond.monitor,
                    beyond.text()
                )
            }
            Self::Apart { cause, share, apart, position_unit, .. } => format!(
                "{}: {} {position_unit} of the {} {position_unit} apart.",
                capital(&cause.text(words)),
                plain(share.abs()),
                plain(apart.abs())
            ),
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
                    crate::report::short(at.0),
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
        let Self::Source { who, fault, lasted_s, events, change, both_say_so, is_gap, .. } = self else {
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
        match (events.first(), change) {
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
                why.push(if *is_confirmed {
                    format!("channel {other} came to the same verdict by itself")
                } else {
                    format!(
                        "channel {other} saw it beyond by {} {} too, but not for its on-delay",
                        plain(*other_beyond),
                        beyond.unit
                    )
                });
                if let Some([motion, line]) = braking {
                    let how = if *motion < 0.0 { "got faster" } else { "braked" };
                    why.push(format!(
                        "the axis {how} at {} {unit}/s^2, the limit falls at {} {unit}/s^2",
                        plain(motion.abs()),
                        plain(*line),
                        unit = words.unit
                    ));
                }
                if let Some((input, at)) = demanded_by_fault {
                    why.push(format!(
                        "it was demanded by the fault of \"{input}\" at {} s, which lasts until a reset",
                        crate::report::short(at.0)
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
            Self::Apart { cause, or_else, .. } => {
                why.push(if is_failure(cause.kind()) {
                    "the two witnesses no longer tell of the same motion: one of them is wrong from there on"
                        .to_owned()
                } else {
                    "both channels tell of the same motion; what parts them is how it is measured".to_owned()
                });
                if let Some((other, tell_apart)) = or_else {
                    why.push(format!("{} would explain it nearly as well; {tell_apart}", other.name()));
                }
            }
            Self::ApartUnexplained { why: reasons, .. } => why.extend(reasons.iter().cloned()),
            Self::Lines { .. } => {
                why.push("two lines that contradict each other prove nothing: one is wrong".to_owned())
            }
            Self::Source { both_say_so: false, is_gap: false, other_speed, .. } => {
                why.push("an axis that cannot be seen may not move under power".to_owned());
                if let Some(speed) = other_speed {
                    let speed = plain(speed.abs());
                    why.push(format!(
                        "the other channel tells of {speed} {}/s then, and nothing tripped on it",
                        words.unit
                    ));
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
                NO_WIDER.to_owned(),
            ],
            Self::Motion { .. } => vec![
                "look at what commanded the motion, or moved the axis: program, drive, load, brake".to_owned(),
                NO_WIDER.to_owned(),
            ],
            Self::AtTheLimit { .. } => vec![
                "let the control keep further away from the limit; a longer window or a finer sensor shows less noise"
                    .to_owned(),
            ],
            Self::OneChannel { cause: Some(cause), .. } | Self::Apart { cause, .. } => {
                vec![cause.kind().advice().to_owned()]
            }
            Self::OneChannel { events, .. } if !events.is_empty() => vec![ONE_SOURCE.to_owned()],
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

/// Whether a witness failed, rather than measures as it always does.
pub(super) const fn is_failure(kind: CauseKind) -> bool {
    match kind {
        CauseKind::Slip
        | CauseKind::Jump
        | CauseKind::Spike
        | CauseKind::LostCounts
        | CauseKind::Frozen
        | CauseKind::Reversed => true,
        CauseKind::KnownAges
        | CauseKind::Reference
        | CauseKind::Scale
        | CauseKind::TimeSkew
        | CauseKind::Compliance
        | CauseKind::Backlash
        | CauseKind::Eccentricity
        | CauseKind::Drift => false,
    }
}

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
