//! Every setting moved by its smallest step, to see whether the vectors notice.

use monitor_core::{Acceleration, Jerk, Levels, Position, Span, Speed};

use crate::replay::{ReplayAxis, axis_of_points};
use crate::setup::{
    Allowed, BrakingSetup, By, DemandLevel, DemandSetup, DemandSource, DualSetup, InputLines, LimitSetup,
    MonitorKind, OneSided, Pairing, RampSetup, RangeSetup, ReferenceSetup, Setting, Setup, Source,
    StandstillSetup, Until, WarmUp,
};

/// What a setting belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Subject {
    /// The axis as a whole.
    Axis,
    /// The source of a channel, 0 or 1.
    Source(usize),
    /// The event that declares positions.
    Reference,
    /// The comparison of positions or of speeds.
    Apart,
    /// An input, in the order of the setup.
    Input(usize),
    /// The reset.
    Reset,
    /// A monitor, in the order of the setup.
    Monitor(usize),
}

/// The setup with one setting moved.
#[derive(Clone, Debug)]
pub struct Variation {
    /// Which setting, and how it was moved.
    pub what: String,
    /// What it belongs to.
    pub subject: Subject,
    /// The axis with it; `None` where the core refuses it.
    pub axis: Option<ReplayAxis>,
    /// The setup with it.
    pub setup: Setup,
}

/// Moves one setting by one step up (1) or down (-1); false when it has no such step.
type Change = Box<dyn Fn(&mut Setup, i64) -> bool>;

struct List<'a> {
    setup: &'a Setup,
    points: u16,
    all: Vec<Variation>,
}

/// Every numeric setting up and down by one unit in the last place, one nanosecond, one bit or one step of its grid, every line to the
/// next one, every demand left out or added, and every other setting to each of its other values, as far as it has the other parts that
/// value needs.
#[must_use]
pub fn variations(setup: &Setup, points: u16) -> Vec<Variation> {
    let mut list = List { setup, points, all: Vec::new() };
    list.axis();
    list.sources();
    list.reference();
    list.apart();
    list.inputs();
    list.monitors();
    list.all
}

/// A value that is held as a whole number.
trait Whole {
    fn moved(&self, by: i64) -> Option<Self>
    where
        Self: Sized;
}

impl Whole for Span {
    fn moved(&self, by: i64) -> Option<Self> {
        self.as_nanos().checked_add_signed(by).map(Self::from_nanos)
    }
}

macro_rules! whole {
    ($($name:ident)*) => {$(
        impl Whole for $name {
            fn moved(&self, by: i64) -> Option<Self> {
                self.to_bits().checked_add(by).filter(|&bits| bits >= 0).map(Self::from_bits)
            }
        }
    )*};
}

whole!(Position Speed Acceleration Jerk);

fn nudge<T: Whole>(setting: Option<&mut Setting<T>>, by: i64) -> bool {
    let Some(setting) = setting else { return false };
    let Some(moved) = setting.value.moved(by) else { return false };
    setting.value = moved;
    true
}

/// As [`nudge`], for a setting that may be negative.
fn nudge_signed<T: Copy>(setting: &mut Setting<T>, by: i64, bits: fn(T) -> i64, of: fn(i64) -> T) -> bool {
    let Some(moved) = bits(setting.value).checked_add(by) else { return false };
    setting.value = of(moved);
    true
}

fn nudge_place(setting: &mut Setting<Position>, by: i64) -> bool {
    nudge_signed(setting, by, Position::to_bits, Position::from_bits)
}

/// The lower end of a range of any kind, or the upper one.
fn nudge_end(kind: &mut MonitorKind, upper: bool, by: i64) -> bool {
    fn end<T>(range: &mut RangeSetup<T>, upper: bool) -> &mut Setting<T> {
        if upper { &mut range.high } else { &mut range.low }
    }
    match kind {
        MonitorKind::SpeedRange(range) => {
            nudge_signed(end(range, upper), by, Speed::to_bits, Speed::from_bits)
        }
        MonitorKind::AccelerationRange(range) => {
            nudge_signed(end(range, upper), by, Acceleration::to_bits, Acceleration::from_bits)
        }
        MonitorKind::PositionRange(range) | MonitorKind::CamOutput { range, .. } => {
            nudge_place(end(range, upper), by)
        }
        _ => false,
    }
}

