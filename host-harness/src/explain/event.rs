//! What one channel alone did that no motion does.

use monitor_core::{Channel, Instant};
use schemars::JsonSchema;
use serde::Serialize;

use super::raw::{Raw, Readings, seconds};
use super::rerun::index;
use super::track::number;
use crate::causes::Side;
use crate::report::Seconds;
use crate::setup::{Setup, Source};

/// The most events that are told, the last ones before what is explained.
const MOST: usize = 16;

/// A jump so near to the end of a run belongs to it: 3 ms.
const END_NS: i128 = 3_000_000;

/// Something that one channel did alone.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Event {
    /// The channel.
    pub channel: Side,
    /// The frame at which it began, on the clock of the trace.
    pub at_s: Seconds,
    /// The last frame of it.
    pub until_s: Seconds,
    /// What it was.
    #[serde(flatten)]
    pub what: What,
}

/// What a channel did alone. Lengths are in the unit of the axis.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[serde(tag = "event", rename_all = "kebab-case")]
pub enum What {
    /// The position jumped and came back with the next reading.
    Spike {
        /// By how much.
        by: f64,
    },
    /// The position jumped and stayed.
    Jump {
        /// By how much, beyond what the other channel moved meanwhile.
        by: f64,
    },
    /// The count changed by nearly a power of two: the counter wraps at another width than the setup says.
    Width {
        /// At which it seems to wrap.
        bits: u8,
    },
    /// The count stood still while the other channel moved.
    Frozen {
        /// What the other travelled meanwhile.
        travel: f64,
    },
    /// It moved against the other channel.
    Reversed {
        /// What the other travelled meanwhile.
        travel: f64,
    },
    /// No reading came, for much longer than usual.
    NoReading {
        /// The usual time between two readings, in seconds.
        usual_s: f64,
    },
    /// Readings were marked as invalid by their source.
    Invalid,
    /// A reading was captured before the one before it, or after its own frame.
    OutOfOrder,
    /// Readings were older than before when they came.
    Late {
        /// Their age, in seconds.
        age_s: f64,
        /// The usual age, in seconds.
        usual_s: f64,
    },
}

impl What {
    /// What the channel did, in words, in the unit of the axis.
    #[must_use]
    pub fn text(&self, unit: &str) -> String {
        match self {
            Self::Spike { by } => format!("jumped by {by:+.4} {unit} and back with the next reading"),
            Self::Jump { by } => format!("jumped by {by:+.4} {unit} from one reading to the next"),
            Self::Width { bits } => format!("wraps its counter at {bits} bits, as it seems"),
            Self::Frozen { travel } => format!("stood still while the other travelled {travel:.4} {unit}"),
            Self::Reversed { travel } => {
                format!("moved against the other, which travelled {travel:.4} {unit}")
            }
            Self::NoReading { usual_s } => {
                format!("sent no reading; usually one comes every {:.3} ms", usual_s * 1e3)
            }
            Self::Invalid => "marked its readings as invalid".to_owned(),
            Self::OutOfOrder => "sent a capture time before the last one, or after its row".to_owned(),
            Self::Late { age_s, usual_s } => {
                format!("sent readings {:.3} ms old, usually {:.3} ms", age_s * 1e3, usual_s * 1e3)
            }
        }
    }
}

/// What is looked through.
pub(super) struct Scene<'a> {
    pub(super) setup: &'a Setup,
    pub(super) readings: &'a [Readings; 2],
    /// From when to when it has to do with what is explained.
    pub(super) near: (Instant, Instant),
    /// What to add to an instant to get the time in the trace.
    pub(super) origin_ns: i128,
}

/// Everything that either channel did alone, in order of time.
pub(super) fn events(scene: &Scene<'_>) -> Vec<Event> {
    let mut events = Vec::new();
    for channel in Channel::BOTH {
        scene.missing(channel, &mut events);
        scene.ages(channel, &mut events);
        let runs = scene.runs(channel);
        // Where a run begins or ends the count jumps, too: that is told already.
        let is_end = |event: &Event| {
            runs.iter().any(|run| {
                let ends = [run.at_s.0, run.until_s.0];
                ends.iter().any(|end| (event.at_s.0 - end).abs() <= END_NS)
            })
        };
        events.extend(scene.steps(channel).into_iter().filter(|step| !is_end(step)));
        events.extend(runs);
    }
    let (from, to) = scene.near;
    let time = |at: Instant| i128::from(at.as_nanos()) + scene.origin_ns;
    events.retain(|event| event.until_s.0 >= time(from) && event.at_s.0 <= time(to));
    events.sort_by_key(|event| event.at_s);
    // The last ones: they are nearest to it.
    events.split_off(events.len().saturating_sub(MOST))
}

