//! Collects, frame by frame, what an [`Outcome`] is made of.

mod faults;
mod slot;
mod trips;

use monitor_core::{
    Channel, Check, Frame, Glimpse, Instant, MonitorId, MonitorSet, Reading, SourceFault, Span,
};

use super::allowed::{AllowedSpeed, SpeedSpan, tightest};
use super::apart::{Lines, Positions, Speeds};
use super::axis::{ReplayAxis, analogue_id};
use super::fastest::Fastest;
use super::follower::{Follower, Shown};
use super::lull::Lull;
use super::outcome::{
    ChannelFacts, Fault, FaultKind, Gap, Limited, Outcome, ResetFact, Stop, StopKind, Switch,
};
use super::room::{AllowedTravel, Room, narrowest};
use crate::setup::{MonitorKind, Setup, Source};
use slot::{Half, Slot};

/// The monitor whose limit on the speed of a channel is the smallest, and since when.
#[derive(Clone, Copy, Debug)]
struct Strictest {
    monitor: Option<usize>,
    since: Instant,
}

const fn index(channel: Channel) -> usize {
    match channel {
        Channel::A => 0,
        Channel::B => 1,
    }
}

/// See the module.
pub(super) struct Recorder {
    slots: Vec<Slot>,
    shortest_timeout: Span,
    /// 64 − counter bits.
    unused_bits: [u32; 2],
    has_speeds_apart: bool,
    last: Option<Instant>,
    active: MonitorSet,
    outputs: MonitorSet,
    strictest: [Strictest; 2],
    permit: bool,
    resets_accepted: u64,
    positions: Positions,
    speeds: Speeds,
    lines: Vec<Lines>,
    /// The channel fault of the frame before, as an index into the kept faults.
    open_faults: [Option<(SourceFault, usize)>; 2],
    /// The same of both lines of each analogue value.
    open_analogue_faults: Vec<[Option<(SourceFault, usize)>; 2]>,
    clock_fault: Option<usize>,
    /// The newest capture of each channel.
    captured: [Instant; 2],
    fastest: [Fastest; 2],
    /// Each channel at the last frame.
    seen: [Option<Glimpse>; 2],
    /// The calm monitors of each channel.
    lulls: [Lull; 2],
    /// Checks shown at this frame.
    shown: Vec<(MonitorId, Channel, Check)>,
    /// The frame before was quiet, and so this recorder saw it.
    is_quiet: bool,
    /// Stops that were completed at this frame.
    completed: Vec<(usize, Channel)>,
    /// Trips whose stop goes on, as indices into the kept trips.
    reacting: Vec<usize>,
    outcome: Outcome,
}

impl Recorder {
    pub(super) fn new(setup: &Setup) -> Self {
        let slot = |monitor: &crate::setup::MonitorSetup| Slot {
            halves: [Half::NEW; 2],
            active: 0,
            demanded_at: Instant::from_nanos(0),
            is_torque_off: matches!(monitor.kind, MonitorKind::TorqueOff),
            reaction: monitor.reaction,
            allowed: AllowedSpeed::of(monitor),
            travel: AllowedTravel::of(setup, monitor),
        };
        Self {
            slots: setup.monitors.iter().map(slot).collect(),
            // At a period of its own an evaluation tells nothing of the time between rows.
            shortest_timeout: match setup.cycle {
                Some(_) => Span::from_nanos(u64::MAX),
                None => setup.a.timeout.value.min(setup.b.timeout.value),
            },
            unused_bits: [&setup.a, &setup.b].map(|channel| match channel.source {
                Source::Counter { bits, .. } => 64 - u32::from(bits),
                Source::Position { .. } => 0,
            }),
            has_speeds_apart: setup.speed_discrepancy.is_some(),
            last: None,
            active: MonitorSet::NONE,
            outputs: MonitorSet::NONE,
            strictest: [Strictest { monitor: None, since: Instant::from_nanos(0) }; 2],
            permit: false,
            resets_accepted: 0,
            positions: Positions::NEW,
            speeds: Speeds::NEW,
            lines: (setup.analogues.iter()).map(|analogue| Lines::new(analogue.tolerance.value)).collect(),
            open_faults: [None; 2],
            open_analogue_faults: vec![[None; 2]; setup.analogues.len()],
            clock_fault: None,
            captured: [Instant::from_nanos(0); 2],
            fastest: [Fastest::default(); 2],
            seen: [None; 2],
            lulls: [Lull::NONE; 2],
            shown: Vec::new(),
            is_quiet: false,
            completed: Vec::new(),
            reacting: Vec::new(),
            outcome: Outcome {
                origin_ns: 0,
                frames: 0,
                first: None,
                last: None,
                longest_period: Span::ZERO,
                rows: None,
                permit_given_at: None,
                permit_at_last: false,
                withheld: Span::ZERO,
                permit_lost: Limited::default(),
                gaps: Limited::default(),
                trips: Limited::default(),
                faults: Limited::default(),
                stops: Limited::default(),
                switches: Limited::default(),
                resets: Limited::default(),
                monitors: Vec::new(),
                channels: [ChannelFacts::default(); 2],
                position_discrepancy: None,
                speed_discrepancy: None,
                analogue_discrepancies: Vec::new(),
            },
        }
    }

