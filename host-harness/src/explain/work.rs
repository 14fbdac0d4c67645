//! From the outcome of a replay and what was kept of it to an explanation.

use monitor_core::{Channel, Instant, Span};

use super::cure::{self, Cure};
use super::event::{self, Event, Scene, What};
use super::excerpt::Excerpt;
use super::explanation::{Costed, Explained, Explanation, InWords, SCHEMA_VERSION};
use super::judge::Judge;
use super::raw::Readings;
use super::rerun::{self, Event as Happening};
use super::subject::Subject;
use super::track::{self, Point, Question};
use super::verdict::Verdict;
use super::what_if::{self, Change, Search};
use super::witness::{self, Stretch, Witness};
use super::{Again, cost, knob, nearest, story, timing};
use crate::causes::{self, Cause, Decomposition, Options, Samples};
use crate::replay::{FaultKind, Outcome, TripRule};
use crate::setup::{InputLines, Setup};
use crate::vary::Base;

/// What an explanation is worked out from.
pub(super) struct Work<'a> {
    pub(super) base: &'a Base,
    pub(super) setup: &'a Setup,
    pub(super) outcome: &'a Outcome,
    pub(super) excerpts: Vec<Excerpt>,
    pub(super) subject: Subject<'a>,
}

impl Work<'_> {
    pub(super) fn explanation(
        &self,
        path: &str,
        samples: Samples,
        marked: Option<Instant>,
        again: Again<'_>,
    ) -> Explanation {
        let (setup, outcome) = (self.setup, self.outcome);
        let (setup_report, trace) = crate::report::heads(setup, outcome, path, 0);
        let mut cannot_tell = Vec::new();
        let excerpt = self.excerpt();
        let question = match self.subject {
            Subject::Trip(_, trip) => Some(Question::of(trip.rule, &trip.evidence)),
            _ => None,
        };
        let points = match (excerpt, self.subject.at()) {
            (Some(excerpt), Some(at)) => track::track(excerpt, self.looks_from(at), question),
            _ => Vec::new(),
        };
        self.bounds_of_knowledge(&points, &mut cannot_tell);
        let readings = Channel::BOTH.map(|channel| Readings::of(setup, &points, channel));
        let scene = Scene { setup, readings: &readings, origin_ns: outcome.origin_ns };
        let mut events = self.around(event::events(&scene));
        let apart = self.apart(samples, marked, &mut cannot_tell);
        if let Some(Cause::TimeSkew { late, .. }) =
            apart.as_ref().and_then(Decomposition::main).map(|main| &main.cause)
        {
            // Where readings begin to be later the position steps back: that is told by the skew.
            events.retain(|event| event.channel != *late || !matches!(event.what, What::Jump { .. }));
        }
        let witnesses = self.witnesses(&points);
        let nobody = [unknown(Channel::A), unknown(Channel::B)];
        let judge = Judge {
            setup,
            outcome,
            points: &points,
            witnesses: witnesses.as_ref().unwrap_or(&nobody),
            events: &events,
            apart: apart.as_ref(),
        };
        let verdict = judge.verdict(self.subject);
        let words = causes::Words::new(setup.unit);
        let in_words =
            InWords { what: verdict.what(&words), why: verdict.why(&words), advice: verdict.advice() };
        let story = story::story(setup, outcome, &points, self.subject);
        let reaction = match self.subject {
            Subject::Trip(_, trip) => timing::parts(setup, &points, trip, outcome.longest_period),
            _ => Vec::new(),
        };
        let what_if = excerpt.map_or_else(Vec::new, |excerpt| self.what_if(excerpt, &points));
        let cures = self.cures(&verdict, again);
        let nearest =
            if self.subject == Subject::Nothing { nearest::nearest(setup, outcome) } else { Vec::new() };
        Explanation {
            schema: SCHEMA_VERSION,
            setup: setup_report,
            trace,
            explained: self.explained(),
            guard: verdict.guard(),
            verdict,
            in_words,
            story,
            reaction,
            witnesses: witnesses.map_or_else(Vec::new, Vec::from),
            events,
            apart,
            cures,
            what_if,
            nearest,
            cannot_tell,
        }
    }

    /// From where on the frames are looked at: a little before the demand, or before a line of an input changed.
    fn looks_from(&self, at: Instant) -> Instant {
        let begins = match self.subject {
            Subject::Fault(_, fault) => {
                let disagree = match fault.kind {
                    FaultKind::Input(input) => match &self.setup.inputs[input].lines {
                        InputLines::Dual { dual, .. } => dual.discrepancy_time.value.as_nanos(),
                        InputLines::Single(_) => 0,
                    },
                    _ => 0,
                };
                at.as_nanos().saturating_sub(disagree.saturating_mul(2))
            }
            _ => self.demanded().unwrap_or(at).as_nanos(),
        };
        let filters = self.setup.inputs.iter().map(|input| input.filter.value.as_nanos());
        let filter = filters.max().unwrap_or(0).saturating_mul(4);
        let near = u64::try_from(NEAR_NS).unwrap_or(u64::MAX);
        Instant::from_nanos(begins.saturating_sub(filter).min(at.as_nanos().saturating_sub(near)))
    }

    /// The frames around it.
    fn excerpt(&self) -> Option<&Excerpt> {
        match self.subject.at() {
            Some(at) => self.excerpts.iter().find(|excerpt| excerpt.holds(at)),
            None => self.excerpts.last(),
        }
    }

    fn explained(&self) -> Explained {
        let (trips, faults) = (self.outcome.trips.kept.len(), self.outcome.faults.kept.len());
        let at_s = self.subject.at().map(|at| crate::report::Seconds(self.outcome.time_ns(at)));
        let (what, number, name, kind, channel) = match self.subject {
            Subject::Trip(place, trip) => {
                let (name, kind, channel) = crate::report::rule(self.setup, trip.rule);
                ("trip", Some(place + 1), name, kind.to_owned(), Some(channel.to_owned()))
            }
            Subject::Fault(place, fault) => {
                let (kind, who) = crate::report::faulted(self.setup, fault.kind);
                ("fault", Some(place + 1), who, kind, None)
            }
            Subject::Planned(stop) => {
                let monitor = &self.setup.monitors[stop.monitor];
                ("planned", None, monitor.name.clone(), monitor.kind.name().to_owned(), None)
            }
            Subject::Nothing => ("nothing", None, String::new(), String::new(), None),
        };
        Explained { what: what.to_owned(), number, name, kind, channel, at_s, trips, faults }
    }

    /// When what is held against the motion began.
    fn demanded(&self) -> Option<Instant> {
        match self.subject {
            Subject::Trip(_, trip) => match trip.rule {
                TripRule::Monitor(monitor, _) if !self.setup.monitors[monitor].is_always_active() => {
                    Some(trip.demanded_at)
                }
                _ => None,
            },
            Subject::Planned(stop) => Some(stop.demanded_at),
            _ => None,
        }
    }

    fn witnesses(&self, points: &[Point]) -> Option<[Witness; 2]> {
        let at = self.subject.at()?;
        let crossed = match self.subject {
            Subject::Trip(_, trip) => trip.crossed_at,
            _ => at,
        };
        let window = self.setup.speed.window.value.as_nanos();
        let stretch = Stretch {
            demanded: self.demanded().unwrap_or(Instant::from_nanos(0)),
            crossed,
            at,
            slack: (2 * window).max(SLACK),
            origin_ns: self.outcome.origin_ns,
        };
        (!points.is_empty()).then(|| witness::witnesses(points, stretch))
    }

    /// What is near enough to it to have to do with it.
    fn around(&self, events: Vec<Event>) -> Vec<Event> {
        let Some(at) = self.subject.at() else { return Vec::new() };
        let at = self.outcome.time_ns(at);
        let since = self.subject.begins().map_or(at, |begins| self.outcome.time_ns(begins)).max(at - NEAR_NS);
        let is_near = |event: &Event| event.until_s.0 >= since.min(at) - NEAR_NS / 4 && event.at_s.0 <= at;
        events.into_iter().filter(is_near).collect()
    }

    /// Where the disagreement of the positions comes from.
    fn apart(
        &self,
        mut samples: Samples,
        marked: Option<Instant>,
        cannot_tell: &mut Vec<String>,
    ) -> Option<Decomposition> {
        let asks = match self.subject {
            Subject::Trip(_, trip) => match trip.rule {
                TripRule::Analogue(_) => false,
                TripRule::Monitor(monitor, _) => self.setup.monitors[monitor].kind.analogue().is_none(),
                TripRule::PositionDiscrepancy | TripRule::SpeedDiscrepancy => true,
            },
            Subject::Fault(_, fault) => matches!(fault.kind, FaultKind::Channel(..)),
            _ => false,
        };
        if !asks || samples.points.is_empty() {
            return None;
        }
        if let Some(at) = self.subject.at()
            && marked != Some(at)
        {
            // Marked was what happened first; what is explained may be the one after it.
            let place = samples.points.partition_point(|point| point.now_ns < at.as_nanos());
            samples.trip = place.min(samples.points.len() - 1);
        }
        let options = Options { origin_ns: self.outcome.origin_ns, ..Options::default() };
        let found = causes::decompose(&samples, &options);
        cannot_tell.extend(found.inconclusive.iter().map(ToString::to_string));
        Some(found)
    }

    /// What the frames that were kept, or the trace, do not tell.
    fn bounds_of_knowledge(&self, points: &[Point], cannot_tell: &mut Vec<String>) {
        let Some(at) = self.subject.at() else { return };
        let first = self.outcome.first.unwrap_or(at);
        let into = at.since(first).map_or(0, Span::as_nanos);
        if into < FIRST_FRAMES_NS.max(4 * self.setup.speed.window.value.as_nanos()) {
            cannot_tell.push(format!(
                "it happened {} ms after the first frame: what led to it is not in the trace",
                crate::report::millis(into.into())
            ));
        }
        if points.is_empty() {
            cannot_tell
                .push("the frames around it were not kept: there were too many events before".to_owned());
        }
        let span = self.outcome.last.and_then(|last| last.since(first)).map_or(0, Span::as_nanos);
        for channel in Channel::BOTH {
            let ages = points.iter().filter_map(|point| {
                let captured = point.readings[rerun::index(channel)]?.captured_at;
                Some(point.now.as_nanos().abs_diff(captured.as_nanos()))
            });
            if let Some(age) = ages.min().filter(|age| *age > span && span > 0) {
                cannot_tell.push(format!(
                    "capture times of channel {} lie {} s away from the rows, further than the trace is long: the two clocks \
                     count from different origins, and nothing can be said of this channel",
                    causes::Side::from(channel).letter(),
                    crate::report::short(age.into())
                ));
            }
        }
    }

    /// The settings that would have let it pass, and what each costs.
    fn what_if(&self, excerpt: &Excerpt, points: &[Point]) -> Vec<Costed> {
        let (event, at, since, knobs, guess, rule) = match self.subject {
            Subject::Trip(_, trip) => {
                let knobs = knob::of_trip(self.setup, trip);
                let since = violated_since(points, trip.tripped_at).unwrap_or(trip.violated_since);
                (
                    Happening::Trip(trip.rule),
                    trip.tripped_at,
                    since,
                    knobs,
                    guess(points, since),
                    Some(trip.rule),
                )
            }
            Subject::Fault(_, fault) => {
                let knobs = knob::of_fault(self.setup, fault);
                (Happening::Fault(fault.kind), fault.from, fault.from, knobs, 1, None)
            }
            Subject::Planned(_) | Subject::Nothing => return Vec::new(),
        };
        let value_unit = match rule {
            Some(TripRule::Monitor(monitor, _)) => self.setup.analogue_unit(monitor),
            Some(TripRule::Analogue(of)) => Some(self.setup.analogues[of].unit),
            _ => None,
        };
        let search = Search {
            setup: self.setup,
            base: self.base,
            excerpt,
            event,
            at,
            since,
            demanded: self.demanded(),
            guess,
            value_unit: value_unit.map_or("", crate::setup::AnalogueUnit::symbol),
        };
        let period = self.outcome.longest_period;
        let mut changes = what_if::changes(&search, &knobs);
        for change in &mut changes {
            change.lets_pass = self.lets_pass(change, rule);
        }
        changes
            .into_iter()
            .map(|change| {
                let cost = rule
                    .zip(change.setup.as_deref())
                    .map(|(rule, changed)| cost::cost(self.setup, changed, period, rule));
                Costed { change, cost }
            })
            .collect()
    }

    /// Real violations of the same rule at other times that a changed setting would let pass.
    fn lets_pass(&self, change: &Change, rule: Option<TripRule>) -> Vec<crate::report::Seconds> {
        let (Some(TripRule::Monitor(monitor, _)), Some(setup)) = (rule, change.setup.as_deref()) else {
            return Vec::new();
        };
        let Subject::Trip(_, explained) = self.subject else { return Vec::new() };
        let others = self.outcome.trips.kept.iter().filter(|trip| {
            matches!(trip.rule, TripRule::Monitor(of, Channel::A) if of == monitor)
                && trip.confirmed_by.is_some()
                && trip.resets_before != explained.resets_before
        });
        let mut passed = Vec::new();
        for trip in others {
            let Some(excerpt) = self.excerpts.iter().find(|excerpt| excerpt.holds(trip.tripped_at)) else {
                continue;
            };
            let points_from = self.demand_of(trip).unwrap_or(trip.violated_since).min(trip.violated_since);
            let Some(rerun) = rerun::Rerun::at(excerpt, points_from) else { continue };
            let event = Happening::Trip(trip.rule);
            let happens = |setup| rerun.first(setup, event).ok().flatten();
            if happens(self.setup).is_some() && happens(setup).is_none() {
                passed.push(crate::report::Seconds(self.outcome.time_ns(trip.tripped_at)));
            }
        }
        passed
    }

    fn demand_of(&self, trip: &crate::replay::Trip) -> Option<Instant> {
        match trip.rule {
            TripRule::Monitor(monitor, _) if !self.setup.monitors[monitor].is_always_active() => {
                Some(trip.demanded_at)
            }
            _ => None,
        }
    }

    fn cures(&self, verdict: &Verdict, again: Again<'_>) -> Vec<Cure> {
        let Subject::Trip(_, trip) = self.subject else { return Vec::new() };
        match verdict {
            Verdict::Apart { cause, .. } => {
                let again = again.filter(|_| self.outcome.frames <= cure::MOST_FRAMES_AGAIN);
                cure::cures(self.setup, cause, trip, again)
            }
            _ => Vec::new(),
        }
    }
}

