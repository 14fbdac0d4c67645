//! What can be varied in a setup.

use super::edit;
use super::path::Path;
use crate::decimal::Dimension;
use crate::setup::{
    By, ChannelSetup, InputLines, LimitSetup, MonitorKind, MonitorSetup, ReferenceSetup, Setup, Source, Until,
};

/// What the values of a setting are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum What {
    /// Numbers with a unit.
    Quantity(Dimension),
    /// One of these words.
    Word(&'static [&'static str]),
}

/// Not a string in the file.
const FLAG: &[&str] = &["true", "false"];

impl What {
    pub(super) fn is_quoted(self) -> bool {
        self != Self::Word(FLAG)
    }
}

/// A setting that can be varied.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Known {
    pub(super) path: Path,
    pub(super) what: What,
}

struct List<'s> {
    setup: &'s Setup,
    text: &'s str,
    known: Vec<Known>,
}

impl List<'_> {
    fn add(&mut self, keys: &[&str], what: What) {
        let path = Path::of(keys);
        if edit::has_place(self.text, &path) {
            self.known.push(Known { path, what });
        }
    }

    /// Some keys of one section.
    fn all(&mut self, section: &[&str], keys: &[&str], dimension: Dimension) {
        for key in keys {
            self.add(&[section, &[key]].concat(), What::Quantity(dimension));
        }
    }
}

/// Every setting of a setup that can be varied; `text` is its file.
pub(super) fn known(setup: &Setup, text: &str) -> Vec<Known> {
    let mut list = List { setup, text, known: Vec::new() };
    let unit = setup.unit;
    list.all(&[], &["cycle"], Dimension::Time);
    list.channel("a", &setup.a);
    list.channel("b", &setup.b);
    if setup.reference.is_some() {
        list.all(&["reference"], &["position"], unit.position());
    }
    list.all(&["speed"], &["window"], Dimension::Time);
    list.add(&["speed", "warm_up"], What::Word(&["withhold", "permit"]));
    if setup.discrepancy.is_some() {
        list.all(&["discrepancy"], &["tolerance"], unit.position());
        list.all(&["discrepancy"], &["discrepancy_time", "skew_allowance"], Dimension::Time);
        list.add(&["discrepancy", "align"], What::Word(FLAG));
    }
    if setup.speed_discrepancy.is_some() {
        list.all(&["speed_discrepancy"], &["tolerance"], unit.speed());
        list.all(&["speed_discrepancy"], &["discrepancy_time"], Dimension::Time);
    }
    // A column that is a demand by itself has no section, and so no place.
    for input in &setup.inputs {
        let section = ["input", input.name.as_str()];
        list.all(&section, &["filter"], Dimension::Time);
        if let InputLines::Dual { .. } = input.lines {
            list.all(&section, &["discrepancy_time"], Dimension::Time);
            list.add(&["input", &input.name, "one_sided"], What::Word(&["fault", "ignore"]));
        }
    }
    if setup.reset.is_some() {
        list.all(&["reset"], &["filter"], Dimension::Time);
    }
    for analogue in &setup.analogues {
        let section = ["analogue", analogue.name.as_str()];
        list.all(&section, &["low", "high", "tolerance"], analogue.unit.dimension());
        list.all(&section, &["timeout", "discrepancy_time", "latency"], Dimension::Time);
    }
    for (place, monitor) in setup.monitors.iter().enumerate() {
        list.monitor(place, monitor);
    }
    list.known
}

