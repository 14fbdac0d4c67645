//! The monitors of one channel at one frame.
//!
//! Each active one is looked at, unless it is calm and stays so; what is calm from now on is found on the way.

use crate::analogue::{Analogue, Shown};
use crate::calm::{Calm, FOR_GOOD, Found};
use crate::config::MonitorConfig;
use crate::demand::Referencing;
use crate::frame::Channel;
use crate::history::Spacing;
use crate::monitor::{Check, Monitor, Motion, RuleState};
use crate::names::MonitorId;
use crate::outcome::{MonitorSet, PerChannel};
use crate::scale::WindowSpeed;
use crate::source::SourceConfig;
use crate::state::{Half, Side};
use crate::trip::{Evidence, Moment};
use crate::units::Instant;

/// Whoever wants to see checks.
pub(crate) trait Watch {
    /// Every check is wanted; otherwise calm monitors need none.
    const WATCHES: bool;
    /// What calm monitors observe is told from the motion: then none is calm whose limit falls, or differs by direction.
    const FOLLOWS: bool;

    fn see(&mut self, id: MonitorId, channel: Channel, check: &Check);
}

pub(crate) struct Unwatched;

impl Watch for Unwatched {
    const WATCHES: bool = false;
    const FOLLOWS: bool = false;

    fn see(&mut self, _: MonitorId, _: Channel, _: &Check) {}
}

pub(crate) struct Noted<F>(pub(crate) F);

impl<F: FnMut(MonitorId, Channel, &Check)> Watch for Noted<F> {
    const WATCHES: bool = false;
    const FOLLOWS: bool = true;

    fn see(&mut self, id: MonitorId, channel: Channel, check: &Check) {
        (self.0)(id, channel, check);
    }
}

pub(crate) struct Watched<F>(pub(crate) F);

impl<F: FnMut(MonitorId, Channel, &Check)> Watch for Watched<F> {
    const WATCHES: bool = true;
    const FOLLOWS: bool = true;

    fn see(&mut self, id: MonitorId, channel: Channel, check: &Check) {
        (self.0)(id, channel, check);
    }
}

/// What both channels of one frame share.
pub(crate) struct Shared<'a, Own: Monitor> {
    pub(crate) monitors: &'a [MonitorConfig<Own>],
    pub(crate) spacing: Spacing,
    /// The spacing is for two windows.
    pub(crate) two_windows: bool,
    pub(crate) referencing: &'a PerChannel<Referencing>,
    pub(crate) analogues: &'a [Analogue],
    pub(crate) demanded_at: &'a [Instant],
    pub(crate) now: Instant,
    /// The frame evaluated before.
    pub(crate) before: Instant,
    pub(crate) active: MonitorSet,
}

/// Whether the analogue values that these monitors go by can be seen and are no violations.
pub(crate) fn are_within<Own: Monitor>(
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
pub(crate) struct Ran {
    pub(crate) violated: MonitorSet,
    pub(crate) tripped: MonitorSet,
    /// Those that lack a referenced position.
    pub(crate) unreferenced: MonitorSet,
    pub(crate) withdraws: bool,
    pub(crate) warming_up: bool,
    /// What is calm is so until this frame.
    pub(crate) until: Instant,
}

impl<Own: Monitor> Shared<'_, Own> {
    /// Runs every active monitor on one channel, except those that are certain to find nothing.
    #[inline(never)]
    pub(crate) fn run<const POINTS: usize, const MONITORS: usize, W: Watch>(
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
