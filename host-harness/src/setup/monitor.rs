//! The monitors of a setup: each table is read by its `kind`.

use std::ops::Range;

use monitor_core::{Position, Span, Speed};
use toml::de::DeValue;

use super::MAX_MONITORS;
use super::analogue::{self, Analogues};
use super::input::Inputs;
use super::model::{
    Allowed, DemandSetup, LimitSetup, MonitorKind, MonitorSetup, RangeSetup, Setting, StandstillSetup,
};
use super::name::{Names, check_name, demand, reaction};
use super::output::{self, OF_THE_MOTION, is_output, no_demand, no_trip};
use super::section::{Entry, Got, Mistake, Reported, Section, Text};
use super::stop::{optional_ramp, stop};
use super::value::{HIGH, LOW, Measured, OR_ZERO, POSITIVE, example};
use crate::nearest::nearest;

/// The kinds of monitors, as they are written in a setup file.
pub const KINDS: [&str; 16] = [
    "torque-off",
    "standstill",
    "speed-limit",
    "speed-range",
    "direction",
    "acceleration-limit",
    "acceleration-range",
    "travel-limit",
    "position-range",
    "torque-limit",
    "torque-range",
    "temperature-limit",
    "stop",
    "cam-output",
    "speed-output",
    "brake-output",
];

/// What IEC 61800-5-2 abbreviates the functions as, and what they are called here.
const FUNCTIONS: [(&str, &str); 17] = [
    ("STO", "torque-off"),
    ("SS1", "stop"),
    ("SS2", "stop"),
    ("SOS", "standstill"),
    ("SLS", "speed-limit"),
    ("SSR", "speed-range"),
    ("SDI", "direction"),
    ("SLA", "acceleration-limit"),
    ("SAR", "acceleration-range"),
    ("SLP", "position-range"),
    ("SLI", "travel-limit"),
    ("SBC", "brake-output"),
    ("SCA", "cam-output"),
    ("SSM", "speed-output"),
    ("SLT", "torque-limit"),
    ("STR", "torque-range"),
    ("SMT", "temperature-limit"),
];

/// The monitors of a setup, as far as they are read.
#[derive(Default)]
pub(super) struct Monitors<'r> {
    /// Those that are right by themselves.
    pub(super) read: Vec<MonitorSetup>,
    /// Whether the file has any, right or not.
    pub(super) any: bool,
    pub(super) reported: Option<Reported>,
    /// What each is called, right or not.
    pub(super) names: Names<'r>,
    /// The names that were met.
    met: Vec<(String, Range<usize>)>,
}

impl<'r> Monitors<'r> {
    /// Reads every `[[monitor]]`.
    pub(super) fn read(root: &Section<'r>, inputs: &mut Inputs, analogues: &Analogues<'_>) -> Self {
        let mut all = Self::default();
        let Some(entry) = root.entry("monitor") else {
            return all;
        };
        all.any = true;
        let DeValue::Array(list) = entry.value else {
            let way_out = "begin every monitor with the line [[monitor]], in double brackets".to_owned();
            all.reported = Some(root.wrong_type(&entry, "a list of sections", way_out));
            return all;
        };
        all.any = !list.is_empty();
        all.names = Names::of(list);
        for (index, item) in list.iter().enumerate() {
            let item =
                Entry { key: "monitor", key_span: item.span(), value: item.get_ref(), span: item.span() };
            if index == MAX_MONITORS {
                let message = format!("more than {MAX_MONITORS} monitors");
                let way_out = "split the setup into two, and replay the trace with each";
                all.reported = Some(root.reader.refuse(
                    item.span.clone(),
                    message,
                    format!("number {}", index + 1),
                    way_out,
                ));
            }
            match root
                .of(&item, "[[monitor]]".to_owned())
                .and_then(|section| all.monitor(section, inputs, analogues, index))
            {
                Ok(monitor) => all.read.push(monitor),
                Err(error) => all.reported = Some(error),
            }
        }
        if all.reported.is_none() {
            all.mark_reactions();
        }
        all
    }

    /// Always active, a stop that is there for a trip alone would withhold the permit for ever. All must have been read.
    fn mark_reactions(&mut self) {
        let named: Vec<usize> = self.read.iter().filter_map(|monitor| monitor.reaction).collect();
        for (_, monitor) in self.read.iter_mut().enumerate().filter(|(place, _)| named.contains(place)) {
            monitor.by_reactions_only = monitor.demand.is_empty();
        }
    }

