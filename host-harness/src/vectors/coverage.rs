//! What the frames of all cases exercised, counted from what they really did.

use super::Vectors;
use super::track::{Counts, Track};
use super::transition::{Part, possible};
use crate::replay::{Refused, axis_of_points};
use crate::setup::Setup;

/// What became of a transition.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum State {
    /// At so many frames.
    Seen(u64),
    /// No case shows it, and why: mostly because it cannot occur with this setup.
    LeftOut(String),
    /// It is wanted, and never occurred.
    NotCovered,
}

/// A transition of a part of the axis.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Transition {
    /// The part, as the setup names it.
    pub part: String,
    /// What happens.
    pub what: &'static str,
    /// What became of it.
    pub state: State,
}

/// Every transition of every part, and what became of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Coverage {
    /// In the order of the setup.
    pub transitions: Vec<Transition>,
}

impl Coverage {
    /// Runs the cases through the reference and counts.
    ///
    /// # Errors
    ///
    /// [`Refused`] when the core does not accept the setup.
    pub fn of(vectors: &Vectors) -> Result<Self, Refused> {
        let fresh = axis_of_points(&vectors.setup, vectors.points)?;
        let mut counts = Counts::new();
        for case in &vectors.cases {
            let mut track = Track::new(&vectors.setup, &fresh, &mut counts);
            for row in &case.rows {
                track.frame(&row.frame);
            }
        }
        let transitions = possible(&vectors.setup).into_iter().map(|one| {
            let seen = counts.get(&(one.part, one.what)).copied().unwrap_or(0);
            let state = match (seen, one.not) {
                (0, Some(why)) => State::LeftOut(why),
                (0, None) => State::NotCovered,
                // Even where it was not wanted: what was seen was seen.
                (seen, _) => State::Seen(seen),
            };
            Transition { part: part_name(&vectors.setup, one.part), what: one.what, state }
        });
        Ok(Self { transitions: transitions.collect() })
    }

    /// Those that are wanted and never occurred.
    pub fn not_covered(&self) -> impl Iterator<Item = &Transition> {
        self.transitions.iter().filter(|one| one.state == State::NotCovered)
    }
}

fn part_name(setup: &Setup, part: Part) -> String {
    let letter = |side: usize| ["a", "b"][side];
    match part {
        Part::Axis => "axis".to_owned(),
        Part::Source(side) => format!("source of channel {}", letter(side)),
        Part::Input(input) => format!("input {}", setup.inputs[input].name),
        Part::Monitor(monitor, side) => {
            let monitor = &setup.monitors[monitor];
            format!("{} ({}), channel {}", monitor.name, monitor.kind.name(), letter(side))
        }
        Part::Output(monitor) => {
            let monitor = &setup.monitors[monitor];
            format!("{} ({})", monitor.name, monitor.kind.name())
        }
        Part::Positions => "discrepancy".to_owned(),
        Part::Speeds => "speed_discrepancy".to_owned(),
    }
}
