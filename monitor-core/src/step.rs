//! One frame through an axis.
//!
//! In this order: the clock, the readings, the inputs, the monitors with their demands, the discrepancies, the reset, the permit.

use crate::axis::{AxisConfig, AxisState, Demand, InputId, MonitorConfig, MonitorId, Slot, WarmUp};
use crate::frame::{Channel, Frame};
use crate::monitor::{Check, Monitor, Motion, Rule};
use crate::outcome::{InputSet, MonitorSet, Outcome, PerChannel, Reset};
use crate::trip::{Evidence, Latch};
use crate::units::{Instant, Speed};

type State<Own> = <Rule<Own> as Monitor>::State;

impl<const POINTS: usize, const MONITORS: usize, const INPUTS: usize, Own: Monitor>
    AxisConfig<POINTS, MONITORS, INPUTS, Own>
{
    /// Evaluates one frame on `state`, showing `watch` every check of every active monitor on every visible channel.
    ///
    /// Bounded, and it cannot panic. [`Axis`](crate::Axis) is more convenient; this form lets the setup live in flash.
    #[inline]
    pub fn step(
        &self,
        state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>,
        frame: &Frame,
        watch: &mut impl FnMut(MonitorId, Channel, &Check),
    ) -> Outcome {
        let mut outcome = Outcome::default();
        let now = frame.now;
        match state.last_now {
            Some(last) if now <= last => {
                state.clock_fault = true;
                outcome.clock_fault = true;
                return outcome;
            }
            None => {
                state.started_at = now;
                state.sources.a.watch_from(now);
                state.sources.b.watch_from(now);
            }
            Some(_) => {}
        }
        let first = state.last_now.is_none();
        state.last_now = Some(now);

        outcome.faults = PerChannel {
            a: state.sources.a.take(&self.sources.a, self.spacing, now, frame.a),
            b: state.sources.b.take(&self.sources.b, self.spacing, now, frame.b),
        };
        state.lost.a |= outcome.faults.a.is_some();
        state.lost.b |= outcome.faults.b.is_some();

        let mut released = false;
        if first || !state.settled || frame.levels != state.levels {
            outcome.input_faults = self.read_inputs(state, frame);
            released = self.reset.is_some_and(|reset| state.button.released(&reset, frame.levels, now));
            state.settled = state.inputs.iter().all(|input| input.is_settled()) && state.button.is_settled();
            state.levels = frame.levels;
        }
        outcome.demanding = state.demanding;

        let withdrawn = self.run_monitors(state, now, &mut outcome, watch);
        self.run_discrepancies(state, now, &mut outcome);
        if released {
            outcome.reset = Some(self.try_reset(state, &outcome));
        }
        outcome.permit = !(withdrawn
            || state.clock_fault
            || state.lost.a
            || state.lost.b
            || !state.latched.a.is_empty()
            || !state.latched.b.is_empty()
            || state.position_discrepancy.latched().is_some()
            || state.speed_discrepancy.latched().is_some()
            || (outcome.warming_up && self.warm_up == WarmUp::Withhold));
        outcome
    }

    fn read_inputs(&self, state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>, frame: &Frame) -> InputSet {
        let mut faulted = InputSet::NONE;
        let mut demanding = InputSet::NONE;
        for ((config, input), id) in self.inputs.iter().zip(&mut state.inputs).zip((0..32).map(InputId::at)) {
            if input.update(config, frame.levels, frame.now) {
                faulted = faulted.with(id);
            }
            if input.demands() {
                demanding = demanding.with(id);
            }
        }
        state.demanding = demanding;
        faulted
    }

    /// True when a monitor withdraws the permit as planned.
    #[inline]
    fn run_monitors(
        &self,
        state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>,
        now: Instant,
        outcome: &mut Outcome,
        watch: &mut impl FnMut(MonitorId, Channel, &Check),
    ) -> bool {
        let motion = |channel| {
            let source = state.sources.of(channel);
            let scale = self.sources.of(channel).scale();
            let visible = outcome.faults.of(channel).is_none();
            Motion::of(now, channel, source, scale, visible, *state.limit_before.of(channel))
        };
        let mut run = Run {
            motion: PerChannel { a: motion(Channel::A), b: motion(Channel::B) },
            visible: PerChannel { a: outcome.faults.a.is_none(), b: outcome.faults.b.is_none() },
            limit: PerChannel { a: Speed::MAX, b: Speed::MAX },
            withdrawn: false,
        };
        for ((config, slot), id) in self.monitors.iter().zip(&mut state.slots).zip((0..32).map(MonitorId::at))
        {
            let demanded = match config.demand {
                Demand::Always => true,
                Demand::AnyOf(inputs) => inputs.overlaps(outcome.demanding),
            };
            if !activate(config, slot, demanded, now) {
                continue;
            }
            outcome.active = outcome.active.with(id);
            for channel in Channel::BOTH {
                run.check(config, slot, id, channel, outcome, watch);
            }
        }
        state.limit_before = run.limit;
        state.latched.a = state.latched.a.union(outcome.tripped.a);
        state.latched.b = state.latched.b.union(outcome.tripped.b);
        let unread = |channel| {
            let source = state.sources.of(channel);
            source.never_read() && outcome.faults.of(channel).is_none()
        };
        outcome.warming_up |= !outcome.active.is_empty() && Channel::BOTH.into_iter().any(unread);
        run.withdrawn
    }

    #[inline]
    fn run_discrepancies(
        &self,
        state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>,
        now: Instant,
        outcome: &mut Outcome,
    ) {
        let (a, b) = (&state.sources.a, &state.sources.b);
        let visible = outcome.faults.a.is_none() && outcome.faults.b.is_none();
        if let Some(rule) = &self.position_discrepancy {
            let (a, b) = ((a, self.sources.a.scale()), (b, self.sources.b.scale()));
            outcome.apart = if visible { rule.compare(&mut state.references, now, a, b) } else { None };
            let evidence = match outcome.apart {
                Some(apart) if apart.bound.is_exceeded() => Some(Evidence::Position(apart.bound)),
                _ => None,
            };
            let latch = &mut state.position_discrepancy;
            outcome.position_discrepancy_tripped =
                latch.update(evidence, now, state.started_at, rule.discrepancy_time());
        }
        if let Some(rule) = &self.speed_discrepancy {
            outcome.speeds_apart = if visible { rule.compare(a, b) } else { None };
            let evidence = match outcome.speeds_apart {
                Some(bound) if bound.is_exceeded() => Some(Evidence::Speed(bound)),
                _ => None,
            };
            let latch = &mut state.speed_discrepancy;
            outcome.speed_discrepancy_tripped =
                latch.update(evidence, now, state.started_at, rule.discrepancy_time());
        }
    }

    /// A reset that was released at this frame: clears every latch, or changes nothing.
    fn try_reset(&self, state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>, outcome: &Outcome) -> Reset {
        let blind = |channel| outcome.faults.of(channel).is_some() || state.sources.of(channel).never_read();
        if Channel::BOTH.into_iter().any(blind) {
            return Reset::ChannelFaulted;
        }
        let violated = !outcome.violated.a.is_empty()
            || !outcome.violated.b.is_empty()
            || state.position_discrepancy.is_violated()
            || state.speed_discrepancy.is_violated();
        if violated {
            return Reset::Violated;
        }
        if state.inputs.iter().any(|input| input.blocks_reset()) {
            return Reset::InputFaulted;
        }
        for slot in &mut state.slots {
            slot.halves.a.latch.reset();
            slot.halves.b.latch.reset();
        }
        state.position_discrepancy.reset();
        state.speed_discrepancy.reset();
        for input in &mut state.inputs {
            input.reset();
        }
        state.latched = PerChannel { a: MonitorSet::NONE, b: MonitorSet::NONE };
        state.lost = PerChannel { a: false, b: false };
        state.clock_fault = false;
        // Inputs that demanded only by their fault must be looked at again.
        state.settled = false;
        Reset::Accepted
    }
}

