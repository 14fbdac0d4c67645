//! What the rules compare at a frame.

use super::exact::{Q, ulp_down, ulp_up};
use super::monitor::Lane;
use super::setup::{Kind, Way};
use super::source::Tracker;
use super::verdict::{Bound, Evidence, Judge, Limit, Observed, Question, Side, Tri, above, never_looser};
use num_traits::{Signed, Zero};

/// What a lane found at a frame, before its timer.
pub(super) struct Finding {
    pub warming_up: bool,
    /// It needs a referenced position, and there is one without a reference.
    pub unreferenced: bool,
    pub verdict: Tri,
    pub violated: bool,
    pub compared: Option<Bound>,
    /// The limit placed on the speed at this frame.
    pub places: Option<Limit>,
}

impl Finding {
    pub fn nothing() -> Self {
        Self {
            warming_up: false,
            unreferenced: false,
            verdict: Tri::No,
            violated: false,
            compared: None,
            places: None,
        }
    }

    pub fn warming_up() -> Self {
        Self { warming_up: true, ..Self::nothing() }
    }

    /// A comparison that no rounding decides.
    fn exact(bound: Bound) -> Self {
        let violated = bound.side.excess(&bound.observed.exact, &bound.limit.exact).is_positive();
        let verdict = if violated { Tri::Yes } else { Tri::No };
        Self { verdict, violated, compared: Some(bound), ..Self::nothing() }
    }
}

/// The magnitude of the speed against a limit.
pub(super) fn speed(tracker: &Tracker, limit: &Limit, judge: &mut Judge, question: Question) -> Finding {
    let places = Some(limit.clone());
    let Some(speed) = tracker.speed().map(Q::abs) else {
        return Finding { places, ..Finding::warming_up() };
    };
    if tracker.fault.is_some() {
        return Finding { places, ..Finding::nothing() };
    }
    let (verdict, held) = above(&speed, limit);
    let violated = judge.decide(question, verdict, held);
    let compared = Some(Bound::magnitude(Evidence::Speed, speed, limit.clone()));
    Finding { verdict, violated, compared, places, ..Finding::nothing() }
}

/// The speed against the limit of the direction in which the channel moves.
pub(super) fn speed_each_way(
    tracker: &Tracker,
    [positive, negative]: [Limit; 2],
    judge: &mut Judge,
    question: Question,
) -> Finding {
    let backward = tracker.speed().is_some_and(Q::is_negative);
    let limit = if backward { &negative } else { &positive };
    let mut finding = speed(tracker, limit, judge, question);
    if backward {
        finding.compared = finding.compared.map(Bound::negated);
    }
    Finding { places: Some(positive.max(negative)), ..finding }
}

/// The signed speed against both ends of a range. They are whole ULPs, so the rounded speed is beyond one exactly where
/// the exact one is.
pub(super) fn speed_range(tracker: &Tracker, [low, high]: [&Q; 2]) -> Finding {
    let places = Some(Limit::setting(&low.abs().max(high.abs())));
    let Some(speed) = tracker.speed() else {
        return Finding { places, ..Finding::warming_up() };
    };
    let between = [ulp_down(speed), ulp_up(speed)];
    Finding { places, ..Finding::exact(Bound::nearer(Evidence::Speed, speed, between, [low, high])) }
}

/// Position and speed against their windows; both comparisons are exact.
pub(super) fn standstill(
    lane: &mut Lane,
    tracker: &Tracker,
    position_window: &Q,
    speed_window: &Q,
) -> Finding {
    let position = travel(lane, tracker, position_window);
    let speed = tracker.speed().map(Q::abs);
    let warming_up = position.warming_up || speed.is_none();
    let speed = speed
        .map(|speed| Finding::exact(Bound::magnitude(Evidence::Speed, speed, Limit::setting(speed_window))));
    let shown = match speed {
        Some(speed) if position.warming_up || speed.violated && !position.violated => speed,
        _ => position,
    };
    Finding { warming_up, places: Some(Limit::setting(speed_window)), ..shown }
}

/// The travel from the reference, which is taken anew when there is none or the count was broken.
pub(super) fn travel(lane: &mut Lane, tracker: &Tracker, increment: &Q) -> Finding {
    tracker.renew(&mut lane.x_ref);
    match lane.x_ref.and_then(|x_ref| tracker.travel_since(x_ref)) {
        None => Finding::warming_up(),
        Some(travel) => {
            Finding::exact(Bound::magnitude(Evidence::Position, travel.abs(), Limit::setting(increment)))
        }
    }
}

