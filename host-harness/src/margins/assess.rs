//! Everything that can be said of a setup before any motion.

use monitor_core::{Channel, Position, Span, Speed};

use super::amount::Amount;
use super::iso13855::{Approach, Distance, NoDistance, distance};
use super::limits::Limits;
use super::need::{Finding, Need, count};
use super::path::{Broken, Reaction};
use super::reaction::reaction;
use super::travel::{Travel, apart_at_torque_off, travels};
use super::{misread, pairs, readings, timing};
use crate::decimal::Exact;
use crate::replay::TripRule;
use crate::setup::{ApproachSetup, DemandSource, MonitorKind, Setup, WaySetup};

/// What the frame period was taken from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PeriodFrom {
    /// It was given with the question.
    Given,
    /// The `cycle` of the setup.
    Cycle,
    /// `frame_period` of `[machine]`.
    Machine,
    /// Nothing says it: the shorter `timeout` of the two channels, because frames that are further apart are a channel fault.
    Timeout,
}

/// What one channel can resolve.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Resolution {
    /// The channel.
    pub channel: Channel,
    /// One count over the set window, rounded up; `None` for a column of positions.
    pub step: Option<Speed>,
    /// The longest window that a speed may look back over.
    pub effective_window: Span,
    /// How much too low a speed is read at the hardest acceleration of operation, half the effective window after it, rounded up; `None` without
    /// `operating_acceleration`.
    pub lag: Option<Speed>,
}

/// A rule, and what a trip of it costs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cost {
    /// How long it takes.
    pub reaction: Reaction,
    /// How far the axis gets.
    pub travels: Vec<Travel>,
    /// The ways that are longer than the `overtravel` of `[machine]`, by place in `travels`.
    pub too_far: Vec<usize>,
}

/// A monitor that the protective device of `[approach]` demands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Approached {
    /// The monitor, an index into [`Setup::monitors`].
    pub monitor: usize,
    /// From the change of the input's lines to the axis that stands, on the slower channel.
    pub machine: Option<Span>,
    /// The keys of the setup that would have to be there for that.
    pub missing: Vec<String>,
    /// The distance that it needs, where the time is known.
    pub distance: Option<Result<Distance, NoDistance>>,
}

/// How a person comes to the hazard.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Approaches {
    /// What the setup says of it.
    pub setup: ApproachSetup,
    /// The monitors that the device demands.
    pub monitors: Vec<Approached>,
    /// The shortest distance that any of them makes sufficient, in mm.
    pub needed: Option<Exact>,
    /// Whether the distance that there is is shorter; `None` where that cannot be said.
    pub too_near: Option<bool>,
}

/// Everything that can be said of a setup before any motion.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Margins {
    /// The longest time between two frames that was reckoned with.
    pub period: Span,
    /// Where it is from.
    pub period_from: PeriodFrom,
    /// What the channels can resolve.
    pub resolutions: [Resolution; 2],
    /// What settings must leave room for.
    pub needs: Vec<Need>,
    /// What trips cost: every monitor on each channel, the discrepancies, the analogue values.
    pub costs: Vec<Cost>,
    /// How far the two positions can be apart when the torque is gone.
    pub apart_at_torque_off: Option<Position>,
    /// The approach, where the setup has one.
    pub approach: Option<Approaches>,
}

impl Margins {
    /// Works everything out. `period` is the longest time between two evaluations, where it is not to be that of the setup.
    #[must_use]
    pub fn of(setup: &Setup, period: Option<Span>) -> Self {
        let (period, period_from) = reckoned(setup, period);
        // A timeout that bounds the period leaves no room by itself.
        let known = if period_from == PeriodFrom::Timeout { Span::ZERO } else { period };
        Self {
            period,
            period_from,
            resolutions: Channel::BOTH.map(|channel| resolution(setup, period, channel)),
            needs: needs(setup, known),
            costs: costs(setup, period),
            apart_at_torque_off: apart_at_torque_off(setup, period),
            approach: setup.approach.as_ref().map(|approach| approaches(setup, period, approach)),
        }
    }

    /// Whether something trips for nothing, reacts too late, or looks like a slip.
    #[must_use]
    pub fn has_findings(&self) -> bool {
        let need = |need: &Need| matches!(need.finding, Finding::TripsForNothing | Finding::Slip);
        self.needs.iter().any(need)
            || self.costs.iter().any(|cost| !cost.too_far.is_empty())
            || self.approach.as_ref().is_some_and(|approach| approach.too_near == Some(true))
    }
}

fn reckoned(setup: &Setup, given: Option<Span>) -> (Span, PeriodFrom) {
    let from = match (given, &setup.cycle) {
        (Some(_), _) => PeriodFrom::Given,
        (None, Some(_)) => PeriodFrom::Cycle,
        (None, None) => PeriodFrom::Machine,
    };
    match timing::period(setup, given) {
        Some(period) => (period, from),
        None => (setup.a.timeout.value.min(setup.b.timeout.value), PeriodFrom::Timeout),
    }
}

fn resolution(setup: &Setup, period: Span, channel: Channel) -> Resolution {
    let effective_window = timing::window_of(setup, period, channel);
    let source = setup.channel(channel);
    let window: Amount = setup.speed.window.value.into();
    let step = source.count_nano_ulps().and_then(|_| misread::step(count(setup, channel), window).speed());
    let rises = setup.machine.operating_acceleration.as_ref();
    let lag = rises.and_then(|rises| misread::lag(rises.value.into(), effective_window.into()).speed());
    Resolution { channel, step, effective_window, lag }
}