    fn monitor(
        &mut self,
        mut section: Section<'_>,
        inputs: &mut Inputs,
        analogues: &Analogues<'_>,
        place: usize,
    ) -> Got<MonitorSetup> {
        let name = section.name("name", "\"slow while the door is open\"");
        if let Ok(name) = &name {
            section.title = format!("monitor \"{}\"", name.text);
        }
        let word = section.string("kind", "\"speed-limit\"");
        let kind = word.as_ref().map_or("", |word| word.text);
        let name = name.and_then(|name| self.unique(&section, &name, kind, analogues));
        let demand = match kind {
            "brake-output" => no_demand(&section).map(|()| Vec::new()),
            _ => demand(&section, inputs, &self.names, place),
        };
        let trip = self.trip(&section, kind, place);
        let reader = section.reader;
        let line = reader.line_of(&section.span);
        let read = word.and_then(|word| read_kind(&section, &word, analogues));
        let checked = match (&read, &trip) {
            (Ok(MonitorKind::TorqueOff), trip) => {
                let on_delay = trip.as_ref().ok().map(|trip| &trip.on_delay);
                torque_off(&section, demand.as_deref(), on_delay)
            }
            _ => Ok(()),
        };
        // Without its kind, nobody knows which keys the monitor may have.
        let known = if KINDS.contains(&kind) { section.finish() } else { Ok(()) };
        checked?;
        known?;
        let Trip { on_delay, allowed_overrun, reaction } = trip?;
        Ok(MonitorSetup {
            name: name?,
            line,
            kind: read?,
            demand: demand?,
            by_reactions_only: false,
            on_delay,
            allowed_overrun,
            reaction,
        })
    }

    /// What belongs to the trip of a monitor.
    fn trip(&self, section: &Section<'_>, kind: &str, place: usize) -> Got<Trip> {
        if is_output(kind) {
            let on_delay = Setting { value: Span::ZERO, text: "0 ms".to_owned(), span: 0..0 };
            return no_trip(section).map(|()| Trip { on_delay, allowed_overrun: None, reaction: None });
        }
        let on_delay = section.span_or_zero("on_delay", OR_ZERO);
        let allowed_overrun = allowed_overrun(section, kind, on_delay.as_ref().ok());
        let reaction = match kind {
            "torque-off" => section
                .misplaced(
                    "reaction",
                    "the kind torque-off has no trip to react to",
                    "leave it out; to stop first and withdraw the permit later, use kind = \"stop\"",
                )
                .map(|()| None),
            known if KINDS.contains(&known) => reaction(section, &self.names, place),
            _ => Ok(None),
        };
        Ok(Trip { on_delay: on_delay?, allowed_overrun: allowed_overrun?, reaction: reaction? })
    }

    fn unique(
        &mut self,
        section: &Section<'_>,
        name: &Text<'_>,
        kind: &str,
        analogues: &Analogues<'_>,
    ) -> Got<String> {
        if OF_THE_MOTION.contains(&kind) {
            check_name(section.reader, "an output", name)?;
        }
        if let Some((_, first)) = self.met.iter().find(|(known, _)| known == name.text) {
            return Err(section.reader.report(Mistake {
                span: name.span.clone(),
                message: format!("two monitors are called \"{}\"", name.text),
                label: "again here".to_owned(),
                related: Some((first.clone(), "first here".to_owned())),
                way_out: "give each a name of its own: reports tell monitors apart by it".to_owned(),
            }));
        }
        if let Some(analogue) = analogues.called(name.text) {
            return Err(section.reader.report(Mistake {
                span: name.span.clone(),
                message: format!("a monitor and an analogue value are called \"{}\"", name.text),
                label: "again here".to_owned(),
                related: Some((analogue, "first here".to_owned())),
                way_out: "give each a name of its own: reports tell trips apart by it".to_owned(),
            }));
        }
        self.met.push((name.text.to_owned(), name.span.clone()));
        Ok(name.text.to_owned())
    }
}

/// When a monitor trips, and what comes of it.
struct Trip {
    on_delay: Setting<Span>,
    allowed_overrun: Option<Setting<Position>>,
    reaction: Option<usize>,
}

fn torque_off(
    section: &Section<'_>,
    demand: Result<&[DemandSetup], &Reported>,
    on_delay: Option<&Setting<Span>>,
) -> Got<()> {
    if demand.is_ok_and(<[DemandSetup]>::is_empty) {
        return Err(section.reader.refuse(
            section.span.clone(),
            format!("{} has no `demand`", section.title),
            "always active, it would withdraw the permit for ever",
            "add what demands it, for example: demand = [\"emergency_stop\"]",
        ));
    }
    match on_delay {
        Some(delay) if delay.value.as_nanos() > 0 => Err(section.reader.refuse(
            delay.span.clone(),
            format!("`on_delay` of {}: the kind torque-off has no violation to delay", section.title),
            "would do nothing",
            "leave it out; to stop first and withdraw the permit later, use kind = \"stop\"",
        )),
        _ => Ok(()),
    }
}

