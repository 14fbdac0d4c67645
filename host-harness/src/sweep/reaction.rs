//! What the reaction of a setup costs in the worst case.

use monitor_core::{Position, Span, Speed};

use crate::margins::{Broken, Travel, apart_at_torque_off, reaction, travels};
use crate::replay::TripRule;
use crate::setup::Setup;

/// The worst case of some rules of a setup.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cost {
    /// From what is truly broken to the torque that is gone.
    pub time: Span,
    /// The speed at that instant; `None` where the setup does not say enough for one of the rules.
    pub speed: Option<Speed>,
    /// What is travelled until the axis stands; of the position discrepancy by itself, how far apart the two sources can be when the torque is
    /// gone. `None` where the setup does not say enough for one of the rules.
    pub travel: Option<Position>,
}

/// The longest of some rules, with frames at most `period` apart; `None` where nothing bounds it.
pub(super) fn cost(setup: &Setup, period: Span, rules: &[TripRule]) -> Option<Cost> {
    let reactions: Vec<_> = rules.iter().map(|rule| reaction(setup, period, *rule)).collect();
    let time = reactions.iter().filter_map(crate::margins::Reaction::total).max()?;
    // As in the total of a reaction: from the motion, where there is such a path.
    let of_motion = |ways: Vec<Travel>| {
        let (demands, motions): (Vec<_>, Vec<_>) =
            ways.into_iter().partition(|way| matches!(way.broken, Broken::Demand | Broken::Stop));
        if motions.is_empty() { demands } else { motions }
    };
    let ways: Vec<Travel> =
        reactions.iter().flat_map(|reaction| of_motion(travels(setup, period, reaction))).collect();
    let speed = worst(ways.iter().map(|way| way.speed_at_torque_off));
    let travel = match rules {
        [TripRule::PositionDiscrepancy] => apart_at_torque_off(setup, period),
        _ => worst(ways.iter().map(|way| way.total)),
    };
    (time < Span::from_nanos(u64::MAX)).then_some(Cost { time, speed, travel })
}

/// The largest of several that must all be known.
fn worst<T: Ord>(values: impl Iterator<Item = Option<T>>) -> Option<T> {
    values.collect::<Option<Vec<T>>>()?.into_iter().max()
}
