//! The motion broke the rule: what asked for it, in which phase, and whether the two channels agree on it.

use monitor_core::{Channel, Evidence, Instant};

use super::{Judge, SAME_MOTION};
use crate::explain::rerun::index;
use crate::explain::track::number;
use crate::explain::verdict::{AfterStop, Beyond, Differ, Verdict};
use crate::replay::{FaultKind, Trip, TripRule};
use crate::report::{Figures, Seconds};
use crate::setup::{
    By, DemandLevel, DemandSetup, DemandSource, InputLines, MonitorKind, Pairing, RampSetup, Setup,
};

/// Speeds that differ by so many times what the two resolve are not of the same motion.
const FAR_APART: f64 = 10.0;

/// Nor those that differ by less than this share of the faster one: readings of different age do that while the axis accelerates.
const SHARE_APART: f64 = 0.1;

impl Judge<'_> {
    pub(super) fn motion(
        &self,
        trip: &Trip,
        monitor: usize,
        channel: Channel,
        beyond: Beyond,
        other_beyond: f64,
    ) -> Verdict {
        let entry = &self.setup.monitors[monitor];
        let fault = self.fault_that_demands(trip, monitor);
        let by_fault = fault.as_ref().is_some_and(|fault| fault.alone);
        let named = |fault: Latched| (fault.input, Seconds(self.outcome.time_ns(fault.since)));
        let (demanded_by_fault, faulted_besides) = match fault {
            Some(fault) if by_fault => (Some(named(fault)), None),
            fault => (None, fault.map(named)),
        };
        let after_stop = self.after_stop(trip, monitor);
        let from_the_start = !entry.is_always_active() && trip.violated_since == trip.demanded_at;
        Verdict::Motion {
            beyond,
            other_beyond,
            demanded_by_fault,
            faulted_besides,
            is_confirmed: trip.confirmed_by.is_some_and(|by| by.after_ns.unsigned_abs() <= SAME_MOTION),
            from_the_start,
            moved_at_demand: if from_the_start { self.moved_at_demand(trip, monitor, channel) } else { None },
            braking: if after_stop.is_none() { self.braking(trip, monitor, channel) } else { None },
            after_stop,
            differ: if entry.kind.analogue().is_none() { self.differ(trip) } else { None },
        }
    }

    /// An input whose latched fault demands the monitor.
    fn fault_that_demands(&self, trip: &Trip, monitor: usize) -> Option<Latched> {
        let entry = &self.setup.monitors[monitor];
        let resets = self.outcome.resets.kept.iter();
        let mut last_reset = resets
            .filter(|reset| reset.result == monitor_core::Reset::Accepted && reset.at < trip.tripped_at);
        let since = last_reset.next_back().map_or(Instant::from_nanos(0), |reset| reset.at);
        let demands =
            |input: usize| entry.demand.iter().any(|demand| demand.source == DemandSource::Input(input));
        self.outcome.faults.kept.iter().find_map(|fault| match fault.kind {
            FaultKind::Input(input)
                if demands(input) && since <= fault.from && fault.from <= trip.tripped_at =>
            {
                // Where a line demands, or did before the fault, it was not the fault that asked for anything.
                let place = self.points.partition_point(|point| point.now < trip.violated_since);
                let levels = self.points.get(place).map(|point| point.levels.to_bits());
                let by_lines = levels.is_none_or(|levels| {
                    entry.demand.iter().any(|demand| lines_demand(self.setup, demand, levels))
                });
                Some(Latched {
                    input: self.setup.inputs[input].name.clone(),
                    since: fault.from,
                    alone: fault.from == trip.demanded_at || !by_lines,
                })
            }
            _ => None,
        })
    }

    /// The speed when a standstill was demanded, and the one that it allows; where the axis moved faster.
    fn moved_at_demand(&self, trip: &Trip, monitor: usize, channel: Channel) -> Option<[f64; 2]> {
        let MonitorKind::Standstill(windows) = &self.setup.monitors[monitor].kind else { return None };
        let place = self.points.partition_point(|point| point.now < trip.demanded_at);
        let speed = self.points.get(place)?.seen[index(channel)]?.speed?.abs();
        let allowed = number(windows.speed_window.value.to_bits());
        (speed > allowed).then_some([speed, allowed])
    }

    /// The stop had been carried through before.
    fn after_stop(&self, trip: &Trip, monitor: usize) -> Option<AfterStop> {
        let stops = self.outcome.stops.kept.iter();
        let mut complete = stops.filter(|stop| {
            stop.monitor == monitor
                && stop.demanded_at == trip.demanded_at
                && stop.completed_at <= trip.violated_since
                && matches!(self.setup.monitors[monitor].kind, MonitorKind::Stop { .. })
        });
        let stop = complete.next_back()?;
        // With no frame between the two at which it stood, the stop was over before the axis was at rest.
        let place = |at| self.points.partition_point(|point| point.now < at);
        let frames = place(trip.violated_since).saturating_sub(place(stop.completed_at));
        Some(AfterStop {
            complete_at_s: Seconds(self.outcome.time_ns(stop.completed_at)),
            was_at_rest: frames > 1,
        })
    }

    /// How hard the motion braked, and how hard it has to.
    fn braking(&self, trip: &Trip, monitor: usize, channel: Channel) -> Option<[f64; 2]> {
        let line = match (&self.setup.monitors[monitor].kind, &trip.evidence) {
            (MonitorKind::Stop { by: By::Deceleration { braking, .. }, .. }, Evidence::Acceleration(_)) => {
                braking.deceleration.value.to_bits()
            }
            (kind, Evidence::Speed(_) | Evidence::Overrun(_)) => {
                let deceleration = ramp(kind)?.deceleration.value.to_bits();
                // Once it has come down, nothing is to be braked any more.
                let limit =
                    |place: usize| self.points.get(place)?.held[index(channel)].map(|held| held.limit);
                let place = |at| self.points.partition_point(|point| point.now < at);
                let before = place(trip.violated_since).checked_sub(1).and_then(limit);
                if before? <= limit(place(trip.tripped_at))? {
                    return None;
                }
                deceleration
            }
            _ => return None,
        };
        let witness = &self.witnesses[index(channel)];
        let (speed, acceleration) = (witness.speed?, witness.acceleration?);
        Some([-acceleration * speed.signum(), number(line)])
    }

    /// Both saw the motion break the rule, and do not agree on the motion.
    fn differ(&self, trip: &Trip) -> Option<Differ> {
        let trips = self.outcome.trips.kept.iter().enumerate();
        let near = |other: &Trip| {
            u128::from(other.tripped_at.as_nanos().abs_diff(trip.tripped_at.as_nanos())) <= SAME_MOTION
        };
        let is_apart =
            |other: &Trip| matches!(other.rule, TripRule::PositionDiscrepancy | TripRule::SpeedDiscrepancy);
        let mut apart = trips.filter(|(_, other)| is_apart(other) && near(other));
        if let Some((place, other)) = apart.next() {
            let figures = Figures::new(self.setup, other.rule, &other.evidence);
            return Some(Differ {
                by: number(figures.observed.to_bits()),
                limit: Some(number(figures.limit.to_bits())),
                unit: figures.unit,
                rule: Some(crate::report::rule(self.setup, other.rule).0),
                trip: Some(place + 1),
                at_s: Some(Seconds(self.outcome.time_ns(other.tripped_at))),
            });
        }
        let [a, b] = [self.witnesses[0].speed?, self.witnesses[1].speed?];
        let window = self.setup.speed.window.value;
        let resolution: f64 = Channel::BOTH
            .iter()
            .filter_map(|&channel| self.setup.channel(channel).speed_resolution(window))
            .map(|speed| number(speed.to_bits()))
            .sum();
        // At the crossing and at the trip: of what swings to and fro one channel is ahead of the other now and behind it then.
        let crossing = self.witnesses[0].speed_at_crossing.zip(self.witnesses[1].speed_at_crossing);
        let before = crossing.map_or(a - b, |(a, b)| a - b);
        let by = if before * (a - b) > 0.0 && before.abs() > resolution { (a - b).abs() } else { 0.0 };
        let is_far =
            resolution > 0.0 && by > FAR_APART * resolution && by > SHARE_APART * a.abs().max(b.abs());
        is_far.then(|| Differ {
            by,
            limit: None,
            unit: format!("{}/s", self.setup.unit.symbol()),
            rule: None,
            trip: None,
            at_s: None,
        })
    }
}

