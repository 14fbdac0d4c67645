//! A checksum over what a setup says, not over how it is written.

use std::fmt::Write;

use monitor_core::seal::crc32;
use monitor_core::{Position, Span};

use super::model::{
    Allowed, AnalogueSetup, BrakingSetup, By, ChannelSetup, DemandSetup, DemandSource, EventSetup,
    InputLines, LimitSetup, MonitorKind, RampSetup, RangeSetup, ReferenceSetup, Setting, Setup, Source,
    StandstillSetup, TimeColumn, Until,
};
use crate::decimal::{Exact, exact_text};

impl Setup {
    /// CRC-32/ISO-HDLC over [`Setup::canonical`], in UTF-8.
    #[must_use]
    pub fn checksum(&self) -> u32 {
        crc32(self.canonical().as_bytes())
    }

    /// Everything the setup says, one thing a line, with the values in force after rounding: times in ns, positions,
    /// speeds, accelerations and jerks in ULP of 2⁻²⁴ of the axis unit, analogue values in ULP of their own, distances per count in 10⁻⁹ ULP, units as multiples of
    /// their base. Two files that mean the same have the same text: spelling, order of keys, comments and defaults
    /// left out or written down make no difference.
    #[must_use]
    pub fn canonical(&self) -> String {
        let mut text = Text(String::new());
        text.line("setup", &[&1]);
        text.line("title", &[&quoted(&self.title)]);
        text.line("unit", &[&self.unit.symbol()]);
        text.line("cycle", &[&self.cycle.as_ref().map_or("row".to_owned(), ns)]);
        text.line("time", &[&quoted(&self.time.column), &base(&self.time.unit.in_base)]);
        text.channel("channel.a", &self.a);
        text.channel("channel.b", &self.b);
        if let Some(EventSetup { input, position }) = &self.reference {
            text.line("reference", &[input, &position.value.to_bits()]);
        }
        let warm_up = format!("{:?}", self.speed.warm_up).to_lowercase();
        text.line("speed", &[&ns(&self.speed.window), &warm_up]);
        if let Some(watch) = &self.discrepancy {
            let (skew, time) = (ns(&watch.skew_allowance), ns(&watch.discrepancy_time));
            text.line("discrepancy", &[&watch.tolerance.value.to_bits(), &skew, &time, &watch.align]);
        }
        if let Some(watch) = &self.speed_discrepancy {
            text.line("speed_discrepancy", &[&watch.tolerance.value.to_bits(), &ns(&watch.discrepancy_time)]);
        }
        for (line, column) in self.levels.iter().enumerate() {
            text.line("level", &[&line, &quoted(column)]);
        }
        for input in &self.inputs {
            let lines = match &input.lines {
                InputLines::Single(line) => format!("single {line}"),
                InputLines::Dual { first, second, dual } => {
                    let words = format!("{:?} {:?}", dual.pairing, dual.one_sided).to_lowercase();
                    format!("dual {first} {second} {words} {}", ns(&dual.discrepancy_time))
                }
            };
            let demand = format!("{:?}", input.demand).to_lowercase();
            text.line("input", &[&quoted(&input.name), &lines, &demand, &ns(&input.filter)]);
        }
        if let Some(reset) = &self.reset {
            text.line("reset", &[&reset.line, &ns(&reset.filter)]);
        }
        for analogue in &self.analogues {
            text.analogue(analogue);
        }
        for monitor in &self.monitors {
            let demand: Vec<_> = monitor.demand.iter().map(demand).collect();
            let demand = match demand.join(",") {
                _ if monitor.is_always_active() => "always".to_owned(),
                _ if monitor.by_reactions_only => "reactions".to_owned(),
                demand => demand,
            };
            let name = quoted(&monitor.name);
            let mut kind = kind(&monitor.kind);
            if let Some(overrun) = &monitor.allowed_overrun {
                kind = format!("{kind} overrun {}", overrun.value.to_bits());
            }
            if let Some(stop) = monitor.reaction {
                kind = format!("{kind} reaction {stop}");
            }
            text.line("monitor", &[&name, &monitor.kind.name(), &demand, &ns(&monitor.on_delay), &kind]);
        }
        text.0
    }
}

/// Lines of a word and its values, parted by blanks.
struct Text(String);

impl Text {
    fn line(&mut self, word: &str, values: &[&dyn std::fmt::Display]) {
        self.0.push_str(word);
        for value in values {
            // Writing to a string cannot fail.
            let _ = write!(self.0, " {value}");
        }
        self.0.push('\n');
    }

    fn channel(&mut self, word: &str, channel: &ChannelSetup) {
        let source = match &channel.source {
            Source::Counter { bits, unit_per_count } => format!("counter {bits} {}", unit_per_count.value),
            Source::Position { unit } => format!("position {}", base(&unit.in_base)),
        };
        let capture = match &channel.capture {
            Some(TimeColumn { column, unit }) => {
                format!("captured {} {}", quoted(column), base(&unit.in_base))
            }
            None => "row".to_owned(),
        };
        let capture = format!("{capture} {}", ns(&channel.latency));
        let valid = channel.valid_column.as_ref().map_or("none".to_owned(), |column| quoted(column));
        let (max_speed, timeout) = (channel.max_speed.value.to_bits(), ns(&channel.timeout));
        let column = quoted(&channel.column);
        // What came later stands behind, and only where it is used: older setups keep their checksum.
        let timeout = match &channel.reference {
            ReferenceSetup::None => timeout,
            ReferenceSetup::Absolute { offset } => format!("{timeout} absolute {}", offset.value.to_bits()),
            ReferenceSetup::Event => format!("{timeout} event"),
        };
        self.line(word, &[&column, &source, &capture, &valid, &channel.sparse, &max_speed, &timeout]);
    }
}

