//! Which settings would have let it pass: what is looked for, in which frames.

use monitor_core::{Channel, Instant, Reset, Span};

use super::cost;
use super::excerpt::Excerpt;
use super::explanation::Costed;
use super::knob::{self, Knob};
use super::rerun::{Event as Happening, Rerun};
use super::subject::Subject;
use super::track::Point;
use super::what_if::{self, Change, Search};
use super::work::Work;
use crate::replay::{Fault, FaultKind, Trip, TripRule};
use crate::setup::{AnalogueUnit, DemandSource, InputLines, Setup};

/// The most trips of the same rule at other times that are tried with changed settings.
const MOST_OTHERS: usize = 16;

impl Work<'_> {
    /// The settings that would have let it pass, and what each costs.
    pub(super) fn what_if(&self, excerpt: &Excerpt, points: &[Point]) -> Vec<Costed> {
        let Some((search, knobs)) = self.search(excerpt, points) else { return Vec::new() };
        let trip = match self.subject {
            Subject::Trip(_, trip) => Some(trip),
            _ => None,
        };
        let mut changes = what_if::changes(&search, &knobs);
        self.others(&mut changes);
        let period = self.outcome.longest_period;
        let cost = |change: &Change| {
            change.setup.as_deref().map(|changed| cost::cost(self.setup, changed, period, trip))
        };
        changes.into_iter().map(|change| Costed { cost: cost(&change), change }).collect()
    }

    /// What is looked for, and the settings that it hangs on.
    fn search<'s>(&'s self, excerpt: &'s Excerpt, points: &[Point]) -> Option<(Search<'s>, Vec<Knob>)> {
        let last = excerpt.last()?;
        let at = self.subject.at()?;
        let resets = self.outcome.resets.kept.iter();
        let mut resets = resets.filter(|reset| reset.result == Reset::Accepted && reset.at > at);
        let latched_until = resets.next().map_or(last, |reset| reset.at).min(last);
        let base = Search {
            setup: self.setup,
            base: self.base,
            excerpt,
            event: Happening::Trip(TripRule::PositionDiscrepancy),
            at,
            since: at,
            until: latched_until,
            latched_until,
            last,
            by_lines: self.is_by_lines(),
            later: Vec::new(),
            at_least: false,
            demanded: self.demanded(),
            before_lines: self.before_lines(excerpt),
            guess: 1,
            value_unit: self.value_unit(),
            origin_ns: self.outcome.origin_ns,
        };
        match self.subject {
            Subject::Trip(_, trip) => {
                let since = violated_since(points, at).unwrap_or(trip.violated_since);
                let (until, is_cut) = violated_until(points, at, latched_until);
                let stopped = self.outcome.permit_lost_at().is_some_and(|lost| lost <= until);
                // Either channel may have been the first.
                let other = trip.confirmed_by.map_or(0, |by| by.after_ns).min(0);
                let first = i128::from(at.as_nanos()) + other;
                let at = u64::try_from(first).map_or(at, Instant::from_nanos);
                let search = Search {
                    event: Happening::Trip(trip.rule),
                    at,
                    since: since.min(violated_since(points, at).unwrap_or(since)),
                    until,
                    later: self.later(trip.rule, points, until, latched_until),
                    at_least: stopped || is_cut,
                    guess: guess(points, since, until),
                    ..base
                };
                Some((search, knob::of_trip(self.setup, trip)))
            }
            Subject::Fault(_, fault) => {
                let search = Search {
                    event: Happening::Fault(fault.kind),
                    until: match fault.kind {
                        // It is told of at one frame; its lines may go on as they are.
                        FaultKind::Input(_) => last,
                        _ => fault.to.min(latched_until),
                    },
                    ..base
                };
                Some((search, knob::of_fault(self.setup, fault)))
            }
            Subject::Planned(_) | Subject::Nothing => None,
        }
    }

    /// A frame before the lines changed that led to a demand of the monitor in question, or to a fault of the input in question.
    fn before_lines(&self, excerpt: &Excerpt) -> Option<Instant> {
        let (at, inputs): (_, Vec<usize>) = match self.subject {
            Subject::Trip(_, Trip { rule: TripRule::Monitor(monitor, _), .. }) => {
                let sources = self.setup.monitors[*monitor].demand.iter().map(|demand| demand.source);
                let inputs = sources.filter_map(|source| match source {
                    DemandSource::Input(input) => Some(input),
                    DemandSource::Output(_) => None,
                });
                (self.demanded()?, inputs.collect())
            }
            Subject::Fault(_, Fault { kind: FaultKind::Input(input), from, .. }) => (*from, vec![*input]),
            _ => return None,
        };
        let longest = inputs.iter().map(|input| {
            let input = &self.setup.inputs[*input];
            let apart = match &input.lines {
                InputLines::Dual { dual, .. } => dual.discrepancy_time.value,
                InputLines::Single(_) => Span::ZERO,
            };
            apart.as_nanos().saturating_add(input.filter.value.as_nanos())
        });
        let period = self.outcome.longest_period.as_nanos();
        let before = longest.max()?.saturating_add(period.saturating_mul(4));
        let since = Instant::from_nanos(at.as_nanos().saturating_sub(before));
        Some(since.max(excerpt.first()?))
    }

    /// Whether it is the fault of an input, or a trip whose demand such a fault held on.
    fn is_by_lines(&self) -> bool {
        match self.subject {
            Subject::Fault(_, fault) => matches!(fault.kind, FaultKind::Input(_)),
            Subject::Trip(_, trip) => {
                let TripRule::Monitor(monitor, _) = trip.rule else { return false };
                let demands = |input| {
                    let sources = self.setup.monitors[monitor].demand.iter().map(|demand| demand.source);
                    sources.into_iter().any(|source| source == DemandSource::Input(input))
                };
                let held = trip.demanded_at..=trip.tripped_at;
                let faults = self.outcome.faults.kept.iter().filter(|fault| held.contains(&fault.from));
                let mut inputs = faults.filter_map(|fault| match fault.kind {
                    FaultKind::Input(input) => Some(input),
                    _ => None,
                });
                inputs.any(demands)
            }
            Subject::Planned(_) | Subject::Nothing => false,
        }
    }

    /// The unit of the analogue value in question.
    fn value_unit(&self) -> &'static str {
        let unit = match self.subject {
            Subject::Trip(_, trip) => match trip.rule {
                TripRule::Monitor(monitor, _) => self.setup.analogue_unit(monitor),
                TripRule::Analogue(of) => Some(self.setup.analogues[of].unit),
                _ => None,
            },
            Subject::Fault(_, Fault { kind: FaultKind::Analogue(of, ..), .. }) => {
                Some(self.setup.analogues[*of].unit)
            }
            _ => None,
        };
        unit.map_or("", AnalogueUnit::symbol)
    }

    /// Stretches after the violation, before the next reset, in which both channels were beyond the limit for as long as it takes.
    fn later(
        &self,
        rule: TripRule,
        points: &[Point],
        from: Instant,
        until: Instant,
    ) -> Vec<(Instant, Instant)> {
        let delay = match rule {
            TripRule::Monitor(monitor, _) => self.setup.monitors[monitor].on_delay.value,
            TripRule::PositionDiscrepancy => {
                self.setup.discrepancy.as_ref().map_or(Span::ZERO, |rule| rule.discrepancy_time.value)
            }
            TripRule::SpeedDiscrepancy => {
                self.setup.speed_discrepancy.as_ref().map_or(Span::ZERO, |rule| rule.discrepancy_time.value)
            }
            TripRule::Analogue(_) => return Vec::new(),
        };
        let mut stretches: Vec<(Instant, Instant)> = Vec::new();
        let mut is_going_on = false;
        for point in points.iter().filter(|point| from < point.now && point.now <= until) {
            let both = point.held.iter().all(|held| held.is_some_and(|held| held.excess() > 0.0));
            match stretches.last_mut() {
                Some(last) if both && is_going_on => last.1 = point.now,
                _ if both => stretches.push((point.now, point.now)),
                _ => {}
            }
            is_going_on = both;
        }
        stretches.retain(|(start, end)| end.since(*start).is_some_and(|lasted| lasted >= delay));
        stretches
    }

    /// Trips of the same rule before and after the present latch that changed settings would let pass.
    fn others(&self, changes: &mut [Change]) {
        let Subject::Trip(_, explained) = self.subject else { return };
        let is_same = |rule: TripRule| match (rule, explained.rule) {
            (TripRule::Monitor(one, Channel::A), TripRule::Monitor(other, _)) => one == other,
            (one, other) => !matches!(one, TripRule::Monitor(..)) && one == other,
        };
        let is_real = |trip: &&Trip| {
            let confirmed = trip.confirmed_by.is_some() || !matches!(trip.rule, TripRule::Monitor(..));
            is_same(trip.rule) && confirmed && trip.resets_before != explained.resets_before
        };
        let mut tried = 0;
        for trip in self.outcome.trips.kept.iter().filter(is_real) {
            let rerun = (tried < MOST_OTHERS).then(|| self.rerun_of(trip)).flatten();
            tried += usize::from(rerun.is_some());
            for change in changes.iter_mut() {
                let Some(setup) = change.setup.as_deref() else { continue };
                let event = Happening::Trip(trip.rule);
                let happens = |setup| {
                    let rerun = rerun.as_ref().filter(|_| setup_has_same_window(self.setup, setup))?;
                    rerun.first(setup, event, trip.tripped_at.max(confirmed_at(trip))).ok()
                };
                match (happens(self.setup), happens(setup)) {
                    (Some(Some(_)), Some(None)) => {
                        change.lets_pass.push(crate::report::Seconds(self.outcome.time_ns(trip.tripped_at)));
                    }
                    (Some(Some(_)), Some(Some(_))) => {}
                    _ => change.not_tried += 1,
                }
            }
        }
    }

    /// The frames that led to another trip.
    fn rerun_of(&self, trip: &Trip) -> Option<Rerun> {
        let excerpt = self.excerpts.iter().find(|excerpt| excerpt.holds(trip.tripped_at))?;
        let demanded = match trip.rule {
            TripRule::Monitor(monitor, _) if !self.setup.monitors[monitor].is_always_active() => {
                trip.demanded_at
            }
            _ => trip.violated_since,
        };
        let start = demanded.min(trip.violated_since);
        Rerun::at(excerpt, start, trip.tripped_at.max(confirmed_at(trip)))
    }
}

