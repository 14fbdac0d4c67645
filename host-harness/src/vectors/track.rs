//! What the frames of a case really did: frame by frame, from what was shown and what it came to.

use std::collections::BTreeMap;

use monitor_core::{Channel, Check, Frame, Glimpse, MonitorId, Outcome, Reset, Sample, SourceFault};

use super::ends::{self, Probe};
use super::play::Sensor;
use super::transition::{Part, name};
use crate::replay::ReplayAxis;
use crate::setup::{InputLines, ReferenceSetup, Setup};

/// How often each transition was seen.
pub(super) type Counts = BTreeMap<(Part, &'static str), u64>;

/// What is remembered of an on-delay and its latch.
#[derive(Clone, Copy, Default)]
pub(super) struct Delay {
    since: Option<u64>,
    tripped: bool,
    tripped_at: u64,
    trips: u64,
    broken: bool,
}

impl Delay {
    /// Whether a trip of an earlier frame is latched.
    pub(super) fn is_tripped_before(&self, now: u64) -> bool {
        self.tripped && self.tripped_at < now
    }
}

/// What is remembered of a line of an input.
#[derive(Clone, Copy, Default)]
struct Line {
    read: bool,
    since: u64,
    effective: bool,
}

/// What is remembered of an input.
#[derive(Clone, Default)]
struct Input {
    lines: [Line; 2],
    /// Since when the two disagree, and whether they have agreed at rest since: a one-sided cycle.
    apart: Option<(u64, bool)>,
    faulted: bool,
}

/// Looks at the frames of one case.
pub(super) struct Track<'a> {
    pub(super) setup: &'a Setup,
    pub(super) counts: &'a mut Counts,
    pub(super) axis: ReplayAxis,
    pub(super) sensors: [Sensor; 2],
    pub(super) checks: Vec<[Option<Check>; 2]>,
    /// Of each channel: what a count further forwards would have come to, and one backwards.
    pub(super) probes: [[Option<Probe>; 2]; 2],
    probed: bool,
    pub(super) before: Option<(Frame, Outcome)>,
    pub(super) monitors: Vec<[super::rules::Half; 2]>,
    pub(super) apart: [Delay; 2],
    /// The first frame without the permit.
    pub(super) gone_at: Option<u64>,
    inputs: Vec<Input>,
    first: bool,
    seen: [bool; 2],
    /// A position was declared, and is not lost as far as was seen.
    referenced: [bool; 2],
    clock_fault: bool,
    faulted: [bool; 2],
    started_at: u64,
}

impl<'a> Track<'a> {
    pub(super) fn new(setup: &'a Setup, axis: &ReplayAxis, counts: &'a mut Counts) -> Self {
        Self {
            setup,
            counts,
            axis: axis.clone(),
            sensors: [Sensor::of(&setup.a), Sensor::of(&setup.b)],
            checks: Vec::new(),
            probes: Default::default(),
            probed: ends::is_wanted(setup),
            before: None,
            monitors: vec![Default::default(); setup.monitors.len()],
            apart: Default::default(),
            gone_at: None,
            inputs: vec![Input::default(); setup.inputs.len()],
            first: true,
            seen: [false; 2],
            referenced: [false; 2],
            clock_fault: false,
            faulted: [false; 2],
            started_at: 0,
        }
    }

    pub(super) fn count(&mut self, part: Part, what: &'static str, is: bool) {
        if is {
            *self.counts.entry((part, what)).or_default() += 1;
        }
    }

    /// Looks at one frame.
    pub(super) fn frame(&mut self, frame: &Frame) {
        let glimpses = Channel::BOTH.map(|channel| self.axis.state().glimpse(channel));
        let mut checks = vec![[None; 2]; self.setup.monitors.len()];
        if self.probed {
            let monitors = checks.len();
            self.probes = [0, 1].map(|side| {
                let of =
                    |forwards| Probe::of(&self.axis, frame, monitors, (side, &self.sensors[side]), forwards);
                [of(true), of(false)]
            });
        }
        let outcome = self.axis.step_watched(frame, &mut |id: MonitorId, channel, check| {
            checks[usize::from(id.index())][usize::from(channel == Channel::B)] = Some(*check);
        });
        self.checks = checks;
        if self.first {
            self.started_at = frame.now.as_nanos();
        }
        self.of_axis(frame, &outcome);
        if outcome.clock_fault {
            // Nothing was evaluated; the frame before stays what it was.
            return;
        }
        for (side, glimpse) in glimpses.into_iter().enumerate() {
            self.source(side, frame, &outcome, glimpse);
        }
        self.references(&outcome);
        for input in 0..self.setup.inputs.len() {
            self.input(input, frame, &outcome);
        }
        self.of_monitors(frame, &outcome);
        self.of_discrepancies(frame, &outcome);
        self.before = Some((*frame, outcome));
        self.first = false;
    }