impl Text {
    fn analogue(&mut self, analogue: &AnalogueSetup) {
        let [first, second] = analogue.columns.each_ref().map(|column| quoted(column));
        let RangeSetup { low, high } = &analogue.plausible;
        // As above: older setups keep their checksum.
        let sparse = match &analogue.valid_columns {
            None => analogue.sparse.to_string(),
            Some([first, second]) => {
                format!("{} valid {} {}", analogue.sparse, quoted(first), quoted(second))
            }
        };
        self.line(
            "analogue",
            &[
                &quoted(&analogue.name),
                &first,
                &second,
                &analogue.unit.symbol(),
                &low.value.to_bits(),
                &high.value.to_bits(),
                &ns(&analogue.timeout),
                &analogue.tolerance.value.to_bits(),
                &ns(&analogue.discrepancy_time),
                &ns(&analogue.latency),
                &sparse,
            ],
        );
    }
}

/// A name in quotes, so that no name can look like two or break a line.
fn quoted(name: &str) -> String {
    format!("{name:?}")
}

fn ns(span: &Setting<Span>) -> String {
    span.value.as_nanos().to_string()
}

fn base(in_base: &Exact) -> String {
    exact_text(in_base)
}

fn demand(demand: &DemandSetup) -> String {
    let (word, place) = match demand.source {
        DemandSource::Input(input) => ("", input),
        DemandSource::Output(monitor) => ("output-", monitor),
    };
    format!("{}{word}{place}", if demand.inverted { "not-" } else { "" })
}

fn kind(kind: &MonitorKind) -> String {
    match kind {
        MonitorKind::TorqueOff => "-".to_owned(),
        MonitorKind::Standstill(windows) => standstill(windows),
        MonitorKind::SpeedLimit { limit, ramp: falling } => {
            let limit = match limit {
                LimitSetup::Both(limit) => limit.value.to_bits().to_string(),
                LimitSetup::Each { positive, negative } => {
                    format!("each {} {}", positive.value.to_bits(), negative.value.to_bits())
                }
            };
            format!("{limit} {}", falling.as_ref().map_or("-".to_owned(), ramp))
        }
        MonitorKind::SpeedRange(range) => {
            format!("{} {}", range.low.value.to_bits(), range.high.value.to_bits())
        }
        MonitorKind::Direction { allowed, tolerance } => {
            let allowed = match allowed {
                Allowed::Positive => "positive",
                Allowed::Negative => "negative",
            };
            format!("{allowed} {}", tolerance.value.to_bits())
        }
        MonitorKind::AccelerationLimit { limit } => limit.value.to_bits().to_string(),
        MonitorKind::AccelerationRange(range) => {
            format!("{} {}", range.low.value.to_bits(), range.high.value.to_bits())
        }
        MonitorKind::TravelLimit { increment } => increment.value.to_bits().to_string(),
        MonitorKind::PositionRange(range) => positions(range),
        MonitorKind::TorqueLimit { of, limit } | MonitorKind::TemperatureLimit { of, limit } => {
            format!("{of} {}", limit.value.to_bits())
        }
        MonitorKind::TorqueRange { of, range } => {
            format!("{of} {} {}", range.low.value.to_bits(), range.high.value.to_bits())
        }
        MonitorKind::CamOutput { range, hysteresis } => {
            format!("{} {}", positions(range), hysteresis.value.to_bits())
        }
        MonitorKind::SpeedOutput { threshold, hysteresis } => {
            format!("{} {}", threshold.value.to_bits(), hysteresis.value.to_bits())
        }
        MonitorKind::BrakeOutput { delay } => ns(delay),
        MonitorKind::Stop { until, by } => {
            let until = match until {
                Until::TorqueOff => "torque-off".to_owned(),
                Until::Standstill(windows) => format!("standstill {}", standstill(windows)),
            };
            let by = match by {
                By::Ramp { ramp: falling, standstill_speed, within } => {
                    let within = within.as_ref().map_or("-".to_owned(), ns);
                    format!("ramp {} {} {within}", ramp(falling), standstill_speed.value.to_bits())
                }
                By::Deceleration { braking: wanted, standstill_speed, within } => {
                    let within = within.as_ref().map_or("-".to_owned(), ns);
                    format!("deceleration {} {} {within}", braking(wanted), standstill_speed.value.to_bits())
                }
                By::Time { within } => format!("time {}", ns(within)),
            };
            format!("{until} {by}")
        }
    }
}

fn positions(range: &RangeSetup<Position>) -> String {
    format!("{} {}", range.low.value.to_bits(), range.high.value.to_bits())
}

fn standstill(windows: &StandstillSetup) -> String {
    format!("{} {}", windows.position_window.value.to_bits(), windows.speed_window.value.to_bits())
}

fn ramp(ramp: &RampSetup) -> String {
    let corners = ramp.jerk.as_ref().map_or(String::new(), |jerk| format!(" jerk {}", jerk.value.to_bits()));
    let (deceleration, margin) = (ramp.deceleration.value.to_bits(), ramp.margin.value.to_bits());
    format!("{} {deceleration} {margin}{corners}", ns(&ramp.delay))
}

fn braking(braking: &BrakingSetup) -> String {
    let (deceleration, margin) = (braking.deceleration.value.to_bits(), braking.margin.value.to_bits());
    format!("{} {deceleration} {margin}", ns(&braking.delay))
}