/// The travel back from the furthest point, which moves on with the axis.
pub(super) fn direction(lane: &mut Lane, tracker: &Tracker, allowed: Way, tolerance: &Q) -> Finding {
    tracker.renew(&mut lane.x_ref);
    let Some(travel) = lane.x_ref.and_then(|furthest| tracker.travel_since(furthest)) else {
        return Finding::warming_up();
    };
    let ahead = match allowed {
        Way::Positive => travel,
        Way::Negative => -travel,
    };
    if ahead.is_positive() {
        lane.x_ref = tracker.place();
    }
    let back = (-ahead).max(Q::zero());
    Finding::exact(Bound::magnitude(Evidence::Position, back, Limit::setting(tolerance)))
}

/// The magnitude of the acceleration against a limit.
pub(super) fn acceleration(tracker: &Tracker, limit: &Q, judge: &mut Judge, question: Question) -> Finding {
    let Some(windows) = tracker.windows() else { return Finding::warming_up() };
    let [down, up] = windows.acceleration_between();
    let bound = Bound {
        evidence: Evidence::Acceleration,
        side: Side::NotAbove,
        observed: Observed::held_as(windows.acceleration().abs(), up.max(-down)),
        limit: Limit::setting(limit),
    };
    let exact = bound.observed.exact > *limit;
    rounded(tracker, bound, exact, judge, question)
}

/// What a rule finds that needs a referenced position where there is none.
pub(super) fn without_reference(tracker: &Tracker) -> Finding {
    if tracker.place().is_none() {
        return Finding::warming_up();
    }
    Finding { unreferenced: true, ..Finding::nothing() }
}

/// The referenced position against both ends of a range; both comparisons are exact.
pub(super) fn position_range(tracker: &Tracker, ends: [&Q; 2]) -> Finding {
    let Some(position) = tracker.referenced() else { return without_reference(tracker) };
    let between = [ulp_down(&position), ulp_up(&position)];
    Finding::exact(Bound::nearer(Evidence::Position, &position, between, ends))
}

/// An analogue value against the rule that watches it; nothing is rounded.
pub(super) fn analogue(value: Option<&Q>, kind: &Kind) -> Finding {
    let Some(value) = value else { return Finding::warming_up() };
    let not_above = |observed: Q, limit: &Q| Bound {
        evidence: Evidence::Value,
        side: Side::NotAbove,
        observed: Observed::held_as(observed.clone(), observed),
        limit: Limit::setting(limit),
    };
    match kind {
        Kind::TorqueLimit { limit, .. } => Finding::exact(not_above(value.abs(), limit)),
        Kind::TemperatureLimit { limit, .. } => Finding::exact(not_above(value.clone(), limit)),
        Kind::TorqueRange { low, high, .. } => {
            let between = [value.clone(), value.clone()];
            Finding::exact(Bound::nearer(Evidence::Value, value, between, [low, high]))
        }
        _ => Finding::nothing(),
    }
}

/// The signed acceleration against both ends of a range.
pub(super) fn acceleration_range(
    tracker: &Tracker,
    [low, high]: [&Q; 2],
    judge: &mut Judge,
    question: Question,
) -> Finding {
    let Some(windows) = tracker.windows() else { return Finding::warming_up() };
    let exact = windows.acceleration();
    let between = windows.acceleration_between();
    let bound = Bound::nearer(Evidence::Acceleration, &exact, between, [low, high]);
    rounded(tracker, bound, exact < *low || exact > *high, judge, question)
}

/// The deceleration against the least one.
pub(super) fn deceleration(tracker: &Tracker, least: &Q, judge: &mut Judge, question: Question) -> Finding {
    let Some(windows) = tracker.windows() else { return Finding::warming_up() };
    let bound = Bound {
        evidence: Evidence::Acceleration,
        side: Side::NotBelow,
        observed: Observed::held_as(windows.deceleration(), windows.deceleration_down()),
        limit: Limit::setting(least),
    };
    let exact = bound.observed.exact < *least;
    rounded(tracker, bound, exact, judge, question)
}

/// A comparison of a value that is rounded to the stricter side, and that exactly comes to `exact`.
fn rounded(tracker: &Tracker, bound: Bound, exact: bool, judge: &mut Judge, question: Question) -> Finding {
    if tracker.fault.is_some() {
        return Finding::nothing();
    }
    let held = bound.excess_held().is_positive();
    let verdict = never_looser(exact, held);
    let violated = judge.decide(question, verdict, held);
    Finding { verdict, violated, compared: Some(bound), ..Finding::nothing() }
}