/// Brings a monitor's activity up to date; says whether it is active at this frame.
#[inline]
fn activate<Own: Monitor>(
    config: &MonitorConfig<Own>,
    slot: &mut Slot<State<Own>>,
    demanded: bool,
    now: Instant,
) -> bool {
    if demanded == slot.active {
        return demanded;
    }
    if demanded {
        slot.active = true;
        slot.demanded_at = now;
        for channel in Channel::BOTH {
            slot.halves.of_mut(channel).state = State::<Own>::default();
        }
        return true;
    }
    let carried =
        Channel::BOTH.into_iter().any(|channel| config.rule.carries_on(&slot.halves.of(channel).state));
    if !carried {
        slot.active = false;
        for channel in Channel::BOTH {
            slot.halves.of_mut(channel).latch.interrupt();
        }
    }
    carried
}

/// What the monitors of one frame share.
struct Run<'a> {
    motion: PerChannel<Motion<'a>>,
    visible: PerChannel<bool>,
    limit: PerChannel<Speed>,
    withdrawn: bool,
}

impl Run<'_> {
    #[inline]
    fn check<Own: Monitor>(
        &mut self,
        config: &MonitorConfig<Own>,
        slot: &mut Slot<State<Own>>,
        id: MonitorId,
        channel: Channel,
        outcome: &mut Outcome,
        watch: &mut impl FnMut(MonitorId, Channel, &Check),
    ) {
        let motion = self.motion.of_mut(channel);
        motion.demanded_at = slot.demanded_at;
        let half = slot.halves.of_mut(channel);
        let check = config.rule.check(&mut half.state, motion);
        self.withdrawn |= check.withdraws;
        if !*self.visible.of(channel) {
            half.latch.interrupt();
            return;
        }
        watch(id, channel, &check);
        outcome.warming_up |= check.warming_up;
        if let Some(bound) = check.speed {
            let limit = self.limit.of_mut(channel);
            *limit = (*limit).min(bound.limit);
        }
        let evidence = Evidence::of(&check);
        if evidence.is_some() {
            let violated = outcome.violated.of_mut(channel);
            *violated = violated.with(id);
        }
        if update(&mut half.latch, evidence, motion, config) {
            let tripped = outcome.tripped.of_mut(channel);
            *tripped = tripped.with(id);
        }
    }
}

#[inline]
fn update<Own: Monitor>(
    latch: &mut Latch,
    evidence: Option<Evidence>,
    motion: &Motion<'_>,
    config: &MonitorConfig<Own>,
) -> bool {
    latch.update(evidence, motion.now, motion.demanded_at, config.on_delay)
}
