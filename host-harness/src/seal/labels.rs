//! What an image says in words: names, and how each setting was written in the setup.
//!
//! ```text
//! cowitness-labels 1
//! unit "mm"
//! title "Kiln shuttle 2, transfer axis"
//! channel.a.max_speed "3 m/s"
//! analogue.0.unit "Nm"
//! monitor.0 "slow while the door is open"
//! monitor.0.on_delay default "0 ms"
//! host.channel.b.latency "0.25 ms (250000 ns)"
//! ```
//!
//! UTF-8; a version, then one label a line: a path, `default` where the setup left the setting out, and a JSON string. Paths that
//! begin with `host.` are settings that have no place in the axis of the target.

use std::collections::BTreeMap;

use monitor_core::Span;

use crate::setup::{
    AnalogueSetup, AnalogueUnit, AxisUnit, By, ChannelSetup, InputLines, LimitSetup, MonitorKind, RampSetup,
    ReferenceSetup, Setting, Setup, Source, StandstillSetup, TimeColumn, Until,
};

const FIRST: &str = "cowitness-labels 1";

/// How a setting was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Label {
    pub(super) text: String,
    /// The setup left it out; the text is the default's.
    pub(super) default: bool,
}

/// The labels of an image, by path.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Labels(BTreeMap<String, Label>);

/// Labels that cannot be read: where, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct BadLabels(pub(super) String);

impl Labels {
    /// Those of a setup: all, or the units alone.
    pub(super) fn of(setup: &Setup, all: bool) -> Self {
        let mut labels = Self::default();
        labels.put("unit", setup.unit.symbol());
        for (i, analogue) in setup.analogues.iter().enumerate() {
            labels.put(analogue_unit(i), analogue.unit.symbol());
        }
        if all {
            labels.all(setup);
        }
        labels
    }

    pub(super) fn text(&self) -> String {
        let mut text = format!("{FIRST}\n");
        for (path, label) in &self.0 {
            let default = if label.default { "default " } else { "" };
            let quoted = serde_json::Value::from(label.text.as_str());
            text += &format!("{path} {default}{quoted}\n");
        }
        text
    }

    /// Those of an image; none when it has no bytes for them.
    pub(super) fn parse(bytes: &[u8]) -> Result<Self, BadLabels> {
        if bytes.is_empty() {
            return Ok(Self::default());
        }
        let text = str::from_utf8(bytes).map_err(|_| BadLabels("they are not UTF-8".to_owned()))?;
        let mut lines = text.lines().zip(1..);
        if let Some((first, _)) = lines.next()
            && first != FIRST
        {
            return Err(BadLabels(format!("they begin with {first:?}; this program reads {FIRST:?}")));
        }
        let mut labels = Self::default();
        for (line, number) in lines {
            let bad =
                || BadLabels(format!("line {number}: {line:?}; expected a path and a string in quotes"));
            let (path, rest) = line.split_once(' ').ok_or_else(bad)?;
            let (default, quoted) =
                rest.strip_prefix("default ").map_or((false, rest), |quoted| (true, quoted));
            let text = serde_json::from_str(quoted).map_err(|_| bad())?;
            if labels.0.insert(path.to_owned(), Label { text, default }).is_some() {
                return Err(BadLabels(format!("line {number}: {path} for a second time")));
            }
        }
        Ok(labels)
    }

    pub(super) fn take(&mut self, path: &str) -> Option<Label> {
        self.0.remove(path)
    }

    pub(super) fn peek(&self, path: &str) -> Option<&str> {
        self.0.get(path).map(|label| label.text.as_str())
    }

    /// Whether there are names and texts, and not the unit alone.
    pub(super) fn has_names(&self) -> bool {
        self.0.contains_key("title")
    }

    /// The unit of the axis.
    pub(super) fn unit(&self) -> Result<Option<AxisUnit>, BadLabels> {
        match self.peek("unit") {
            None => Ok(None),
            Some("mm") => Ok(Some(AxisUnit::Millimetre)),
            Some("deg") => Ok(Some(AxisUnit::Degree)),
            Some(unit) => Err(BadLabels(format!("unit {unit:?}; an axis is in mm or deg"))),
        }
    }

    /// The unit of an analogue value.
    pub(super) fn analogue_unit(&self, i: usize) -> Result<Option<AnalogueUnit>, BadLabels> {
        let path = analogue_unit(i);
        let Some(text) = self.peek(&path) else { return Ok(None) };
        let found = AnalogueUnit::ALL.into_iter().find(|unit| unit.symbol() == text);
        found
            .map(Some)
            .ok_or_else(|| BadLabels(format!("{path} {text:?}; an analogue value is in Nm, % or degC")))
    }

    /// What is left, by path.
    pub(super) fn into_rest(self) -> impl Iterator<Item = (String, String)> {
        self.0.into_iter().map(|(path, label)| (path, label.text))
    }

