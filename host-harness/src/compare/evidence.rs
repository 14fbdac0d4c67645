//! What kind of mistake the differences come from, where the whole log supports it and nothing in it speaks against it.

use monitor_core::{Channel, Check, Frame, MonitorId, Sample};

use super::OUTCOMES;
use crate::replay::ReplayAxis;
use crate::setup::{Setup, Source, WarmUp};
use crate::vectors::columns::COLUMNS;

/// How often a mistake would have shown, and how often it did.
#[derive(Clone, Copy, Default)]
struct Votes {
    shows: u64,
    does_not: u64,
}

impl Votes {
    fn add(&mut self, shows: bool) {
        if shows {
            self.shows += 1;
        } else {
            self.does_not += 1;
        }
    }

    /// It showed more than once, and wherever it would have.
    fn is_certain(self) -> bool {
        self.shows >= 2 && self.does_not == 0
    }
}

type Row = ([u32; OUTCOMES], Option<[u32; OUTCOMES]>);

pub(super) struct Evidence<'a> {
    setup: &'a Setup,
    has: [bool; OUTCOMES],
    axis: Option<ReplayAxis>,
    /// The frames of this case: what is expected and what was logged.
    case: Vec<Row>,
    at_limit: Votes,
    forwards: Votes,
    backwards: Votes,
    latch: Votes,
    wrap: Votes,
    stale: Votes,
    trip_late: Votes,
    trip_early: Votes,
    late: Votes,
    early: Votes,
}

/// The place of a column in [`COLUMNS`].
fn place(name: &str) -> usize {
    COLUMNS.iter().position(|column| column.name == name).unwrap_or(0)
}

impl<'a> Evidence<'a> {
    pub(super) fn new(setup: &'a Setup, has: [bool; OUTCOMES]) -> Self {
        let none = Votes::default();
        Self {
            setup,
            has,
            axis: None,
            case: Vec::new(),
            at_limit: none,
            forwards: none,
            backwards: none,
            latch: none,
            wrap: none,
            stale: none,
            trip_late: none,
            trip_early: none,
            late: none,
            early: none,
        }
    }

    pub(super) fn begin(&mut self, fresh: &ReplayAxis) {
        self.axis = Some(fresh.clone());
        self.case.clear();
    }

    /// One frame, in the order of the case.
    pub(super) fn frame(
        &mut self,
        shown: &Frame,
        expected: &[u32; OUTCOMES],
        logged: Option<&[u32; OUTCOMES]>,
    ) {
        self.case.push((*expected, logged.copied()));
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
                self.latch.add(logged[place("permit")] == 1);
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
                1 => self.forwards.add(!says),
                -1 => self.backwards.add(!says),
                _ => {}
            }
        } else if at {
            self.at_limit.add(says);
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
            if reading.is_none() && age == Some(channel.timeout.value) {
                self.stale.add(says);
            }
            let bits = match channel.source {
                Source::Counter { bits, .. } => u32::from(bits),
                Source::Position { .. } => 64,
            };
            if let Some(Sample::Count(raw)) = reading.map(|reading| reading.sample)
                && bits < 64
            {
                let last = before.mark.count().cast_unsigned() & (u64::MAX >> (64 - bits));
                // The plain difference is more than half the range.
                if raw.abs_diff(last) >> (bits - 1) != 0 {
                    self.wrap.add(says);
                }
            }
        }
    }

    /// After the last frame of a case.
    pub(super) fn end(&mut self) {
        let case = std::mem::take(&mut self.case);
        for column in ["a_tripped", "b_tripped"].map(place).into_iter().filter(|&column| self.has[column]) {
            let logged = |frame: usize| case.get(frame).and_then(|(_, logged)| logged.map(|row| row[column]));
            for (frame, (expected, _)) in case.iter().enumerate() {
                for bit in (0..32).filter(|bit| expected[column] >> bit & 1 == 1) {
                    let says = |frame: usize| logged(frame).map(|value| value >> bit & 1 == 1);
                    let now = says(frame);
                    // The last frame of a case cannot show that it comes later.
                    if let (Some(now), Some(next)) = (now, says(frame + 1)) {
                        self.trip_late.add(!now && next);
                    }
                    if let (Some(now), Some(last)) = (now, frame.checked_sub(1).and_then(says)) {
                        self.trip_early.add(!now && last);
                    }
                }
            }
        }
        let same = |one: &[u32; OUTCOMES], other: &[u32; OUTCOMES]| {
            (0..OUTCOMES).all(|i| !self.has[i] || one[i] == other[i])
        };
        for pair in case.windows(2) {
            let [(first, logged_first), (second, logged_second)] = pair else { continue };
            if same(first, second) {
                continue;
            }
            if let Some(logged) = logged_second {
                self.late.add(same(logged, first));
            }
            if let Some(logged) = logged_first {
                self.early.add(same(logged, second));
            }
        }
    }

    /// In words.
    pub(super) fn causes(&self) -> Vec<String> {
        if self.late.is_certain() {
            return vec![told(
                "everything comes one frame late: outcomes are logged before the frame is evaluated",
                self.late,
            )];
        }
        if self.early.is_certain() {
            return vec![told(
                "everything comes one frame early: a row is logged with the frame before",
                self.early,
            )];
        }
        let mut causes = Vec::new();
        let all = [
            (self.at_limit, "reaching a limit counts as a violation: `>=` where `>` is meant"),
            (self.stale, "a reading that is as old as its timeout counts as stale: `>=` where `>` is meant"),
            (
                self.latch,
                "a trip or a fault is not latched: the permit comes back by itself once its cause is gone",
            ),
            (
                self.wrap,
                "a counter that wraps is not handled: its change is the two's-complement difference in its width",
            ),
            (
                self.trip_late,
                "every trip comes one frame late: the on-delay is compared with `>` where `>=` is meant, or counted in frames",
            ),
            (
                self.trip_early,
                "every trip comes one frame early: the on-delay is counted in frames, or begins a frame too early",
            ),
        ];
        causes.extend(
            all.into_iter().filter(|(votes, _)| votes.is_certain()).map(|(votes, text)| told(text, votes)),
        );
        for (missed, other, way) in
            [(self.backwards, self.forwards, "backwards"), (self.forwards, self.backwards, "forwards")]
        {
            if missed.is_certain() && other.shows == 0 && other.does_not > 0 {
                causes.push(told(
                    &format!("no violation {way} is seen, those the other way are: the sign of the speed is not taken off"),
                    missed,
                ));
            }
        }
        causes
    }
}

fn told(text: &str, votes: Votes) -> String {
    format!("{text} (so at all {} frames at which it would show)", votes.shows)
}
