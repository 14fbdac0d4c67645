//! From the outcome of a replay and what was kept of it to an explanation.

use monitor_core::{Channel, Instant, Span};

use super::cure::{self, Cure};
use super::event::{self, Scene, What};
use super::excerpt::Excerpt;
use super::explanation::{Costed, Explanation, InWords, SCHEMA_VERSION};
use super::judge::Judge;
use super::raw::Readings;
use super::rerun;
use super::sampling::Sampled;
use super::subject::Subject;
use super::track::{self, Point, Quantity, Question};
use super::verdict::Verdict;
use super::witness::{self, Stretch, Witness};
use super::{Again, nearest, story, timing};
use crate::causes::{self, Cause, Decomposition, Options};
use crate::replay::{FaultKind, Outcome, TripRule};
use crate::setup::Setup;
use crate::vary::Base;

/// What an explanation is worked out from.
pub(super) struct Work<'a> {
    pub(super) base: &'a Base,
    pub(super) setup: &'a Setup,
    pub(super) outcome: &'a Outcome,
    pub(super) excerpts: &'a [Excerpt],
    pub(super) subject: Subject<'a>,
    pub(super) skipped_rows: u64,
}

impl Work<'_> {
    /// `sampled` is of the trace up to what is asked for; without it this is told in brief, without what would have let it pass.
    pub(super) fn explanation(&self, path: &str, sampled: Option<Sampled>, again: Again<'_>) -> Explanation {
        let (setup, outcome) = (self.setup, self.outcome);
        let (setup_report, trace) = crate::report::heads(setup, outcome, path, self.skipped_rows);
        let mut cannot_tell = Vec::new();
        let ((apart, mut doubts), (points, what_if)) = self.worked_out(sampled);
        self.bounds_of_knowledge(&points, &mut cannot_tell);
        let readings = Channel::BOTH.map(|channel| Readings::of(setup, &points, channel));
        let scene = Scene { setup, readings: &readings, near: self.near(), origin_ns: outcome.origin_ns };
        let mut events = event::events(&scene);
        cannot_tell.append(&mut doubts);
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
        let verdict = judge.verdict(self.subject).unwrap_or_else(|| self.clear());
        // Where both saw the motion nobody asks for it.
        if let Some(apart) = apart.as_ref().filter(|_| !matches!(verdict, Verdict::Motion { .. })) {
            cannot_tell.extend(apart.inconclusive.iter().map(ToString::to_string));
        }
        let words = causes::Words::new(setup.unit);
        let mut in_words =
            InWords { what: verdict.what(&words), why: verdict.why(&words), advice: verdict.advice() };
        self.aftermath(&points, &mut in_words);
        self.of_the_trace(&mut in_words);
        let story = story::story(setup, outcome, &points, self.subject);
        let reaction = match self.subject {
            Subject::Trip(_, trip) => timing::parts(setup, &points, trip, outcome.longest_period),
            _ => Vec::new(),
        };
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

    /// Where the channels part, with what cannot be told of it; what the core saw, and which settings would have let it pass.
    #[expect(clippy::type_complexity, reason = "two things that are worked out beside each other")]
    fn worked_out(
        &self,
        sampled: Option<Sampled>,
    ) -> ((Option<Decomposition>, Vec<String>), (Vec<Point>, Vec<Costed>)) {
        let is_brief = sampled.is_none();
        let excerpt = self.excerpt();
        let question = match self.subject {
            Subject::Trip(_, trip) => Some(Question::of(trip.rule, &trip.evidence)),
            Subject::Fault(_, fault) => match fault.kind {
                FaultKind::Analogue(of, ..) => {
                    Some(Question { rule: TripRule::Analogue(of), quantity: Quantity::Value })
                }
                _ => None,
            },
            _ => None,
        };
        // The two take about as long, and need nothing of each other.
        rayon::join(
            || {
                let mut doubts = Vec::new();
                (self.apart(sampled, &mut doubts), doubts)
            },
            || {
                let points = match (excerpt, self.subject.at()) {
                    (Some(excerpt), Some(at)) => track::track(excerpt, self.looks_from(at), question),
                    _ => Vec::new(),
                };
                let excerpt = excerpt.filter(|_| !is_brief);
                let what_if = excerpt.map_or_else(Vec::new, |excerpt| self.what_if(excerpt, &points));
                (points, what_if)
            },
        )
    }

    /// From where on the frames are looked at: a little before the demand, or before a line of an input changed.
    fn looks_from(&self, at: Instant) -> Instant {
        let begins = match self.subject {
            Subject::Fault(_, fault) => {
                let disagree = crate::picture::before(self.setup, fault);
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

    /// When what is held against the motion began.
    pub(super) fn demanded(&self) -> Option<Instant> {
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
        let (crossed, violated_since, own) = match self.subject {
            Subject::Trip(_, trip) => {
                let own = match trip.rule {
                    TripRule::Monitor(_, channel) => Some(channel),
                    _ => None,
                };
                (trip.crossed_at, trip.violated_since, own)
            }
            _ => (at, at, None),
        };
        let window = self.setup.speed.window.value.as_nanos();
        let stretch = Stretch {
            demanded: self.demanded().unwrap_or(Instant::from_nanos(0)),
            crossed,
            violated_since,
            at,
            own,
            window,
            origin_ns: self.outcome.origin_ns,
        };
        (!points.is_empty()).then(|| witness::witnesses(points, stretch))
    }

    /// From when to when what happened has to do with it.
    fn near(&self) -> (Instant, Instant) {
        let at = self.subject.at().unwrap_or(Instant::from_nanos(0));
        let near = u64::try_from(NEAR_NS).unwrap_or(u64::MAX);
        (Instant::from_nanos(at.as_nanos().saturating_sub(near)), at)
    }

    /// Where the disagreement of the positions comes from.
    fn apart(&self, sampled: Option<Sampled>, cannot_tell: &mut Vec<String>) -> Option<Decomposition> {
        let asks = match self.subject {
            Subject::Trip(_, trip) => match trip.rule {
                TripRule::Analogue(_) => false,
                TripRule::Monitor(monitor, _) => self.setup.monitors[monitor].kind.analogue().is_none(),
                TripRule::PositionDiscrepancy | TripRule::SpeedDiscrepancy => true,
            },
            _ => false,
        };
        let at = self.subject.at()?;
        if !asks {
            return None;
        }
        let came_later = "the positions were followed up to what took the permit; this came later";
        let Some((mut samples, marked)) = sampled else {
            cannot_tell.push(came_later.to_owned());
            return None;
        };
        if samples.points.is_empty() {
            return None;
        }
        if samples.reference_ns >= at.as_nanos() {
            let text = "a fault broke the count shortly before: where the channels part is not looked at";
            cannot_tell.push(text.to_owned());
            return None;
        }
        if marked != Some(at) {
            // Marked was what took the permit; what is explained may be another.
            let place = samples.points.partition_point(|point| point.now_ns < at.as_nanos());
            if place >= samples.points.len() {
                cannot_tell.push(came_later.to_owned());
                return None;
            }
            samples.trip = place;
        }
        let options = Options { origin_ns: self.outcome.origin_ns, ..Options::default() };
        Some(causes::decompose(&samples, &options))
    }

    /// What the frames that were kept, or the trace, do not tell.
    fn bounds_of_knowledge(&self, points: &[Point], cannot_tell: &mut Vec<String>) {
        // Where nothing happened the verdict says so.
        if self.outcome.permit_given_at.is_none() && self.subject != Subject::Nothing {
            cannot_tell
                .push("the permit was never given: nothing is known of what would have taken it".to_owned());
        }
        if self.subject == Subject::Nothing {
            cannot_tell.extend(nearest::not_compared(self.setup, self.outcome));
        }
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

    fn cures(&self, verdict: &Verdict, again: Again<'_>) -> Vec<Cure> {
        let Subject::Trip(_, trip) = self.subject else { return Vec::new() };
        match verdict {
            Verdict::Apart { cause, .. } if trip.rule == TripRule::PositionDiscrepancy => {
                let again = again.filter(|_| self.outcome.frames <= cure::MOST_FRAMES_AGAIN);
                cure::cures(self.setup, cause, self.outcome, again)
            }
            _ => Vec::new(),
        }
    }
}

/// What happened longer before it has hardly to do with it: 2 s.
const NEAR_NS: i128 = 2_000_000_000;

/// Sooner after the first frame than this what led to it is not in the trace: 50 ms, or four windows of the speed.
const FIRST_FRAMES_NS: u64 = 50_000_000;

fn unknown(channel: Channel) -> Witness {
    Witness {
        channel: channel.into(),
        speed_at_crossing: None,
        speed: None,
        travel: None,
        acceleration: None,
        observed: None,
        limit: None,
        value: None,
        beyond: None,
        beyond_since_s: None,
        beyond_for_s: 0.0,
        seen_throughout: false,
    }
}
