//! One frame through an axis.
//!
//! In this order: the clock, the readings, the inputs, the demands, the monitors, the discrepancies, the reset, the permit.

use crate::analogue::{Analogue, Shown};
use crate::calm::{Calm, FOR_GOOD, Found, Last, Quiet};
use crate::config::{AxisConfig, MonitorConfig, WarmUp};
use crate::demand::Referencing;
use crate::discrepancy::{Apart, PositionDiscrepancy, SpeedDiscrepancy};
use crate::frame::{Channel, Frame};
use crate::history::Spacing;
use crate::monitor::{Check, Monitor, Motion, Rule, RuleState};
use crate::names::{AnalogueId, InputId, MonitorId};
use crate::outcome::{MonitorSet, Outcome, PerChannel, Reset};
use crate::scale::WindowSpeed;
use crate::source::SourceConfig;
use crate::state::{AxisState, Half, Side};
use crate::trip::{Evidence, Moment};
use crate::units::Instant;

/// Whoever wants to see checks.
trait Watch {
    /// Every check is wanted; otherwise calm monitors need none.
    const WATCHES: bool;
    /// What calm monitors observe is told from the motion: then none is calm whose limit falls, or differs by direction.
    const FOLLOWS: bool;

    fn see(&mut self, id: MonitorId, channel: Channel, check: &Check);
}

struct Unwatched;

impl Watch for Unwatched {
    const WATCHES: bool = false;
    const FOLLOWS: bool = false;

    fn see(&mut self, _: MonitorId, _: Channel, _: &Check) {}
}

struct Noted<F>(F);

impl<F: FnMut(MonitorId, Channel, &Check)> Watch for Noted<F> {
    const WATCHES: bool = false;
    const FOLLOWS: bool = true;

    fn see(&mut self, id: MonitorId, channel: Channel, check: &Check) {
        (self.0)(id, channel, check);
    }
}

struct Watched<F>(F);

impl<F: FnMut(MonitorId, Channel, &Check)> Watch for Watched<F> {
    const WATCHES: bool = true;
    const FOLLOWS: bool = true;

    fn see(&mut self, id: MonitorId, channel: Channel, check: &Check) {
        (self.0)(id, channel, check);
    }
}

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
        if inputs.any(|(input, id)| input.blocks_reset(self.use_of(id))) {
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

    /// Whether a stop that a trip demands is not complete on both channels. One that begins at the next frame is not.
    fn is_stopping(&self, state: &AxisState<POINTS, MONITORS, INPUTS, Own>) -> bool {
        let PerChannel { a, b } = &state.sides;
        let mut stops = state.stops;
        while let Some(id) = stops.pop() {
            let i = usize::from(id.index());
            let (Some(config), Some(a), Some(b)) = (self.monitors.get(i), a.halves.get(i), b.halves.get(i))
            else {
                continue;
            };
            let is_open = config.rule.carries_on(&a.state) || config.rule.carries_on(&b.state);
            if is_open || !state.active.contains(id) {
                return true;
            }
        }
        false
    }
}

/// What both channels of one frame share.
struct Shared<'a, Own: Monitor> {
    monitors: &'a [MonitorConfig<Own>],
    spacing: Spacing,
    /// The spacing is for two windows.
    two_windows: bool,
    referencing: &'a PerChannel<Referencing>,
    analogues: &'a [Analogue],
    demanded_at: &'a [Instant],
    now: Instant,
    /// The frame evaluated before.
    before: Instant,
    active: MonitorSet,
}

/// Whether the analogue values that these monitors go by can be seen and are no violations.
fn are_within<Own: Monitor>(
    monitors: &[MonitorConfig<Own>],
    analogues: &[Analogue],
    mut of: MonitorSet,
    channel: Channel,
) -> bool {
    while let Some(id) = of.pop() {
        let on = monitors.get(usize::from(id.index())).and_then(|config| config.rule.on_analogue());
        let Some(on) = on else { return false };
        let (low, high) = on.within();
        let shown = analogues.get(usize::from(on.of().index())).map(|analogue| analogue.shown(channel));
        if !matches!(shown, Some(Shown::At(value)) if low <= value && value <= high) {
            return false;
        }
    }
    true
}

/// What the monitors of one channel came to.
#[derive(Clone, Copy)]
struct Ran {
    violated: MonitorSet,
    tripped: MonitorSet,
    /// Those that lack a referenced position.
    unreferenced: MonitorSet,
    withdraws: bool,
    warming_up: bool,
    /// What is calm is so until this frame.
    until: Instant,
}

