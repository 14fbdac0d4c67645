//! Every value of an axis, in the order in which it is sealed.

use monitor_core::seal::Image;
use monitor_core::{
    Allowed, AnalogueConfig, AnalogueId, AxisConfig, Channel, Demand, Demands, InputConfig, InputSet, Lines,
    MonitorParts, MonitorSet, NoOwn, OneSided, Pairing, Ramp, Referencing, Rule, Span, Standstill,
    Supervision, Until, WarmUp,
};

use super::held::{Number, Value};
use super::labels::Labels;
use super::printable::quoted;
use super::review::Section;
use crate::setup::{AnalogueUnit, AxisUnit};

/// The longest axis there is: every image fits.
pub(super) type Config = AxisConfig<1025, 32, 32>;

/// Makes the sections, taking the labels that belong to them.
pub(super) struct Listing {
    pub(super) labels: Labels,
    unit: Option<AxisUnit>,
    /// The units of the analogue values.
    analogues: Vec<Option<AnalogueUnit>>,
    sections: Vec<Section>,
}

impl Listing {
    pub(super) const fn new(
        labels: Labels,
        unit: Option<AxisUnit>,
        analogues: Vec<Option<AnalogueUnit>>,
    ) -> Self {
        Self { labels, unit, analogues, sections: Vec::new() }
    }

    /// The sections, and the labels that belong to none of their values.
    pub(super) fn list(mut self, image: &Image<'_>, config: &Config) -> (Vec<Section>, Labels) {
        let lines = self.line_names();
        let names = Names {
            inputs: self.names("input"),
            analogues: self.names("analogue"),
            monitors: self.names("monitor"),
        };
        self.channel(Channel::A, "a", config, &names);
        self.channel(Channel::B, "b", config, &names);
        self.speed(image.points(), config);
        for (i, input) in config.inputs().iter().enumerate() {
            self.input(i, input, &lines);
        }
        if let Some(reset) = config.reset() {
            self.section("reset", "Reset".to_owned());
            self.lines_of("reset", reset, &lines);
        }
        for (i, analogue) in config.analogues().iter().enumerate() {
            self.analogue(i, analogue);
        }
        for (i, monitor) in config.monitors().enumerate() {
            self.monitor(i, &monitor, &names);
        }
        self.discrepancies(config);
        (self.sections, self.labels)
    }

    fn section(&mut self, path: &str, heading: String) {
        self.sections.push(Section { path: path.to_owned(), heading, values: Vec::new() });
    }

    fn put(&mut self, value: Value) {
        if let Some(section) = self.sections.last_mut() {
            section.values.push(value);
        }
    }

    fn number(&mut self, path: String, number: impl Into<Number>) {
        let label = self.labels.take(&path);
        let value = Value::number(path, number.into(), self.unit, label);
        self.put(value);
    }

    fn derived(&mut self, path: &str, span: Span) {
        self.put(Value::number(path.to_owned(), span.into(), self.unit, None).derived());
    }

    /// A choice of two, stored as 0 and 1.
    fn choice(&mut self, path: String, is_second: bool, [first, second]: [&str; 2]) {
        let word = if is_second { second } else { first };
        self.put(Value::word(path, word, u32::from(is_second), 1));
    }

    /// Names of the lines of a frame.
    fn line_names(&mut self) -> Vec<Option<String>> {
        let name = |line: u8| self.labels.take(&format!("line.{line}")).map(|label| quoted(&label.text));
        (0..monitor_core::Levels::LINES).map(name).collect()
    }

    /// Names of all inputs, or of all monitors, which others may point to.
    fn names(&self, what: &str) -> Vec<Option<String>> {
        (0..32).map(|i| self.labels.peek(&format!("{what}.{i}")).map(quoted)).collect()
    }