/// The overrun that a monitor of this kind may tolerate; refused where nothing overruns a limit on the speed.
fn allowed_overrun(
    section: &Section<'_>,
    kind: &str,
    on_delay: Option<&Setting<Span>>,
) -> Got<Option<Setting<Position>>> {
    const LEAVE: &str = "leave it out; the other keys of the monitor work without it";
    let (why, way_out) = match kind {
        "speed-limit" | "speed-range" => return overrun(section, on_delay),
        "stop" => match section.plain("by") {
            Some("deceleration") => (
                "a stop by deceleration places no limit on the speed",
                "leave it out, or write by = \"ramp\": the speed is then below a line at every instant",
            ),
            Some("time") => (
                "a stop by time watches no speed on the way",
                "leave it out, or write by = \"ramp\": the speed is then below a line at every instant",
            ),
            Some("ramp") => return overrun(section, on_delay),
            // What is wrong with `by` is said where it is read.
            _ => {
                ask(section, &["allowed_overrun"]);
                return Ok(None);
            }
        },
        "standstill" => (
            "the position window of a standstill already bounds how far the axis moves",
            "leave it out, and set `position_window` to what may be travelled in all",
        ),
        "travel-limit" => (
            "the increment already bounds how far the axis moves",
            "leave it out, and set `increment` to what may be travelled in all",
        ),
        "position-range" => (
            "a position beyond its limit is no speed beyond a limit",
            "leave it out, and move `low` and `high`",
        ),
        "direction" => (
            "the tolerance already bounds how far the axis moves",
            "leave it out, and set `tolerance` to what may be travelled against the direction in all",
        ),
        "acceleration-limit" | "acceleration-range" => {
            ("an acceleration beyond its limit is no travel beyond a limit", LEAVE)
        }
        "torque-limit" | "torque-range" => ("a torque beyond its limit is no travel beyond a limit", LEAVE),
        "temperature-limit" => ("a temperature beyond its limit is no travel beyond a limit", LEAVE),
        "torque-off" => ("the kind torque-off has no limit to overrun", LEAVE),
        // What is wrong with the kind is said where it is read.
        _ => return Ok(None),
    };
    section.misplaced("allowed_overrun", why, way_out).map(|()| None)
}

/// An overrun bounds the time of the on-delay; without one there is nothing to bound.
fn overrun(section: &Section<'_>, on_delay: Option<&Setting<Span>>) -> Got<Option<Setting<Position>>> {
    let overrun = section.optional::<Position>("allowed_overrun", POSITIVE)?;
    match (&overrun, on_delay) {
        (Some(overrun), Some(delay)) if delay.value == Span::ZERO => Err(section.reader.refuse(
            overrun.span.clone(),
            format!("`allowed_overrun` of {}: there is no `on_delay`", section.title),
            "without one, the first frame beyond the limit trips, whatever was travelled",
            "add the longest time that a violation may last, for example: on_delay = \"20 ms\", or leave it out",
        )),
        _ => Ok(overrun),
    }
}

fn read_kind(section: &Section<'_>, word: &Text<'_>, analogues: &Analogues<'_>) -> Got<MonitorKind> {
    match word.text {
        "torque-off" => Ok(MonitorKind::TorqueOff),
        "standstill" => standstill(section).map(MonitorKind::Standstill),
        "speed-limit" => {
            let limit = speed_limit(section);
            let ramp = optional_ramp(section);
            Ok(MonitorKind::SpeedLimit { limit: limit?, ramp: ramp? })
        }
        "speed-range" => range(section).map(MonitorKind::SpeedRange),
        "direction" => {
            let allowed = section.string("allowed", "\"positive\"").and_then(|text| {
                let words = [("positive", Allowed::Positive), ("negative", Allowed::Negative)];
                section.choice(&text, "allowed", &words)
            });
            let tolerance = section.required("tolerance", POSITIVE);
            Ok(MonitorKind::Direction { allowed: allowed?, tolerance: tolerance? })
        }
        "acceleration-limit" => {
            Ok(MonitorKind::AccelerationLimit { limit: section.required("limit", POSITIVE)? })
        }
        "acceleration-range" => range(section).map(MonitorKind::AccelerationRange),
        "travel-limit" => {
            Ok(MonitorKind::TravelLimit { increment: section.required("increment", POSITIVE)? })
        }
        "position-range" => range(section).map(MonitorKind::PositionRange),
        "torque-limit" => analogue::torque_limit(section, analogues),
        "torque-range" => analogue::torque_range(section, analogues),
        "temperature-limit" => analogue::temperature_limit(section, analogues),
        "stop" => stop(section),
        "cam-output" => output::cam(section),
        "speed-output" => output::speed(section),
        "brake-output" => output::brake(section),
        unknown => {
            let meant = nearest(unknown, KINDS);
            let other = match meant {
                Some(kind) => format!("did you mean \"{kind}\"? Available are {}", KINDS.join(", ")),
                None => format!("use one of {}", KINDS.join(", ")),
            };
            let way_out = match FUNCTIONS.iter().find(|(short, _)| short.eq_ignore_ascii_case(unknown)) {
                Some((short, kind)) => {
                    format!("{short} is written \"{kind}\"; available are {}", KINDS.join(", "))
                }
                None => other,
            };
            let message = format!("\"{unknown}\" is not a kind of monitor");
            Err(section.reader.refuse(word.span.clone(), message, "unknown kind", way_out))
        }
    }
}

