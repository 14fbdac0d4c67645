//! What belongs to it besides: how fast it was where the rule is not on the speed, what went on after the permit went, and the next fault
//! of the same source.

use monitor_core::{Channel, Evidence, Instant, SourceFault, Span};

use super::explanation::InWords;
use super::raw::seconds;
use super::rerun::index;
use super::subject::Subject;
use super::track::{Point, number};
use super::words::{ms, plain};
use super::work::Work;
use crate::replay::{Fault, FaultKind, Trip, TripRule};
use crate::report::{Figures, short};

/// What went further beyond its limit than so many times what it was beyond by at the trip went on.
pub(super) const GOES_ON: f64 = 2.0;

/// A value that is as near as this to its furthest has come to its end.
const NEARLY: f64 = 0.98;

/// A fault that comes sooner after another one of its source belongs to it: 1 s.
const SOON: u64 = 1_000_000_000;

impl Work<'_> {
    pub(super) fn aftermath(&self, points: &[Point], in_words: &mut InWords) {
        match self.subject {
            Subject::Trip(_, trip) => {
                in_words.why.extend(self.speed_then(points, trip));
                in_words.why.extend(self.went_on(points, trip));
            }
            Subject::Fault(place, fault) => in_words.why.extend(self.faulted_again(place, fault)),
            Subject::Planned(_) | Subject::Nothing => {}
        }
    }

    /// The speed at a trip that was decided by a way.
    fn speed_then(&self, points: &[Point], trip: &Trip) -> Option<String> {
        let TripRule::Monitor(_, channel) = trip.rule else { return None };
        let point = points.get(points.partition_point(|point| point.now < trip.tripped_at))?;
        let unit = self.setup.unit.symbol();
        let speed = plain(point.seen[index(channel)]?.speed?);
        match trip.evidence {
            Evidence::Overrun(_) => {
                let limit = plain(point.held[index(channel)]?.limit);
                Some(format!("its speed was {speed} {unit}/s then, where {limit} {unit}/s are allowed"))
            }
            Evidence::Position(_) => Some(format!("its speed was {speed} {unit}/s then")),
            _ => None,
        }
    }

    /// What took the permit went on for longer than the torque has to go.
    fn went_on(&self, points: &[Point], trip: &Trip) -> Option<String> {
        let TripRule::Monitor(_, channel) = trip.rule else { return None };
        let place = points.partition_point(|point| point.now < trip.tripped_at);
        let after = points.get(place..)?;
        let until = after.iter().position(|point| point.reset).unwrap_or(after.len());
        let after = &after[..until];
        let lost = after.iter().position(|point| !point.permit)?;
        if place == 0 || !points[place - 1].permit {
            return None;
        }
        let output = self.setup.machine.output_delay.as_ref().map(|delay| delay.value);
        let goes = output.map_or_else(String::new, |delay| {
            format!(", though the torque is to be gone {} after it", ms(seconds(delay.as_nanos())))
        });
        let after = &after[lost..];
        match trip.evidence {
            Evidence::Position(_) | Evidence::Value(_) => {
                let held = |point: &Point| point.held[index(channel)];
                let then = points.get(place).and_then(held)?;
                let mut beyond = after.iter().filter_map(|point| Some((point.now, held(point)?)));
                let furthest = beyond.clone().map(|(_, held)| held);
                let most = furthest.max_by(|one, other| one.excess().total_cmp(&other.excess()))?;
                // What scatters about where it stays has no end that tells anything.
                let (at, _) = beyond.find(|(_, held)| held.excess() >= NEARLY * most.excess())?;
                let unit = Figures::new(self.setup, trip.rule, &trip.evidence).unit;
                (most.excess() > GOES_ON * then.excess()).then(|| {
                    format!(
                        "after the permit went it went on until about {} s, to {} {unit}{goes}: did the torque go?",
                        short(self.outcome.time_ns(at)),
                        plain(most.observed)
                    )
                })
            }
            Evidence::Speed(_) | Evidence::Overrun(_) => {
                let lasted = self.got_faster(after)?;
                let window = self.setup.speed.window.value.as_nanos();
                let allowed = output.unwrap_or(Span::ZERO).as_nanos().saturating_add(window);
                (lasted > allowed).then(|| {
                    format!(
                        "it got faster for {} more after the permit went{goes}: did the torque go?",
                        ms(seconds(lasted))
                    )
                })
            }
            Evidence::Acceleration(_) => None,
        }
    }

    /// For how long the motion got faster from the first of these frames on, in ns; `None` where it did not.
    fn got_faster(&self, after: &[Point]) -> Option<u64> {
        let speed = |point: &Point| {
            let speeds = point.seen.iter().flatten().filter_map(|seen| seen.speed);
            speeds.map(f64::abs).max_by(f64::total_cmp)
        };
        let first = after.first()?;
        let at_first = speed(first)?;
        let speeds = after.iter().filter_map(|point| Some((point.now, speed(point)?)));
        // The next stop, or the next motion, is another one.
        let motion = speeds.take_while(|(_, speed)| *speed > at_first / 2.0);
        let (at, fastest) = motion.max_by(|one, other| one.1.total_cmp(&other.1))?;
        let window = self.setup.speed.window.value;
        let of = |channel| Some(number(self.setup.channel(channel).speed_resolution(window)?.to_bits()));
        let coarse = Channel::BOTH.into_iter().filter_map(of).fold(0.0, f64::max) + at_first / 100.0;
        (fastest > at_first + 3.0 * coarse).then(|| at.since(first.now).map_or(0, Span::as_nanos))
    }

    /// The same source was faulted again soon, and what becomes of its position.
    fn faulted_again(&self, place: usize, fault: &Fault) -> Vec<String> {
        let FaultKind::Channel(channel, kind, _) = fault.kind else { return Vec::new() };
        let mut told = Vec::new();
        if matches!(kind, SourceFault::Implausible) {
            told.push(
                "its count begins anew there, and so do the references: what it jumped by is in no discrepancy"
                    .to_owned(),
            );
        }
        let until = fault.to.as_nanos().saturating_add(SOON);
        let others = self.outcome.faults.kept.iter().enumerate().skip(place + 1);
        let mut same = others.filter(|(_, other)| {
            matches!(other.kind, FaultKind::Channel(of, ..) if of == channel)
                && other.from <= Instant::from_nanos(until)
        });
        if let Some((next, other)) = same.next() {
            told.push(format!(
                "the same source is faulted again at {} s (fault {})",
                short(self.outcome.time_ns(other.from)),
                next + 1
            ));
        }
        told
    }
}