impl Scene<'_> {
    fn event(&self, channel: Channel, from: Instant, until: Instant, what: What) -> Event {
        let time = |at: Instant| Seconds(i128::from(at.as_nanos()) + self.origin_ns);
        Event { channel: channel.into(), at_s: time(from), until_s: time(until), what }
    }

    /// Readings that did not come, came invalid, or out of order.
    fn missing(&self, channel: Channel, events: &mut Vec<Event>) {
        let readings = &self.readings[index(channel)];
        let usual = readings.usual_interval();
        let gaps = readings.all.windows(2).filter(|pair| {
            let passed = pair[1].captured_at.since(pair[0].captured_at).map_or(0, |span| span.as_nanos());
            // Readings that came and were marked as invalid are told of as such.
            let is_marked = readings.invalid.iter().any(|at| pair[0].now < *at && *at < pair[1].now);
            usual > 0 && passed > usual.saturating_mul(3) && !is_marked
        });
        let what = What::NoReading { usual_s: seconds(usual) };
        events.extend(gaps.map(|pair| self.event(channel, pair[0].now, pair[1].now, what.clone())));
        let mut invalid = readings.invalid.iter().peekable();
        while let Some(&from) = invalid.next() {
            let mut until = from;
            while let Some(&&next) = invalid.peek()
                && next.since(until).is_some_and(|span| span.as_nanos() <= usual.saturating_mul(3).max(1))
            {
                until = next;
                invalid.next();
            }
            events.push(self.event(channel, from, until, What::Invalid));
        }
        let turned = readings.all.windows(2).filter(|pair| pair[1].captured_at < pair[0].captured_at);
        let ahead = readings.all.iter().filter(|raw| raw.captured_at > raw.now);
        let at = turned.map(|pair| pair[1].now).chain(ahead.map(|raw| raw.now));
        events.extend(at.map(|at| self.event(channel, at, at, What::OutOfOrder)));
    }

    /// Readings that were older than before.
    fn ages(&self, channel: Channel, events: &mut Vec<Event>) {
        let readings = &self.readings[index(channel)];
        let age = |raw: &Raw| raw.now.since(raw.captured_at).map_or(0, |span| span.as_nanos());
        let mut ages: Vec<u64> = readings.all.iter().map(age).collect();
        if ages.len() < 8 {
            return;
        }
        let middle = ages.len() / 2;
        let usual = *ages.select_nth_unstable(middle).1;
        let most =
            usual.saturating_add(readings.usual_interval().saturating_mul(2)).max(usual.saturating_mul(2));
        let mut late: Vec<(Instant, Instant, u64)> = Vec::new();
        let mut is_going_on = false;
        for raw in &readings.all {
            let age = age(raw);
            let is_late = age > most;
            match late.last_mut() {
                Some(run) if is_going_on && is_late => (run.1, run.2) = (raw.now, run.2.max(age)),
                _ if is_late => late.push((raw.now, raw.now, age)),
                _ => {}
            }
            is_going_on = is_late;
        }
        events.extend(late.into_iter().map(|(from, until, age)| {
            let what = What::Late { age_s: seconds(age), usual_s: seconds(usual) };
            self.event(channel, from, until, what)
        }));
    }

    /// Changes from one reading to the next that the other channel did not see.
    fn steps(&self, channel: Channel) -> Vec<Event> {
        let mut events = Vec::new();
        let (own, other) = (&self.readings[index(channel)], &self.readings[index(channel.other())]);
        let beyond = |pair: &[Raw]| {
            let moved = other.at(pair[1].captured_at)? - other.at(pair[0].captured_at)?;
            Some(own.travel(pair[1].counts.wrapping_sub(pair[0].counts)) - moved)
        };
        let beyond: Vec<Option<f64>> = own.all.windows(2).map(beyond).collect();
        let mut sizes: Vec<f64> = beyond.iter().flatten().map(|step| step.abs()).collect();
        if sizes.len() < 8 {
            return events;
        }
        let middle = sizes.len() / 2;
        let usual = *sizes.select_nth_unstable_by(middle, f64::total_cmp).1;
        let counts = own.unit.abs().max(other.unit.abs()) / 2.0;
        let least = (12.0 * usual.max(counts)).max(self.matters());
        let mut passed = 0;
        for place in 0..beyond.len() {
            let Some(by) = beyond[place].filter(|by| by.abs() > least && place >= passed) else {
                continue;
            };
            let (before, after) = (own.all[place], own.all[place + 1]);
            // The other one may have been it.
            if !self.is_own(channel, place, by) {
                continue;
            }
            let back = beyond
                .get(place + 1)
                .copied()
                .flatten()
                .is_some_and(|next| (next + by).abs() < by.abs() / 4.0);
            let what = match self.width(channel, after.counts.wrapping_sub(before.counts), by) {
                Some(bits) => What::Width { bits },
                None if back => What::Spike { by },
                None => What::Jump { by },
            };
            passed = if back { place + 2 } else { place + 1 };
            events.push(self.event(channel, after.now, after.now, what));
        }
        events
    }

    /// A change that is smaller does not matter: a twentieth of what the positions may be apart.
    fn matters(&self) -> f64 {
        let tolerance = self.setup.discrepancy.as_ref().map(|rule| rule.tolerance.value);
        tolerance.map_or(0.0, |tolerance| number(tolerance.to_bits()) / 20.0)
    }

    /// Whether a change is of this channel: it does not go on as it went before, and the other one does.
    fn is_own(&self, channel: Channel, place: usize, by: f64) -> bool {
        let own = &self.readings[index(channel)];
        let step = |place: usize| {
            let pair = own.all.get(place..place + 2)?;
            Some(own.travel(pair[1].counts.wrapping_sub(pair[0].counts)))
        };
        let (Some(now), Some(before)) = (step(place), place.checked_sub(1).and_then(step)) else {
            return true;
        };
        (now - before).abs() > by.abs() / 2.0
    }

    /// The width at which a counter wraps that changed by so many counts, `by` more than the other channel moved: what is left without the
    /// wrap has to be what that moved.
    fn width(&self, channel: Channel, counts: i64, by: f64) -> Option<u8> {
        let Source::Counter { bits, .. } = &self.setup.channel(channel).source else { return None };
        let own = &self.readings[index(channel)];
        let other = &self.readings[index(channel.other())];
        let moved = (own.travel(counts) - by).abs();
        let near = (moved / 10.0).max(4.0 * own.unit.abs().max(other.unit.abs()));
        (8..*bits).find(|&width| {
            let wrap = own.travel(1_i64 << width.min(62)).abs();
            (by.abs() - wrap).abs() <= near
        })
    }

    /// Stretches in which it stood still or went back while the other one moved.
    fn runs(&self, channel: Channel) -> Vec<Event> {
        let (own, other) = (&self.readings[index(channel)], &self.readings[index(channel.other())]);
        let least = (40.0 * own.unit.abs().max(other.unit.abs())).max(self.matters());
        let mut runs: Vec<(usize, usize, bool, f64)> = Vec::new();
        let mut open: Option<(usize, bool, f64)> = None;
        let mut close = |open: Option<(usize, bool, f64)>, end: usize| {
            if let Some((from, still, travel)) = open
                && travel.abs() > least
                && end - from >= 5
            {
                runs.push((from, end, still, travel));
            }
        };
        for (place, pair) in own.all.windows(2).enumerate() {
            let moved = own.travel(pair[1].counts.wrapping_sub(pair[0].counts));
            let other_moved = match (other.at(pair[0].captured_at), other.at(pair[1].captured_at)) {
                (Some(from), Some(to)) => to - from,
                _ => 0.0,
            };
            // The other one makes at least two counts: less may be the resolution of this one.
            let is_still = pair[1].counts == pair[0].counts;
            let is_against = moved * other_moved < 0.0 && moved.abs() > other_moved.abs() / 2.0;
            match open {
                Some((from, still, travel)) if still == is_still && (is_still || is_against) => {
                    open = Some((from, still, travel + other_moved));
                }
                _ => {
                    close(open.take(), place);
                    open = (is_still || is_against).then_some((place, is_still, other_moved));
                }
            }
        }
        close(open, own.all.len().saturating_sub(1));
        // Against each other go both: it is the one that has turned.
        let step = |place: usize| {
            own.all.get(place..place + 2).map(|pair| pair[1].counts.wrapping_sub(pair[0].counts))
        };
        let goes_on = |from: usize| {
            let before = from.checked_sub(1).and_then(step);
            before.zip(step(from)).is_some_and(|(before, now)| before.signum() == now.signum() && now != 0)
        };
        runs.retain(|(from, _, still, _)| *still || !goes_on(*from));
        let told = runs.into_iter().map(|(from, until, still, travel)| {
            let travel = travel.abs();
            let what = if still { What::Frozen { travel } } else { What::Reversed { travel } };
            self.event(channel, own.all[from].now, own.all[until].now, what)
        });
        told.collect()
    }
}
