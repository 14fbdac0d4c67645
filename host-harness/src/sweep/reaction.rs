//! What the reaction of a setup costs in the worst case.

use monitor_core::{Position, Span, Speed};

use crate::margins::reaction;
use crate::replay::TripRule;
use crate::setup::Setup;

/// The worst case of some rules of a setup.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cost {
    /// From what is truly broken to the torque that is gone.
    pub time: Span,
    /// The speed at that instant.
    pub speed: Option<Speed>,
    /// What is travelled in the meantime.
    pub travel: Option<Position>,
}

/// The longest of some rules, with frames at most `period` apart; `None` where nothing bounds it.
pub(super) fn cost(setup: &Setup, period: Span, rules: &[TripRule]) -> Option<Cost> {
    let time = rules.iter().filter_map(|rule| reaction(setup, period, *rule).total()).max()?;
    (time < Span::from_nanos(u64::MAX)).then_some(Cost { time, speed: None, travel: None })
}
