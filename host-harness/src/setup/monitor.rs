//! The monitors of a setup: each table is read by its `kind`.

use std::ops::Range;

use monitor_core::{Span, Speed};
use toml::de::DeValue;

use super::MAX_MONITORS;
use super::input::Inputs;
use super::model::{By, MonitorKind, MonitorSetup, RampSetup, Setting, StandstillSetup, Until};
use super::nearest::nearest;
use super::section::{Entry, Got, Mistake, Reported, Section, Text};
use super::value::{OR_ZERO, POSITIVE, POSITIVE_UP, example};

/// The kinds of this version.
const KINDS: [&str; 4] = ["torque-off", "standstill", "speed-limit", "stop"];

/// Kinds that a later version may bring. They are refused as "not available yet".
pub const LATER_KINDS: [&str; 12] = [
    "speed-range",
    "direction",
    "acceleration-limit",
    "acceleration-range",
    "position-range",
    "travel-limit",
    "torque-limit",
    "torque-range",
    "temperature-limit",
    "brake-output",
    "cam-output",
    "speed-output",
];

/// The monitors of a setup, as far as they are read.
#[derive(Default)]
pub(super) struct Monitors {
    /// Those that are right by themselves.
    pub(super) read: Vec<MonitorSetup>,
    /// Whether the file has any, right or not.
    pub(super) any: bool,
    pub(super) reported: Option<Reported>,
    names: Vec<(String, Range<usize>)>,
}

impl Monitors {
    /// Reads every `[[monitor]]`.
    pub(super) fn read(root: &Section<'_>, inputs: &mut Inputs) -> Self {
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
            match root.of(&item, "[[monitor]]".to_owned()).and_then(|section| all.monitor(section, inputs)) {
                Ok(monitor) => all.read.push(monitor),
                Err(error) => all.reported = Some(error),
            }
        }
        all
    }

    fn monitor(&mut self, mut section: Section<'_>, inputs: &mut Inputs) -> Got<MonitorSetup> {
        let name = section.name("name", "\"slow while the door is open\"");
        if let Ok(name) = &name {
            section.title = format!("monitor \"{}\"", name.text);
        }
        let name = name.and_then(|name| self.unique(&section, &name));
        let demand = demand(&section, inputs);
        let on_delay = section.span_or_zero("on_delay", OR_ZERO);
        let word = section.string("kind", "\"speed-limit\"");
        let reader = section.reader;
        let line = reader.line_of(&section.span);
        let kind_is_known = word.as_ref().is_ok_and(|word| KINDS.contains(&word.text));
        let read = word.and_then(|word| read_kind(&section, &word));
        let checked = match &read {
            Ok(MonitorKind::TorqueOff) => torque_off(&section, demand.as_deref(), on_delay.as_ref().ok()),
            _ => Ok(()),
        };
        // Without its kind, nobody knows which keys the monitor may have.
        let known = if kind_is_known { section.finish() } else { Ok(()) };
        checked?;
        known?;
        Ok(MonitorSetup { name: name?, line, kind: read?, demand: demand?, on_delay: on_delay? })
    }

    fn unique(&mut self, section: &Section<'_>, name: &Text<'_>) -> Got<String> {
        if let Some((_, first)) = self.names.iter().find(|(known, _)| known == name.text) {
            return Err(section.reader.report(Mistake {
                span: name.span.clone(),
                message: format!("two monitors are called \"{}\"", name.text),
                label: "again here".to_owned(),
                related: Some((first.clone(), "first here".to_owned())),
                way_out: "give each a name of its own: reports tell monitors apart by it".to_owned(),
            }));
        }
        self.names.push((name.text.to_owned(), name.span.clone()));
        Ok(name.text.to_owned())
    }
}

/// The inputs that demand a monitor; none when it has no `demand`.
fn demand(section: &Section<'_>, inputs: &mut Inputs) -> Got<Vec<usize>> {
    let Some(entry) = section.entry("demand") else {
        return Ok(Vec::new());
    };
    let names = section.names(&entry, "[\"door\"]")?;
    if names.is_empty() {
        return Err(section.reader.refuse(
            entry.span,
            format!("`demand` of {} is an empty list", section.title),
            "nothing would ever demand it",
            "name at least one input, or leave `demand` out for a monitor that is always active",
        ));
    }
    let mut demand = Vec::new();
    let mut reported = None;
    for name in &names {
        match inputs.demand(section.reader, name) {
            Ok(index) if demand.contains(&index) => {
                reported = Some(section.reader.refuse(
                    name.span.clone(),
                    format!("`demand` of {} names `{}` twice", section.title, name.text),
                    "again here",
                    "leave one of them out",
                ));
            }
            Ok(index) => demand.push(index),
            Err(error) => reported = Some(error),
        }
    }
    reported.map_or(Ok(demand), Err)
}

