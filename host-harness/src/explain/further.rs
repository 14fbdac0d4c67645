//! What else the page of a trace explains: the fault that asked for what tripped, and what took the permit again after a reset.

use super::excerpt::Excerpt;
use super::subject::{Asked, Subject, taken};
use super::{Explanation, Verdict};
use crate::replay::{FaultKind, Outcome, TripRule};
use crate::setup::Setup;

/// The most that are explained beside what is asked for.
const MOST: usize = 3;

/// What something further has to do with what is explained first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Link {
    /// It demanded the rule that was broken.
    Demanded,
    /// It took the permit again, later.
    TookAgain,
}

/// Something further, explained in brief: without what would have let it pass.
#[derive(Debug)]
pub struct Further {
    /// What it has to do with what is explained first.
    pub link: Link,
    /// What happened, and why.
    pub explanation: Explanation,
}

/// Everything that the page of a trace explains.
#[derive(Debug)]
pub struct Told {
    /// What is asked for.
    pub first: Explanation,
    /// What goes with it, in order of time.
    pub further: Vec<Further>,
    /// How often more the permit was taken by something that is not explained here.
    pub left_out: u64,
}

/// What is to be explained besides, and how many more times the permit was taken.
pub(super) fn further<'a>(
    setup: &Setup,
    outcome: &'a Outcome,
    first: &Explanation,
    asked: Asked,
    excerpts: &[Excerpt],
) -> (Vec<(Link, Subject<'a>)>, u64) {
    let mut further: Vec<(Link, Subject<'a>)> = demanded_by(setup, outcome, &first.verdict)
        .map(|fault| (Link::Demanded, fault))
        .into_iter()
        .collect();
    if asked != Asked::First {
        return (further, 0);
    }
    // What was planned comes before some, so that the first of them need not be the first loss.
    let explained = super::subject::subject(outcome, asked).ok();
    let again = outcome.permit_lost.kept.iter().filter_map(|lost| taken(outcome, *lost));
    let again = again.filter(|subject| explained != Some(*subject));
    let mut left_out = outcome.permit_lost.left_out;
    for subject in again {
        let is_kept = subject.at().is_some_and(|at| excerpts.iter().any(|excerpt| excerpt.holds(at)));
        if is_kept && !needs_samples(subject) && further.len() < MOST {
            further.push((Link::TookAgain, subject));
        } else {
            left_out += 1;
        }
    }
    (further, left_out)
}

/// Where the channels part is followed up to what is explained first, and no further.
fn needs_samples(subject: Subject<'_>) -> bool {
    let Subject::Trip(_, trip) = subject else { return false };
    matches!(trip.rule, TripRule::PositionDiscrepancy | TripRule::SpeedDiscrepancy)
}

/// The latched fault of an input that demanded the rule.
fn demanded_by<'a>(setup: &Setup, outcome: &'a Outcome, verdict: &Verdict) -> Option<Subject<'a>> {
    let Verdict::Motion { demanded_by_fault: Some((name, at_s)), .. } = verdict else { return None };
    let faults = outcome.faults.kept.iter().enumerate();
    let mut of_input = faults.filter(|(_, fault)| match fault.kind {
        FaultKind::Input(input) => setup.inputs[input].name == *name && outcome.time_ns(fault.from) == at_s.0,
        _ => false,
    });
    of_input.next().map(|(place, fault)| Subject::Fault(place, fault))
}
