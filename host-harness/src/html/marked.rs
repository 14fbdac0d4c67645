//! What the charts mark, what a page opens on, and which chart that is about.

use monitor_core::Instant;
use serde::Serialize;

use super::charts::seconds;
use crate::explain::Explanation;
use crate::picture::{before, view_of_trip};
use crate::plot::MOST_TRIPS;
use crate::replay::{Fault, FaultKind, Outcome, StopKind, Trip, TripRule};
use crate::report::Figures;
use crate::setup::Setup;

/// The most of each kind that are marked; the tables have as many as the report.
const MARKED: usize = 2000;

/// Times in seconds since the first frame, numbers from 1.
#[derive(Serialize)]
pub(super) struct Marked {
    trips: Vec<TripMark>,
    faults: Vec<Period>,
    stops: Vec<Period>,
    gaps: Vec<Period>,
    /// Of so many trips it is kept what they were decided by.
    kept: usize,
    /// What the page explains.
    opens: Option<Opens>,
    /// The chart that this is about, by its key.
    about: Option<String>,
}

#[derive(Serialize)]
struct TripMark {
    number: usize,
    at: f64,
    view: [f64; 2],
}

#[derive(Serialize)]
struct Period {
    number: usize,
    /// When what led to it began.
    since: f64,
    from: f64,
    to: f64,
}

/// A trip, a fault or a stop, by its place in the list of the report.
#[derive(Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
enum Opens {
    Trip(usize),
    Fault(usize),
    Stop(usize),
}

/// What is explained is what is shown first.
fn opens(setup: &Setup, outcome: &Outcome, explanation: &Explanation) -> Option<Opens> {
    let explained = &explanation.explained;
    let place = || explained.number?.checked_sub(1);
    match explained.what.as_str() {
        "trip" => place().map(Opens::Trip),
        "fault" => place().map(Opens::Fault),
        "planned" => {
            let at = explained.at_s?.0;
            let is_it = |stop: &crate::replay::Stop| {
                outcome.time_ns(stop.completed_at) == at
                    && setup.monitors.get(stop.monitor).is_some_and(|of| of.name == explained.name)
            };
            outcome.stops.kept.iter().position(is_it).map(Opens::Stop)
        }
        _ => None,
    }
}

/// The chart in which it is to be seen: by what the rule compares. Where a channel cannot be seen none is more to the point than another.
fn about(setup: &Setup, outcome: &Outcome, opens: Opens) -> Option<String> {
    const LANES: &str = "lanes";
    let analogue = |place: usize| format!("analogue_{}", place + 1);
    match opens {
        Opens::Trip(place) => {
            let trip = outcome.trips.kept.get(place)?;
            Some(match trip.rule {
                TripRule::PositionDiscrepancy => "discrepancy".to_owned(),
                TripRule::SpeedDiscrepancy => "speed_discrepancy".to_owned(),
                TripRule::Analogue(of) => analogue(of),
                TripRule::Monitor(of, _) => match Figures::new(setup, trip.rule, &trip.evidence).quantity {
                    "position" => "position".to_owned(),
                    "value" => analogue(setup.monitors.get(of)?.kind.analogue()?),
                    _ => "speed".to_owned(),
                },
            })
        }
        Opens::Fault(place) => match outcome.faults.kept.get(place)?.kind {
            FaultKind::Input(_) => Some(LANES.to_owned()),
            FaultKind::Analogue(of, ..) => Some(analogue(of)),
            FaultKind::Unreferenced(..) => Some("position".to_owned()),
            FaultKind::Channel(..) | FaultKind::Clock => None,
        },
        Opens::Stop(place) => {
            let is_at_once = matches!(outcome.stops.kept.get(place)?.kind, StopKind::TorqueOff);
            is_at_once.then(|| LANES.to_owned())
        }
    }
}

/// From when to when a chart shows a trip, in seconds since the first frame.
fn view(setup: &Setup, trip: &Trip, first: u64) -> [f64; 2] {
    const LATELY: u64 = 3_000_000_000;
    let (from, to) = view_of_trip(setup, trip, LATELY);
    [from, to].map(|at| seconds(at.saturating_sub(first)))
}

impl Marked {
    pub(super) fn new(setup: &Setup, outcome: &Outcome, explanation: &Explanation) -> Self {
        let first = outcome.first.map_or(0, Instant::as_nanos);
        let since = |instant: Instant| seconds(instant.as_nanos().saturating_sub(first));
        let opens = opens(setup, outcome, explanation);
        let period = |place: usize, from: Instant, to: Instant| Period {
            number: place + 1,
            since: since(from),
            from: since(from),
            to: since(to),
        };
        let of_fault = |place: usize, fault: &Fault| Period {
            since: seconds(fault.from.as_nanos().saturating_sub(before(setup, fault)).saturating_sub(first)),
            ..period(place, fault.from, fault.to)
        };
        let is_shown = |of: fn(usize) -> Opens, place: usize| place < MARKED || opens == Some(of(place));
        let trips = outcome.trips.kept.iter().enumerate();
        let faults = outcome.faults.kept.iter().enumerate();
        let stops = outcome.stops.kept.iter().enumerate();
        Self {
            trips: (trips.filter(|(place, _)| is_shown(Opens::Trip, *place)))
                .map(|(place, trip)| TripMark {
                    number: place + 1,
                    at: since(trip.tripped_at),
                    view: view(setup, trip, first),
                })
                .collect(),
            faults: (faults.filter(|(place, _)| is_shown(Opens::Fault, *place)))
                .map(|(place, fault)| of_fault(place, fault))
                .collect(),
            stops: (stops.filter(|(place, _)| is_shown(Opens::Stop, *place)))
                .map(|(place, stop)| period(place, stop.demanded_at, stop.completed_at))
                .collect(),
            gaps: (outcome.gaps.kept.iter().enumerate().take(MARKED))
                .map(|(place, gap)| period(place, gap.from, gap.to))
                .collect(),
            kept: MOST_TRIPS,
            opens,
            about: opens.and_then(|of| about(setup, outcome, of)),
        }
    }
}
