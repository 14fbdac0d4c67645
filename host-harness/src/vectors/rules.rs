//! What monitors and discrepancies really did at a frame; see [`Track`].

use monitor_core::{Channel, Check, Frame, Outcome, Reset, Side, WindowTravel};

use super::cases::{ramp_of, windows_of};
use super::ends;
use super::track::{Delay, Is, Track};
use super::transition::{Part, name};
use crate::setup::{By, LimitSetup, MonitorKind};

/// What is remembered of a monitor on one channel.
#[derive(Clone, Copy, Default)]
pub(super) struct Half {
    delay: Delay,
    active: bool,
    demanded: bool,
    demanded_at: u64,
    complete: bool,
    /// The last limit on the speed that was seen since the activation.
    line: Option<i64>,
    /// The channel was faulted at the frame before.
    blind: bool,
}

/// What a frame says of one monitor on one channel.
struct Now<'a> {
    kind: &'a MonitorKind,
    check: Option<Check>,
    /// Since the demand became active, in ns.
    since: u64,
    visible: bool,
    active: bool,
    demanded: bool,
}

fn bit(bits: u32, place: usize) -> bool {
    bits >> place & 1 == 1
}

/// The speed of a travel in ULP per second, rounded up.
fn up(counts: i128, nano: i128, elapsed: u64) -> i128 {
    (counts.abs() * nano + i128::from(elapsed) - 1) / i128::from(elapsed)
}

