//! What speaks in a log for each kind of mistake, and which differing frames each would explain.
//!
//! Some mistakes say what a whole row holds (the permit inverted, channels swapped, a frame late): they explain the frames at which the
//! row is that one. Of the others it is known where they begin to show; they explain those frames, and where the case was as expected up
//! to there, the ones after as well: a trip that should not be, or is not, changes everything that follows.

use std::collections::BTreeMap;

use monitor_core::{Channel, Check, Frame, MonitorId, Sample};

use super::OUTCOMES;
use super::mistake::{Cause, MISTAKES, Mistake, Votes, named};
use crate::replay::ReplayAxis;
use crate::setup::{Setup, Source, WarmUp};
use crate::vectors::columns::{COLUMNS, numbers};

/// One frame of a case.
struct Row {
    expected: [u32; OUTCOMES],
    logged: Option<[u32; OUTCOMES]>,
    /// What the reference comes to when each channel is shown the source of the other.
    crossed: [u32; OUTCOMES],
    /// Mistakes that begin to show here.
    shows: u32,
}

pub(super) struct Evidence<'a> {
    setup: &'a Setup,
    has: [bool; OUTCOMES],
    axis: Option<ReplayAxis>,
    /// An axis whose sources are swapped.
    crossed: Option<ReplayAxis>,
    /// The frames of this case.
    case: Vec<Row>,
    votes: [Votes; MISTAKES],
    /// Differing frames by the set of mistakes that would each explain them.
    sets: BTreeMap<u32, u64>,
}

/// The place of a column in [`COLUMNS`].
fn place(name: &str) -> usize {
    COLUMNS.iter().position(|column| column.name == name).unwrap_or(0)
}

/// Columns of channel A and of channel B that are alike.
fn alike() -> [[usize; 2]; 3] {
    [["a_fault", "b_fault"], ["a_violated", "b_violated"], ["a_tripped", "b_tripped"]]
        .map(|names| names.map(place))
}

/// An outcome with the columns of A and B exchanged.
fn with_names_swapped(mut values: [u32; OUTCOMES]) -> [u32; OUTCOMES] {
    alike().into_iter().for_each(|[a, b]| values.swap(a, b));
    values
}

fn with_permit_inverted(mut values: [u32; OUTCOMES]) -> [u32; OUTCOMES] {
    values[place("permit")] ^= 1;
    values
}

impl<'a> Evidence<'a> {
    pub(super) fn new(setup: &'a Setup, has: [bool; OUTCOMES]) -> Self {
        Self {
            setup,
            has,
            axis: None,
            crossed: None,
            case: Vec::new(),
            votes: [Votes::default(); MISTAKES],
            sets: BTreeMap::new(),
        }
    }

    pub(super) fn begin(&mut self, fresh: &ReplayAxis) {
        self.axis = Some(fresh.clone());
        self.crossed = Some(fresh.clone());
        self.case.clear();
    }

    /// The mistake would show at the frame at hand; so it does, or does not.
    fn add(&mut self, mistake: Mistake, shows: bool) {
        self.add_at(self.case.len().saturating_sub(1), mistake, shows);
    }

    fn add_at(&mut self, frame: usize, mistake: Mistake, shows: bool) {
        self.votes[mistake as usize].add(shows);
        if let Some(row) = self.case.get_mut(frame).filter(|_| shows) {
            row.shows |= mistake.bit();
        }
    }

    /// One frame, in the order of the case.
    pub(super) fn frame(
        &mut self,
        shown: &Frame,
        expected: &[u32; OUTCOMES],
        logged: Option<&[u32; OUTCOMES]>,
    ) {
        let swapped = Frame { a: shown.b, b: shown.a, ..*shown };
        let crossed = self.crossed.as_mut().map_or(*expected, |axis| numbers(&axis.step(&swapped)));
        self.case.push(Row { expected: *expected, logged: logged.copied(), crossed, shows: 0 });
        let Some(mut axis) = self.axis.take() else { return };
        let before = Channel::BOTH.map(|channel| axis.state().glimpse(channel));
        let mut checks: Vec<(usize, Channel, Check)> = Vec::new();
        let outcome = axis.step_watched(shown, &mut |id: MonitorId, channel, check| {
            checks.push((usize::from(id.index()), channel, *check));
        });
        if let Some(logged) = logged.filter(|_| !outcome.clock_fault) {
            for (number, channel, check) in &checks {
                self.check(&axis, *number, *channel, check, logged);
            }
            let waits = outcome.warming_up && self.setup.speed.warm_up == WarmUp::Withhold;
            let faulted = outcome.faults.a.is_some() || outcome.faults.b.is_some();
            let planned = checks.iter().any(|(_, _, check)| check.withdraws);
            if !(outcome.permit || waits || faulted || planned || outcome.has_trip()) {
                self.add(Mistake::Latch, logged[place("permit")] == 1);
            }
            self.source(shown, expected, logged, before);
        }
        self.axis = Some(axis);
    }

    fn check(
        &mut self,
        axis: &ReplayAxis,
        number: usize,
        channel: Channel,
        check: &Check,
        logged: &[u32; OUTCOMES],
    ) {
        let column = place(if channel == Channel::A { "a_violated" } else { "b_violated" });
        if !self.has[column] {
            return;
        }
        let says = logged[column] >> number & 1 == 1;
        let at = check.speed.is_some_and(|bound| bound.observed == bound.limit)
            || check.position.is_some_and(|bound| bound.observed == bound.limit && bound.limit.to_bits() > 0);
        if check.is_violated() {
            let speed = axis.speed(channel).map_or(0, |speed| speed.signed().to_bits());
            match speed.signum() {
                1 => self.add(Mistake::Forwards, !says),
                -1 => self.add(Mistake::Backwards, !says),
                _ => {}
            }
        } else if at {
            self.add(Mistake::AtLimit, says);
        }
    }