    fn of_axis(&mut self, frame: &Frame, outcome: &Outcome) {
        let before = self.before.map(|(_, outcome)| outcome.permit);
        let last = self.before.map(|(frame, _)| frame.now);
        self.count(Part::Axis, "permit given", outcome.permit && before != Some(true));
        self.count(Part::Axis, "permit withdrawn", !outcome.permit && before == Some(true));
        self.count(Part::Axis, "warming up", outcome.warming_up);
        self.count(Part::Axis, "the clock stands still", outcome.clock_fault && Some(frame.now) == last);
        self.count(Part::Axis, "the clock goes back", outcome.clock_fault && Some(frame.now) != last);
        self.count(
            Part::Axis,
            "evaluated again after a clock fault",
            self.clock_fault && !outcome.clock_fault,
        );
        self.clock_fault = outcome.clock_fault;
        let reset = match outcome.reset {
            None => None,
            Some(Reset::Accepted) => Some("reset accepted"),
            Some(Reset::ChannelFaulted) => Some("reset refused: a channel"),
            Some(Reset::WarmingUp) => Some("reset refused: warming up"),
            Some(Reset::Violated) => Some("reset refused: a violation"),
            Some(Reset::InputFaulted) => Some("reset refused: an input"),
            Some(Reset::Unreferenced) => Some("reset refused: a reference"),
            Some(Reset::AnalogueFaulted) => Some("reset refused: an analogue value"),
            Some(Reset::Stopping) => Some("reset refused: a stop"),
        };
        if let Some(reset) = reset {
            self.count(Part::Axis, reset, true);
        }
        let active = outcome.active.to_bits().count_ones();
        self.count(Part::Axis, "two monitors active at once", active > 1);
    }

    fn source(&mut self, side: usize, frame: &Frame, outcome: &Outcome, before: Option<Glimpse>) {
        let part = Part::Source(side);
        let (reading, fault) =
            if side == 0 { (frame.a, outcome.faults.a) } else { (frame.b, outcome.faults.b) };
        let (now, sensor) = (frame.now.as_nanos(), self.sensors[side]);
        self.count(part, "no reading", reading.is_none());
        self.count(part, "out of range", fault == Some(SourceFault::Range));
        self.count(part, "marked invalid", fault == Some(SourceFault::Invalid) && reading.is_some());
        self.count(
            part,
            "invalid, and none came since",
            fault == Some(SourceFault::Invalid) && reading.is_none(),
        );
        let unseen = fault == Some(SourceFault::Stale) && !self.seen[side];
        self.count(part, "stale: never read", unseen && now - self.started_at == sensor.timeout + 1);
        let good = reading.is_some() && fault.is_none();
        self.count(part, "first reading", good && !self.seen[side]);
        self.count(part, "good again after a fault", good && self.faulted[side]);
        self.seen[side] |= good;
        self.faulted[side] = fault.is_some();
        let late = reading.is_some_and(|reading| reading.captured_at > frame.now);
        self.count(
            part,
            "out of order: captured after the frame",
            late && fault == Some(SourceFault::OutOfOrder),
        );
        let Some(before) = before else { return };
        let captured = before.captured_at.as_nanos();
        let Some(reading) = reading else {
            self.count(
                part,
                "as old as the timeout: not stale",
                fault.is_none() && now - captured == sensor.timeout,
            );
            let just = fault == Some(SourceFault::Stale) && now - captured == sensor.timeout + 1;
            self.count(part, "1 ns older than the timeout: stale", just);
            return;
        };
        let Sample::Count(raw) = reading.sample else { return };
        let unused = 64 - sensor.bits;
        let change =
            (raw.wrapping_sub(before.mark.count().cast_unsigned()) << unused).cast_signed() >> unused;
        let disordered = fault == Some(SourceFault::OutOfOrder);
        let Some(elapsed) = reading.captured_at.since(before.captured_at).map(monitor_core::Span::as_nanos)
        else {
            self.count(part, "out of order: captured before the one before", disordered);
            return;
        };
        if elapsed == 0 {
            self.count(part, "out of order: at the same instant, another value", disordered);
            self.count(part, "the same reading again", fault.is_none());
            return;
        }
        self.change(side, elapsed, i128::from(change), before.mark.count(), fault);
    }