impl List<'_> {
    fn add(&mut self, what: String, subject: Subject, change: impl FnOnce(&mut Setup) -> bool) {
        let mut setup = self.setup.clone();
        if change(&mut setup) {
            let axis = axis_of_points(&setup, self.points).ok();
            self.all.push(Variation { what, subject, axis, setup });
        }
    }

    fn both_ways(&mut self, what: &str, subject: Subject, change: Change) {
        for (by, way) in [(1, "up"), (-1, "down")] {
            self.add(format!("{what} one step {way}"), subject, |setup| change(setup, by));
        }
    }

    fn axis(&mut self) {
        self.both_ways(
            "window of [speed]",
            Subject::Axis,
            Box::new(|s, by| nudge(Some(&mut s.speed.window), by)),
        );
        self.add("warm_up of [speed] the other way".into(), Subject::Axis, |setup| {
            setup.speed.warm_up = match setup.speed.warm_up {
                WarmUp::Withhold => WarmUp::Permit,
                WarmUp::Permit => WarmUp::Withhold,
            };
            true
        });
        self.add("no [reset]".into(), Subject::Reset, |setup| setup.reset.take().is_some());
        self.add("the next line for [reset]".into(), Subject::Reset, |setup| {
            setup.reset.as_mut().map(|reset| reset.line = next(reset.line)).is_some()
        });
        self.both_ways(
            "filter of [reset]",
            Subject::Reset,
            Box::new(|s, by| nudge(s.reset.as_mut().map(|reset| &mut reset.filter), by)),
        );
    }

    fn sources(&mut self) {
        for (side, letter) in ["a", "b"].into_iter().enumerate() {
            let subject = Subject::Source(side);
            let name = |key: &str| format!("{key} of [channel.{letter}]");
            self.both_ways(
                &name("max_speed"),
                subject,
                Box::new(move |s, by| nudge(Some(&mut channel(s, side).max_speed), by)),
            );
            self.both_ways(
                &name("timeout"),
                subject,
                Box::new(move |s, by| nudge(Some(&mut channel(s, side).timeout), by)),
            );
            self.both_ways(
                &name("counter_bits"),
                subject,
                Box::new(move |s, by| match &mut channel(s, side).source {
                    Source::Counter { bits, .. } => {
                        *bits = bits.saturating_add_signed(if by > 0 { 1 } else { -1 });
                        true
                    }
                    Source::Position { .. } => false,
                }),
            );
            self.both_ways(
                &name("unit_per_count"),
                subject,
                Box::new(move |s, by| match &mut channel(s, side).source {
                    Source::Counter { unit_per_count, .. } => {
                        unit_per_count.value += by;
                        true
                    }
                    Source::Position { .. } => false,
                }),
            );
            self.both_ways(
                &name("offset"),
                subject,
                Box::new(move |s, by| match &mut channel(s, side).reference {
                    ReferenceSetup::Absolute { offset } => nudge_place(offset, by),
                    ReferenceSetup::None | ReferenceSetup::Event => false,
                }),
            );
            self.add(format!("an event for the reference of [channel.{letter}]"), subject, |setup| {
                let known = setup.reference.is_some();
                let reference = &mut channel(setup, side).reference;
                let is_absolute = matches!(reference, ReferenceSetup::Absolute { .. });
                if known && is_absolute {
                    *reference = ReferenceSetup::Event;
                }
                known && is_absolute
            });
            self.add(name("direction"), subject, |setup| match &mut channel(setup, side).source {
                Source::Counter { unit_per_count, .. } => {
                    unit_per_count.value = -unit_per_count.value;
                    true
                }
                Source::Position { .. } => false,
            });
        }
    }

    fn reference(&mut self) {
        let subject = Subject::Reference;
        self.both_ways(
            "position of [reference]",
            subject,
            Box::new(|s, by| s.reference.as_mut().is_some_and(|event| nudge_place(&mut event.position, by))),
        );
        self.add("the next input for [reference]".into(), subject, |setup| {
            let inputs = setup.inputs.len();
            setup.reference.as_mut().map(|event| event.input = (event.input + 1) % inputs).is_some()
        });
    }

    fn apart(&mut self) {
        let subject = Subject::Apart;
        let key = |key: &str, section: &str| format!("{key} of [{section}]");
        let (one, two) = ("discrepancy", "speed_discrepancy");
        self.both_ways(
            &key("tolerance", one),
            subject,
            Box::new(|s, by| nudge(s.discrepancy.as_mut().map(|rule| &mut rule.tolerance), by)),
        );
        self.both_ways(
            &key("skew_allowance", one),
            subject,
            Box::new(|s, by| nudge(s.discrepancy.as_mut().map(|rule| &mut rule.skew_allowance), by)),
        );
        self.both_ways(
            &key("discrepancy_time", one),
            subject,
            Box::new(|s, by| nudge(s.discrepancy.as_mut().map(|rule| &mut rule.discrepancy_time), by)),
        );
        self.both_ways(
            &key("tolerance", two),
            subject,
            Box::new(|s, by| nudge(s.speed_discrepancy.as_mut().map(|rule| &mut rule.tolerance), by)),
        );
        self.both_ways(
            &key("discrepancy_time", two),
            subject,
            Box::new(|s, by| nudge(s.speed_discrepancy.as_mut().map(|rule| &mut rule.discrepancy_time), by)),
        );
        self.add(key("align", one) + " the other way", subject, |setup| {
            setup.discrepancy.as_mut().map(|rule| rule.align = !rule.align).is_some()
        });
        self.add(format!("no [{one}]"), subject, |setup| setup.discrepancy.take().is_some());
        self.add(format!("no [{two}]"), subject, |setup| setup.speed_discrepancy.take().is_some());
    }

    fn inputs(&mut self) {
        for i in 0..self.setup.inputs.len() {
            let subject = Subject::Input(i);
            let of = format!("of input {}", self.setup.inputs[i].name);
            self.both_ways(
                &format!("filter {of}"),
                subject,
                Box::new(move |s, by| nudge(Some(&mut s.inputs[i].filter), by)),
            );
            self.add(format!("demand {of} the other way"), subject, |setup| {
                let demand = &mut setup.inputs[i].demand;
                *demand = if *demand == DemandLevel::High { DemandLevel::Low } else { DemandLevel::High };
                true
            });
            self.both_ways(
                &format!("discrepancy_time {of}"),
                subject,
                Box::new(move |s, by| nudge(dual(s, i).map(|dual| &mut dual.discrepancy_time), by)),
            );
            self.add(format!("pairing {of} the other way"), subject, |setup| {
                let other = |pairing| match pairing {
                    Pairing::Equivalent => Pairing::Antivalent,
                    Pairing::Antivalent => Pairing::Equivalent,
                };
                dual(setup, i).map(|dual| dual.pairing = other(dual.pairing)).is_some()
            });
            self.add(format!("one_sided {of} the other way"), subject, |setup| {
                let other = |one_sided| match one_sided {
                    OneSided::Fault => OneSided::Ignore,
                    OneSided::Ignore => OneSided::Fault,
                };
                dual(setup, i).map(|dual| dual.one_sided = other(dual.one_sided)).is_some()
            });
            self.add(format!("the next line for the first {of}"), subject, |setup| {
                let (InputLines::Single(first) | InputLines::Dual { first, .. }) = &mut setup.inputs[i].lines;
                *first = next(*first);
                true
            });
            self.add(format!("the next line for the second {of}"), subject, |setup| {
                let InputLines::Dual { second, .. } = &mut setup.inputs[i].lines else { return false };
                *second = next(*second);
                true
            });
            self.add(format!("only the first line {of}"), subject, |setup| {
                let lines = &mut setup.inputs[i].lines;
                let InputLines::Dual { first, .. } = lines else { return false };
                *lines = InputLines::Single(*first);
                true
            });
        }
    }

    fn monitors(&mut self) {
        for i in 0..self.setup.monitors.len() {
            let subject = Subject::Monitor(i);
            let of = format!("of \"{}\"", self.setup.monitors[i].name);
            let mut number = |key: &str, change: fn(&mut MonitorKind, i64) -> bool| {
                self.both_ways(
                    &format!("{key} {of}"),
                    subject,
                    Box::new(move |s, by| change(&mut s.monitors[i].kind, by)),
                );
            };
            number("position_window", |kind, by| nudge(windows(kind).map(|w| &mut w.position_window), by));
            number("speed_window", |kind, by| nudge(windows(kind).map(|w| &mut w.speed_window), by));
            number("limit", |kind, by| match kind {
                MonitorKind::SpeedLimit { limit: LimitSetup::Both(limit), .. } => nudge(Some(limit), by),
                _ => false,
            });
            number("delay", |kind, by| nudge(ramp(kind).map(|ramp| &mut ramp.delay), by));
            number("deceleration", |kind, by| nudge(ramp(kind).map(|ramp| &mut ramp.deceleration), by));
            number("margin", |kind, by| nudge(ramp(kind).map(|ramp| &mut ramp.margin), by));
            number("jerk", |kind, by| nudge(ramp(kind).and_then(|ramp| ramp.jerk.as_mut()), by));
            number("positive", |kind, by| match kind {
                MonitorKind::SpeedLimit { limit: LimitSetup::Each { positive, .. }, .. } => {
                    nudge(Some(positive), by)
                }
                _ => false,
            });
            number("negative", |kind, by| match kind {
                MonitorKind::SpeedLimit { limit: LimitSetup::Each { negative, .. }, .. } => {
                    nudge(Some(negative), by)
                }
                _ => false,
            });
            number("low", |kind, by| nudge_end(kind, false, by));
            number("high", |kind, by| nudge_end(kind, true, by));
            number("tolerance", |kind, by| match kind {
                MonitorKind::Direction { tolerance, .. } => nudge(Some(tolerance), by),
                _ => false,
            });
            number("increment", |kind, by| match kind {
                MonitorKind::TravelLimit { increment } => nudge(Some(increment), by),
                _ => false,
            });
            number("limit of the acceleration", |kind, by| match kind {
                MonitorKind::AccelerationLimit { limit } => nudge(Some(limit), by),
                _ => false,
            });
            number("threshold", |kind, by| match kind {
                MonitorKind::SpeedOutput { threshold, .. } => nudge(Some(threshold), by),
                _ => false,
            });
            number("hysteresis", |kind, by| match kind {
                MonitorKind::CamOutput { hysteresis, .. } => nudge(Some(hysteresis), by),
                MonitorKind::SpeedOutput { hysteresis, .. } => nudge(Some(hysteresis), by),
                _ => false,
            });
            number("delay of the brake", |kind, by| match kind {
                MonitorKind::BrakeOutput { delay } => nudge(Some(delay), by),
                _ => false,
            });
            number("delay of the braking", |kind, by| nudge(braking(kind).map(|one| &mut one.delay), by));
            number("deceleration of the braking", |kind, by| {
                nudge(braking(kind).map(|one| &mut one.deceleration), by)
            });
            number("margin of the braking", |kind, by| nudge(braking(kind).map(|one| &mut one.margin), by));
            number("standstill_speed", |kind, by| match kind {
                MonitorKind::Stop {
                    by: By::Ramp { standstill_speed, .. } | By::Deceleration { standstill_speed, .. },
                    ..
                } => nudge(Some(standstill_speed), by),
                _ => false,
            });
            number("within", |kind, by| match kind {
                MonitorKind::Stop {
                    by: By::Ramp { within, .. } | By::Deceleration { within, .. }, ..
                } => nudge(within.as_mut(), by),
                MonitorKind::Stop { by: By::Time { within }, .. } => nudge(Some(within), by),
                _ => false,
            });
            self.both_ways(
                &format!("allowed_overrun {of}"),
                subject,
                Box::new(move |s, by| nudge(s.monitors[i].allowed_overrun.as_mut(), by)),
            );
            self.both_ways(
                &format!("on_delay {of}"),
                subject,
                // An output has none.
                Box::new(move |s, by| {
                    !s.monitors[i].kind.is_output() && nudge(Some(&mut s.monitors[i].on_delay), by)
                }),
            );
            self.forms(i, &of);
        }
    }

    /// What a monitor is and when it is active.
    fn forms(&mut self, i: usize, of: &str) {
        let subject = Subject::Monitor(i);
        self.add(format!("no ramp {of}"), subject, |setup| match &mut setup.monitors[i].kind {
            MonitorKind::SpeedLimit { ramp, .. } => ramp.take().is_some(),
            _ => false,
        });
        self.add(format!("no jerk {of}"), subject, |setup| {
            ramp(&mut setup.monitors[i].kind).is_some_and(|ramp| ramp.jerk.take().is_some())
        });
        self.add(format!("no allowed_overrun {of}"), subject, |setup| {
            setup.monitors[i].allowed_overrun.take().is_some()
        });
        self.add(format!("allowed {of} the other way"), subject, |setup| match &mut setup.monitors[i].kind {
            MonitorKind::Direction { allowed, .. } => {
                *allowed = match allowed {
                    Allowed::Positive => Allowed::Negative,
                    Allowed::Negative => Allowed::Positive,
                };
                true
            }
            _ => false,
        });
        self.add(format!("the reaction {of} left to torque-off"), subject, |setup| {
            setup.monitors[i].reaction.take().is_some()
        });
        for stop in 0..self.setup.monitors.len() {
            let name = &self.setup.monitors[stop].name;
            self.add(format!("the reaction \"{name}\" {of}"), subject, |setup| {
                let is_new = setup.monitors[i].reaction.is_some_and(|known| known != stop)
                    && setup.monitors.iter().any(|monitor| monitor.reaction == Some(stop));
                if is_new {
                    setup.monitors[i].reaction = Some(stop);
                }
                is_new
            });
        }
        self.add(format!("no within {of}"), subject, |setup| match &mut setup.monitors[i].kind {
            MonitorKind::Stop { by: By::Ramp { within, .. } | By::Deceleration { within, .. }, .. } => {
                within.take().is_some()
            }
            _ => false,
        });
        self.add(format!("by time {of}"), subject, |setup| {
            let monitor = &mut setup.monitors[i];
            let MonitorKind::Stop { by, .. } = &mut monitor.kind else { return false };
            let (By::Ramp { within: Some(within), .. } | By::Deceleration { within: Some(within), .. }) = by
            else {
                return false;
            };
            *by = By::Time { within: within.clone() };
            // Nothing limits the speed any more.
            monitor.allowed_overrun = None;
            true
        });
        self.add(format!("until torque-off {of}"), subject, |setup| match &mut setup.monitors[i].kind {
            MonitorKind::Stop { until: until @ Until::Standstill(_), .. } => {
                *until = Until::TorqueOff;
                true
            }
            _ => false,
        });
        for place in 0..self.setup.monitors[i].demand.len() {
            let by = self.setup.demand_text(&self.setup.monitors[i].demand[place]);
            self.add(format!("no demand by {by} {of}"), subject, |setup| {
                setup.monitors[i].demand.remove(place);
                true
            });
        }
        for place in 0..self.setup.monitors[i].demand.len() {
            let by = self.setup.demand_text(&self.setup.monitors[i].demand[place]);
            self.add(format!("the opposite of the demand by {by} {of}"), subject, |setup| {
                let demand = &mut setup.monitors[i].demand[place];
                demand.inverted = !demand.inverted;
                true
            });
        }
        for output in 0..i {
            let name = &self.setup.monitors[output].name;
            self.add(format!("a demand by {name} {of}"), subject, |setup| {
                let plain = DemandSetup { source: DemandSource::Output(output), inverted: false };
                let demands = super::ends::tells_motion(&setup.monitors[output].kind);
                let demand = &mut setup.monitors[i].demand;
                let is_new =
                    demands && !demand.is_empty() && demand.iter().all(|known| known.source != plain.source);
                if is_new {
                    demand.push(plain);
                }
                is_new
            });
        }
        for input in 0..self.setup.inputs.len() {
            let name = &self.setup.inputs[input].name;
            self.add(format!("a demand by {name} {of}"), subject, |setup| {
                let demand = &mut setup.monitors[i].demand;
                let plain = DemandSetup { source: DemandSource::Input(input), inverted: false };
                let is_new = !demand.is_empty() && demand.iter().all(|known| known.source != plain.source);
                if is_new {
                    demand.push(plain);
                }
                is_new
            });
        }
    }
}

