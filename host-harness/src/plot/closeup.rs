//! Every frame around what happened.

use std::collections::BTreeMap;
use std::sync::Arc;

use monitor_core::{Bound, Channel, Check, Frame, Instant, MonitorId, Position, Speed, Value};

use super::Stretch;
use super::collect::Collector;
use crate::explain::{Asked, Held, Question, moment, number};
use crate::picture::Moment;
use crate::replay::{
    AllowedSpeed, AllowedTravel, Chunk, Chunks, Follower, Outcome, ReplayAxis, Room, Shown, SpeedSpan, Trip,
    TripRule, analogue_id, lines_apart, narrowest, tightest,
};
use crate::report::Figures;
use crate::setup::Setup;

/// Frames kept on either side of what happened: a chunk before it and one after it have more.
pub(super) const REACH: usize = 2048;

/// The most frames of all close-ups together.
const MOST_FRAMES: usize = 100_000;

/// The most chunks that are kept for them.
const MOST_CHUNKS: usize = 96;

/// Of so many trips, and of the one that is asked for, it is kept what they were held against.
pub(crate) const MOST_TRIPS: usize = 24;

/// What a rule compared at one frame, on each channel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Compared {
    /// The frame, in ns on the clock of the frames.
    pub at: u64,
    /// Nothing where nothing was compared.
    pub of: [Option<Against>; 2],
}

/// What was observed, and what was allowed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Against {
    /// What was observed.
    pub observed: f64,
    /// The limit: of two the one that was nearer.
    pub limit: f64,
    /// Whether less than that is what is not allowed.
    pub below: bool,
}

impl Against {
    fn of(held: Held) -> Self {
        Self { observed: held.observed, limit: held.limit, below: held.below }
    }

    fn at_most<T: Copy>(bound: Bound<T>, bits: impl Fn(T) -> i64) -> Self {
        Self { observed: number(bits(bound.observed)), limit: number(bits(bound.limit)), below: false }
    }
}

/// What a trip was decided by, around it.
#[derive(Clone, Debug, PartialEq)]
pub struct Decided {
    /// Which trip of the replay, from 0.
    pub trip: usize,
    /// Whether less than the limit is what is not allowed.
    pub below: bool,
    /// Frame by frame.
    pub frames: Vec<Compared>,
}

impl Decided {
    /// The limit from above on one side, or that from below, frame by frame: where the other one was nearer, it is as it was before.
    pub(crate) fn limits(&self, side: usize, below: bool) -> Vec<Option<f64>> {
        let mut last = None;
        let of = |frame: &Compared| {
            let against = frame.of.get(side).copied().flatten()?;
            if against.below == below {
                last = Some(against.limit);
            }
            last
        };
        self.frames.iter().map(of).collect()
    }
}

/// Keeps the frames around the first things that happen, and around what is asked for, however late that is.
#[derive(Debug)]
pub(crate) struct Closeups {
    asked: Asked,
    /// By their number from the beginning.
    kept: BTreeMap<u64, Arc<Chunk>>,
    seen: u64,
    found: (usize, usize, u64),
    /// The chunk that comes is wanted, too.
    is_open: bool,
    /// And it comes after what is asked for.
    is_asked: bool,
}

impl Closeups {
    /// Nothing is kept yet.
    pub(crate) fn new(asked: Asked) -> Self {
        Self { asked, kept: BTreeMap::new(), seen: 0, found: (0, 0, 0), is_open: false, is_asked: false }
    }

    /// Looks at the newest chunk and at what has been found up to its end.
    pub(crate) fn after(&mut self, chunks: &Chunks, found: &Outcome) {
        self.seen += 1;
        let now = (found.trips.kept.len(), found.faults.kept.len(), found.permit_losses());
        let has_happened = now != self.found;
        let came = |before: usize, now: usize, number: usize| before < number && number <= now;
        let is_asked = match self.asked {
            // What took the permit.
            Asked::First => self.found.2 == 0 && now.2 > 0,
            Asked::Trip(number) => came(self.found.0, now.0, number),
            Asked::Fault(number) => came(self.found.1, now.1, number),
        };
        let goes_on = std::mem::replace(&mut self.is_asked, is_asked);
        self.found = now;
        let has_room = self.kept.len() < MOST_CHUNKS || is_asked || goes_on;
        if !(has_happened || self.is_open || goes_on) || !has_room {
            self.is_open = false;
            return;
        }
        self.is_open = has_happened;
        let before = if has_happened { 2 } else { 1 };
        for (back, chunk) in chunks.iter().rev().take(before).enumerate() {
            self.kept.insert(self.seen - back as u64, Arc::clone(chunk));
        }
    }

