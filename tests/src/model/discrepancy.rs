//! The two channels against each other.

use super::exact::{Q, nearest_ulp, seconds, ulp, ulp_down, ulp_up, ulps};
use super::setup::{Discrepancy, SpeedDiscrepancy};
use super::source::{Reference, Tracker};
use super::verdict::{Bound, Evidence, Hold, Judge, Limit, Observed, Question, Side, Tri, TripFacts};
use num_traits::{Signed, Zero};

/// What a discrepancy says at a frame.
#[derive(Clone, Debug, PartialEq)]
pub struct DiscrepancySeen {
    /// The exact difference, A less B, signed; `None` while it is not evaluated.
    pub difference: Option<Q>,
    /// The difference after the documented rounding.
    pub difference_held: Option<Q>,
    /// The limit of its magnitude; `None` while it is not evaluated.
    pub limit: Option<Limit>,
    /// The exact verdict; `No` while it is not evaluated.
    pub verdict: Tri,
    /// The decision, with near cases resolved.
    pub violated: bool,
    /// The trip of this frame.
    pub tripped_now: Option<TripFacts>,
    /// Whether a trip is latched, after the reset of this frame.
    pub latched: bool,
}

impl DiscrepancySeen {
    pub(super) fn nothing() -> Self {
        Self {
            difference: None,
            difference_held: None,
            limit: None,
            verdict: Tri::No,
            violated: false,
            tripped_now: None,
            latched: false,
        }
    }
}

/// A measured difference.
struct Measured {
    exact: Q,
    held: Q,
    /// How far the rounded magnitude may lie from the exact one, either way; 0 where the documented rounding decides.
    error: Q,
}

/// `abs(difference) > limit` with the error of both sides.
fn judged(measured: Measured, limit: Limit, judge: &mut Judge, question: Question) -> DiscrepancySeen {
    let magnitude = measured.exact.abs();
    let verdict = if measured.error.is_zero() {
        // Every rounding is the documented one.
        if measured.held.abs() > limit.held { Tri::Yes } else { Tri::No }
    } else if &magnitude - &measured.error > limit.exact {
        Tri::Yes
    } else if &magnitude + &measured.error <= limit.strictest {
        Tri::No
    } else {
        Tri::Near
    };
    let violated = judge.decide(question, verdict, measured.held.abs() > limit.held);
    DiscrepancySeen {
        difference: Some(measured.exact),
        difference_held: Some(measured.held),
        limit: Some(limit),
        verdict,
        violated,
        tripped_now: None,
        latched: false,
    }
}

/// Runs the timer and fills in the trip.
pub(super) fn timed(
    mut seen: DiscrepancySeen,
    hold: &mut Hold,
    now: u64,
    time_ns: u64,
    evidence: Evidence,
) -> DiscrepancySeen {
    let tripped = hold.update(now, seen.violated, time_ns);
    seen.tripped_now = tripped.map(|violated_since| TripFacts {
        demanded_at: None,
        violated_since,
        tripped_at: now,
        bound: Bound {
            evidence,
            side: Side::NotAbove,
            observed: Observed::held_as(
                seen.difference.as_ref().expect("a violation compares").abs(),
                seen.difference_held.as_ref().expect("a violation compares").abs(),
            ),
            limit: seen.limit.clone().expect("a violation compares"),
        },
    });
    seen.latched = hold.latched;
    seen
}

/// The reference of one channel with how far it is moved to its frame.
#[derive(Clone, Debug)]
struct Anchor {
    place: Reference,
    moved: Q,
}

#[derive(Clone, Debug)]
pub(super) struct PositionDiscrepancy {
    setup: Discrepancy,
    anchors: Option<[Anchor; 2]>,
    pub hold: Hold,
}

impl PositionDiscrepancy {
    pub fn new(setup: Discrepancy) -> Self {
        Self { setup, anchors: None, hold: Hold::default() }
    }

    pub fn step(&mut self, now: u64, trackers: &[Tracker; 2], judge: &mut Judge) -> DiscrepancySeen {
        self.renew(now, trackers);
        let seen = self.compare(now, trackers, judge).unwrap_or_else(DiscrepancySeen::nothing);
        timed(seen, &mut self.hold, now, self.setup.discrepancy_time_ns, Evidence::Position)
    }

    /// How far a channel's position is moved to the instant of the frame.
    fn moved(&self, now: u64, tracker: &Tracker) -> Q {
        match (tracker.speed(), tracker.captured_at()) {
            (Some(speed), Some(captured_at)) if self.setup.align => speed * seconds(now - captured_at),
            _ => Q::zero(),
        }
    }

