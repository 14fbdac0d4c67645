//! What the reaction of a setup costs in the worst case.

use monitor_core::{Position, Span, Speed};

use super::Grid;
use crate::decimal::{Rounding, ULPS_PER_UNIT, round_scaled};
use crate::margins::{Broken, Travel, apart_at_torque_off, reaction, safety_distance, travels};
use crate::replay::TripRule;
use crate::setup::{MonitorKind, Setup};

/// The worst case of some rules of a setup. Each figure but the time is `None` where the setup does not say enough for one of the rules.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cost {
    /// From what is truly broken to the torque that is gone; from a demand only where no rule compares anything of the motion.
    pub time: Span,
    /// The highest speed at that instant, and when the torque goes after a demand.
    pub speed: Option<Speed>,
    /// What is travelled from there until the axis stands.
    pub travel: Option<Position>,
    /// The same from a demand: down the ramp, or to the end of a stop, with a fault at the end of it. Often longer than the other, but
    /// much of it is what the axis may go.
    pub from_demand: Option<Position>,
    /// How far apart the two sources can be when the torque is gone, where the position discrepancy is among the rules.
    pub apart: Option<Position>,
    /// The distance that the approach of the setup needs, in mm, rounded up.
    pub distance: Option<Position>,
}

/// The worst of some rules, with frames at most `period` apart; `None` where nothing bounds it.
pub(super) fn cost(setup: &Setup, period: Span, rules: &[TripRule]) -> Option<Cost> {
    let reactions: Vec<_> = rules.iter().map(|rule| reaction(setup, period, *rule)).collect();
    let time = reactions.iter().filter_map(crate::margins::Reaction::total).max()?;
    let ways = reactions.iter().flat_map(|reaction| travels(setup, period, reaction));
    let is_from_demand = |way: &Travel| matches!(way.broken, Broken::Demand | Broken::Stop);
    let (demands, motions): (Vec<_>, Vec<_>) = ways.partition(is_from_demand);
    let is_apart = rules.contains(&TripRule::PositionDiscrepancy);
    let up = |mm| round_scaled(&mm, ULPS_PER_UNIT, Rounding::Up).and_then(|bits| i64::try_from(bits).ok());
    (time < Span::from_nanos(u64::MAX)).then(|| Cost {
        time,
        speed: worst(motions.iter().chain(&demands).map(|way| way.speed_at_torque_off)),
        travel: worst(motions.iter().map(|way| way.total)),
        from_demand: worst(demands.iter().map(|way| way.total)),
        apart: apart_at_torque_off(setup, period).filter(|_| is_apart),
        distance: safety_distance(setup, period).and_then(up).map(Position::from_bits),
    })
}

/// The largest of several that must all be known.
fn worst<T: Ord>(values: impl Iterator<Item = Option<T>>) -> Option<T> {
    values.collect::<Option<Vec<T>>>()?.into_iter().max()
}

/// Whether the setting with these keys is a limit on the speed of a monitor.
fn is_limit(keys: &[String]) -> bool {
    matches!(keys, [first, _, key] if first == "monitor" && matches!(key.as_str(), "limit" | "positive" | "negative"))
}

/// The limits that are varied, the larger for both directions; none where none is, or one is refused.
fn limits(grid: &Grid, setup: &Setup) -> Option<Vec<Speed>> {
    let named = grid.variations().iter().map(|one| one.path().keys()).filter(|keys| is_limit(keys));
    let of = |keys: &[String]| {
        let monitor = setup.monitors.iter().find(|monitor| keys.get(1) == Some(&monitor.name))?;
        let MonitorKind::SpeedLimit { limit, .. } = &monitor.kind else { return None };
        Some(limit.larger())
    };
    let found: Vec<Speed> = named.map(of).collect::<Option<_>>()?;
    (!found.is_empty()).then_some(found)
}

/// Whether a limit on the speed is varied, of which a looser one is counted as [`no_sooner`] says.
pub(super) fn varies_a_limit(grid: &Grid) -> bool {
    grid.points().iter().any(|point| point.setup.as_ref().is_ok_and(|setup| limits(grid, setup).is_some()))
}

/// A line that ends at a looser limit ends sooner, which makes nothing safer: the axis may go on at that limit without a trip. So what a
/// point costs from a demand on, and for an approach, is at least that of the points with stricter limits and the same other values.
pub(super) fn no_sooner(grid: &Grid, costs: &mut [Option<Cost>]) {
    let points = grid.points();
    let others = |place: usize| -> Vec<&String> {
        let values = grid.variations().iter().zip(&points[place].values);
        values.filter(|(one, _)| !is_limit(one.path().keys())).map(|(_, value)| value).collect()
    };
    let keyed: Vec<_> = (points.iter().enumerate())
        .map(|(place, point)| Some((limits(grid, point.setup.as_ref().ok()?)?, others(place))))
        .collect();
    let alone = costs.to_vec();
    for (cost, key) in costs.iter_mut().zip(&keyed) {
        let (Some(cost), Some((limit, other))) = (cost, key) else { continue };
        let is_stricter = |(limits, others): &(Vec<Speed>, Vec<&String>)| {
            others == other && limits.iter().zip(limit).all(|(strict, loose)| strict <= loose)
        };
        let stricter = alone.iter().zip(&keyed).filter(|(_, key)| key.as_ref().is_some_and(is_stricter));
        for strict in stricter.filter_map(|(cost, _)| cost.as_ref()) {
            cost.from_demand = cost.from_demand.zip(strict.from_demand).map(|(one, other)| one.max(other));
            cost.distance = cost.distance.zip(strict.distance).map(|(one, other)| one.max(other));
        }
    }
}