/// The first frame of the stretch up to a trip in which either channel was beyond its limit at every frame.
fn violated_since(points: &[Point], tripped_at: Instant) -> Option<Instant> {
    let end = points.partition_point(|point| point.now <= tripped_at);
    let is_beyond = |point: &&Point| point.held.iter().flatten().any(|held| held.excess() > 0.0);
    points[..end].iter().rev().take_while(is_beyond).last().map(|point| point.now)
}

/// The last frame of the stretch after a trip in which either channel was beyond its limit, and whether the frames end before it does.
fn violated_until(points: &[Point], tripped_at: Instant, last: Instant) -> (Instant, bool) {
    let from = points.partition_point(|point| point.now < tripped_at);
    let is_beyond =
        |point: &&Point| point.now <= last && point.held.iter().flatten().any(|held| held.excess() > 0.0);
    let stretch = points[from..].iter().take_while(is_beyond);
    let count = stretch.clone().count();
    let until = stretch.last().map_or(tripped_at, |point| point.now);
    (until, from + count >= points.len())
}

/// By how much it was beyond what was allowed between two instants, at the most, in thousandths.
fn guess(points: &[Point], since: Instant, until: Instant) -> i64 {
    let within = points.iter().filter(|point| since <= point.now && point.now <= until);
    let excess = within.flat_map(|point| point.held).flatten().map(|held| held.excess());
    let most = excess.max_by(f64::total_cmp).unwrap_or(0.0);
    #[expect(clippy::cast_possible_truncation, reason = "it saturates, and is where a search begins")]
    let thousandths = (most * 1000.0).ceil() as i64;
    thousandths.clamp(1, 1 << 40)
}

/// When the other channel confirmed a trip; the trip itself where it did not.
fn confirmed_at(trip: &Trip) -> Instant {
    let after = trip.confirmed_by.map_or(0, |by| by.after_ns).max(0);
    let at = i128::from(trip.tripped_at.as_nanos()).saturating_add(after);
    u64::try_from(at).map_or(trip.tripped_at, Instant::from_nanos)
}

/// Whether speeds are measured alike: else what the state remembers is not what it would.
fn setup_has_same_window(one: &Setup, other: &Setup) -> bool {
    one.speed.window.value == other.speed.window.value
}
