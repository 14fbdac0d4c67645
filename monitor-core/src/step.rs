//! One frame through an axis.
//!
//! In this order: the clock, the readings, the inputs, the demands, the monitors, the discrepancies, the reset, the permit.

use crate::axis::{AxisConfig, AxisState, Demand, Half, InputId, MonitorConfig, MonitorId, Side, WarmUp};
use crate::frame::{Channel, Frame};
use crate::monitor::{Check, Monitor, Motion, RuleState};
use crate::outcome::{InputSet, MonitorSet, Outcome, PerChannel, Reset};
use crate::source::SourceConfig;
use crate::trip::Evidence;
use crate::units::{Instant, Speed};

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
        let now = frame.now;
        let first = match state.last_now {
            Some(last) if now <= last => {
                state.clock_fault = true;
                return Outcome { clock_fault: true, ..Outcome::default() };
            }
            Some(_) => false,
            None => {
                state.started_at = now;
                state.sides.a.source.watch_from(now);
                state.sides.b.source.watch_from(now);
                true
            }
        };
        state.last_now = Some(now);
        let mut outcome = Outcome::default();

        let PerChannel { a, b } = &mut state.sides;
        outcome.faults = PerChannel {
            a: a.source.take(&self.sources.a, self.spacing, now, frame.a),
            b: b.source.take(&self.sources.b, self.spacing, now, frame.b),
        };
        a.lost |= outcome.faults.a.is_some();
        b.lost |= outcome.faults.b.is_some();

        let mut released = false;
        if first || !state.settled || frame.levels != state.levels {
            outcome.input_faults = self.read_inputs(state, frame);
            released = self.reset.is_some_and(|reset| state.button.released(&reset, frame.levels, now));
            state.settled = state.inputs.iter().all(|input| input.is_settled()) && state.button.is_settled();
            state.levels = frame.levels;
            self.activate(state, now);
        } else if !state.carried.is_empty() {
            self.activate(state, now);
        }
        outcome.demanding = state.demanding;
        outcome.active = state.active;

        let mut withdrawn = false;
        if !state.active.is_empty() {
            let PerChannel { a, b } = &mut state.sides;
            let shared = Shared {
                monitors: &self.monitors,
                demanded_at: &state.demanded_at,
                now,
                active: state.active,
            };
            let ran = shared.run(a, &self.sources.a, Channel::A, outcome.faults.a.is_none(), watch);
            outcome.violated.a = ran.violated;
            outcome.tripped.a = ran.tripped;
            withdrawn |= ran.withdrawn;
            outcome.warming_up |= ran.warming_up;
            let ran = shared.run(b, &self.sources.b, Channel::B, outcome.faults.b.is_none(), watch);
            outcome.violated.b = ran.violated;
            outcome.tripped.b = ran.tripped;
            withdrawn |= ran.withdrawn;
            outcome.warming_up |= ran.warming_up;
        } else {
            state.sides.a.limit_before = Speed::MAX;
            state.sides.b.limit_before = Speed::MAX;
        }
        self.run_discrepancies(state, now, &mut outcome);
        if released {
            outcome.reset = Some(self.try_reset(state, &outcome));
        }
        let PerChannel { a, b } = &state.sides;
        outcome.permit = !(withdrawn
            || state.clock_fault
            || a.lost
            || b.lost
            || !a.latched.is_empty()
            || !b.latched.is_empty()
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

    /// Brings the activity of every monitor up to date.
    fn activate(&self, state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>, now: Instant) {
        let before = state.active;
        let mut active = MonitorSet::NONE;
        let mut carried = MonitorSet::NONE;
        for (i, (config, id)) in self.monitors.iter().zip((0..32).map(MonitorId::at)).enumerate() {
            let demanded = match config.demand {
                Demand::Always => true,
                Demand::AnyOf(inputs) => inputs.overlaps(state.demanding),
            };
            let (Some(a), Some(b)) = (state.sides.a.halves.get_mut(i), state.sides.b.halves.get_mut(i))
            else {
                continue;
            };
            if demanded {
                active = active.with(id);
                if !before.contains(id) {
                    a.state = config.rule.fresh();
                    b.state = config.rule.fresh();
                    if let Some(demanded_at) = state.demanded_at.get_mut(i) {
                        *demanded_at = now;
                    }
                }
            } else if before.contains(id) {
                if config.rule.carries_on(&a.state) || config.rule.carries_on(&b.state) {
                    active = active.with(id);
                    carried = carried.with(id);
                } else {
                    a.latch.interrupt();
                    b.latch.interrupt();
                }
            }
        }
        state.active = active;
        state.carried = carried;
    }

    #[inline]
    fn run_discrepancies(
        &self,
        state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>,
        now: Instant,
        outcome: &mut Outcome,
    ) {
        let (a, b) = (&state.sides.a.source, &state.sides.b.source);
        let visible = outcome.faults.a.is_none() && outcome.faults.b.is_none();
        if let Some(rule) = &self.position_discrepancy {
            let (a, b) = ((a, self.sources.a.scale()), (b, self.sources.b.scale()));
            // At a channel fault too: the reading that showed it may be a first one, and the new reference.
            let apart = rule.compare(&mut state.references, now, a, b);
            outcome.apart = apart.filter(|_| visible);
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
        let PerChannel { a, b } = &mut state.sides;
        let blind = outcome.faults.a.is_some() || outcome.faults.b.is_some();
        if blind || a.source.never_read() || b.source.never_read() {
            return Reset::ChannelFaulted;
        }
        let violated = !outcome.violated.a.is_empty()
            || !outcome.violated.b.is_empty()
            || state.position_discrepancy.is_violated()
            || state.speed_discrepancy.is_violated();
        if outcome.warming_up {
            return Reset::WarmingUp;
        }
        if violated {
            return Reset::Violated;
        }
        if state.inputs.iter().any(|input| input.blocks_reset()) {
            return Reset::InputFaulted;
        }
        for side in [a, b] {
            side.lost = false;
            side.latched = MonitorSet::NONE;
            for half in &mut side.halves {
                half.latch.reset();
            }
        }
        state.position_discrepancy.reset();
        state.speed_discrepancy.reset();
        for input in &mut state.inputs {
            input.reset();
        }
        state.clock_fault = false;
        // Inputs that demanded only by their fault must be looked at again.
        state.settled = false;
        Reset::Accepted
    }
}

/// What both channels of one frame share.
struct Shared<'a, Own: Monitor> {
    monitors: &'a [MonitorConfig<Own>],
    demanded_at: &'a [Instant],
    now: Instant,
    active: MonitorSet,
}