    fn channel(&mut self, channel: Channel, letter: &str, config: &Config, names: &Names) {
        let source = config.source(channel);
        let path = format!("channel.{letter}");
        self.section(&path, format!("Channel {letter}"));
        let bits = source.counter_bits();
        self.put(Value::word(format!("{path}.counter_bits"), bits.to_string(), bits.into(), 1));
        let scale = source.scale();
        let per_count = Number::per_count(scale.nano_ulps_per_count(), scale.is_reversed());
        self.number(format!("{path}.unit_per_count"), per_count);
        self.number(format!("{path}.max_speed"), source.max_speed());
        self.number(format!("{path}.timeout"), source.timeout());
        match config.referencing(channel) {
            Referencing::None => {
                self.put(Value::word(format!("{path}.reference"), "none", 0, 1));
            }
            Referencing::Absolute { offset } => {
                self.put(Value::word(format!("{path}.reference"), "absolute", 1, 1));
                self.number(format!("{path}.offset"), Number::from(offset).nearest());
            }
            Referencing::Event { input, position } => {
                self.put(Value::word(format!("{path}.reference"), "event", 2, 1));
                let word = format!("input {}", input.index());
                let value = Value::word(format!("{path}.reference_input"), word, input.index().into(), 1);
                self.put(value.named(name_of(&names.inputs, input.index())));
                self.number(format!("{path}.reference_position"), Number::from(position).nearest());
            }
        }
    }

    fn speed(&mut self, points: u16, config: &Config) {
        self.section("speed", "Speed".to_owned());
        self.number("speed.window".to_owned(), config.window());
        self.put(Value::word("speed.points".to_owned(), points.to_string(), points.into(), 2));
        let (spacing, effective) = effective_window(config, points);
        self.derived("speed.spacing", spacing);
        self.derived("speed.effective_window", effective);
        self.choice("speed.warm_up".to_owned(), config.warm_up() == WarmUp::Permit, ["withhold", "permit"]);
    }

    fn input(&mut self, i: usize, input: &InputConfig, lines: &[Option<String>]) {
        let path = format!("input.{i}");
        let name = self.labels.take(&path).map(|label| quoted(&label.text));
        self.section(&path, heading("Input", i, name.as_deref()));
        self.lines_of(&path, input, lines);
    }

    fn lines_of(&mut self, path: &str, input: &InputConfig, names: &[Option<String>]) {
        let (lines, demand_high, filter) = input.parts();
        let mut line = |key: &str, line: u8| {
            let value = Value::word(format!("{path}.{key}"), format!("line {line}"), line.into(), 1);
            self.put(value.named(name_of(names, line)));
        };
        match lines {
            Lines::Single(only) => line("line", only),
            Lines::Dual([first, second], ..) => {
                line("first_line", first);
                line("second_line", second);
            }
        }
        self.choice(format!("{path}.demand"), demand_high, ["low", "high"]);
        self.number(format!("{path}.filter"), filter);
        if let Lines::Dual(_, pairing, discrepancy_time, one_sided) = lines {
            let is_antivalent = pairing == Pairing::Antivalent;
            self.choice(format!("{path}.pairing"), is_antivalent, ["equivalent", "antivalent"]);
            self.number(format!("{path}.discrepancy_time"), discrepancy_time);
            let is_ignored = one_sided == OneSided::Ignore;
            self.choice(format!("{path}.one_sided"), is_ignored, ["fault", "ignore"]);
        }
    }

    fn analogue(&mut self, i: usize, analogue: &AnalogueConfig) {
        let path = format!("analogue.{i}");
        let name = self.labels.take(&path).map(|label| quoted(&label.text));
        self.section(&path, heading("Analogue value", i, name.as_deref()));
        let unit = self.analogue_unit(i);
        let [low, high] = analogue.range();
        self.number(format!("{path}.low"), Number::of_its_own(low, unit).up());
        self.number(format!("{path}.high"), Number::of_its_own(high, unit));
        self.number(format!("{path}.timeout"), analogue.timeout());
        self.number(format!("{path}.tolerance"), Number::of_its_own(analogue.tolerance(), unit));
        self.number(format!("{path}.discrepancy_time"), analogue.discrepancy_time());
    }

    fn analogue_unit(&self, i: usize) -> Option<AnalogueUnit> {
        self.analogues.get(i).copied().flatten()
    }

