//! One frame through an axis.
//!
//! In this order: the clock, the readings, the inputs, the demands, the monitors, the discrepancies, the reset, the permit.

use crate::analogue::Analogue;
use crate::calm::{FOR_GOOD, Found, Last, Quiet};
use crate::config::{AxisConfig, MonitorConfig, WarmUp};
use crate::discrepancy::{Apart, PositionDiscrepancy, SpeedDiscrepancy};
use crate::frame::{Channel, Frame};
use crate::monitor::{Check, Monitor, Rule};
use crate::names::{AnalogueId, InputId, MonitorId};
use crate::outcome::{MonitorSet, Outcome, PerChannel, Reset};
use crate::run::{Noted, Shared, Unwatched, Watch, Watched, are_within};
use crate::scale::WindowSpeed;
use crate::state::AxisState;
use crate::trip::{Evidence, Moment};
use crate::units::Instant;

impl<const POINTS: usize, const MONITORS: usize, const INPUTS: usize, Own: Monitor>
    AxisConfig<POINTS, MONITORS, INPUTS, Own>
{
    /// Evaluates one frame on `state`.
    ///
    /// Bounded, and it cannot panic. [`Axis`](crate::Axis) is more convenient; this form lets the setup live in flash.
    #[inline]
    pub fn step(&self, state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>, frame: &Frame) -> Outcome {
        self.evaluate(state, frame, &mut Unwatched)
    }

    /// As [`step`](Self::step), and shows `watch` every check of every active monitor on every visible channel. Comes to the same,
    /// and takes longer: `step` passes over checks whose result is certain.
    #[inline]
    pub fn step_watched(
        &self,
        state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>,
        frame: &Frame,
        watch: &mut impl FnMut(MonitorId, Channel, &Check),
    ) -> Outcome {
        self.evaluate(state, frame, &mut Watched(watch))
    }

    /// As [`step_watched`](Self::step_watched), but passes over calm monitors as `step` does: one that is active on a channel without
    /// a fault and is not shown was not violated, and its limits and the place its travel is measured from are those of its last
    /// check. For whoever follows the motion anyway: what such a monitor observed can be told from that.
    #[inline]
    pub fn step_noted(
        &self,
        state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>,
        frame: &Frame,
        watch: &mut impl FnMut(MonitorId, Channel, &Check),
    ) -> Outcome {
        self.evaluate(state, frame, &mut Noted(watch))
    }

    #[inline(always)]
    fn evaluate<W: Watch>(
        &self,
        state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>,
        frame: &Frame,
        watch: &mut W,
    ) -> Outcome {
        let now = frame.now;
        let may_pass = !W::WATCHES
            && now > state.last_now
            && now <= state.quiet.until
            && frame.levels == state.levels
            && (!W::FOLLOWS || !state.quiet.hides);
        if !may_pass {
            return self.evaluate_fully(state, frame, PerChannel { a: false, b: false }, watch);
        }
        // An axis that asks no more pays for no more.
        let (taken, is_quiet) = if state.quiet.asks_more {
            self.take_more(state, frame)
        } else {
            self.take::<false>(state, frame)
        };
        if !is_quiet {
            return self.evaluate_fully(state, frame, taken, watch);
        }
        state.last_now = now;
        state.last = Last::Quiet;
        Outcome {
            permit: state.quiet.permit,
            demanding: state.demanding,
            active: state.active,
            outputs: state.outputs,
            ..Outcome::default()
        }
    }

    /// Takes the readings calmly, as far as they are calm; whether all is. For a quiet axis.
    #[inline(always)]
    fn take<const MORE: bool>(
        &self,
        state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>,
        frame: &Frame,
    ) -> (PerChannel<bool>, bool) {
        let (now, spacing) = (frame.now, self.spacing);
        let PerChannel { a, b } = &mut state.sides;
        let took_a = a.source.take_calmly::<MORE>(&self.sources.a, spacing, &a.calm, now, &frame.a);
        let took_b = took_a && b.source.take_calmly::<MORE>(&self.sources.b, spacing, &b.calm, now, &frame.b);
        let is_quiet = took_b && self.agree(state, now) && (!MORE || self.values_are_calm(state, now));
        (PerChannel { a: took_a, b: took_b }, is_quiet)
    }

    /// The same with directions, accelerations and analogue values.
    #[inline(never)]
    fn take_more(
        &self,
        state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>,
        frame: &Frame,
    ) -> (PerChannel<bool>, bool) {
        self.take::<true>(state, frame)
    }

    /// Whether no discrepancy is violated. For a quiet axis.
    #[inline(always)]
    fn agree(&self, state: &AxisState<POINTS, MONITORS, INPUTS, Own>, now: Instant) -> bool {
        let PerChannel { a, b } = &state.sides;
        let is_close = match &self.close {
            Some(close) => close.holds(&state.references, a.source.count(), b.source.count()),
            None => self.position_discrepancy.is_none(),
        };
        if !is_close && self.are_apart(state, now) {
            return false;
        }
        match &self.speed_discrepancy {
            None => true,
            Some(rule) => !self.differ(state, rule),
        }
    }

    /// Whether nothing is wrong with any analogue value. For a quiet axis.
    #[inline(always)]
    fn values_are_calm(&self, state: &AxisState<POINTS, MONITORS, INPUTS, Own>, now: Instant) -> bool {
        self.analogues.iter().zip(&state.analogues).all(|(config, analogue)| analogue.is_calm(config, now))
            && Channel::BOTH.iter().all(|&line| {
                let calm = &state.sides.of(line).calm;
                are_within(&self.monitors, &state.analogues, calm.on_values, line)
            })
    }

    #[inline(never)]
    fn are_apart(&self, state: &AxisState<POINTS, MONITORS, INPUTS, Own>, now: Instant) -> bool {
        let apart = self.position_discrepancy.as_ref().and_then(|rule| self.apart_now(state, rule, now));
        apart.is_none_or(|apart| apart.bound.is_exceeded())
    }

    #[inline(never)]
    fn differ(&self, state: &AxisState<POINTS, MONITORS, INPUTS, Own>, rule: &SpeedDiscrepancy) -> bool {
        let speed = |channel| self.speed(state, channel);
        rule.compare(speed(Channel::A), speed(Channel::B)).is_none_or(|bound| bound.is_exceeded())
    }

    pub(crate) fn apart_now(
        &self,
        state: &AxisState<POINTS, MONITORS, INPUTS, Own>,
        rule: &PositionDiscrepancy,
        now: Instant,
    ) -> Option<Apart> {
        let PerChannel { a, b } = &state.sides;
        let (a_scale, b_scale) = (self.sources.a.scale(), self.sources.b.scale());
        let a = a.source.view(a_scale, a.source.speed(a_scale))?;
        let b = b.source.view(b_scale, b.source.speed(b_scale))?;
        rule.apart(&state.references, now, &a, &b)
    }

    /// Whether, and until when, a frame that brings nothing but motion within all limits needs no closer look.
    #[inline(never)]
    fn quiet(&self, state: &AxisState<POINTS, MONITORS, INPUTS, Own>, until: Instant) -> Quiet {
        let PerChannel { a, b } = &state.sides;
        let has_references = self.position_discrepancy.is_none()
            || matches!((a.source.mark(), b.source.mark()), (Some(a), Some(b)) if state.references.are_valid(a, b));
        let is_quiet = !state.restless
            // A brake that is still to close.
            && (state.permitted || !state.outputs.overlaps(self.brakes))
            && state.analogues.iter().take(self.analogues.len()).all(Analogue::is_at_rest)
            && a.source.has_speed()
            && b.source.has_speed()
            && a.calm.monitors == state.active.without(self.brakes)
            && b.calm.monitors == state.active.without(self.brakes)
            && has_references
            && !state.position_discrepancy.flags.is_violated()
            && !state.speed_discrepancy.flags.is_violated();
        if !is_quiet {
            return Quiet::NOT;
        }
        Quiet {
            until,
            // Analogue values come and go without a frame.
            hides: a.calm.hides || b.calm.hides || !self.analogues.is_empty(),
            asks_more: a.calm.turns || b.calm.turns || !self.analogues.is_empty(),
            permit: !(a.calm.withdraws || b.calm.withdraws || state.locked),
        }
    }

    /// Every other frame.
    #[inline(never)]
    fn evaluate_fully(
        &self,
        state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>,
        frame: &Frame,
        taken: PerChannel<bool>,
        watch: &mut impl Watch,
    ) -> Outcome {
        let now = frame.now;
        if !state.started {
            state.started = true;
            state.started_at = now;
            let PerChannel { a, b } = &mut state.sides;
            for (side, source) in [(a, &self.sources.a), (b, &self.sources.b)] {
                side.source.watch_from(now);
                side.calm.close(source, self.spacing, &Found::NOTHING);
            }
        } else if now <= state.last_now {
            state.clock_fault = true;
            state.locked = true;
            state.quiet = Quiet::NOT;
            state.last = Last::Blind;
            // By how much time has really passed is not known: the brakes close.
            (state.outputs, state.permitted) = (state.outputs.without(self.brakes), false);
            return Outcome { clock_fault: true, ..Outcome::default() };
        }
        let before = state.last_now;
        state.last_now = now;
        let mut outcome = Outcome::default();

        let PerChannel { a, b } = &mut state.sides;
        // What was taken at a glance is good.
        if !taken.a {
            outcome.faults.a = a.source.take(&self.sources.a, self.spacing, now, &frame.a);
        }
        if !taken.b {
            outcome.faults.b = b.source.take(&self.sources.b, self.spacing, now, &frame.b);
        }
        a.lost |= outcome.faults.a.is_some();
        b.lost |= outcome.faults.b.is_some();
        state.locked |= a.lost || b.lost;
        outcome.warming_up = (outcome.faults.a.is_none() && a.source.never_read())
            || (outcome.faults.b.is_none() && b.source.never_read());

        if !self.analogues.is_empty() {
            self.look_at_analogues(state, &mut outcome, now, before);
        }

        let has_discrepancy = self.position_discrepancy.is_some() || self.speed_discrepancy.is_some();
        let mut speeds = PerChannel::default();
        let may_demand = state.restless || frame.levels != state.levels || !self.outputs.is_empty();
        if has_discrepancy || may_demand || !state.active.is_empty() {
            let PerChannel { a, b } = &mut state.sides;
            speeds.a = a.source.look_at_speed(self.sources.a.scale());
            speeds.b = b.source.look_at_speed(self.sources.b.scale());
        }
        let mut released = false;
        if may_demand {
            released = self.take_demands(state, frame, before, &speeds, &mut outcome);
        }
        outcome.demanding = state.demanding;
        outcome.active = state.active;
        outcome.outputs = state.outputs;

        let (mut withdrawn, mut until) = (false, FOR_GOOD);
        if !state.active.is_empty() {
            let shared = Shared {
                monitors: &self.monitors,
                spacing: self.spacing,
                two_windows: self.two_windows,
                referencing: &self.referencing,
                analogues: &state.analogues,
                demanded_at: &state.demanded_at,
                now,
                before,
                active: state.active.without(self.brakes),
            };
            let PerChannel { a, b } = &mut state.sides;
            let (visible_a, visible_b) = (outcome.faults.a.is_none(), outcome.faults.b.is_none());
            let ran_a = shared.run(a, &self.sources.a, Channel::A, speeds.a, visible_a, watch);
            let ran_b = shared.run(b, &self.sources.b, Channel::B, speeds.b, visible_b, watch);
            outcome.violated = PerChannel { a: ran_a.violated, b: ran_b.violated };
            outcome.tripped = PerChannel { a: ran_a.tripped, b: ran_b.tripped };
            outcome.unreferenced.a = outcome.unreferenced.a.union(ran_a.unreferenced);
            outcome.unreferenced.b = outcome.unreferenced.b.union(ran_b.unreferenced);
            outcome.warming_up |= ran_a.warming_up || ran_b.warming_up;
            withdrawn = ran_a.withdraws || ran_b.withdraws;
            until = ran_a.until.min(ran_b.until);
        }
        let visible = outcome.faults.a.is_none() && outcome.faults.b.is_none();
        state.last = if visible { Last::Seen } else { Last::Blind };
        if has_discrepancy {
            self.run_discrepancies(state, (now, before), &speeds, &mut outcome);
        }
        self.lock(state, &outcome);
        if released {
            outcome.reset = Some(self.try_reset(state, &outcome));
        }
        outcome.permit =
            !(withdrawn || state.locked || (outcome.warming_up && self.warm_up == WarmUp::Withhold));
        self.close_brakes(state, &mut outcome, now, before);
        state.quiet = self.quiet(state, until);
        outcome
    }

    /// The analogue values at a frame.
    #[inline(never)]
    fn look_at_analogues(
        &self,
        state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>,
        outcome: &mut Outcome,
        now: Instant,
        before: Instant,
    ) {
        let moment = Moment { now, before, demanded_at: state.started_at };
        let all = self.analogues.iter().zip(&mut state.analogues).zip((0..32).map(AnalogueId::at));
        for ((config, analogue), id) in all {
            if analogue.look(config, state.started_at, &moment) {
                outcome.analogue_tripped = outcome.analogue_tripped.with(id);
            }
            for channel in Channel::BOTH {
                outcome.warming_up |= analogue.is_warming_up(channel);
                state.locked |= analogue.is_lost(channel);
            }
            if analogue.fault(Channel::A).is_some() {
                outcome.analogue_faults.a = outcome.analogue_faults.a.with(id);
            }
            if analogue.fault(Channel::B).is_some() {
                outcome.analogue_faults.b = outcome.analogue_faults.b.with(id);
            }
        }
    }

    /// What a reset has to clear: trips withdraw the permit or demand a stop, and a rule without its reference withdraws it.
    fn lock(&self, state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>, outcome: &Outcome) {
        let PerChannel { a, b } = outcome.unreferenced;
        if !a.is_empty() || !b.is_empty() {
            state.sides.a.unreferenced = state.sides.a.unreferenced.union(a);
            state.sides.b.unreferenced = state.sides.b.unreferenced.union(b);
            state.locked = true;
        }
        let tripped = outcome.tripped.a.union(outcome.tripped.b);
        let discrepancy = outcome.position_discrepancy_tripped
            || outcome.speed_discrepancy_tripped
            || !outcome.analogue_tripped.is_empty();
        state.locked |= discrepancy || !tripped.without(self.reacting).is_empty();
        let mut reacting = tripped.without(tripped.without(self.reacting));
        while let Some(id) = reacting.pop() {
            let stop = self.monitors.get(usize::from(id.index())).and_then(|monitor| monitor.reaction);
            if let Some(stop) = stop {
                state.stops = state.stops.with(stop);
                // Its demand begins at the next frame.
                state.restless = true;
            }
        }
    }

    /// Brakes go by the permit of this frame.
    fn close_brakes(
        &self,
        state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>,
        outcome: &mut Outcome,
        now: Instant,
        before: Instant,
    ) {
        if state.permitted && !outcome.permit {
            state.permit_gone_at = now;
        }
        state.permitted = outcome.permit;
        let mut brakes = self.brakes;
        while let Some(id) = brakes.pop() {
            let Some(MonitorConfig { rule: Rule::BrakeOutput(brake), .. }) =
                self.monitors.get(usize::from(id.index()))
            else {
                continue;
            };
            // Bounded because frames go forward.
            let gone_for = now.as_nanos().wrapping_sub(state.permit_gone_at.as_nanos());
            let period = now.as_nanos().wrapping_sub(before.as_nanos());
            let released = outcome.permit || (state.outputs.contains(id) && brake.may_wait(gone_for, period));
            state.outputs = if released {
                state.outputs.with(id)
            } else {
                state.outputs.without(MonitorSet::NONE.with(id))
            };
        }
        outcome.outputs = state.outputs;
    }

    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline)]
    fn run_discrepancies(
        &self,
        state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>,
        (now, before): (Instant, Instant),
        speeds: &PerChannel<Option<WindowSpeed>>,
        outcome: &mut Outcome,
    ) {
        let visible = state.last != Last::Blind;
        let moment = Moment { now, before, demanded_at: state.started_at };
        if let Some(rule) = &self.position_discrepancy {
            // At a channel fault too: the reading that showed it may be a first one, and the new reference.
            let PerChannel { a, b } = &state.sides;
            let a = a.source.view(self.sources.a.scale(), speeds.a);
            let b = b.source.view(self.sources.b.scale(), speeds.b);
            let apart = match (&a, &b) {
                (Some(a), Some(b)) => rule.compare(&mut state.references, now, a, b),
                _ => None,
            };
            let latch = &mut state.position_discrepancy;
            match apart {
                Some(Apart { bound, .. }) if visible && bound.is_exceeded() => {
                    outcome.position_discrepancy_tripped =
                        latch.violated(&Evidence::Position(bound), &moment, rule.discrepancy_time());
                }
                _ => latch.flags.interrupt(),
            }
        }
        if let Some(rule) = &self.speed_discrepancy {
            let latch = &mut state.speed_discrepancy;
            match rule.compare(speeds.a, speeds.b) {
                Some(bound) if visible && bound.is_exceeded() => {
                    outcome.speed_discrepancy_tripped =
                        latch.violated(&Evidence::Speed(bound), &moment, rule.discrepancy_time());
                }
                _ => latch.flags.interrupt(),
            }
        }
    }

    /// A reset that was released at this frame: clears every latch, or changes nothing.
    #[inline(never)]
    fn try_reset(&self, state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>, outcome: &Outcome) -> Reset {
        let PerChannel { a, b } = &state.sides;
        let blind = outcome.faults.a.is_some() || outcome.faults.b.is_some();
        if blind || a.source.never_read() || b.source.never_read() {
            return Reset::ChannelFaulted;
        }
        let used = state.analogues.iter().take(self.analogues.len());
        let is_unseen = |analogue: &Analogue| {
            Channel::BOTH.iter().any(|&line| analogue.fault(line).is_some() || analogue.never_read(line))
        };
        if used.clone().any(is_unseen) {
            return Reset::AnalogueFaulted;
        }
        let analogues_apart = used.clone().any(|analogue| analogue.discrepancy.flags.is_violated());
        if !outcome.unreferenced.a.is_empty() || !outcome.unreferenced.b.is_empty() {
            return Reset::Unreferenced;
        }
        let violated = !outcome.violated.a.is_empty()
            || !outcome.violated.b.is_empty()
            || state.position_discrepancy.flags.is_violated()
            || state.speed_discrepancy.flags.is_violated()
            || analogues_apart;
        if outcome.warming_up {
            return Reset::WarmingUp;
        }
        if violated {
            return Reset::Violated;
        }
        if self.is_stopping(state) {
            return Reset::Stopping;
        }
        let mut inputs = state.inputs.iter().zip((0..32).map(InputId::at));
        if inputs.any(|(input, id)| input.blocks_reset(self.inverted.contains(id))) {
            return Reset::InputFaulted;
        }
        let PerChannel { a, b } = &mut state.sides;
        for side in [a, b] {
            side.lost = false;
            side.latched = MonitorSet::NONE;
            side.unreferenced = MonitorSet::NONE;
            for flags in &mut side.flags {
                flags.reset();
            }
        }
        state.position_discrepancy.flags.reset();
        state.speed_discrepancy.flags.reset();
        for analogue in &mut state.analogues {
            analogue.reset();
        }
        for input in &mut state.inputs {
            input.reset();
        }
        state.clock_fault = false;
        state.locked = false;
        state.stops = MonitorSet::NONE;
        // Inputs that demanded only by their fault must be looked at again.
        state.settled = false;
        state.restless = true;
        Reset::Accepted
    }

    /// Whether a stop that a trip demands is not complete on both channels. One that begins at the next frame need not be looked at: what
    /// has just tripped is violated.
    fn is_stopping(&self, state: &AxisState<POINTS, MONITORS, INPUTS, Own>) -> bool {
        let PerChannel { a, b } = &state.sides;
        let mut stops = state.stops;
        while let Some(id) = stops.pop() {
            let i = usize::from(id.index());
            let (Some(config), Some(a), Some(b)) = (self.monitors.get(i), a.halves.get(i), b.halves.get(i))
            else {
                continue;
            };
            if config.rule.carries_on(&a.state) || config.rule.carries_on(&b.state) {
                return true;
            }
        }
        false
    }
}