impl Track<'_> {
    pub(super) fn of_monitors(&mut self, frame: &Frame, outcome: &Outcome) {
        for number in 0..self.setup.monitors.len() {
            for side in [0, 1] {
                self.monitor(number, side, frame, outcome);
            }
        }
    }

    fn monitor(&mut self, number: usize, side: usize, frame: &Frame, outcome: &Outcome) {
        let part = Part::Monitor(number, side);
        let setup = self.setup;
        let monitor = &setup.monitors[number];
        let now = frame.now.as_nanos();
        match &monitor.kind {
            MonitorKind::BrakeOutput { delay } if side == 0 => {
                self.brake(number, delay.value.as_nanos(), frame, outcome);
            }
            kind if ends::tells_motion(kind) => self.output(number, side, outcome),
            _ => {}
        }
        let mut half = self.monitors[number][side];
        let fault = if side == 0 { outcome.faults.a } else { outcome.faults.b };
        let active = bit(outcome.active.to_bits(), number);
        if active && !half.active {
            half = Half { delay: half.delay, demanded_at: now, ..Half::default() };
        }
        let seen = Now {
            kind: &monitor.kind,
            check: self.checks[number][side],
            since: now - half.demanded_at,
            visible: fault.is_none(),
            active,
            demanded: active && !bit(self.axis.state().carried().to_bits(), number),
        };
        self.count(part, "active", active && !half.active);
        self.count(part, "released", !active && half.active);
        let check = seen.check.unwrap_or_default();
        let is_speed = matches!(monitor.kind, MonitorKind::SpeedOutput { .. });
        let waits = is_speed && active && seen.visible && self.travel(side).is_none() && outcome.warming_up;
        self.count(part, "warming up", check.warming_up || waits);
        self.count(part, "withdraws the permit as planned", check.withdraws);
        if let MonitorKind::Stop { by, .. } = &monitor.kind {
            self.stop(part, by, &seen, &mut half, now);
        }
        self.line(part, side, &seen, &mut half);
        self.limits(part, side, &check);
        let (violated, tripped) = if side == 0 {
            (outcome.violated.a, outcome.tripped.a)
        } else {
            (outcome.violated.b, outcome.tripped.b)
        };
        let is = Is {
            violated: bit(violated.to_bits(), number),
            tripped: bit(tripped.to_bits(), number),
            reset: outcome.reset == Some(Reset::Accepted),
        };
        self.directions(part, side, &check, is.violated);
        self.ends(part, (number, side), &monitor.kind, seen.check);
        let unreferenced = if side == 0 { outcome.unreferenced.a } else { outcome.unreferenced.b };
        self.count(part, "unreferenced: a fault", bit(unreferenced.to_bits(), number));
        let stops = is.tripped && monitor.reaction.is_some() && outcome.permit;
        self.count(part, "its trip demands a stop, and the permit stays", stops);
        let other = self.monitors[number][1 - side].delay;
        self.count(part, "trip after the other channel's", is.tripped && other.is_tripped_before(now));
        half.delay = self.delay(part, half.delay, now, monitor.on_delay.value.as_nanos(), is);
        half.active = active;
        half.demanded = seen.demanded;
        half.blind = !seen.visible;
        self.monitors[number][side] = half;
    }

    fn travel(&self, side: usize) -> Option<WindowTravel> {
        self.axis.state().glimpse([Channel::A, Channel::B][side])?.travel
    }

    /// How far the channel is from where its travel is measured from, in counts.
    fn gone(&self, side: usize, check: &Check) -> Option<i128> {
        let here = self.axis.state().glimpse([Channel::A, Channel::B][side])?.mark.count();
        Some(i128::from(here) - i128::from(check.from?.count()))
    }

    fn directions(&mut self, part: Part, side: usize, check: &Check, violated: bool) {
        let by_position = check.position.is_some_and(|bound| bound.is_exceeded());
        let counts = if by_position {
            self.gone(side, check)
        } else {
            self.travel(side).map(|travel| i128::from(travel.counts()))
        };
        if let Some(counts) = counts.filter(|_| violated) {
            let forwards = (counts > 0) != self.sensors[side].reversed;
            self.count(part, if forwards { name::FORWARDS } else { name::BACKWARDS }, true);
        }
    }

    fn limits(&mut self, part: Part, side: usize, check: &Check) {
        let nano = self.sensors[side].nano;
        if let (Some(bound), Some(travel)) = (check.speed, self.travel(side)) {
            let (limit, counts) = (i128::from(bound.limit.to_bits()), i128::from(travel.counts()).abs());
            let elapsed = travel.elapsed().as_nanos();
            let exceeded = bound.is_exceeded();
            self.count(part, name::WITHIN, !exceeded && up(counts + 1, nano, elapsed) > limit);
            self.count(part, name::BEYOND, exceeded && up(counts - 1, nano, elapsed) <= limit);
            self.count(part, name::AT_LIMIT, bound.observed == bound.limit);
        }
        if let (Some(bound), Some(gone)) = (check.position, self.gone(side, check)) {
            let limit = i128::from(bound.limit.to_bits());
            let place = |counts: i128| up(counts, nano, 1_000_000_000);
            let exceeded = bound.is_exceeded();
            self.count(part, name::PLACE_WITHIN, !exceeded && place(gone.abs() + 1) > limit);
            self.count(part, name::PLACE_BEYOND, exceeded && place(gone.abs() - 1) <= limit);
            self.count(part, name::PLACE_AT, bound.observed == bound.limit);
        }
    }

    /// Whether a count more or less would have made the difference.
    fn ends(&mut self, part: Part, (number, side): (usize, usize), kind: &MonitorKind, check: Option<Check>) {
        let (Some(_), Some(check)) = (ends::ends(kind), check) else { return };
        // What follows a stop has other limits.
        let is_meant =
            |check: &Check| check.acceleration.is_some() || !matches!(kind, MonitorKind::Stop { .. });
        if !is_meant(&check) {
            return;
        }
        let violated = check.is_violated();
        for direction in [0, 1] {
            let probe = self.probes[side][direction].as_ref();
            let Some(further) = probe.and_then(|probe| probe.checks[number]).filter(is_meant) else {
                continue;
            };
            self.count(part, ends::WITHIN[direction], !violated && further.is_violated());
            self.count(part, ends::BEYOND[1 - direction], violated && !further.is_violated());
        }
        let at = check.speed.is_some_and(|bound| bound.observed == bound.limit)
            || check.position.is_some_and(|bound| bound.observed == bound.limit)
            || check.acceleration.is_some_and(|bound| bound.observed == bound.limit);
        self.count(part, ends::AT, at && !violated);
    }

    fn output(&mut self, number: usize, side: usize, outcome: &Outcome) {
        let part = Part::Monitor(number, side);
        let Some((_, before)) = self.before else { return };
        let tells = |outcome: &Outcome| bit(outcome.outputs.to_bits(), number);
        self.turns(part, side, &ends::TELLS, (tells(&before), tells(outcome)), tells);
        let demanded: Vec<usize> = ends::demanded_by(self.setup, number).collect();
        for monitor in demanded {
            let active = |outcome: &Outcome| bit(outcome.active.to_bits(), monitor);
            self.turns(part, side, &ends::DEMANDS, (active(&before), active(outcome)), active);
        }
    }

    /// Whether something of an output changes at this count, or would have at the next.
    fn turns(
        &mut self,
        part: Part,
        side: usize,
        names: &[[&'static str; 2]; 4],
        (before, now): (bool, bool),
        of: impl Fn(&Outcome) -> bool,
    ) {
        for direction in [0, 1] {
            let Some(probe) = &self.probes[side][direction] else { continue };
            let further = of(&probe.outcome);
            // Further in this direction it is left, or it is entered and the end lies behind.
            let end = if now { direction } else { 1 - direction };
            let name = match (before, now) {
                (false, false) => names[0],
                (false, true) => names[1],
                (true, true) => names[2],
                (true, false) => names[3],
            };
            self.count(part, name[end], now != further);
        }
    }

    fn brake(&mut self, number: usize, delay: u64, frame: &Frame, outcome: &Outcome) {
        let part = Part::Output(number);
        let now = frame.now.as_nanos();
        let open = bit(outcome.outputs.to_bits(), number);
        let (last, was) = self.before.map_or((now, false), |(frame, outcome)| {
            (frame.now.as_nanos(), bit(outcome.outputs.to_bits(), number))
        });
        self.count(part, "released with the permit", open && outcome.permit && !was);
        if outcome.permit {
            self.gone_at = None;
            return;
        }
        let late = now - *self.gone_at.get_or_insert(now) + now - last;
        self.count(
            part,
            "stays released: the next frame is due at the end of its delay",
            open && late == delay,
        );
        self.count(part, "closes: the next frame would be 1 ns too late", was && !open && late == delay + 1);
        self.count(part, "stays closed within its delay", !was && !open && late <= delay);
        let faulted = self.axis.state().is_clock_faulted();
        self.count(part, "closes at once with a clock fault", faulted && was && !open && late <= delay);
    }

    fn stop(&mut self, part: Part, by: &By, seen: &Now<'_>, half: &mut Half, now: u64) {
        let (target, within) = match by {
            By::Ramp { standstill_speed, within, .. } => (Some(standstill_speed.value), within.as_ref()),
            By::Deceleration { within, .. } => (None, within.as_ref()),
            By::Time { within } => (None, Some(within)),
        };
        let within = within.map(|within| within.value.as_nanos());
        let check = seen.check.unwrap_or_default();
        let ended = !seen.active && half.active;
        self.count(part, "carried through after its demand", seen.active && !seen.demanded && !half.complete);
        let again = seen.active && half.active && seen.demanded && !half.demanded && !half.complete;
        self.count(part, "demanded again before it is complete", again);
        self.count(part, "ends once it is complete and not demanded", ended);
        let not_yet = seen.check.is_some() && !check.complete;
        self.count(part, "not complete 1 ns before its time", not_yet && within == Some(seen.since + 1));
        if check.complete && !half.complete {
            let line = check.speed.is_some_and(|bound| Some(bound.limit) == target);
            let last = self.before.map_or(0, |(frame, _)| frame.now.as_nanos());
            let by_time =
                within.is_some_and(|within| seen.since >= within && last < now - seen.since + within);
            let earlier = half.blind && !line && !by_time;
            let stands = matches!(by, By::Deceleration { .. }) && !half.blind && !by_time;
            self.count(part, "complete at its standstill speed", stands);
            self.count(part, "complete by its line", line);
            self.count(part, "complete by its time", by_time && !line);
            self.count(part, "complete while the channel is faulted", earlier);
        }
        // It ends only when both channels are complete.
        self.count(part, "complete while the channel is faulted", ended && half.blind && !half.complete);
        self.count(part, "a standstill takes over", check.complete && check.position.is_some());
        half.complete |= check.complete;
    }

    fn line(&mut self, part: Part, side: usize, seen: &Now<'_>, half: &mut Half) {
        let Some(ramp) = ramp_of(seen.kind) else { return };
        let bound = seen.check.and_then(|check| check.speed);
        let backwards = bound.is_some_and(|bound| bound.side == Side::Below);
        let target = match seen.kind {
            MonitorKind::SpeedLimit { limit: LimitSetup::Each { positive, .. }, .. } if !backwards => {
                positive.value
            }
            MonitorKind::SpeedLimit { limit: LimitSetup::Each { negative, .. }, .. } => negative.value,
            MonitorKind::SpeedLimit { limit: LimitSetup::Both(limit), .. } => limit.value,
            MonitorKind::Stop { by: By::Ramp { standstill_speed, .. }, .. } => standstill_speed.value,
            _ => return,
        }
        .to_bits();
        let falls = half.line.is_some_and(|line| line > target);
        self.count(part, "line: a fault while it falls", seen.active && !seen.visible && falls);
        let Some(check) = seen.check else { return };
        // After a stop the windows of its standstill are in force.
        if check.complete && windows_of(seen.kind).is_some() && check.position.is_some() {
            return;
        }
        let unknown = check.speed.is_none() && check.in_force.is_none();
        self.count(part, "line: waits for a speed", check.warming_up && unknown);
        let Some(bound) = check.speed else { return };
        let limit = bound.limit.to_bits().abs();
        if let (None, Some(travel)) = (half.line, self.travel(side)) {
            let down = i128::from(travel.counts()).abs() * self.sensors[side].nano
                / i128::from(travel.elapsed().as_nanos());
            let start = i128::from(limit) - i128::from(ramp.margin.value.to_bits());
            let flat = seen.since <= ramp.delay.value.as_nanos() && limit > target;
            self.count(part, "line: starts at a limit in force before", flat && start < down);
        }
        self.count(part, "line: falls", half.line.is_some_and(|line| line > limit && limit > target));
        self.count(part, "line: has landed", limit == target);
        half.line = Some(limit);
    }

    pub(super) fn of_discrepancies(&mut self, frame: &Frame, outcome: &Outcome) {
        let now = frame.now.as_nanos();
        let reset = outcome.reset == Some(Reset::Accepted);
        if let Some(rule) = &self.setup.discrepancy {
            let time = rule.discrepancy_time.value.as_nanos();
            let apart = self.axis.apart();
            let violated = apart.is_some_and(|apart| apart.bound.is_exceeded());
            let forwards = apart.is_some_and(|apart| apart.d.to_bits() > 0);
            let is = Is { violated, tripped: outcome.position_discrepancy_tripped, reset };
            self.compared(Part::Positions, apart.is_some(), violated, forwards);
            self.apart[0] = self.delay(Part::Positions, self.apart[0], now, time, is);
        }
        if let Some(rule) = &self.setup.speed_discrepancy {
            let time = rule.discrepancy_time.value.as_nanos();
            let bound = self.axis.speeds_apart();
            let violated = bound.is_some_and(|bound| bound.is_exceeded());
            let speed = |channel| self.axis.speed(channel).map(|speed| speed.signed());
            let forwards = speed(Channel::A) > speed(Channel::B);
            let is = Is { violated, tripped: outcome.speed_discrepancy_tripped, reset };
            self.compared(Part::Speeds, bound.is_some(), violated, forwards);
            self.apart[1] = self.delay(Part::Speeds, self.apart[1], now, time, is);
        }
    }

    fn compared(&mut self, part: Part, known: bool, violated: bool, forwards: bool) {
        self.count(part, "compared, not violated", known && !violated);
        self.count(part, "not compared: something is unknown or a channel is faulted", !known);
        self.count(part, name::FORWARDS, violated && forwards);
        self.count(part, name::BACKWARDS, violated && !forwards);
    }
}