    fn monitor(&mut self, i: usize, monitor: &MonitorParts<'_, NoOwn>, names: &Names) {
        let path = format!("monitor.{i}");
        let name = self.labels.take(&path).map(|label| quoted(&label.text));
        self.section(&path, heading("Monitor", i, name.as_deref()));
        let (kind, code) = match monitor.rule {
            Rule::TorqueOff => ("torque-off", 0),
            Rule::Standstill(_) => ("standstill", 1),
            Rule::SpeedLimit(_) => ("speed-limit", 2),
            Rule::Stop(_) => ("stop", 3),
            Rule::SpeedRange(_) => ("speed-range", 4),
            Rule::Direction(_) => ("direction", 5),
            Rule::AccelerationLimit(_) => ("acceleration-limit", 6),
            Rule::AccelerationRange(_) => ("acceleration-range", 7),
            Rule::TravelLimit(_) => ("travel-limit", 8),
            Rule::PositionRange(_) => ("position-range", 9),
            Rule::CamOutput(_) => ("cam-output", 10),
            Rule::SpeedOutput(_) => ("speed-output", 11),
            Rule::BrakeOutput(_) => ("brake-output", 12),
            Rule::TorqueLimit(_) => ("torque-limit", 13),
            Rule::TorqueRange(_) => ("torque-range", 14),
            Rule::TemperatureLimit(_) => ("temperature-limit", 15),
            Rule::Own(never) => match *never {},
        };
        self.put(Value::word(format!("{path}.kind"), kind, code, 1));
        self.demand(&path, monitor.demand, names);
        self.number(format!("{path}.on_delay"), monitor.on_delay);
        match monitor.reaction {
            Some(stop) => {
                let word = format!("first the stop, monitor {}", stop.index());
                let value = Value::word(format!("{path}.reaction"), word, stop.index().into(), 1);
                self.put(value.named(name_of(&names.monitors, stop.index())));
            }
            None => self.put(Value::word(format!("{path}.reaction"), "torque-off", 0, 1)),
        }
        match monitor.allowed_overrun {
            Some(distance) => self.number(format!("{path}.allowed_overrun"), distance),
            None => self.put(Value::word(format!("{path}.allowed_overrun"), "not bounded", 0, 1)),
        }
        match monitor.rule {
            Rule::TorqueOff => {}
            Rule::Standstill(rule) => self.standstill(&path, rule),
            Rule::SpeedLimit(rule) => {
                if rule.is_symmetric() {
                    // Stored for each direction.
                    self.number(format!("{path}.limit"), rule.positive());
                } else {
                    self.number(format!("{path}.positive"), rule.positive());
                    self.number(format!("{path}.negative"), rule.negative());
                }
                if let Some(ramp) = rule.ramp() {
                    self.ramp(&path, &ramp);
                }
            }
            Rule::Stop(rule) => {
                self.supervision(&path, rule.supervision());
                let standstill = match rule.until() {
                    Until::TorqueOff => None,
                    Until::Standstill(standstill) => Some(standstill),
                };
                self.choice(format!("{path}.until"), standstill.is_some(), ["torque-off", "standstill"]);
                if let Some(standstill) = standstill {
                    self.standstill(&path, standstill);
                }
            }
            Rule::SpeedRange(rule) => {
                self.number(format!("{path}.low"), Number::from(rule.low()).up());
                self.number(format!("{path}.high"), rule.high());
            }
            Rule::Direction(rule) => {
                let is_negative = rule.allowed() == Allowed::Negative;
                self.choice(format!("{path}.allowed"), is_negative, ["positive", "negative"]);
                self.number(format!("{path}.tolerance"), rule.tolerance());
            }
            Rule::AccelerationLimit(rule) => self.number(format!("{path}.limit"), rule.limit()),
            Rule::AccelerationRange(rule) => {
                self.number(format!("{path}.low"), Number::from(rule.low()).up());
                self.number(format!("{path}.high"), rule.high());
            }
            Rule::TravelLimit(rule) => self.number(format!("{path}.increment"), rule.increment()),
            Rule::PositionRange(rule) => {
                self.number(format!("{path}.low"), Number::from(rule.low()).up());
                self.number(format!("{path}.high"), rule.high());
            }
            Rule::CamOutput(rule) => {
                self.number(format!("{path}.low"), Number::from(rule.low()).up());
                self.number(format!("{path}.high"), rule.high());
                self.number(format!("{path}.hysteresis"), Number::from(rule.hysteresis()).up());
            }
            Rule::SpeedOutput(rule) => {
                self.number(format!("{path}.threshold"), rule.threshold());
                self.number(format!("{path}.hysteresis"), Number::from(rule.hysteresis()).up());
            }
            Rule::BrakeOutput(rule) => self.number(format!("{path}.delay"), rule.delay()),
            Rule::TorqueLimit(rule) => {
                let unit = self.of(&path, rule.of(), names);
                self.number(format!("{path}.limit"), Number::of_its_own(rule.limit(), unit));
            }
            Rule::TorqueRange(rule) => {
                let unit = self.of(&path, rule.of(), names);
                self.number(format!("{path}.low"), Number::of_its_own(rule.low(), unit).up());
                self.number(format!("{path}.high"), Number::of_its_own(rule.high(), unit));
            }
            Rule::TemperatureLimit(rule) => {
                let unit = self.of(&path, rule.of(), names);
                self.number(format!("{path}.limit"), Number::of_its_own(rule.limit(), unit));
            }
            Rule::Own(never) => match *never {},
        }
    }