    fn source(
        &mut self,
        shown: &Frame,
        expected: &[u32; OUTCOMES],
        logged: &[u32; OUTCOMES],
        before: [Option<monitor_core::Glimpse>; 2],
    ) {
        for (side, (reading, before)) in [shown.a, shown.b].into_iter().zip(before).enumerate() {
            let column = place(["a_fault", "b_fault"][side]);
            let channel = [&self.setup.a, &self.setup.b][side];
            let Some(before) = before.filter(|_| self.has[column] && expected[column] == 0) else { continue };
            let says = logged[column] != 0;
            let age = shown.now.since(before.captured_at);
            let bits = match channel.source {
                Source::Counter { bits, .. } => u32::from(bits),
                Source::Position { .. } => 64,
            };
            if reading.is_none() && age == Some(channel.timeout.value) {
                self.add(Mistake::Stale, says);
            }
            if let Some(Sample::Count(raw)) = reading.map(|reading| reading.sample)
                && bits < 64
            {
                let last = before.mark.count().cast_unsigned() & (u64::MAX >> (64 - bits));
                // The plain difference is more than half the range.
                if raw.abs_diff(last) >> (bits - 1) != 0 {
                    self.add(Mistake::Wrap, says);
                }
            }
        }
    }

    /// After the last frame of a case.
    pub(super) fn end(&mut self) {
        for column in ["a_tripped", "b_tripped"].map(place) {
            if self.has[column] {
                self.trips(column);
            }
        }
        // What has shown in this case, and what did not explain a difference before it did.
        let (mut shown, mut came_later) = (0, 0);
        for frame in 0..self.case.len() {
            let foretold = self.foretold(frame);
            let Some(row) = self.case.get(frame) else { continue };
            shown |= row.shows;
            if let Some(logged) = row.logged
                && !self.same(&logged, &row.expected)
            {
                let set = shown & !came_later | row.shows | foretold;
                came_later |= !set;
                *self.sets.entry(set).or_insert(0) += 1;
            }
        }
        self.case.clear();
    }

    /// Trips that come a frame earlier or later than expected.
    fn trips(&mut self, column: usize) {
        for frame in 0..self.case.len() {
            let expected = self.case[frame].expected[column];
            for bit in (0..32).filter(|bit| expected >> bit & 1 == 1) {
                let says =
                    |frame: usize| self.case.get(frame)?.logged.map(|logged| logged[column] >> bit & 1 == 1);
                let (last, now, next) = (frame.checked_sub(1).and_then(says), says(frame), says(frame + 1));
                let Some(now) = now else { continue };
                // The last frame of a case cannot show that it comes later.
                if let Some(next) = next {
                    self.add_at(frame, Mistake::TripLate, !now && next);
                }
                if let Some(last) = last {
                    self.add_at(frame - 1, Mistake::TripEarly, !now && last);
                }
            }
        }
    }

    /// The same as far as the log has it.
    fn same(&self, one: &[u32; OUTCOMES], other: &[u32; OUTCOMES]) -> bool {
        (0..OUTCOMES).all(|i| !self.has[i] || one[i] == other[i])
    }

    /// The mistakes that say what this row of the log holds and are right. Counts their votes.
    fn foretold(&mut self, frame: usize) -> u32 {
        let Some(Row { expected, logged: Some(logged), crossed, .. }) = self.case.get(frame) else {
            return 0;
        };
        let (expected, logged, crossed) = (*expected, *logged, *crossed);
        let permit = place("permit");
        let named_otherwise = with_names_swapped(expected);
        let beside =
            |frame: Option<usize>| frame.and_then(|frame| self.case.get(frame)).map(|row| row.expected);
        let (last, next) = (beside(frame.checked_sub(1)), beside(Some(frame + 1)));
        // A source that the channel cannot follow takes the permit, as much else does: only what is said of a channel tells that it
        // was this.
        let of_channel = alike()
            .into_iter()
            .flatten()
            .any(|i| self.has[i] && crossed[i] != 0 && crossed[i] != expected[i]);
        let differs = |row: [u32; OUTCOMES]| !self.same(&row, &expected);
        // Of what a mistake makes of the first or the last frame of a case nothing is known, so it is not held against it.
        let says = |row: Option<[u32; OUTCOMES]>| row.is_none_or(|row| self.same(&row, &logged));
        let found = [
            (Mistake::NamesSwapped, differs(named_otherwise), says(Some(named_otherwise))),
            (Mistake::SourcesSwapped, of_channel, says(Some(crossed))),
            (Mistake::Late, last.is_some_and(differs), says(last)),
            (Mistake::Early, next.is_some_and(differs), says(next)),
        ];
        // Its votes are those of the permit alone: with any other mistake beside it, it is inverted all the same.
        self.votes[Mistake::PermitInverted as usize].add(logged[permit] != expected[permit]);
        let mut right = 0;
        if self.same(&with_permit_inverted(expected), &logged) {
            right |= Mistake::PermitInverted.bit();
        }
        for (mistake, would_show, is_right) in found {
            if would_show {
                self.votes[mistake as usize].add(is_right);
            }
            if is_right {
                right |= mistake.bit();
            }
        }
        right
    }

    /// The mistakes that are named.
    pub(super) fn causes(&self) -> Vec<Cause> {
        named(&self.votes, &self.sets)
    }
}