    /// Takes both references at the first frame at which both channels have a reading (and, to align them, a
    /// speed), and again once continuity was lost on either.
    fn renew(&mut self, now: u64, trackers: &[Tracker; 2]) {
        let [Some(a), Some(b)] = [trackers[0].place(), trackers[1].place()] else { return };
        if self.setup.align && trackers.iter().any(|tracker| tracker.speed().is_none()) {
            self.anchors = None;
            return;
        }
        let valid =
            |anchors: &[Anchor; 2]| anchors[0].place.epoch == a.epoch && anchors[1].place.epoch == b.epoch;
        if !self.anchors.as_ref().is_some_and(valid) {
            self.anchors = Some([
                Anchor { place: a, moved: self.moved(now, &trackers[0]) },
                Anchor { place: b, moved: self.moved(now, &trackers[1]) },
            ]);
        }
    }

    fn compare(&self, now: u64, trackers: &[Tracker; 2], judge: &mut Judge) -> Option<DiscrepancySeen> {
        if trackers.iter().any(|tracker| tracker.fault.is_some()) {
            return None;
        }
        let anchors = self.anchors.as_ref()?;
        let mut exact = Vec::new();
        let mut held = Vec::new();
        // Each bracket is rounded to nearest, and the limit down: as documented, and no other way.
        let mut error = if self.setup.align { ulp() } else { Q::zero() };
        for (tracker, anchor) in trackers.iter().zip(anchors) {
            let travel = tracker.travel_since(anchor.place)?;
            let moved = self.moved(now, tracker);
            exact.push(&travel + &moved - &anchor.moved);
            held.push(nearest_ulp(&travel) + nearest_ulp(&moved) - nearest_ulp(&anchor.moved));
            if self.setup.align {
                // Two alignments a channel, each rounded to nearest; and one computed from a speed that is itself
                // rounded to a ULP is off by that ULP times the age of the reading, which is at most the timeout.
                error += ulp() + ulps(2) * seconds(tracker.source.timeout_ns);
            }
        }
        let measured = Measured { exact: &exact[0] - &exact[1], held: &held[0] - &held[1], error };
        Some(judged(measured, self.limit(trackers), judge, Question::Discrepancy))
    }

    /// `tolerance + skew_allowance × v_min`. The speed is rounded down, and the product is.
    fn limit(&self, trackers: &[Tracker; 2]) -> Limit {
        let tolerance = &self.setup.tolerance;
        let (Some(a), Some(b)) = (trackers[0].speed(), trackers[1].speed()) else {
            return Limit::setting(tolerance);
        };
        let v_min = a.abs().min(b.abs());
        let skew = seconds(self.setup.skew_allowance_ns);
        let exact = tolerance + &skew * &v_min;
        let held = tolerance + ulp_down(&(&skew * ulp_down(&v_min)));
        let strictest = &exact - &skew * ulp() - ulp();
        Limit { exact, held, strictest }
    }
}

#[derive(Clone, Debug)]
pub(super) struct SpeedDifference {
    setup: SpeedDiscrepancy,
    pub hold: Hold,
}

impl SpeedDifference {
    pub fn new(setup: SpeedDiscrepancy) -> Self {
        Self { setup, hold: Hold::default() }
    }

    pub fn step(&mut self, now: u64, trackers: &[Tracker; 2], judge: &mut Judge) -> DiscrepancySeen {
        let seen = self.compare(trackers, judge).unwrap_or_else(DiscrepancySeen::nothing);
        timed(seen, &mut self.hold, now, self.setup.discrepancy_time_ns, Evidence::Speed)
    }

    /// Each magnitude is rounded up and keeps its sign, so opposite speeds differ by up to two ULP more.
    fn compare(&self, trackers: &[Tracker; 2], judge: &mut Judge) -> Option<DiscrepancySeen> {
        if trackers.iter().any(|tracker| tracker.fault.is_some()) {
            return None;
        }
        let a = trackers[0].speed()?;
        let b = trackers[1].speed()?;
        let away = |speed: &Q| ulp_up(&speed.abs()) * speed.signum();
        let measured = Measured { exact: a - b, held: away(a) - away(b), error: ulps(2) };
        Some(judged(measured, Limit::setting(&self.setup.tolerance), judge, Question::SpeedDiscrepancy))
    }
}