    /// The analogue value that a monitor watches; its unit.
    fn of(&mut self, path: &str, of: AnalogueId, names: &Names) -> Option<AnalogueUnit> {
        let word = format!("analogue value {}", of.index());
        let value = Value::word(format!("{path}.of"), word, of.index().into(), 1);
        self.put(value.named(name_of(&names.analogues, of.index())));
        self.analogue_unit(of.index().into())
    }

    /// What demands a monitor, one line for each way.
    fn demand(&mut self, path: &str, demand: Demand, names: &Names) {
        let any = match demand {
            // Stored as a byte that says so, without a set.
            Demand::Always => {
                return self.put(Value::word(format!("{path}.demand"), "always active", 0, 1));
            }
            Demand::Reaction => {
                return self.put(Value::word(format!("{path}.demand"), "by reactions only", 2, 1));
            }
            Demand::AnyOf(inputs) => Demands { inputs, ..Demands::default() },
            Demand::Any(any) => any,
        };
        for (key, word, set) in
            [("demand", "any of input", any.inputs), ("demand_not", "unless all of input", any.not_inputs)]
        {
            if !set.is_empty() {
                let numbers: Vec<_> = set.iter().map(|input| input.index().to_string()).collect();
                let names: Option<Vec<_>> =
                    set.iter().map(|input| name_of(&names.inputs, input.index())).collect();
                let word = format!("{word} {}", numbers.join(", "));
                let value = Value::word(format!("{path}.{key}"), word, InputSet::to_bits(set), 4);
                self.put(value.named(names.map(|names| names.join(", "))));
            }
        }
        for (key, word, set) in [
            ("demand_output", "any of output, monitor", any.outputs),
            ("demand_not_output", "unless all of output, monitor", any.not_outputs),
        ] {
            if !set.is_empty() {
                let numbers: Vec<_> = set.iter().map(|output| output.index().to_string()).collect();
                let names: Option<Vec<_>> =
                    set.iter().map(|output| name_of(&names.monitors, output.index())).collect();
                let word = format!("{word} {}", numbers.join(", "));
                let value = Value::word(format!("{path}.{key}"), word, MonitorSet::to_bits(set), 4);
                self.put(value.named(names.map(|names| names.join(", "))));
            }
        }
    }