    fn put(&mut self, path: impl Into<String>, text: impl Into<String>) {
        self.0.insert(path.into(), Label { text: text.into(), default: false });
    }

    fn set<T>(&mut self, path: String, setting: &Setting<T>) {
        let default = setting.span.is_empty();
        self.0.insert(path, Label { text: setting.text.clone(), default });
    }

    fn all(&mut self, setup: &Setup) {
        self.put("title", setup.title.clone());
        for (line, name) in setup.levels.iter().enumerate() {
            self.put(format!("line.{line}"), name.clone());
        }
        for (letter, channel) in [("a", &setup.a), ("b", &setup.b)] {
            self.channel(letter, channel);
            if let (ReferenceSetup::Event, Some(event)) = (&channel.reference, &setup.reference) {
                self.set(format!("channel.{letter}.reference_position"), &event.position);
            }
        }
        self.set("speed.window".to_owned(), &setup.speed.window);
        for (i, input) in setup.inputs.iter().enumerate() {
            self.put(format!("input.{i}"), input.name.clone());
            self.set(format!("input.{i}.filter"), &input.filter);
            if let InputLines::Dual { dual, .. } = &input.lines {
                self.set(format!("input.{i}.discrepancy_time"), &dual.discrepancy_time);
            }
        }
        if let Some(reset) = &setup.reset {
            self.set("reset.filter".to_owned(), &reset.filter);
        }
        for (i, analogue) in setup.analogues.iter().enumerate() {
            self.analogue(&format!("analogue.{i}"), analogue);
        }
        for (i, monitor) in setup.monitors.iter().enumerate() {
            let path = format!("monitor.{i}");
            self.put(path.clone(), monitor.name.clone());
            // An output has none, so that there is nothing to have left out.
            if !monitor.kind.is_output() {
                self.set(format!("{path}.on_delay"), &monitor.on_delay);
            }
            if let Some(overrun) = &monitor.allowed_overrun {
                self.set(format!("{path}.allowed_overrun"), overrun);
            }
            self.kind(&path, &monitor.kind);
        }
        if let Some(rule) = &setup.discrepancy {
            self.set("discrepancy.tolerance".to_owned(), &rule.tolerance);
            self.set("discrepancy.skew_allowance".to_owned(), &rule.skew_allowance);
            self.set("discrepancy.discrepancy_time".to_owned(), &rule.discrepancy_time);
        }
        if let Some(rule) = &setup.speed_discrepancy {
            self.set("speed_discrepancy.tolerance".to_owned(), &rule.tolerance);
            self.set("speed_discrepancy.discrepancy_time".to_owned(), &rule.discrepancy_time);
        }
        let cycle = setup.cycle.as_ref().map_or_else(|| "every row of the trace".to_owned(), in_force);
        self.put("host.cycle", cycle);
        self.host_time("host.time", "", &setup.time);
    }

    fn channel(&mut self, letter: &str, channel: &ChannelSetup) {
        let path = format!("channel.{letter}");
        let host = format!("host.{path}");
        self.put(format!("{host}.column"), channel.column.clone());
        match &channel.source {
            Source::Counter { unit_per_count, .. } => {
                self.set(format!("{path}.unit_per_count"), unit_per_count);
            }
            Source::Position { unit } => self.put(format!("{host}.column_unit"), unit.symbol),
        }
        self.set(format!("{path}.max_speed"), &channel.max_speed);
        self.set(format!("{path}.timeout"), &channel.timeout);
        if let ReferenceSetup::Absolute { offset } = &channel.reference {
            self.set(format!("{path}.offset"), offset);
        }
        self.put(format!("{host}.latency"), in_force(&channel.latency));
        match &channel.capture {
            Some(capture) => self.host_time(&host, "capture_", capture),
            None => self.put(format!("{host}.capture_column"), "none: the time of the row"),
        }
        let valid = channel.valid_column.clone();
        self.put(format!("{host}.valid_column"), valid.unwrap_or_else(|| "none: always valid".to_owned()));
        self.put(format!("{host}.sparse"), if channel.sparse { "true" } else { "false" });
    }

    fn analogue(&mut self, path: &str, analogue: &AnalogueSetup) {
        self.put(path, analogue.name.clone());
        self.set(format!("{path}.low"), &analogue.plausible.low);
        self.set(format!("{path}.high"), &analogue.plausible.high);
        self.set(format!("{path}.timeout"), &analogue.timeout);
        self.set(format!("{path}.tolerance"), &analogue.tolerance);
        self.set(format!("{path}.discrepancy_time"), &analogue.discrepancy_time);
        let host = format!("host.{path}");
        let [first, second] = &analogue.columns;
        self.put(format!("{host}.first_column"), first.clone());
        self.put(format!("{host}.second_column"), second.clone());
        let always = || ["none: always valid"; 2].map(str::to_owned);
        let [first, second] = analogue.valid_columns.clone().unwrap_or_else(always);
        self.put(format!("{host}.first_valid_column"), first);
        self.put(format!("{host}.second_valid_column"), second);
        self.put(format!("{host}.latency"), in_force(&analogue.latency));
        self.put(format!("{host}.sparse"), if analogue.sparse { "true" } else { "false" });
    }