    /// Positions that are declared, and lost.
    fn references(&mut self, outcome: &Outcome) {
        let Some(event) = &self.setup.reference else { return };
        let bit = 1_u32 << event.input;
        let demands = outcome.demanding.to_bits() & bit != 0;
        let rises = demands && self.before.is_none_or(|(_, before)| before.demanding.to_bits() & bit == 0);
        for side in [0, 1] {
            if self.setup.channel(Channel::BOTH[side]).reference != ReferenceSetup::Event {
                continue;
            }
            let part = Part::Source(side);
            let faults = [outcome.faults.a, outcome.faults.b];
            let unreferenced = [outcome.unreferenced.a, outcome.unreferenced.b][side];
            let is_known = self.axis.state().glimpse(Channel::BOTH[side]).is_some() && faults[side].is_none();
            let declared = rises && is_known && unreferenced.is_empty();
            self.count(part, "its position is declared", declared && !self.referenced[side]);
            self.count(part, "its position is declared again", declared && self.referenced[side]);
            self.count(part, "its position is declared while it cannot be seen", rises && !is_known);
            self.referenced[side] |= declared;
            let lost = self.referenced[side] && !unreferenced.is_empty();
            self.count(part, "its position is lost with its count", lost);
            self.referenced[side] &= !lost;
        }
    }

    fn change(&mut self, side: usize, elapsed: u64, change: i128, count: i64, fault: Option<SourceFault>) {
        let (part, sensor) = (Part::Source(side), self.sensors[side]);
        let gap = fault == Some(SourceFault::Stale) && elapsed > sensor.timeout;
        self.count(part, "stale: a gap between two readings", gap);
        self.count(
            part,
            "two readings as far apart as the timeout",
            fault.is_none() && elapsed == sensor.timeout,
        );
        let forwards = (change > 0) != sensor.reversed;
        let most = sensor.plausible(elapsed);
        let largest = if forwards {
            "the largest plausible change, forwards"
        } else {
            "the largest plausible change, backwards"
        };
        self.count(part, largest, fault.is_none() && change.abs() == most);
        let more = if forwards {
            "one count more than plausible, forwards"
        } else {
            "one count more than plausible, backwards"
        };
        self.count(part, more, fault == Some(SourceFault::Implausible) && change.abs() == most + 1);
        if fault.is_some() {
            return;
        }
        let range = 1_i128 << sensor.bits;
        // Which turn of the counter a count lies in, and which half.
        let turn = |count: i128| count.div_euclid(range);
        let half = |count: i128| (count + range / 2).div_euclid(range);
        let (from, to) = (i128::from(count), i128::from(count) + change);
        self.count(part, "wraps where all bits change, up", turn(to) > turn(from));
        self.count(part, "wraps where all bits change, down", turn(to) < turn(from));
        self.count(part, "wraps where the sign changes, up", half(to) > half(from));
        self.count(part, "wraps where the sign changes, down", half(to) < half(from));
    }

    fn input(&mut self, number: usize, frame: &Frame, outcome: &Outcome) {
        let part = Part::Input(number);
        let bit = 1_u32 << number;
        let now = frame.now.as_nanos();
        let before = self.before.map(|(_, outcome)| outcome.demanding.to_bits() & bit != 0);
        let demands = outcome.demanding.to_bits() & bit != 0;
        self.count(part, "demands", demands && before != Some(true));
        self.count(part, "released", !demands && before == Some(true));
        let filter = self.setup.inputs[number].filter.value.as_nanos();
        let wanted = lines(self.setup, number, frame.levels.to_bits());
        let mut input = self.inputs[number].clone();
        for (line, level) in input.lines.iter_mut().zip(wanted) {
            if self.first {
                *line = Line { read: level, since: now, effective: level };
                continue;
            }
            if line.read != level {
                // The level before was read from its first frame to this one, and never for long enough at a frame.
                let short = line.effective != line.read && now - line.since == filter.saturating_sub(1);
                self.count(
                    part,
                    "a level 1 ns shorter than the filter is ignored",
                    short || self.nearly(line.since, filter, line.effective != line.read),
                );
                (line.read, line.since) = (level, now);
            }
            if now - line.since >= filter {
                self.count(
                    part,
                    "a level as long as the filter counts",
                    line.effective != line.read && now - line.since == filter,
                );
                line.effective = line.read;
            }
        }
        self.pair(number, &mut input, now, outcome);
        self.inputs[number] = input;
    }