    /// Evaluates the frames again.
    pub(super) fn finish(self, setup: &Setup, outcome: &Outcome) -> (Vec<Stretch>, Vec<Decided>) {
        let mut wanted = Wanted::new(setup, outcome, self.asked);
        let mut last = None;
        let mut run: Vec<Arc<Chunk>> = Vec::new();
        for (number, chunk) in self.kept {
            if last.is_some_and(|last| number > last + 1) {
                wanted.evaluate(setup, &run);
                run.clear();
            }
            last = Some(number);
            run.push(chunk);
        }
        wanted.evaluate(setup, &run);
        (wanted.stretches, wanted.decided)
    }
}

/// What is wanted of the frames.
struct Wanted {
    /// When something happened, in order of time.
    instants: Vec<Instant>,
    /// When that happened which is asked for.
    asked: Option<Instant>,
    questions: Vec<(Question, Instant)>,
    left: usize,
    stretches: Vec<Stretch>,
    decided: Vec<Decided>,
}

impl Wanted {
    fn new(setup: &Setup, outcome: &Outcome, asked: Asked) -> Self {
        let trips = &outcome.trips.kept;
        let mut instants: Vec<Instant> = trips.iter().map(|trip| trip.tripped_at).collect();
        instants.extend(outcome.faults.kept.iter().map(|fault| fault.from));
        instants.extend(outcome.permit_lost_at());
        instants.sort_unstable();
        instants.dedup();
        let (asked, late) = match moment(outcome, asked) {
            Ok(Moment::Trip(place)) => (
                trips.get(place).map(|trip| trip.tripped_at),
                Some(place).filter(|place| *place >= MOST_TRIPS),
            ),
            Ok(Moment::Fault(place)) => (outcome.faults.kept.get(place).map(|fault| fault.from), None),
            _ => (None, None),
        };
        let kept = || {
            let firsts = 0..trips.len().min(MOST_TRIPS);
            firsts.chain(late).filter_map(|place| Some((place, trips.get(place)?)))
        };
        let questions =
            kept().map(|(_, trip)| (Question::of(trip.rule, &trip.evidence), trip.tripped_at)).collect();
        let is_least = |trip: &Trip| Figures::new(setup, trip.rule, &trip.evidence).is_least();
        let decided = kept()
            .map(|(place, trip)| Decided { trip: place, below: is_least(trip), frames: Vec::new() })
            .collect();
        Self { instants, asked, questions, left: MOST_FRAMES, stretches: Vec::new(), decided }
    }

    /// Chunks that follow one another.
    fn evaluate(&mut self, setup: &Setup, chunks: &[Arc<Chunk>]) {
        let Some(first) = chunks.first() else { return };
        let frames: usize = chunks.iter().map(|chunk| chunk.frames.len()).sum();
        let mut nows = Vec::with_capacity(frames);
        nows.extend(chunks.iter().flat_map(|chunk| &chunk.frames).map(|frame| frame.now));
        let reach = |at: &Instant| {
            let place = nows.partition_point(|now| now < at);
            (place < nows.len()).then(|| (place.saturating_sub(REACH), (place + REACH).min(nows.len() - 1)))
        };
        let from = nows.first().copied();
        let here = |at: &&Instant| from.is_some_and(|from| from <= **at);
        let is_asked = |at: &Instant| self.asked == Some(*at);
        let ranges = self.instants.iter().filter(here).filter_map(|at| Some((reach(at)?, is_asked(at))));
        let ranges = joined(ranges, &mut self.left);
        let asked: Vec<_> = (self.questions.iter().enumerate())
            .filter(|(_, (_, at))| here(&at))
            .filter_map(|(place, (question, at))| Some((place, *question, reach(at)?)))
            .collect();
        let mut axis = first.axis.clone();
        let mut lasting = Lasting::new(setup);
        let mut collector: Option<Collector> = None;
        let mut place = 0;
        for chunk in chunks {
            chunk.each_frame(|frame, lines| {
                for (of, channel, reading) in lines {
                    if let Some(id) = analogue_id(*of) {
                        axis.offer(id, *channel, *reading);
                    }
                }
                let step = Step::of(&mut axis, frame, setup.monitors.len());
                lasting.take(&step);
                if ranges.iter().any(|&(from, to)| from <= place && place <= to) {
                    let collector = collector.get_or_insert_with(|| Collector::raw(setup));
                    lasting.show(&step, collector, &axis, frame);
                } else if let Some(done) = collector.take() {
                    self.stretches.push(Stretch::new(setup, done));
                }
                for (of, question, (from, to)) in &asked {
                    if *from <= place && place <= *to {
                        let of_both = step.compared(setup, &axis, *question);
                        self.decided[*of].frames.push(Compared { at: frame.now.as_nanos(), of: of_both });
                    }
                }
                place += 1;
            });
        }
        self.stretches.extend(collector.map(|done| Stretch::new(setup, done)));
    }
}