    fn host_time(&mut self, path: &str, prefix: &str, time: &TimeColumn) {
        self.put(format!("{path}.{prefix}column"), time.column.clone());
        self.put(format!("{path}.{prefix}unit"), time.unit.symbol);
    }

    fn kind(&mut self, path: &str, kind: &MonitorKind) {
        match kind {
            MonitorKind::TorqueOff => {}
            MonitorKind::Standstill(windows) => self.standstill(path, windows),
            MonitorKind::SpeedLimit { limit, ramp } => {
                match limit {
                    LimitSetup::Both(limit) => self.set(format!("{path}.limit"), limit),
                    LimitSetup::Each { positive, negative } => {
                        self.set(format!("{path}.positive"), positive);
                        self.set(format!("{path}.negative"), negative);
                    }
                }
                if let Some(ramp) = ramp {
                    self.ramp(path, ramp);
                }
            }
            MonitorKind::SpeedRange(range) => {
                self.set(format!("{path}.low"), &range.low);
                self.set(format!("{path}.high"), &range.high);
            }
            MonitorKind::Direction { tolerance, .. } => self.set(format!("{path}.tolerance"), tolerance),
            MonitorKind::AccelerationLimit { limit } => self.set(format!("{path}.limit"), limit),
            MonitorKind::AccelerationRange(range) => {
                self.set(format!("{path}.low"), &range.low);
                self.set(format!("{path}.high"), &range.high);
            }
            MonitorKind::TravelLimit { increment } => self.set(format!("{path}.increment"), increment),
            MonitorKind::PositionRange(range) => {
                self.set(format!("{path}.low"), &range.low);
                self.set(format!("{path}.high"), &range.high);
            }
            MonitorKind::TorqueLimit { limit, .. } | MonitorKind::TemperatureLimit { limit, .. } => {
                self.set(format!("{path}.limit"), limit);
            }
            MonitorKind::TorqueRange { range, .. } => {
                self.set(format!("{path}.low"), &range.low);
                self.set(format!("{path}.high"), &range.high);
            }
            MonitorKind::CamOutput { range, hysteresis } => {
                self.set(format!("{path}.low"), &range.low);
                self.set(format!("{path}.high"), &range.high);
                self.set(format!("{path}.hysteresis"), hysteresis);
            }
            MonitorKind::SpeedOutput { threshold, hysteresis } => {
                self.set(format!("{path}.threshold"), threshold);
                self.set(format!("{path}.hysteresis"), hysteresis);
            }
            MonitorKind::BrakeOutput { delay } => self.set(format!("{path}.delay"), delay),
            MonitorKind::Stop { until, by } => {
                if let Until::Standstill(windows) = until {
                    self.standstill(path, windows);
                }
                let within = match by {
                    By::Ramp { ramp, standstill_speed, within } => {
                        self.ramp(path, ramp);
                        self.set(format!("{path}.standstill_speed"), standstill_speed);
                        within.as_ref()
                    }
                    By::Deceleration { braking, standstill_speed, within } => {
                        self.set(format!("{path}.braking.delay"), &braking.delay);
                        self.set(format!("{path}.braking.deceleration"), &braking.deceleration);
                        self.set(format!("{path}.braking.margin"), &braking.margin);
                        self.set(format!("{path}.standstill_speed"), standstill_speed);
                        within.as_ref()
                    }
                    By::Time { within } => Some(within),
                };
                if let Some(within) = within {
                    self.set(format!("{path}.within"), within);
                }
            }
        }
    }

    fn standstill(&mut self, path: &str, windows: &StandstillSetup) {
        self.set(format!("{path}.position_window"), &windows.position_window);
        self.set(format!("{path}.speed_window"), &windows.speed_window);
    }

    fn ramp(&mut self, path: &str, ramp: &RampSetup) {
        self.set(format!("{path}.ramp.delay"), &ramp.delay);
        self.set(format!("{path}.ramp.deceleration"), &ramp.deceleration);
        self.set(format!("{path}.ramp.margin"), &ramp.margin);
        if let Some(jerk) = &ramp.jerk {
            self.set(format!("{path}.ramp.jerk"), jerk);
        }
    }
}

/// Where the unit of an analogue value stands.
pub(super) fn analogue_unit(i: usize) -> String {
    format!("analogue.{i}.unit")
}

/// A time that only the host knows: as written, and in force.
fn in_force(setting: &Setting<Span>) -> String {
    format!("{} ({} ns)", setting.text, setting.value.as_nanos())
}