    pub(super) const fn frames(&self) -> u64 {
        self.outcome.frames
    }

    /// What has been found so far; only the lists of events are complete up to the last frame.
    pub(super) const fn found(&self) -> &Outcome {
        &self.outcome
    }

    /// Shows one frame to the axis and records what it came to. `ALL`: looks at every check, which comes to the same
    /// and takes longer.
    #[inline(always)]
    pub(super) fn frame<const ALL: bool>(
        &mut self,
        axis: &mut ReplayAxis,
        frame: &Frame,
        follower: &mut impl Follower,
    ) {
        let shown = &mut self.shown;
        let mut watch = |id, channel, check: &Check| shown.push((id, channel, *check));
        let seen =
            if ALL { axis.step_watched(frame, &mut watch) } else { axis.step_noted(frame, &mut watch) };
        let is_quiet = axis.state().was_quiet();
        if !ALL && is_quiet && self.is_quiet {
            self.quiet_frame(axis, frame);
            follower.quiet_frame(axis, frame.now, self.seen);
            return;
        }
        self.is_quiet = is_quiet;
        self.any_frame(axis, frame, &seen);
        follow(self, axis, frame, &seen, follower);
    }

    /// A quiet frame after a quiet one: only the motion went on.
    #[inline(always)]
    fn quiet_frame(&mut self, axis: &ReplayAxis, frame: &Frame) {
        self.outcome.frames += 1;
        self.pass_time(frame.now);
        self.quiet_motion(axis, frame.now, Channel::A, &frame.a);
        self.quiet_motion(axis, frame.now, Channel::B, &frame.b);
        self.positions.quiet_frame(axis, frame.now, self.seen);
        if self.has_speeds_apart {
            self.speeds.frame(axis, frame.now);
        }
    }

    #[inline(always)]
    fn quiet_motion(&mut self, axis: &ReplayAxis, now: Instant, channel: Channel, reading: &Option<Reading>) {
        self.reading(channel, reading);
        let Some(seen) = axis.state().glimpse(channel) else { return };
        self.seen[index(channel)] = Some(seen);
        let Some(travel) = seen.travel else { return };
        let scale = axis.config().source(channel).scale();
        let (lull, fastest) = (&mut self.lulls[index(channel)], &mut self.fastest[index(channel)]);
        let facts = &mut self.outcome.channels[index(channel)];
        facts.longest_window = facts.longest_window.max(travel.elapsed());
        // The fastest of all is not slower than that of the lull.
        if lull.monitors == 0 || lull.update(now, travel, seen.mark, scale) {
            fastest.update(now, travel, scale);
        }
    }

    #[inline(never)]
    fn any_frame(&mut self, axis: &ReplayAxis, frame: &Frame, seen: &monitor_core::Outcome) {
        let now = frame.now;
        self.positions.recall(axis, self.last, self.seen);
        self.lull(axis, Channel::A, now, seen);
        self.lull(axis, Channel::B, now, seen);
        if !self.shown.is_empty() {
            for (id, channel, check) in self.shown.drain(..) {
                if let Some(slot) = self.slots.get_mut(usize::from(id.index())) {
                    slot.check(id, now, channel, &check, &mut self.completed);
                }
            }
        }
        self.outcome.frames += 1;
        if seen.clock_fault {
            self.clock_fault(now);
            return;
        }
        self.clock_fault = None;
        self.pass_time(now);
        self.outcome.first.get_or_insert(now);
        if seen.active != self.active {
            self.activity(seen.active, now);
        }
        for (channel, fault) in [(Channel::A, seen.faults.a), (Channel::B, seen.faults.b)] {
            let reading = match channel {
                Channel::A => frame.a,
                Channel::B => frame.b,
            };
            self.channel(axis, now, channel, reading, fault);
        }
        self.analogue_faults(axis, now);
        self.unreferenced(seen, now);
        self.switches(seen.outputs, now);
        self.strictest(now);
        if !seen.input_faults.is_empty() {
            for input in seen.input_faults.iter() {
                let kind = FaultKind::Input(usize::from(input.index()));
                self.outcome.faults.push(Fault { kind, from: now, to: now, frames: 1, change: None });
            }
        }
        let _ = self.positions.frame(axis, now);
        self.speeds.frame(axis, now);
        for (place, lines) in self.lines.iter_mut().enumerate() {
            if let Some(id) = analogue_id(place) {
                lines.frame(axis, id, now);
            }
        }
        if seen.has_trip() {
            self.trips(axis, seen);
        }
        if !self.reacting.is_empty() {
            self.reactions(seen, now);
        }
        if !self.completed.is_empty() {
            for (monitor, channel) in self.completed.drain(..) {
                let (kind, demanded_at) = (StopKind::Stop(channel), self.slots[monitor].demanded_at);
                self.outcome.stops.push(Stop { monitor, kind, demanded_at, completed_at: now });
            }
        }
        if let Some(result) = seen.reset {
            self.outcome.resets.push(ResetFact { at: now, result });
            self.resets_accepted += u64::from(result == monitor_core::Reset::Accepted);
        }
        if self.permit && !seen.permit {
            self.outcome.permit_lost.push(now);
        }
        if seen.permit && !self.permit {
            self.outcome.permit_given_at.get_or_insert(now);
        }
        self.permit = seen.permit;
    }