pub(super) fn standstill(section: &Section<'_>) -> Got<StandstillSetup> {
    let position_window = section.required("position_window", POSITIVE);
    let speed_window = section.required("speed_window", POSITIVE);
    Ok(StandstillSetup { position_window: position_window?, speed_window: speed_window? })
}

/// One limit for both directions, or one for each.
fn speed_limit(section: &Section<'_>) -> Got<LimitSetup> {
    let each = ["positive", "negative"].map(|key| section.entry(key));
    if each.iter().all(Option::is_none) {
        return section.required("limit", POSITIVE).map(LimitSetup::Both);
    }
    if let Some(both) = section.entry("limit") {
        let first = each.into_iter().flatten().min_by_key(|entry| entry.key_span.start).ok_or(Reported)?;
        return Err(section.reader.report(Mistake {
            span: first.key_span,
            message: format!("{} has `limit` and `{}` at once", section.title, first.key),
            label: "holds for one direction".to_owned(),
            related: Some((both.key_span, "holds for both".to_owned())),
            way_out: "leave out `limit` and write `positive` and `negative`, or keep `limit` alone"
                .to_owned(),
        }));
    }
    let read = ["positive", "negative"].map(|key| section.optional::<Speed>(key, OR_ZERO));
    let missing = match each {
        [Some(entry), None] => Some((entry, "negative")),
        [None, Some(entry)] => Some((entry, "positive")),
        _ => None,
    };
    if let Some((entry, other)) = missing {
        let speed = example(other, section.axis.speed());
        let unit = section.axis.symbol();
        return Err(section.reader.refuse(
            entry.key_span,
            format!("{} has `{}` but no `{other}`", section.title, entry.key),
            "a limit for one direction, and none for the other",
            format!(
                "add it, for example: {other} = \"{speed}\" (\"0 {unit}/s\" allows no motion that way), or write \
                 `limit` for both"
            ),
        ));
    }
    let [positive, negative] = read;
    let (Some(positive), Some(negative)) = (positive?, negative?) else { return Err(Reported) };
    if positive.value == Speed::ZERO && negative.value == Speed::ZERO {
        return Err(section.reader.report(Mistake {
            span: negative.span,
            message: format!("`positive` and `negative` of {} are both zero", section.title),
            label: "allows no motion this way".to_owned(),
            related: Some((positive.span, "and none that way".to_owned())),
            way_out: "raise one of them; to watch that the axis stands, use kind = \"standstill\"".to_owned(),
        }));
    }
    Ok(LimitSetup::Each { positive, negative })
}

/// Two ends with their signs, between which there is at least one value.
pub(super) fn range<T: Measured + Ord>(section: &Section<'_>) -> Got<RangeSetup<T>> {
    let low = section.required::<T>("low", LOW);
    let high = section.required::<T>("high", HIGH);
    let (step, _) = T::bounds(section.axis);
    ordered(section, low?, high?, &step)
}

/// The two, when one is not above the other; both are held in steps of `step`.
pub(super) fn ordered<T: Ord>(
    section: &Section<'_>,
    low: Setting<T>,
    high: Setting<T>,
    step: &str,
) -> Got<RangeSetup<T>> {
    if low.value <= high.value {
        return Ok(RangeSetup { low, high });
    }
    Err(section.reader.report(Mistake {
        span: low.span,
        message: format!("`low` of {} is above its `high`", section.title),
        label: "at least this".to_owned(),
        related: Some((high.span, "and at most this".to_owned())),
        way_out: format!(
            "lower `low` or raise `high`, signs included (\"-2\" is below \"1\"); both are held in steps of {step}, \
             `low` rounded up and `high` down, and one must remain between them"
        ),
    }))
}

/// Makes keys known whose place depends on something that could not be read.
pub(super) fn ask(section: &Section<'_>, keys: &[&'static str]) {
    for key in keys {
        section.entry(key);
    }
}