impl<Own: Monitor> Shared<'_, Own> {
    /// Runs every active monitor on one channel, except those that are certain to find nothing.
    #[inline(never)]
    fn run<const POINTS: usize, const MONITORS: usize, W: Watch>(
        &self,
        side: &mut Side<POINTS, MONITORS, RuleState<Own::State>>,
        source: &SourceConfig,
        channel: Channel,
        speed: Option<WindowSpeed>,
        visible: bool,
        watch: &mut W,
    ) -> Ran {
        let Side { source: readings, calm, halves, flags, limit_before, latched, declared, .. } = side;
        readings.reach();
        let windows = if self.two_windows { readings.windows(self.spacing) } else { None };
        let follows_all = !calm.hides || !W::FOLLOWS;
        let may_last = visible && !W::WATCHES && !calm.falls && follows_all;
        let lasts = may_last
            && calm.holds(readings, windows.map(|(_, before)| before))
            && are_within(self.monitors, self.analogues, calm.on_values, channel);
        if !lasts {
            *calm = Calm::NONE;
        }
        let Self { monitors, now, before, active, .. } = *self;
        let mut ran = Ran {
            violated: MonitorSet::NONE,
            tripped: MonitorSet::NONE,
            unreferenced: MonitorSet::NONE,
            withdraws: calm.withdraws,
            warming_up: false,
            until: FOR_GOOD,
        };
        let mut motion = Motion {
            now,
            demanded_at: now,
            channel,
            visible,
            speed,
            windows,
            rate: readings.rate(),
            here: readings.mark(),
            reached: readings.reached(),
            scale: source.scale(),
            referencing: self.referencing.of(channel),
            declared: *declared,
            analogues: self.analogues,
            limit_before: *limit_before,
        };
        let mut limit = calm.in_force;
        let mut restless = active.without(calm.monitors);
        let mut found = Found::NOTHING;
        while let Some(id) = restless.pop() {
            let place = usize::from(id.index());
            let (Some(config), Some(half)) = (monitors.get(place), halves.get_mut(place)) else { break };
            let (Some(flags), Some(demanded_at)) = (flags.get_mut(place), self.demanded_at.get(place)) else {
                break;
            };
            let Half { state, latch } = half;
            motion.demanded_at = *demanded_at;
            // It was brought up to date before the demands.
            if let Some(output) = config.rule.output() {
                if !W::WATCHES
                    && visible
                    && let (Some(here), RuleState::Output(told)) = (motion.here(), state)
                {
                    calm.consider_output(id, &output.steady(*told, &motion), here.count(), &mut found);
                }
                continue;
            }
            let check = config.rule.check(state, &motion);
            ran.withdraws |= check.withdraws;
            // A limit stays in force while the channel is faulted.
            if let Some(in_force) = check.in_force {
                limit = limit.min(in_force);
            }
            if !visible && config.rule.analogue().is_none() {
                flags.interrupt();
                continue;
            }
            watch.see(id, channel, &check);
            ran.warming_up |= check.warming_up;
            if check.unreferenced {
                ran.unreferenced = ran.unreferenced.with(id);
            }
            let Some(evidence) = Evidence::of(&check) else {
                flags.interrupt();
                if !W::WATCHES && !check.warming_up && !check.unreferenced {
                    let reach = *config.reach.of(channel);
                    calm.consider(id, (&config.rule, state), &check, reach, W::FOLLOWS, &mut found);
                }
                continue;
            };
            ran.violated = ran.violated.with(id);
            let moment = Moment { now, before, demanded_at: *demanded_at };
            let mut tolerated = config.tolerated;
            if check.position.is_some() {
                // The standstill after a stop: its window bounds the travel.
                tolerated.overrun = None;
            }
            if latch.violated(flags, &evidence, &moment, &tolerated) {
                ran.tripped = ran.tripped.with(id);
            }
        }
        if !W::FOLLOWS
            && !found.falling.is_empty()
            && calm.monitors.union(found.falling) == active
            && let Some(speed) = speed
        {
            calm.add_falling(&mut found, now, speed.magnitude());
        }
        calm.close(source, self.spacing, &found);
        ran.until = found.until;
        if !lasts {
            // All were looked at.
            readings.forget_reached();
        }
        *limit_before = limit;
        *latched = latched.union(ran.tripped);
        ran
    }
}