    /// Outputs that became true or false.
    fn switches(&mut self, outputs: MonitorSet, now: Instant) {
        if outputs != self.outputs {
            for monitor in 0..self.slots.len() {
                let on = contains(outputs, monitor);
                if on != contains(self.outputs, monitor) {
                    self.outcome.switches.push(Switch { monitor, on, at: now });
                }
            }
            self.outputs = outputs;
        }
    }

    /// Whose limit on the speed is the smallest, of several the first in the setup.
    fn strictest(&mut self, now: Instant) {
        for channel in Channel::BOTH {
            let limits = self.slots.iter().enumerate().filter(|(i, _)| contains(self.active, *i));
            let limits = limits.filter_map(|(i, slot)| Some((slot.halves[index(channel)].in_force?, i)));
            let strictest = limits.min().map(|(_, monitor)| monitor);
            let before = self.strictest[index(channel)];
            if strictest != before.monitor {
                self.end_strictest(channel, now);
                self.strictest[index(channel)] = Strictest { monitor: strictest, since: now };
            }
        }
    }

    /// The speeds that a channel is allowed, and the narrowest room of its position.
    fn in_force(&self, channel: Channel) -> (Option<SpeedSpan>, Option<Room>) {
        let active = self.slots.iter().enumerate().filter(|(i, _)| contains(self.active, *i));
        let slots = active.map(|(_, slot)| slot);
        let speeds = tightest(slots.clone().filter_map(|slot| slot.speeds(channel)));
        (speeds, narrowest(slots.filter_map(|slot| slot.room(channel))))
    }

    fn end_strictest(&mut self, channel: Channel, now: Instant) {
        let Strictest { monitor, since } = self.strictest[index(channel)];
        if let (Some(monitor), Some(lasted)) = (monitor, now.since(since)) {
            self.slots[monitor].halves[index(channel)].strictest += lasted.as_nanos();
        }
    }

    /// Follows the monitors of one channel that were passed over at this frame.
    #[inline]
    fn lull(&mut self, axis: &ReplayAxis, channel: Channel, now: Instant, seen: &monitor_core::Outcome) {
        let mut calm = 0;
        if seen.faults.of(channel).is_none() {
            calm = seen.active.to_bits();
            for (id, of, _) in &self.shown {
                if *of == channel {
                    calm &= !(1 << id.index());
                }
            }
        }
        if calm != self.lulls[index(channel)].monitors {
            self.settle(axis, channel);
            let has_place = |(i, slot): (usize, &Slot)| {
                calm & (1 << i) != 0 && slot.halves[index(channel)].bounds.position.is_some()
            };
            self.lulls[index(channel)] = Lull::of(calm, self.slots.iter().enumerate().any(has_place));
        }
        if calm != 0
            && let Some(Glimpse { mark, travel: Some(travel), .. }) = axis.state().glimpse(channel)
        {
            let scale = axis.config().source(channel).scale();
            let _ = self.lulls[index(channel)].update(now, travel, mark, scale);
        }
    }

    /// Brings the calm monitors of one channel up to date.
    #[cold]
    fn settle(&mut self, axis: &ReplayAxis, channel: Channel) {
        let lull = self.lulls[index(channel)];
        let (Some(seen), Some(last)) = (self.seen[index(channel)], self.last) else { return };
        for (i, slot) in self.slots.iter_mut().enumerate() {
            if lull.monitors & (1 << i) != 0 {
                let Half { position, speed, bounds, .. } = &mut slot.halves[index(channel)];
                lull.settle(axis, channel, (seen, last), bounds, position, speed);
            }
        }
    }