fn torque_off(
    section: &Section<'_>,
    demand: Result<&[usize], &Reported>,
    on_delay: Option<&Setting<Span>>,
) -> Got<()> {
    if demand.is_ok_and(<[usize]>::is_empty) {
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

fn read_kind(section: &Section<'_>, word: &Text<'_>) -> Got<MonitorKind> {
    match word.text {
        "torque-off" => Ok(MonitorKind::TorqueOff),
        "standstill" => {
            let (later, windows) = (section.later("allowed_overrun"), standstill(section));
            later?;
            windows.map(MonitorKind::Standstill)
        }
        "speed-limit" => {
            let later = section.later("allowed_overrun");
            let limit = section.required("limit", POSITIVE);
            let ramp = optional_ramp(section);
            later?;
            Ok(MonitorKind::SpeedLimit { limit: limit?, ramp: ramp? })
        }
        "stop" => stop(section),
        later if LATER_KINDS.contains(&later) => Err(section.reader.refuse(
            word.span.clone(),
            format!("the kind \"{later}\" is not available yet"),
            "known, but this version does not watch it",
            format!("use one of {}, or leave the monitor out", KINDS.join(", ")),
        )),
        unknown => {
            let meant = nearest(unknown, KINDS.into_iter().chain(LATER_KINDS));
            let way_out = match meant {
                Some(kind) => format!("did you mean \"{kind}\"? Available are {}", KINDS.join(", ")),
                None => format!("use one of {}", KINDS.join(", ")),
            };
            let message = format!("\"{unknown}\" is not a kind of monitor");
            Err(section.reader.refuse(word.span.clone(), message, "unknown kind", way_out))
        }
    }
}

fn standstill(section: &Section<'_>) -> Got<StandstillSetup> {
    let position_window = section.required("position_window", POSITIVE);
    let speed_window = section.required("speed_window", POSITIVE);
    Ok(StandstillSetup { position_window: position_window?, speed_window: speed_window? })
}

fn optional_ramp(section: &Section<'_>) -> Got<Option<RampSetup>> {
    let title = format!("the ramp of {}", section.title);
    section.subsection("ramp", &title)?.map(ramp).transpose()
}

fn ramp(section: Section<'_>) -> Got<RampSetup> {
    let delay = section.required("delay", OR_ZERO);
    let deceleration = section.required("deceleration", POSITIVE_UP);
    let margin = section.required("margin", OR_ZERO);
    let margin = margin.and_then(|margin| check_margin(&section, margin));
    let later = section.later("jerk");
    let known = section.finish();
    later?;
    known?;
    Ok(RampSetup { delay: delay?, deceleration: deceleration?, margin: margin? })
}

/// The margin on top of a speed must stay within the range of a speed.
fn check_margin(section: &Section<'_>, margin: Setting<Speed>) -> Got<Setting<Speed>> {
    if margin.value.to_bits() < 1 << 61 {
        return Ok(margin);
    }
    let unit = section.axis.symbol();
    Err(section.reader.refuse(
        margin.span,
        format!("`margin` of {} is too large", section.title),
        "beyond the range",
        format!("write less than 137438953472 {unit}/s; is the unit the right one?"),
    ))
}

fn stop(section: &Section<'_>) -> Got<MonitorKind> {
    let later = section.later("allowed_overrun");
    let until = until(section);
    let by = by(section);
    later?;
    Ok(MonitorKind::Stop { until: until?, by: by? })
}

fn until(section: &Section<'_>) -> Got<Until> {
    let word = section
        .string("until", "\"torque-off\"")
        .and_then(|text| section.choice(&text, "until", &[("torque-off", true), ("standstill", false)]));
    match word {
        Ok(false) => standstill(section).map(Until::Standstill),
        Ok(true) => {
            const WHY: &str = "a stop until torque-off does not watch a standstill";
            const WAY_OUT: &str = "leave it out, or write until = \"standstill\"";
            let refused = ["position_window", "speed_window"].map(|key| section.misplaced(key, WHY, WAY_OUT));
            refused.into_iter().collect::<Got<()>>().map(|()| Until::TorqueOff)
        }
        Err(error) => {
            ask(section, &["position_window", "speed_window"]);
            Err(error)
        }
    }
}

fn by(section: &Section<'_>) -> Got<By> {
    let word = section.string("by", "\"ramp\"").and_then(|text| match text.text {
        "deceleration" => Err(section.reader.refuse(
            text.span.clone(),
            format!("`by` of {}: \"deceleration\" is not available yet", section.title),
            "known, but this version does not watch it",
            "use by = \"ramp\", which bounds the speed on the way, or by = \"time\"",
        )),
        _ => section.choice(&text, "by", &[("ramp", true), ("time", false)]),
    });
    match word {
        Ok(true) => {
            let title = format!("the ramp of {}", section.title);
            let ramp = match section.subsection("ramp", &title) {
                Ok(Some(table)) => ramp(table),
                Ok(None) => {
                    let slope = example("deceleration", section.axis.acceleration());
                    let speed = example("margin", section.axis.speed());
                    let ramp =
                        format!("{{ delay = \"100 ms\", deceleration = \"{slope}\", margin = \"{speed}\" }}");
                    Err(section.missing("ramp", &ramp))
                }
                Err(error) => Err(error),
            };
            let standstill_speed = section.required("standstill_speed", POSITIVE);
            let within = section.optional("within", POSITIVE);
            Ok(By::Ramp { ramp: ramp?, standstill_speed: standstill_speed?, within: within? })
        }
        Ok(false) => {
            const WHY: &str = "a stop by time watches no speed on the way";
            const WAY_OUT: &str = "leave it out, or write by = \"ramp\"";
            let refused = ["ramp", "standstill_speed"].map(|key| section.misplaced(key, WHY, WAY_OUT));
            let within = section.required("within", POSITIVE);
            refused.into_iter().collect::<Got<()>>()?;
            Ok(By::Time { within: within? })
        }
        Err(error) => {
            ask(section, &["ramp", "standstill_speed", "within"]);
            Err(error)
        }
    }
}

/// Makes keys known whose place depends on something that could not be read.
fn ask(section: &Section<'_>, keys: &[&'static str]) {
    for key in keys {
        section.entry(key);
    }
}