impl List<'_> {
    fn channel(&mut self, letter: &str, channel: &ChannelSetup) {
        let (section, unit) = (["channel", letter], self.setup.unit);
        if let Source::Counter { .. } = channel.source {
            self.all(&section, &["unit_per_count"], unit.position());
        }
        self.all(&section, &["max_speed"], unit.speed());
        self.all(&section, &["timeout", "latency"], Dimension::Time);
        if let ReferenceSetup::Absolute { .. } = channel.reference {
            self.all(&section, &["offset"], unit.position());
        }
    }

    fn monitor(&mut self, place: usize, monitor: &MonitorSetup) {
        let (section, unit) = (["monitor", monitor.name.as_str()], self.setup.unit);
        let of = &section[..];
        let is_overrun = match &monitor.kind {
            MonitorKind::SpeedLimit { .. } | MonitorKind::SpeedRange(_) => true,
            MonitorKind::Stop { by, .. } => matches!(by, By::Ramp { .. }),
            _ => false,
        };
        self.kind(place, of, &monitor.kind);
        if !monitor.kind.is_output() && !matches!(monitor.kind, MonitorKind::TorqueOff) {
            self.all(of, &["on_delay"], Dimension::Time);
        }
        if is_overrun {
            self.all(of, &["allowed_overrun"], unit.position());
        }
    }

    fn kind(&mut self, place: usize, of: &[&str], kind: &MonitorKind) {
        let unit = self.setup.unit;
        let analogue = self.setup.analogue_unit(place).map(|unit| unit.dimension());
        match kind {
            MonitorKind::TorqueOff => {}
            MonitorKind::Standstill(_) => self.windows(of),
            MonitorKind::SpeedLimit { limit, ramp } => {
                let keys: &[&str] = match limit {
                    LimitSetup::Both(_) => &["limit"],
                    LimitSetup::Each { .. } => &["positive", "negative"],
                };
                self.all(of, keys, unit.speed());
                if ramp.is_some() {
                    self.ramp(of);
                }
            }
            MonitorKind::SpeedRange(_) => self.all(of, &["low", "high"], unit.speed()),
            MonitorKind::Direction { .. } => self.all(of, &["tolerance"], unit.position()),
            MonitorKind::AccelerationLimit { .. } => self.all(of, &["limit"], unit.acceleration()),
            MonitorKind::AccelerationRange(_) => self.all(of, &["low", "high"], unit.acceleration()),
            MonitorKind::TravelLimit { .. } => self.all(of, &["increment"], unit.position()),
            MonitorKind::PositionRange(_) => self.all(of, &["low", "high"], unit.position()),
            MonitorKind::TorqueLimit { .. } | MonitorKind::TemperatureLimit { .. } => {
                analogue.into_iter().for_each(|dimension| self.all(of, &["limit"], dimension));
            }
            MonitorKind::TorqueRange { .. } => {
                analogue.into_iter().for_each(|dimension| self.all(of, &["low", "high"], dimension));
            }
            MonitorKind::CamOutput { .. } => self.all(of, &["low", "high", "hysteresis"], unit.position()),
            MonitorKind::SpeedOutput { .. } => self.all(of, &["threshold", "hysteresis"], unit.speed()),
            MonitorKind::BrakeOutput { .. } => self.all(of, &["delay"], Dimension::Time),
            MonitorKind::Stop { until, by } => {
                match by {
                    By::Ramp { .. } => self.ramp(of),
                    By::Deceleration { .. } => {
                        let braking = [of, &["braking"]].concat();
                        self.all(&braking, &["delay"], Dimension::Time);
                        self.all(&braking, &["deceleration", "margin"], unit.acceleration());
                    }
                    By::Time { .. } => {}
                }
                if !matches!(by, By::Time { .. }) {
                    self.all(of, &["standstill_speed"], unit.speed());
                }
                self.all(of, &["within"], Dimension::Time);
                if let Until::Standstill(_) = until {
                    self.windows(of);
                }
            }
        }
    }

    fn windows(&mut self, of: &[&str]) {
        self.all(of, &["position_window"], self.setup.unit.position());
        self.all(of, &["speed_window"], self.setup.unit.speed());
    }

    fn ramp(&mut self, of: &[&str]) {
        let (ramp, unit) = ([of, &["ramp"]].concat(), self.setup.unit);
        self.all(&ramp, &["delay"], Dimension::Time);
        self.all(&ramp, &["deceleration"], unit.acceleration());
        self.all(&ramp, &["margin"], unit.speed());
        self.all(&ramp, &["jerk"], unit.jerk());
    }
}
