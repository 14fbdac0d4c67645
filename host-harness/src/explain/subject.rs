//! What is to be explained: what took the permit, or what was asked for.

use monitor_core::Instant;

use crate::picture::Moment;
use crate::replay::{Fault, Outcome, Stop, StopEnd, Trip};

/// What was asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Asked {
    /// The trip or fault that took the permit first; where none did, the first that there is, and else what was planned.
    #[default]
    First,
    /// A trip by its number in the report, from 1.
    Trip(usize),
    /// A fault by its number in the report, from 1.
    Fault(usize),
}

/// What is explained.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Subject<'a> {
    /// A trip, and its place in the list.
    Trip(usize, &'a Trip),
    /// A fault, and its place in the list.
    Fault(usize, &'a Fault),
    /// The permit went as planned.
    Planned(&'a Stop),
    /// Nothing tripped and nothing was faulted.
    Nothing,
}

impl Subject<'_> {
    /// When it was decided.
    pub(super) fn at(&self) -> Option<Instant> {
        match self {
            Self::Trip(_, trip) => Some(trip.tripped_at),
            Self::Fault(_, fault) => Some(fault.from),
            Self::Planned(stop) => Some(stop.completed_at),
            Self::Nothing => None,
        }
    }
}

/// There is no trip, or no fault, of that number.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoSuch {
    /// No such trip.
    #[error("--trip {asked}: {}; `cowitness replay` lists them", count(*.there_are, "trip"))]
    Trip {
        /// What was asked for.
        asked: usize,
        /// How many there are.
        there_are: usize,
    },
    /// No such fault.
    #[error("--fault {asked}: {}; `cowitness replay` lists them", count(*.there_are, "fault"))]
    Fault {
        /// What was asked for.
        asked: usize,
        /// How many there are.
        there_are: usize,
    },
}

fn all(kept: usize, left_out: u64) -> usize {
    kept.saturating_add(usize::try_from(left_out).unwrap_or(usize::MAX))
}

fn count(there_are: usize, what: &str) -> String {
    match there_are {
        0 => format!("this trace has no {what}"),
        1 => format!("this trace has one {what}"),
        more => format!("this trace has {more} {what}s"),
    }
}

/// What a picture of what was asked for is of.
///
/// # Errors
///
/// [`NoSuch`] when there is none of that number.
pub fn moment(outcome: &Outcome, asked: Asked) -> Result<Moment, NoSuch> {
    Ok(match subject(outcome, asked)? {
        Subject::Trip(place, _) => Moment::Trip(place),
        Subject::Fault(place, _) => Moment::Fault(place),
        Subject::Planned(stop) => Moment::Planned(*stop),
        Subject::Nothing => Moment::Whole,
    })
}

/// Finds what was asked for.
///
/// # Errors
///
/// [`NoSuch`] when there is none of that number.
pub(super) fn subject(outcome: &Outcome, asked: Asked) -> Result<Subject<'_>, NoSuch> {
    let (trips, faults) = (&outcome.trips.kept, &outcome.faults.kept);
    match asked {
        Asked::First => Ok(first(outcome)),
        Asked::Trip(number) => {
            let place = number.checked_sub(1).filter(|place| *place < trips.len());
            place
                .map(|i| Subject::Trip(i, &trips[i]))
                .ok_or(NoSuch::Trip { asked: number, there_are: all(trips.len(), outcome.trips.left_out) })
        }
        Asked::Fault(number) => {
            let place = number.checked_sub(1).filter(|place| *place < faults.len());
            place
                .map(|i| Subject::Fault(i, &faults[i]))
                .ok_or(NoSuch::Fault { asked: number, there_are: all(faults.len(), outcome.faults.left_out) })
        }
    }
}

/// The trip or fault that took the permit at an instant.
pub(super) fn taken(outcome: &Outcome, lost: Instant) -> Option<Subject<'_>> {
    // A source that cannot be seen comes before what was told from it.
    let fault = faults(outcome).find(|fault| fault.at() == Some(lost));
    let trip = trips(outcome).find(|subject| match subject {
        Subject::Trip(_, Trip { reaction: None, tripped_at, .. }) => *tripped_at == lost,
        Subject::Trip(_, Trip { reaction: Some(reaction), .. }) => match reaction.end {
            StopEnd::Complete(at) | StopEnd::Violated(at) => at == lost,
            StopEnd::Lost(_) | StopEnd::Off | StopEnd::Open => false,
        },
        _ => false,
    });
    fault.or(trip)
}

fn trips(outcome: &Outcome) -> impl Iterator<Item = Subject<'_>> {
    outcome.trips.kept.iter().enumerate().map(|(i, trip)| Subject::Trip(i, trip))
}

fn faults(outcome: &Outcome) -> impl Iterator<Item = Subject<'_>> {
    outcome.faults.kept.iter().enumerate().map(|(i, fault)| Subject::Fault(i, fault))
}

/// The trip or fault that took the permit first; where none did, the first that happened.
fn first(outcome: &Outcome) -> Subject<'_> {
    if let Some(subject) = outcome.permit_lost_at().and_then(|lost| taken(outcome, lost)) {
        return subject;
    }
    let (trip, fault) = (trips(outcome).next(), faults(outcome).next());
    match (trip, fault) {
        (Some(trip), Some(fault)) if fault.at() <= trip.at() => fault,
        (Some(trip), _) => trip,
        (None, Some(fault)) => fault,
        // What went as planned is explained where nothing else has to be.
        (None, None) => {
            let lost = |stop: &&Stop| Some(stop.completed_at) == outcome.permit_lost_at();
            outcome.stops.kept.iter().find(lost).map_or(Subject::Nothing, Subject::Planned)
        }
    }
}