/// An input whose fault is latched.
struct Latched {
    input: String,
    since: Instant,
    /// Nothing else demands.
    alone: bool,
}

fn ramp(kind: &MonitorKind) -> Option<&RampSetup> {
    match kind {
        MonitorKind::SpeedLimit { ramp: Some(ramp), .. }
        | MonitorKind::Stop { by: By::Ramp { ramp, .. }, .. } => Some(ramp),
        _ => None,
    }
}

/// Whether the levels of an input demand, whatever was latched.
fn lines_demand(setup: &Setup, demand: &DemandSetup, levels: u32) -> bool {
    let DemandSource::Input(input) = demand.source else { return false };
    let entry = &setup.inputs[input];
    let high = |line: u8| levels & 1_u32.checked_shl(line.into()).unwrap_or(0) != 0;
    let first_demands_high = entry.demand == DemandLevel::High;
    let demanding: Vec<bool> = match &entry.lines {
        InputLines::Single(line) => vec![high(*line) == first_demands_high],
        InputLines::Dual { first, second, dual } => {
            let alike = dual.pairing == Pairing::Equivalent;
            vec![high(*first) == first_demands_high, high(*second) == (first_demands_high == alike)]
        }
    };
    if demand.inverted { !demanding.iter().all(|line| *line) } else { demanding.iter().any(|line| *line) }
}