    fn supervision(&mut self, path: &str, supervision: &Supervision) {
        let (by, code) = match supervision {
            Supervision::Ramp { .. } => ("ramp", 0),
            Supervision::Time { .. } => ("time", 1),
            Supervision::Deceleration { .. } => ("deceleration", 2),
        };
        self.put(Value::word(format!("{path}.by"), by, code, 1));
        let within = match supervision {
            Supervision::Ramp { ramp, standstill_speed, within } => {
                self.ramp(path, ramp);
                self.number(format!("{path}.standstill_speed"), *standstill_speed);
                *within
            }
            Supervision::Deceleration { braking, standstill_speed, within } => {
                self.number(format!("{path}.braking.delay"), braking.delay());
                let deceleration = Number::from(braking.deceleration()).up();
                self.number(format!("{path}.braking.deceleration"), deceleration);
                self.number(format!("{path}.braking.margin"), braking.margin());
                self.number(format!("{path}.standstill_speed"), *standstill_speed);
                *within
            }
            Supervision::Time { within } => Some(*within),
        };
        match within {
            Some(within) => self.number(format!("{path}.within"), within),
            None => {
                let end = match supervision {
                    Supervision::Deceleration { .. } => "no end but standing",
                    _ => "no end but the ramp's",
                };
                self.put(Value::word(format!("{path}.within"), end, 0, 1));
            }
        }
    }

    fn standstill(&mut self, path: &str, standstill: &Standstill) {
        self.number(format!("{path}.position_window"), standstill.position_window());
        self.number(format!("{path}.speed_window"), standstill.speed_window());
    }

    fn ramp(&mut self, path: &str, ramp: &Ramp) {
        self.number(format!("{path}.ramp.delay"), ramp.delay());
        self.number(format!("{path}.ramp.deceleration"), Number::from(ramp.deceleration()).up());
        self.number(format!("{path}.ramp.margin"), ramp.margin());
        match ramp.jerk() {
            Some(jerk) => self.number(format!("{path}.ramp.jerk"), Number::from(jerk).up()),
            None => self.put(Value::word(format!("{path}.ramp.jerk"), "corners not rounded", 0, 1)),
        }
    }

    fn discrepancies(&mut self, config: &Config) {
        self.section("discrepancy", "Discrepancy of the positions".to_owned());
        match config.position_discrepancy() {
            None => self.put(Value::word("discrepancy.rule".to_owned(), "not watched", 0, 1)),
            Some(rule) => {
                self.number("discrepancy.tolerance".to_owned(), rule.tolerance());
                self.number("discrepancy.skew_allowance".to_owned(), rule.skew_allowance());
                self.number("discrepancy.discrepancy_time".to_owned(), rule.discrepancy_time());
                self.choice("discrepancy.align".to_owned(), rule.is_aligned(), ["false", "true"]);
            }
        }
        self.section("speed_discrepancy", "Discrepancy of the speeds".to_owned());
        match config.speed_discrepancy() {
            None => self.put(Value::word("speed_discrepancy.rule".to_owned(), "not watched", 0, 1)),
            Some(rule) => {
                self.number("speed_discrepancy.tolerance".to_owned(), rule.tolerance());
                self.number("speed_discrepancy.discrepancy_time".to_owned(), rule.discrepancy_time());
            }
        }
    }
}

/// How far stored readings are apart, and the longest window while readings come at least that often. An axis that watches accelerations
/// keeps them for two windows.
pub(super) fn effective_window(config: &Config, points: u16) -> (Span, Span) {
    let mut held = config.clone();
    // Cannot fail: the image was checked for it.
    let _ = held.act_as(points.into());
    let (window, spacing) = (held.window(), held.spacing());
    (spacing, Span::from_nanos(window.as_nanos() + spacing.as_nanos()))
}

/// What inputs, analogue values and monitors are called, as far as the image says.
struct Names {
    inputs: Vec<Option<String>>,
    analogues: Vec<Option<String>>,
    monitors: Vec<Option<String>>,
}

fn name_of(names: &[Option<String>], place: u8) -> Option<String> {
    names.get(usize::from(place)).cloned().flatten()
}

fn heading(what: &str, i: usize, name: Option<&str>) -> String {
    name.map_or_else(|| format!("{what} {i}"), |name| format!("{what} {i}: {name}"))
}