fn needs(setup: &Setup, period: Span) -> Vec<Need> {
    let mut all = Vec::new();
    for (place, monitor) in setup.monitors.iter().enumerate() {
        for channel in Channel::BOTH {
            all.extend(Limits { setup, period, place, monitor, channel }.needs());
        }
    }
    all.extend(setup.discrepancy.as_ref().map(|watch| pairs::positions(setup, period, watch)));
    all.extend(setup.speed_discrepancy.as_ref().map(|watch| pairs::speeds(setup, period, watch)));
    for channel in Channel::BOTH {
        all.push(readings::max_speed(setup, period, channel));
        all.push(readings::timeout(setup, period, channel));
    }
    for input in &setup.inputs {
        all.extend(readings::filter(setup, input));
        all.extend(readings::discrepancy_time(setup, period, input));
    }
    all
}

fn costs(setup: &Setup, period: Span) -> Vec<Cost> {
    let monitors = (0..setup.monitors.len())
        .flat_map(|place| Channel::BOTH.map(|channel| TripRule::Monitor(place, channel)));
    let pairs = [
        setup.discrepancy.as_ref().map(|_| TripRule::PositionDiscrepancy),
        setup.speed_discrepancy.as_ref().map(|_| TripRule::SpeedDiscrepancy),
    ];
    let values = (0..setup.analogues.len()).map(TripRule::Analogue);
    monitors.chain(pairs.into_iter().flatten()).chain(values).map(|rule| cost(setup, period, rule)).collect()
}

fn cost(setup: &Setup, period: Span, rule: TripRule) -> Cost {
    let reaction = reaction(setup, period, rule);
    let travels = travels(setup, period, &reaction);
    let room = setup.machine.overtravel.as_ref().map(|room| room.value);
    // From a demand on, much of the way is what the axis may go.
    let counts = |broken| !matches!(broken, Broken::Demand | Broken::Stop);
    let beyond = |travel: &Travel| {
        counts(travel.broken) && room.zip(travel.total).is_some_and(|(room, way)| way > room)
    };
    let too_far =
        travels.iter().enumerate().filter(|(_, travel)| beyond(travel)).map(|(place, _)| place).collect();
    Cost { reaction, travels, too_far }
}

/// The distance that the approach of a setup needs, in mm, with frames at most `period` apart; `None` without an approach, or where not
/// enough is said for it.
#[must_use]
pub fn safety_distance(setup: &Setup, period: Span) -> Option<Exact> {
    approaches(setup, period, setup.approach.as_ref()?).needed
}

fn approaches(setup: &Setup, period: Span, approach: &ApproachSetup) -> Approaches {
    let demanded = |place: &usize| {
        let monitor = &setup.monitors[*place];
        let by = |demand: &crate::setup::DemandSetup| {
            demand.source == DemandSource::Input(approach.input) && !demand.inverted
        };
        monitor.demand.iter().any(by) && !monitor.kind.is_output() && ends_the_motion(&monitor.kind)
    };
    let places = (0..setup.monitors.len()).filter(demanded);
    let monitors: Vec<_> = places.map(|place| approached(setup, period, approach, place)).collect();
    let distances = monitors.iter().filter_map(|one| one.distance?.ok());
    let needed = distances.map(|distance| distance.s).min();
    let there_is = approach.distance.as_ref().and_then(|there_is| Amount::from(there_is.value).0);
    let too_near = needed.zip(there_is).map(|(needed, there_is)| needed > there_is);
    Approaches { setup: approach.clone(), monitors, needed, too_near }
}

/// Whether a demand of it leads to an axis that stands, or is slow as it was agreed to be.
const fn ends_the_motion(kind: &MonitorKind) -> bool {
    matches!(
        kind,
        MonitorKind::TorqueOff
            | MonitorKind::Stop { .. }
            | MonitorKind::Standstill(_)
            | MonitorKind::SpeedLimit { .. }
    )
}

fn approached(setup: &Setup, period: Span, approach: &ApproachSetup, monitor: usize) -> Approached {
    let mut missing = Vec::new();
    let mut machine = Some(Span::ZERO);
    for channel in Channel::BOTH {
        let cost = cost(setup, period, TripRule::Monitor(monitor, channel));
        let from_demand = |travel: &&Travel| matches!(travel.broken, Broken::Demand | Broken::Stop);
        let travel = cost.travels.iter().find(from_demand);
        machine = machine.zip(travel.and_then(|travel| travel.time)).map(|(one, other)| one.max(other));
        missing.extend(travel.map(|travel| travel.missing.clone()).unwrap_or_default());
    }
    if approach.detection_time.is_none() {
        missing.push("`detection_time` of [approach]".to_owned());
    }
    missing.sort();
    missing.dedup();
    let detection = approach.detection_time.as_ref().map_or(Amount::ZERO, |time| time.value.into());
    let time = machine.map(|machine| detection + machine.into());
    let distance = time.and_then(|time| time.0).map(|time| distance(way(&approach.way), time));
    Approached { monitor, machine, missing, distance }
}

fn way(way: &WaySetup) -> Approach {
    let mm = |length: &crate::setup::Setting<Position>| Amount::from(length.value).0.unwrap_or_default();
    match way {
        WaySetup::Normal { resolution } => Approach::Normal { resolution: mm(resolution) },
        WaySetup::Beams => Approach::Beams,
        WaySetup::Parallel { height, resolution } => {
            Approach::Parallel { height: mm(height), resolution: mm(resolution) }
        }
        WaySetup::Mat => Approach::Mat,
        WaySetup::Guard { reach } => Approach::Guard { reach: mm(reach) },
        WaySetup::TwoHand { covered } => Approach::TwoHand { covered: *covered },
    }
}