    /// What passed since the frame before, if there was one.
    #[inline(always)]
    fn pass_time(&mut self, now: Instant) {
        if let Some(last) = self.last
            && let Some(passed) = now.since(last)
        {
            self.outcome.longest_period = self.outcome.longest_period.max(passed);
            if !self.permit {
                let withheld = self.outcome.withheld.as_nanos() + passed.as_nanos();
                self.outcome.withheld = Span::from_nanos(withheld);
            }
            if passed > self.shortest_timeout {
                self.outcome.gaps.push(Gap { from: last, to: now });
            }
        }
        self.last = Some(now);
    }

    /// Monitors that became active or inactive at this frame.
    fn activity(&mut self, active: MonitorSet, now: Instant) {
        for (i, slot) in self.slots.iter_mut().enumerate() {
            let is = contains(active, i);
            let was = contains(self.active, i);
            if is && !was {
                slot.demanded_at = now;
                if slot.is_torque_off {
                    let kind = StopKind::TorqueOff;
                    self.outcome.stops.push(Stop { monitor: i, kind, demanded_at: now, completed_at: now });
                }
            }
            if was && !is {
                slot.active += now.since(slot.demanded_at).map_or(0, Span::as_nanos);
                for half in &mut slot.halves {
                    half.interrupt();
                    half.complete = false;
                }
            }
        }
        self.active = active;
    }

    #[inline]
    fn channel(
        &mut self,
        axis: &ReplayAxis,
        now: Instant,
        channel: Channel,
        reading: Option<Reading>,
        fault: Option<SourceFault>,
    ) {
        self.reading(channel, &reading);
        let facts = &mut self.outcome.channels[index(channel)];
        let seen = axis.state().glimpse(channel);
        let before = std::mem::replace(&mut self.seen[index(channel)], seen);
        if let Some(travel) = seen.and_then(|seen| seen.travel) {
            self.fastest[index(channel)].update(now, travel, axis.config().source(channel).scale());
            facts.longest_window = facts.longest_window.max(travel.elapsed());
        }
        if fault.is_none() && self.open_faults[index(channel)].is_none() {
            return;
        }
        self.channel_fault(now, channel, reading, before, fault);
    }

    /// Counts the readings of a channel and the time between them.
    #[inline(always)]
    fn reading(&mut self, channel: Channel, reading: &Option<Reading>) {
        let facts = &mut self.outcome.channels[index(channel)];
        if let Some(reading) = reading {
            facts.readings += 1;
            let captured = &mut self.captured[index(channel)];
            if let Some(interval) = reading.captured_at.since(*captured) {
                // Nothing comes before the first reading.
                if interval > facts.longest_interval && facts.readings > 1 {
                    facts.longest_interval = interval;
                }
                *captured = reading.captured_at;
            }
        }
    }

    /// The outcome of a trace that has been shown to its end.
    pub(super) fn finish(mut self, axis: &ReplayAxis, origin_ns: i128) -> Outcome {
        self.outcome.origin_ns = origin_ns;
        self.outcome.permit_at_last = self.permit;
        self.outcome.last = self.last;
        for (facts, fastest) in self.outcome.channels.iter_mut().zip(&self.fastest) {
            facts.fastest = fastest.speed();
        }
        self.settle(axis, Channel::A);
        self.settle(axis, Channel::B);
        if let Some(last) = self.last {
            self.end_strictest(Channel::A, last);
            self.end_strictest(Channel::B, last);
            self.activity(MonitorSet::NONE, last);
        }
        for (monitor, slot) in self.slots.iter().enumerate() {
            self.outcome.monitors.extend(slot.facts(monitor));
        }
        self.outcome.position_discrepancy = self.positions.apart();
        self.outcome.speed_discrepancy = self.speeds.apart();
        self.outcome.analogue_discrepancies = self.lines.iter().map(Lines::apart).collect();
        self.outcome
    }
}

/// Shows a frame to one that cares.
#[inline(always)]
fn follow<F: Follower>(
    recorder: &Recorder,
    axis: &ReplayAxis,
    frame: &Frame,
    outcome: &monitor_core::Outcome,
    follower: &mut F,
) {
    if F::FOLLOWS && !outcome.clock_fault {
        let [a, b] = Channel::BOTH.map(|channel| recorder.in_force(channel));
        let shown = Shown { outcome, levels: frame.levels, speeds: [a.0, b.0], rooms: [a.1, b.1] };
        follower.frame(axis, frame.now, &shown);
    }
}

fn contains(set: MonitorSet, index: usize) -> bool {
    set.to_bits() & (1 << index) != 0
}
