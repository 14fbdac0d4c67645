//! What belongs to it besides: how fast it was where the rule is not on the speed, what went on after the permit went, and the next fault
//! of the same source.

use monitor_core::{Channel, Evidence, Instant, SourceFault, Span};

use super::explanation::InWords;
use super::raw::seconds;
use super::rerun::index;
use super::subject::Subject;
use super::track::{Held, Point, number};
use super::words::{ms, plain};
use super::work::Work;
use crate::replay::{Fault, FaultKind, Trip, TripRule};
use crate::report::{Figures, short};
use crate::setup::Setup;

/// What went further beyond its limit than so many times what it was beyond by at the trip went on.
pub(super) const GOES_ON: f64 = 2.0;

/// A value that is as near as this to its furthest has come to its end.
const NEARLY: f64 = 0.98;

/// An axis that is as fast for so much longer is not braked by anything, its friction neither: 100 ms.
const BRAKES: u64 = 100_000_000;

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
        let TripRule::Monitor(monitor, channel) = trip.rule else { return None };
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
        if let Evidence::Value(_) = trip.evidence {
            // What is warm stays so, and a torque that is too small is not held up by any that goes on.
            let of_torque = self.setup.monitors[monitor].kind.name().starts_with("torque-");
            let then = points.get(place)?.held[index(channel)]?;
            let (at, most) = furthest(after, channel)?;
            let went_on =
                most.excess() > GOES_ON * then.excess() && most.observed.abs() > then.observed.abs();
            let unit = Figures::new(self.setup, trip.rule, &trip.evidence).unit;
            return (of_torque && went_on).then(|| {
                format!(
                    "after the permit went it went on until about {} s, to {} {unit}{goes}: did the torque go?",
                    short(self.outcome.time_ns(at)),
                    plain(most.observed)
                )
            });
        }
        let window = self.setup.speed.window.value.as_nanos();
        let gone = output.unwrap_or(Span::ZERO).as_nanos().saturating_add(window);
        match (self.got_faster(after), self.kept_speed(after)) {
            (Some(lasted), _) if lasted > gone => Some(format!(
                "it got faster for {} more after the permit went{goes}: did the torque go?",
                ms(seconds(lasted))
            )),
            (_, Some(lasted)) if lasted > gone.saturating_add(BRAKES) => Some(format!(
                "it kept its speed for {} after the permit went{goes}: did the torque go, and does anything brake?",
                ms(seconds(lasted))
            )),
            _ => None,
        }
    }

    /// For how long the motion stayed as fast as at the first of these frames, to a tenth, in ns; `None` where it stood.
    fn kept_speed(&self, after: &[Point]) -> Option<u64> {
        let first = after.first()?;
        let (at_first, coarse) = (fastest_of(first)?, coarse(self.setup));
        let least = at_first * 0.9 - coarse;
        let slower = after.iter().find(|point| fastest_of(point).is_none_or(|speed| speed < least));
        let until = slower.or(after.last())?;
        (least > coarse).then(|| until.now.since(first.now).map_or(0, Span::as_nanos))
    }

    /// For how long the motion got faster from the first of these frames on, in ns; `None` where it did not.
    fn got_faster(&self, after: &[Point]) -> Option<u64> {
        let first = after.first()?;
        let at_first = fastest_of(first)?;
        let speeds = after.iter().filter_map(|point| Some((point.now, fastest_of(point)?)));
        // The next stop, or the next motion, is another one.
        let motion = speeds.take_while(|(_, speed)| *speed > at_first / 2.0);
        let (at, fastest) = motion.max_by(|one, other| one.1.total_cmp(&other.1))?;
        let same = coarse(self.setup) + at_first / 100.0;
        (fastest > at_first + 3.0 * same).then(|| at.since(first.now).map_or(0, Span::as_nanos))
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

/// One count over the window, of the coarser channel.
pub(super) fn coarse(setup: &Setup) -> f64 {
    let window = setup.speed.window.value;
    let of = |channel| Some(number(setup.channel(channel).speed_resolution(window)?.to_bits()));
    Channel::BOTH.into_iter().filter_map(of).fold(0.0, f64::max)
}

/// The greater speed of the two channels, without a sign.
pub(super) fn fastest_of(point: &Point) -> Option<f64> {
    let speeds = point.seen.iter().flatten().filter_map(|seen| seen.speed);
    speeds.map(f64::abs).max_by(f64::total_cmp)
}

/// The furthest that a channel, or a line, is beyond its limit in these frames, and when it had come nearly so far: what scatters about
/// where it stays has no end that tells anything.
pub(super) fn furthest(points: &[Point], channel: Channel) -> Option<(Instant, Held)> {
    let mut held = points.iter().filter_map(|point| Some((point.now, point.held[index(channel)]?)));
    let all = held.clone().map(|(_, held)| held);
    let most = all.max_by(|one, other| one.excess().total_cmp(&other.excess()))?;
    let (at, _) = held.find(|(_, held)| held.excess() >= NEARLY * most.excess())?;
    Some((at, most))
}
