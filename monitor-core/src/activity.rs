//! What is active at a frame: inputs, positions that they declare, outputs, demands.

use crate::calm::{Calm, Found};
use crate::config::{AxisConfig, MonitorConfig};
use crate::demand::{Demand, Referencing};
use crate::frame::{Channel, Frame};
use crate::monitor::{Lacks, Monitor, Motion, OutputState, RuleState};
use crate::names::{InputId, MonitorId};
use crate::outcome::{InputSet, MonitorSet, Outcome, PerChannel};
use crate::scale::WindowSpeed;
use crate::state::{AxisState, Half, Side};
use crate::units::{Instant, Span, Speed};

impl<const POINTS: usize, const MONITORS: usize, const INPUTS: usize, Own: Monitor>
    AxisConfig<POINTS, MONITORS, INPUTS, Own>
{
    /// Inputs, outputs and demands of a frame at which they may change; whether a reset was released.
    #[inline(never)]
    pub(crate) fn take_demands(
        &self,
        state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>,
        frame: &Frame,
        before: Instant,
        speeds: &PerChannel<Option<WindowSpeed>>,
        outcome: &mut Outcome,
    ) -> bool {
        let mut released = false;
        if !state.settled || frame.levels != state.levels {
            let asked = state.asking;
            outcome.input_faults = self.read_inputs(state, frame);
            let began = state.asking.without(asked);
            if began.overlaps(self.declaring()) {
                self.declare(state, began, outcome);
            }
            released = self.reset.is_some_and(|reset| state.button.released(&reset, frame.levels, frame.now));
            state.settled = state.inputs.iter().all(|input| input.is_settled()) && state.button.is_settled();
            state.levels = frame.levels;
        }
        self.activate(state, frame.now, before, speeds, outcome);
        state.restless = !state.settled || !state.carried.is_empty();
        released
    }

    /// Inputs that began to demand declare where channels are that can be seen.
    #[cold]
    fn declare(
        &self,
        state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>,
        began: InputSet,
        outcome: &Outcome,
    ) {
        for channel in Channel::BOTH {
            let Referencing::Event { input, .. } = *self.referencing.of(channel) else { continue };
            let is_faulted = state.is_input_faulted(input) || outcome.faults.of(channel).is_some();
            let side = match channel {
                Channel::A => &mut state.sides.a,
                Channel::B => &mut state.sides.b,
            };
            if let (true, false, Some(here)) = (began.contains(input), is_faulted, side.source.mark()) {
                side.declared = here;
                // What was calm was so by the old reference.
                side.calm = Calm::NONE;
            }
        }
    }

    fn read_inputs(&self, state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>, frame: &Frame) -> InputSet {
        let mut faulted = InputSet::NONE;
        let mut demanding = InputSet::NONE;
        let (mut asking, mut confirmed) = (InputSet::NONE, InputSet::NONE);
        for ((config, input), id) in self.inputs.iter().zip(&mut state.inputs).zip((0..32).map(InputId::at)) {
            if input.update(config, self.inverted.contains(id), frame.levels, frame.now) {
                faulted = faulted.with(id);
            }
            if input.demands() {
                demanding = demanding.with(id);
            }
            if input.asks() {
                asking = asking.with(id);
            }
            if input.is_confirmed() {
                confirmed = confirmed.with(id);
            }
        }
        state.demanding = demanding;
        (state.asking, state.confirmed) = (asking, confirmed);
        faulted
    }

    /// The smallest limit on the speed of a channel at the frame before, which a falling limit leaves behind.
    fn update_limit_before(
        &self,
        side: &mut Side<POINTS, MONITORS, RuleState<Own::State>>,
        demanded_at: &[Instant],
        frame_before: Instant,
    ) {
        if side.calm.falls {
            let monitors = side.calm.monitors;
            side.limit_before = limit_at(&self.monitors, &side.halves, demanded_at, monitors, frame_before);
        }
    }

    /// Brings the activity of every monitor up to date.
    fn activate(
        &self,
        state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>,
        now: Instant,
        frame_before: Instant,
        speeds: &PerChannel<Option<WindowSpeed>>,
        outcome: &mut Outcome,
    ) {
        let before = state.active;
        let outputs = state.outputs;
        // Of this frame, as far as they come before the monitor that is looked at.
        let (mut on, mut near) = (MonitorSet::NONE, MonitorSet::NONE);
        self.update_limit_before(&mut state.sides.a, &state.demanded_at, frame_before);
        self.update_limit_before(&mut state.sides.b, &state.demanded_at, frame_before);
        let mut active = MonitorSet::NONE;
        let mut carried = MonitorSet::NONE;
        for (i, (config, id)) in self.monitors.iter().zip((0..32).map(MonitorId::at)).enumerate() {
            let demanded = match config.demand {
                Demand::Always => true,
                Demand::AnyOf(inputs) => inputs.overlaps(state.demanding),
                Demand::Any(any) => {
                    any.inputs.overlaps(state.demanding)
                        || !any.not_inputs.without(state.confirmed).is_empty()
                        || any.outputs.overlaps(near)
                        || !any.not_outputs.without(on).is_empty()
                }
                Demand::Reaction => false,
            } || state.stops.contains(id);
            let PerChannel { a, b } = &mut state.sides;
            let (Some(a), Some(b), Some(demanded_at)) =
                (a.halves.get_mut(i), b.halves.get_mut(i), state.demanded_at.get_mut(i))
            else {
                continue;
            };
            if demanded {
                active = active.with(id);
                if !before.contains(id) {
                    a.state = config.rule.fresh();
                    b.state = a.state;
                    *demanded_at = now;
                }
            } else if before.contains(id) {
                if config.rule.carries_on(&a.state) || config.rule.carries_on(&b.state) {
                    active = active.with(id);
                    carried = carried.with(id);
                } else {
                    for side in [&mut state.sides.a, &mut state.sides.b] {
                        if let Some(flags) = side.flags.get_mut(i) {
                            flags.interrupt();
                        }
                    }
                }
            }
            if demanded && self.outputs.contains(id) {
                let told = self.tell(state, id, now, speeds, outcome);
                if told.a.on && told.b.on {
                    on = on.with(id);
                }
                if told.a.near || told.b.near {
                    near = near.with(id);
                }
            }
        }
        state.carried = carried;
        state.outputs = on.union(outputs.without(outputs.without(self.brakes)));
        if active != before {
            state.active = active;
            let PerChannel { a, b } = &mut state.sides;
            for (side, source) in [(a, &self.sources.a), (b, &self.sources.b)] {
                side.calm = Calm::NONE;
                // Otherwise the monitors are looked at, and what is calm is found anew.
                if active.is_empty() {
                    side.calm.close(source, self.spacing, &Found::NOTHING);
                    side.limit_before = Speed::MAX;
                }
            }
        }
    }

    /// What an active output tells on each channel; one that lacks a reference is noted.
    fn tell(
        &self,
        state: &mut AxisState<POINTS, MONITORS, INPUTS, Own>,
        id: MonitorId,
        now: Instant,
        speeds: &PerChannel<Option<WindowSpeed>>,
        outcome: &mut Outcome,
    ) -> PerChannel<OutputState> {
        let PerChannel { a, b } = &mut state.sides;
        let mut told = PerChannel::default();
        let sides = [
            (a, Channel::A, &mut told.a, &mut outcome.unreferenced.a),
            (b, Channel::B, &mut told.b, &mut outcome.unreferenced.b),
        ];
        for (side, channel, told, unreferenced) in sides {
            let place = usize::from(id.index());
            let output = self.monitors.get(place).and_then(|monitor| monitor.rule.output());
            let half = side.halves.get_mut(place);
            let (Some(output), Some(Half { state: RuleState::Output(own), .. })) = (output, half) else {
                continue;
            };
            let motion = Motion {
                now,
                demanded_at: now,
                channel,
                visible: outcome.faults.of(channel).is_none(),
                speed: *speeds.of(channel),
                windows: None,
                rate: side.source.rate(),
                here: side.source.mark(),
                reached: side.source.reached(),
                scale: self.sources.of(channel).scale(),
                referencing: self.referencing.of(channel),
                declared: side.declared,
                analogues: &[],
                limit_before: Speed::MAX,
            };
            match output.update(own, &motion) {
                Lacks::Nothing => {}
                Lacks::Speed => outcome.warming_up = true,
                Lacks::Reference => *unreferenced = unreferenced.with(id),
            }
            *told = *own;
        }
        told
    }
}

/// The smallest limit that calm monitors put on the speed of a channel at an instant; [`Speed::MAX`] without one.
fn limit_at<Own: Monitor>(
    monitors: &[MonitorConfig<Own>],
    halves: &[Half<RuleState<Own::State>>],
    demanded_at: &[Instant],
    mut of: MonitorSet,
    at: Instant,
) -> Speed {
    let mut limit = Speed::MAX;
    while let Some(id) = of.pop() {
        let place = usize::from(id.index());
        let (Some(config), Some(half), Some(demanded_at)) =
            (monitors.get(place), halves.get(place), demanded_at.get(place))
        else {
            break;
        };
        // Bounded because a monitor is calm only after its demand.
        let since = Span::from_nanos(at.as_nanos().wrapping_sub(demanded_at.as_nanos()));
        if let Some(own) = config.rule.limit_at(&half.state, since) {
            limit = limit.min(own);
        }
    }
    limit
}