/// How long before and after it the other channel may come to the same: 20 ms, or two windows of the speed where those are longer.
const SLACK: u64 = 20_000_000;

/// What happened longer before it has hardly to do with it: 2 s.
const NEAR_NS: i128 = 2_000_000_000;

/// Sooner after the first frame than this what led to it is not in the trace: 50 ms, or four windows of the speed.
const FIRST_FRAMES_NS: u64 = 50_000_000;

/// The first frame of the stretch up to a trip in which either channel was beyond its limit at every frame.
fn violated_since(points: &[Point], tripped_at: Instant) -> Option<Instant> {
    let end = points.partition_point(|point| point.now <= tripped_at);
    let is_beyond = |point: &&Point| point.held.iter().flatten().any(|held| held.excess() > 0.0);
    points[..end].iter().rev().take_while(is_beyond).last().map(|point| point.now)
}

/// By how much it was beyond what was allowed from an instant on, at the most, in thousandths.
fn guess(points: &[Point], since: Instant) -> i64 {
    let from = points.partition_point(|point| point.now < since);
    let excess = points[from..].iter().flat_map(|point| point.held).flatten().map(|held| held.excess());
    let most = excess.max_by(f64::total_cmp).unwrap_or(0.0);
    #[expect(clippy::cast_possible_truncation, reason = "it saturates, and is where a search begins")]
    let thousandths = (most * 1000.0).ceil() as i64;
    thousandths.clamp(1, 1 << 40)
}

fn unknown(channel: Channel) -> Witness {
    Witness {
        channel: channel.into(),
        speed_at_crossing: None,
        speed: None,
        travel: None,
        acceleration: None,
        observed: None,
        limit: None,
        beyond: None,
        beyond_since_s: None,
        beyond_for_s: 0.0,
    }
}