/// Ranges in their order, with what touches joined, and no more frames than are left but for a range that must be there.
fn joined(ranges: impl Iterator<Item = ((usize, usize), bool)>, left: &mut usize) -> Vec<(usize, usize)> {
    let mut joined: Vec<(usize, usize)> = Vec::new();
    for ((from, to), must) in ranges {
        let (start, more) = match joined.last() {
            Some(&(start, end)) if from <= end + 1 => (Some(start), to.saturating_sub(end)),
            _ => (None, to + 1 - from),
        };
        if more > *left && !must {
            // What comes later is not there in place of what came first.
            *left = 0;
            continue;
        }
        *left = left.saturating_sub(more);
        match (start, joined.last_mut()) {
            (Some(_), Some(last)) => last.1 = last.1.max(to),
            _ => joined.push((from, to)),
        }
    }
    joined
}

/// What each monitor put the motion under when it last compared something: it stays while the channel cannot be seen.
struct Lasting(Vec<(AllowedSpeed, AllowedTravel, [Bounds; 2])>);

/// The speeds that are allowed, and the room of the position.
type Bounds = (Option<SpeedSpan>, Option<Room>);

impl Lasting {
    fn new(setup: &Setup) -> Self {
        let monitors = setup.monitors.iter();
        let of = |monitor| (AllowedSpeed::of(monitor), AllowedTravel::of(setup, monitor), [(None, None); 2]);
        Self(monitors.map(of).collect())
    }

    fn take(&mut self, step: &Step) {
        for (monitor, side, check) in &step.checks {
            if let Some((allowed, travel, of_both)) = self.0.get_mut(*monitor) {
                let window = check.position.map(|bound| bound.limit).zip(check.from);
                let channel = if *side == 0 { Channel::A } else { Channel::B };
                of_both[*side] = (allowed.span(check.in_force, check.speed), travel.room(channel, window));
            }
        }
    }

    fn show(&self, step: &Step, collector: &mut Collector, axis: &ReplayAxis, frame: &Frame) {
        if step.outcome.clock_fault {
            return;
        }
        let active = step.outcome.active.to_bits();
        let of = |side: usize| {
            let all = self.0.iter().enumerate().filter(move |(monitor, _)| active & (1 << monitor) != 0);
            all.map(move |(_, (_, _, of_both))| of_both[side])
        };
        let speeds = [0, 1].map(|side| tightest(of(side).filter_map(|(speeds, _)| speeds)));
        let rooms = [0, 1].map(|side| narrowest(of(side).filter_map(|(_, room)| room)));
        let shown = Shown { outcome: &step.outcome, levels: frame.levels, speeds, rooms };
        collector.frame(axis, frame.now, &shown);
    }
}

/// One frame evaluated again, with what every monitor compared.
struct Step {
    outcome: monitor_core::Outcome,
    checks: Vec<(usize, usize, Check)>,
}

impl Step {
    fn of(axis: &mut ReplayAxis, frame: &Frame, monitors: usize) -> Self {
        let mut checks = Vec::with_capacity(2 * monitors);
        let outcome = axis.step_watched(frame, &mut |id: MonitorId, channel, check: &Check| {
            let side = usize::from(channel == monitor_core::Channel::B);
            checks.push((usize::from(id.index()), side, *check));
        });
        Self { outcome, checks }
    }

    fn compared(&self, setup: &Setup, axis: &ReplayAxis, question: Question) -> [Option<Against>; 2] {
        let of_both = match question.rule {
            TripRule::Monitor(monitor, _) => {
                return [0, 1].map(|side| {
                    let check = self.checks.iter().find(|(of, on, _)| *of == monitor && *on == side);
                    check.and_then(|(_, _, check)| Held::compared(check, question.quantity)).map(Against::of)
                });
            }
            TripRule::PositionDiscrepancy => {
                axis.apart().map(|apart| Against::at_most(apart.bound, Position::to_bits))
            }
            TripRule::SpeedDiscrepancy => {
                axis.speeds_apart().map(|bound| Against::at_most(bound, Speed::to_bits))
            }
            TripRule::Analogue(place) => {
                let tolerance = setup.analogues.get(place).map(|of| of.tolerance.value);
                let bound = analogue_id(place).zip(tolerance);
                let bound = bound.and_then(|(id, tolerance)| lines_apart(axis, id, tolerance));
                bound.map(|bound| Against::at_most(bound, Value::to_bits))
            }
        };
        [of_both, None]
    }
}