/// What the monitors of one channel came to.
#[derive(Clone, Copy)]
struct Ran {
    violated: MonitorSet,
    tripped: MonitorSet,
    withdrawn: bool,
    warming_up: bool,
}

impl<Own: Monitor> Shared<'_, Own> {
    /// Runs every active monitor on one channel.
    #[inline]
    fn run<const POINTS: usize, const MONITORS: usize>(
        &self,
        side: &mut Side<POINTS, MONITORS, RuleState<Own::State>>,
        source: &SourceConfig,
        channel: Channel,
        visible: bool,
        watch: &mut impl FnMut(MonitorId, Channel, &Check),
    ) -> Ran {
        let never_read = visible && side.source.never_read();
        let mut ran = Ran {
            violated: MonitorSet::NONE,
            tripped: MonitorSet::NONE,
            withdrawn: false,
            warming_up: never_read,
        };
        let mut motion = Motion::of(self.now, channel, &side.source, source.scale(), side.limit_before);
        let mut limit = Speed::MAX;
        let monitors = self.monitors.iter().zip(self.demanded_at).zip(&mut side.halves);
        for (((config, demanded_at), half), id) in monitors.zip((0..32).map(MonitorId::at)) {
            if !self.active.contains(id) {
                continue;
            }
            motion.demanded_at = *demanded_at;
            let Half { state, latch } = half;
            config.rule.check(state, &motion, |check| {
                ran.withdrawn |= check.withdraws;
                // A limit stays in force while the channel is faulted.
                if let Some(in_force) = check.speed.map(|bound| bound.limit).or(check.unmet) {
                    limit = limit.min(in_force);
                }
                if !visible {
                    latch.interrupt();
                    return;
                }
                watch(id, channel, &check);
                ran.warming_up |= check.warming_up;
                if !check.is_violated() {
                    latch.interrupt();
                    return;
                }
                ran.violated = ran.violated.with(id);
                let evidence = Evidence::of(&check);
                if latch.update(evidence, self.now, *demanded_at, config.on_delay) {
                    ran.tripped = ran.tripped.with(id);
                }
            });
        }
        side.limit_before = limit;
        side.latched = side.latched.union(ran.tripped);
        ran
    }
}