    /// Whether the last frame was 1 ns before a level of a line would have counted.
    fn nearly(&self, since: u64, filter: u64, waits: bool) -> bool {
        self.before
            .is_some_and(|(frame, _)| waits && frame.now.as_nanos() - since == filter.saturating_sub(1))
    }

    fn pair(&mut self, number: usize, input: &mut Input, now: u64, outcome: &Outcome) {
        let part = Part::Input(number);
        let InputLines::Dual { dual, .. } = &self.setup.inputs[number].lines else { return };
        let time = dual.discrepancy_time.value.as_nanos();
        let [first, second] = input.lines.map(|line| line.effective);
        self.count(part, "line 1 demands alone", first && !second);
        self.count(part, "line 2 demands alone", second && !first);
        let faulted = outcome.input_faults.to_bits() >> number & 1 == 1;
        let lasted = input.apart.map(|(since, _)| now - since);
        // Without any time the disagreement is the fault.
        let ended = faulted && lasted.unwrap_or(0) == time;
        self.count(part, "faulted at the end of the discrepancy time", ended);
        let one_sided = input.apart.is_some_and(|(_, one_sided)| one_sided);
        self.count(part, "a one-sided cycle is faulted", faulted && one_sided);
        let agrees = first == second;
        let early = !faulted && agrees && lasted == Some(time.saturating_sub(1));
        self.count(part, "agrees 1 ns before the end of the discrepancy time", early);
        self.count(
            part,
            "a one-sided cycle that both lines end in time",
            !faulted && one_sided && first && second && lasted.is_some_and(|lasted| lasted < time),
        );
        let rest = agrees && !first;
        input.apart = match input.apart {
            _ if faulted => None,
            None if agrees => None,
            None => Some((now, false)),
            Some((since, _)) if rest && now - since < time => Some((since, true)),
            Some(_) if agrees => None,
            Some(kept) => Some(kept),
        };
        input.faulted |= faulted;
        let cleared = input.faulted && outcome.reset == Some(Reset::Accepted);
        self.count(part, "fault cleared by a reset", cleared);
        input.faulted &= !cleared;
    }

    /// The on-delay of a rule and its latch.
    pub(super) fn delay(&mut self, part: Part, mut delay: Delay, now: u64, on_delay: u64, is: Is) -> Delay {
        let lasted = delay.since.map_or(0, |since| now - since);
        if is.violated {
            delay.since.get_or_insert(now);
            let before = on_delay > 0 && lasted == on_delay - 1 && !is.tripped && !delay.tripped;
            self.count(part, name::BEFORE_DELAY, before);
            self.count(part, name::LATCHED, delay.tripped && delay.broken && lasted >= on_delay);
        } else {
            self.count(part, name::INTERRUPTED, delay.since.is_some() && !delay.tripped);
            delay.since = None;
            delay.broken = delay.tripped;
        }
        if is.tripped {
            self.count(part, name::TRIP, true);
            self.count(part, name::AT_DELAY, lasted == on_delay);
            self.count(part, name::SECOND, delay.trips > 0);
            self.count(part, name::OVERRUN, lasted < on_delay);
            delay = Delay { tripped: true, tripped_at: now, trips: delay.trips + 1, broken: false, ..delay };
        }
        if is.reset {
            delay.tripped = false;
            delay.broken = false;
        }
        delay
    }
}

/// What a frame came to for one rule.
#[derive(Clone, Copy)]
pub(super) struct Is {
    pub(super) violated: bool,
    pub(super) tripped: bool,
    pub(super) reset: bool,
}

/// Whether each line of an input is at the level that demands; the first twice where there is one.
fn lines(setup: &Setup, input: usize, levels: u32) -> [bool; 2] {
    use crate::setup::{DemandLevel, Pairing};
    let high = setup.inputs[input].demand == DemandLevel::High;
    let level = |line: u8| levels >> line & 1 == 1;
    match &setup.inputs[input].lines {
        InputLines::Single(line) => [level(*line) == high; 2],
        InputLines::Dual { first, second, dual } => {
            let second_high = high == (dual.pairing == Pairing::Equivalent);
            [level(*first) == high, level(*second) == second_high]
        }
    }
}
