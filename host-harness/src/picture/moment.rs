//! What a picture is of, and from when to when it reaches.

use monitor_core::Instant;

use super::{Mark, MarkKind};
use crate::replay::{Fault, FaultKind, Outcome, Stop, Trip, TripRule};
use crate::report::{Figures, faulted, rule, short};
use crate::setup::{InputLines, Setup};

/// What a picture is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Moment {
    /// A trip, by its place in the list.
    Trip(usize),
    /// A fault, by its place in the list.
    Fault(usize),
    /// The permit went as planned.
    Planned(Stop),
    /// The whole trace.
    Whole,
}

/// A demand that was longer ago is not in a picture.
const LATELY: u64 = 1_000_000_000;

/// At least so much is shown on either side.
const LEAST: u64 = 50_000_000;

/// And so many windows of the speed.
const WINDOWS: u64 = 20;

/// From when to when a trip is shown, in ns: from its demand where that was not longer ago than `lately`, else from the crossing, and a
/// little more on either side.
pub(crate) fn view_of_trip(setup: &Setup, trip: &Trip, lately: u64) -> (u64, u64) {
    let is_demanded = match trip.rule {
        TripRule::Monitor(monitor, _) => !setup.monitors[monitor].is_always_active(),
        _ => false,
    };
    let (demanded, tripped) = (trip.demanded_at.as_nanos(), trip.tripped_at.as_nanos());
    let is_late = tripped.saturating_sub(demanded) > lately;
    let begin = if is_late || !is_demanded { trip.crossed_at.as_nanos() } else { demanded };
    around(setup, begin, tripped)
}

fn around(setup: &Setup, from: u64, to: u64) -> (u64, u64) {
    let windows = setup.speed.window.value.as_nanos().saturating_mul(WINDOWS);
    let pad = (to.saturating_sub(from) / 2).max(LEAST).max(windows);
    (from.saturating_sub(pad), to.saturating_add(pad))
}

/// How long before a fault that begins which leads to it: lines of an input do not agree for their discrepancy time.
pub(crate) fn before(setup: &Setup, fault: &Fault) -> u64 {
    match fault.kind {
        FaultKind::Input(input) => match &setup.inputs[input].lines {
            InputLines::Dual { dual, .. } => dual.discrepancy_time.value.as_nanos(),
            InputLines::Single(_) => 0,
        },
        _ => 0,
    }
}

impl Moment {
    /// From when to when, within the trace.
    pub(super) fn view(self, setup: &Setup, outcome: &Outcome) -> (u64, u64) {
        let first = outcome.first.map_or(0, Instant::as_nanos);
        let last = outcome.last.map_or(first, Instant::as_nanos);
        let view = match self {
            Self::Trip(place) => outcome.trips.kept.get(place).map(|trip| view_of_trip(setup, trip, LATELY)),
            Self::Fault(place) => outcome.faults.kept.get(place).map(|fault| {
                let from = fault.from.as_nanos();
                let to = fault.to.as_nanos().min(from.saturating_add(LATELY));
                around(setup, from.saturating_sub(before(setup, fault)), to)
            }),
            Self::Planned(stop) => {
                let (from, to) = (stop.demanded_at.as_nanos(), stop.completed_at.as_nanos());
                Some(around(setup, from.max(to.saturating_sub(LATELY)), to))
            }
            Self::Whole => None,
        };
        let (from, to) = view.unwrap_or((first, last));
        let (from, to) = (from.max(first), to.min(last));
        (from, to.max(from + 1))
    }

    /// What happened, in lines.
    pub(super) fn said(self, setup: &Setup, outcome: &Outcome) -> Vec<String> {
        let at = |instant| short(outcome.time_ns(instant));
        match self {
            Self::Trip(place) => {
                let Some(trip) = outcome.trips.kept.get(place) else { return Vec::new() };
                let (name, kind, channel) = rule(setup, trip.rule);
                let channel = if channel == "both" { "both channels" } else { &format!("channel {channel}") };
                let figures = Figures::new(setup, trip.rule, &trip.evidence).line(kind);
                vec![
                    format!("Trip {} at {} s: {name} ({kind}) on {channel}", place + 1, at(trip.tripped_at)),
                    figures,
                ]
            }
            Self::Fault(place) => {
                let Some(fault) = outcome.faults.kept.get(place) else { return Vec::new() };
                let (how, who) = faulted(setup, fault.kind);
                vec![format!("Fault {} at {} s: {who}, {how}", place + 1, at(fault.from))]
            }
            Self::Planned(stop) => {
                let name = setup.monitors.get(stop.monitor).map_or("", |monitor| &monitor.name);
                vec![format!("Torque off as planned at {} s: {name}", at(stop.completed_at))]
            }
            Self::Whole => vec!["The whole trace".to_owned()],
        }
    }

    /// The lines across it.
    pub(super) fn marks(self, outcome: &Outcome, view: (u64, u64)) -> Vec<Mark> {
        let mut marks = Vec::new();
        let mut mark = |kind, at: Instant, name: String| {
            let at = at.as_nanos();
            if view.0 <= at && at <= view.1 {
                marks.push(Mark { at, kind, name });
            }
        };
        match self {
            Self::Trip(place) => {
                if let Some(trip) = outcome.trips.kept.get(place) {
                    mark(MarkKind::Demand, trip.demanded_at, "demand at".to_owned());
                    mark(MarkKind::Crossed, trip.crossed_at, "crossed at".to_owned());
                    mark(MarkKind::Tripped, trip.tripped_at, format!("trip {} at", place + 1));
                }
            }
            Self::Fault(place) => {
                if let Some(fault) = outcome.faults.kept.get(place) {
                    mark(MarkKind::Tripped, fault.from, format!("fault {} at", place + 1));
                }
            }
            Self::Planned(stop) => {
                mark(MarkKind::Demand, stop.demanded_at, "demand at".to_owned());
                mark(MarkKind::Tripped, stop.completed_at, "complete at".to_owned());
            }
            Self::Whole => {}
        }
        for (place, trip) in outcome.trips.kept.iter().enumerate() {
            if self != Self::Trip(place) {
                mark(MarkKind::Other, trip.tripped_at, format!("trip {}", place + 1));
            }
        }
        marks
    }
}