fn channel(setup: &mut Setup, side: usize) -> &mut crate::setup::ChannelSetup {
    if side == 0 { &mut setup.a } else { &mut setup.b }
}

/// The next line, round about.
fn next(line: u8) -> u8 {
    (line + 1) % Levels::LINES
}

fn dual(setup: &mut Setup, input: usize) -> Option<&mut DualSetup> {
    match &mut setup.inputs[input].lines {
        InputLines::Dual { dual, .. } => Some(dual),
        InputLines::Single(_) => None,
    }
}

fn ramp(kind: &mut MonitorKind) -> Option<&mut RampSetup> {
    match kind {
        MonitorKind::SpeedLimit { ramp, .. } => ramp.as_mut(),
        MonitorKind::Stop { by: By::Ramp { ramp, .. }, .. } => Some(ramp),
        _ => None,
    }
}

fn braking(kind: &mut MonitorKind) -> Option<&mut BrakingSetup> {
    match kind {
        MonitorKind::Stop { by: By::Deceleration { braking, .. }, .. } => Some(braking),
        _ => None,
    }
}

fn windows(kind: &mut MonitorKind) -> Option<&mut StandstillSetup> {
    match kind {
        MonitorKind::Standstill(windows) | MonitorKind::Stop { until: Until::Standstill(windows), .. } => {
            Some(windows)
        }
        _ => None,
    }
}
