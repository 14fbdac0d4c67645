//! One trace through the core and through the model.

use core::fmt;

use cowitness_tests::model::{
    self, AnalogueFault, ChannelSeen, DiscrepancySeen, Fault, LaneSeen, Model, Question, Refusal, Reset,
    Seen, TripFacts, q, ulp_up, ulps,
};
use cowitness_tests::trace::Case;
use monitor_core::{
    Acceleration, AnalogueId, AnalogueReading, Apart, Axis, Bound, Channel, Check, Evidence, InputId,
    Instant, MonitorId, Outcome, Position, Side, SourceFault, Speed, Trip, Tripped, Value, WindowSpeed,
};
use num_traits::Signed;

use cowitness_tests::core_of::{Core, bits, core_of};

/// The first thing in which the two differ.
#[derive(Debug)]
pub struct Difference {
    /// Index of the frame.
    pub frame: usize,
    /// What differs, in a few words without values.
    pub what: String,
    /// What the core and the model say.
    pub said: String,
}

impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "frame {}: {}: {}", self.frame, self.what, self.said)
    }
}

/// How much was compared.
#[derive(Debug, Default)]
pub struct Tally {
    /// Frames.
    pub frames: u64,
    /// Comparisons that rounding could decide.
    pub compared: u64,
    /// Comparisons that rounding did decide; in them the model follows the core.
    pub near: u64,
    /// Of those, how many the model would have decided otherwise.
    pub followed: u64,
    /// Frames that the unwatched core told at a glance.
    pub quiet: u64,
    /// Trips.
    pub trips: u64,
    /// Accepted resets.
    pub resets_accepted: u64,
}

/// Collects the first difference of a frame.
struct Judge {
    frame: usize,
    found: Option<Difference>,
}

impl Judge {
    fn same<T: PartialEq + fmt::Debug>(&mut self, what: &str, core: T, model: T) {
        self.hold(what, core == model, || format!("core {core:?}, model {model:?}"));
    }

    fn hold(&mut self, what: &str, holds: bool, said: impl FnOnce() -> String) {
        if !holds && self.found.is_none() {
            self.found = Some(Difference { frame: self.frame, what: what.to_owned(), said: said() });
        }
    }
}

/// What the core was seen to find on one channel of one monitor.
type Checks = Vec<[Option<Check>; 2]>;

/// Runs the case through both and finds the first difference.
pub fn first_difference<const POINTS: usize>(case: &Case, tally: &mut Tally) -> Option<Difference> {
    let Core { config, inputs, analogues, monitors } = core_of::<POINTS>(&case.setup);
    let mut axis = Axis::new(config);
    // The core passes over checks whose result is certain unless somebody watches: it must come to the same, also when
    // it is watched now and then.
    let (mut unwatched, mut now_and_then) = (axis.clone(), axis.clone());
    let mut model = Model::new(&case.setup);
    let align = case.setup.discrepancy.as_ref().is_some_and(|rule| rule.align);
    for (index, frame) in case.frames.iter().enumerate() {
        for offer in case.offers(index) {
            let (id, channel) = (analogues[offer.analogue], Channel::BOTH[offer.channel]);
            let captured_at = Instant::from_nanos(offer.captured_at);
            let reading = AnalogueReading { captured_at, value: offer.value.map(Value::from_bits) };
            for axis in [&mut axis, &mut unwatched, &mut now_and_then] {
                axis.offer(id, channel, reading);
            }
            model.offer(offer.analogue, offer.channel, offer.captured_at, offer.value());
        }
        let mut checks: Checks = vec![[None; 2]; case.setup.monitors.len()];
        let outcome = axis.step_watched(frame, &mut |id, channel, check| {
            checks[usize::from(id.index())][at(channel)] = Some(*check);
        });
        let mut followed = 0;
        let seen = model.step_with(frame, |question, held| {
            let core = answer(question, &axis, &monitors, &checks);
            let decided = core.unwrap_or(held);
            followed += u64::from(decided != held);
            decided
        });
        tally.frames += 1;
        tally.compared += seen.compared as u64;
        tally.near += seen.near as u64;
        tally.followed += followed;
        tally.trips += u64::from(outcome.has_trip());
        tally.resets_accepted += u64::from(outcome.reset == Some(monitor_core::Reset::Accepted));
        let mut judge = Judge { frame: index, found: None };
        judge.same("unwatched", unwatched.step(frame), outcome);
        tally.quiet += u64::from(unwatched.state().was_quiet());
        // A sequence without a short period.
        let is_watched = index.wrapping_mul(0x9e37_79b9) & 0x1_0000 != 0;
        let mixed = if is_watched {
            now_and_then.step_watched(frame, &mut |_, _, _| {})
        } else {
            now_and_then.step(frame)
        };
        judge.same("watched now and then", mixed, outcome);
        judge.same("worked out unwatched", worked_out(&unwatched), worked_out(&axis));
        judge.same("worked out watched now and then", worked_out(&now_and_then), worked_out(&axis));
        if outcome.has_trip() {
            let trips = |axis: &Axis<POINTS, 16, 16>| axis.state().trips().collect::<Vec<_>>();
            judge.same("trips unwatched", trips(&unwatched), trips(&axis));
            judge.same("trips watched now and then", trips(&now_and_then), trips(&axis));
        }
        judge.same("permit", outcome.permit, seen.permit);
        judge.same("clock fault", outcome.clock_fault, seen.clock_fault);
        if seen.clock_fault {
            let nothing = Outcome { clock_fault: true, ..Outcome::default() };
            judge.same("outcome of a clock fault", outcome, nothing);
        } else {
            compare_sets(&mut judge, &outcome, &seen);
            compare_analogues(&mut judge, &axis, &analogues, &outcome, &seen);
            compare_apart(&mut judge, &axis, &outcome, &seen, align);
            compare_checks(&mut judge, &checks, &case.setup, &seen);
        }
        for (channel, seen) in Channel::BOTH.into_iter().zip(&seen.channels) {
            compare_channel(&mut judge, &axis, channel, seen);
        }
        compare_latches(&mut judge, &axis, &inputs, &monitors, &seen);
        compare_analogue_latches(&mut judge, &axis, &analogues, &seen);
        if judge.found.is_some() {
            return judge.found;
        }
    }
    None
}

fn at(channel: Channel) -> usize {
    usize::from(channel == Channel::B)
}

/// What an axis tells only when it is asked.
fn worked_out<const POINTS: usize>(
    axis: &Axis<POINTS, 16, 16>,
) -> (Option<Apart>, Option<Bound<Speed>>, [Option<WindowSpeed>; 2]) {
    (axis.apart(), axis.speeds_apart(), Channel::BOTH.map(|channel| axis.speed(channel)))
}

/// What the core decided in a case that rounding decides; `None` when it does not say.
fn answer<const POINTS: usize>(
    question: Question,
    axis: &Axis<POINTS, 16, 16>,
    monitors: &[MonitorId],
    checks: &Checks,
) -> Option<bool> {
    let of = |monitor: usize, channel: usize| checks[monitor][channel];
    match question {
        Question::Violated { monitor, channel } => of(monitor, channel).map(|check| check.is_violated()),
        Question::Complete { monitor, channel } => of(monitor, channel).map(|check| check.complete),
        Question::Overrun { monitor, channel } => {
            // Every frame asks for one monitor at most once, and the trip of this frame is the last one.
            let rule = Tripped::Monitor(monitors[monitor], Channel::BOTH[channel]);
            Some(axis.state().trip(rule).is_some())
        }
        Question::Discrepancy => axis.apart().map(|apart| apart.bound.is_exceeded()),
        Question::SpeedDiscrepancy => axis.speeds_apart().map(|bound| bound.is_exceeded()),
    }
}

fn compare_latches<const POINTS: usize>(
    judge: &mut Judge,
    axis: &Axis<POINTS, 16, 16>,
    inputs: &[InputId],
    monitors: &[MonitorId],
    seen: &Seen,
) {
    let state = axis.state();
    judge.same("latched clock fault", state.is_clock_faulted(), seen.clock_latched);
    for (&id, input) in inputs.iter().zip(&seen.inputs) {
        judge.same("latched input fault", state.is_input_faulted(id), input.faulted);
    }
    for (&id, monitor) in monitors.iter().zip(&seen.monitors) {
        for (channel, lane) in Channel::BOTH.into_iter().zip(&monitor.lanes) {
            let rule = Tripped::Monitor(id, channel);
            compare_latch(judge, state.trip(rule), lane.latched, lane.tripped_now.as_ref());
        }
    }
    for channel in Channel::BOTH {
        let latched = set(seen.monitors.iter().map(|one| one.lanes[at(channel)].latched_unreferenced));
        judge.same("latched without a reference", state.unreferenced(channel).to_bits(), latched);
    }
    let discrepancies = [
        (Tripped::PositionDiscrepancy, &seen.discrepancy),
        (Tripped::SpeedDiscrepancy, &seen.speed_discrepancy),
    ];
    for (rule, seen) in discrepancies {
        let latched = seen.as_ref().is_some_and(|seen| seen.latched);
        let facts = seen.as_ref().and_then(|seen| seen.tripped_now.as_ref());
        compare_latch(judge, state.trip(rule), latched, facts);
    }
}

/// The trip that the core remembers against the latch of the model and the trip of this frame.
fn compare_latch(judge: &mut Judge, trip: Option<Trip>, latched: bool, facts: Option<&TripFacts>) {
    judge.same("latched trip", trip.is_some(), latched);
    if let (Some(trip), Some(facts)) = (trip, facts) {
        compare_trip(judge, &trip, facts);
    }
}

/// One bit for each of `values` that is true.
fn set(values: impl Iterator<Item = bool>) -> u32 {
    values.enumerate().map(|(index, value)| u32::from(value) << index).sum()
}

fn compare_sets(judge: &mut Judge, outcome: &Outcome, seen: &Seen) {
    let monitors = |wanted: &dyn Fn(&model::MonitorSeen) -> bool| set(seen.monitors.iter().map(wanted));
    judge.same("active", outcome.active.to_bits(), monitors(&|one| one.active));
    judge.same("outputs", outcome.outputs.to_bits(), monitors(&|one| one.output));
    for channel in Channel::BOTH {
        let lanes = |wanted: &dyn Fn(&LaneSeen) -> bool| {
            set(seen.monitors.iter().map(|one| wanted(&one.lanes[at(channel)])))
        };
        judge.same("violated", outcome.violated.of(channel).to_bits(), lanes(&|lane| lane.violated));
        judge.same(
            "tripped",
            outcome.tripped.of(channel).to_bits(),
            lanes(&|lane| lane.tripped_now.is_some()),
        );
        judge.same(
            "unreferenced",
            outcome.unreferenced.of(channel).to_bits(),
            lanes(&|lane| lane.unreferenced),
        );
        let fault = outcome.faults.of(channel).map(fault);
        judge.same("fault", fault, seen.channels[at(channel)].fault);
    }
    judge.same("demanding", outcome.demanding.to_bits(), set(seen.inputs.iter().map(|one| one.demanding)));
    judge.same(
        "input faults",
        outcome.input_faults.to_bits(),
        set(seen.inputs.iter().map(|one| one.became_faulted)),
    );
    let reset = outcome.reset.map_or(Reset::None, reset);
    judge.same("reset", reset, seen.reset);
    let channels = seen.channels.iter().any(|channel| channel.fault.is_none() && channel.warming_up);
    let lines = seen.analogues.iter().flat_map(|one| &one.lines);
    let lines = lines.into_iter().any(|line| line.fault.is_none() && line.warming_up);
    let lanes = seen.monitors.iter().flat_map(|one| &one.lanes).any(|lane| lane.warming_up);
    let warming_up = channels || lines || lanes;
    judge.same("warming up", outcome.warming_up, warming_up);
}

fn compare_analogues<const POINTS: usize>(
    judge: &mut Judge,
    axis: &Axis<POINTS, 16, 16>,
    analogues: &[AnalogueId],
    outcome: &Outcome,
    seen: &Seen,
) {
    for channel in Channel::BOTH {
        let lines = || seen.analogues.iter().map(|one| &one.lines[at(channel)]);
        let faulted = set(lines().map(|line| line.fault.is_some()));
        judge.same("analogue faults", outcome.analogue_faults.of(channel).to_bits(), faulted);
        for (&id, line) in analogues.iter().zip(lines()) {
            let core = axis.state().analogue_fault(id, channel).map(analogue_fault);
            judge.same("analogue fault", core, line.fault.map(Some));
        }
    }
    let tripped = set(seen.analogues.iter().map(|one| one.discrepancy.tripped_now.is_some()));
    judge.same("analogue discrepancy tripped", outcome.analogue_tripped.to_bits(), tripped);
}

fn compare_analogue_latches<const POINTS: usize>(
    judge: &mut Judge,
    axis: &Axis<POINTS, 16, 16>,
    analogues: &[AnalogueId],
    seen: &Seen,
) {
    for (&id, one) in analogues.iter().zip(&seen.analogues) {
        for (channel, line) in Channel::BOTH.into_iter().zip(&one.lines) {
            let core = axis.state().is_analogue_faulted(id, channel);
            judge.same("latched analogue fault", core, line.latched.is_some());
        }
        let trip = axis.state().trip(Tripped::AnalogueDiscrepancy(id));
        compare_latch(judge, trip, one.discrepancy.latched, one.discrepancy.tripped_now.as_ref());
    }
}

/// The model's name of a fault of a line; `None` for one that a line cannot have.
fn analogue_fault(fault: SourceFault) -> Option<AnalogueFault> {
    match fault {
        SourceFault::Invalid => Some(AnalogueFault::Invalid),
        SourceFault::OutOfOrder => Some(AnalogueFault::OutOfOrder),
        SourceFault::Stale => Some(AnalogueFault::Stale),
        SourceFault::Range => Some(AnalogueFault::Range),
        SourceFault::Implausible => None,
    }
}

fn fault(fault: SourceFault) -> Fault {
    match fault {
        SourceFault::Invalid => Fault::Invalid,
        SourceFault::OutOfOrder => Fault::OutOfOrder,
        SourceFault::Stale => Fault::Stale,
        SourceFault::Implausible => Fault::Implausible,
        SourceFault::Range => Fault::Range,
    }
}

fn reset(reset: monitor_core::Reset) -> Reset {
    match reset {
        monitor_core::Reset::Accepted => Reset::Accepted,
        monitor_core::Reset::ChannelFaulted => Reset::Refused(Refusal::Channel),
        monitor_core::Reset::WarmingUp => Reset::Refused(Refusal::WarmingUp),
        monitor_core::Reset::Violated => Reset::Refused(Refusal::Violation),
        monitor_core::Reset::Unreferenced => Reset::Refused(Refusal::Reference),
        monitor_core::Reset::AnalogueFaulted => Reset::Refused(Refusal::Analogue),
        monitor_core::Reset::Stopping => Reset::Refused(Refusal::Stop),
        monitor_core::Reset::InputFaulted => Reset::Refused(Refusal::Input),
    }
}

fn compare_channel<const POINTS: usize>(
    judge: &mut Judge,
    axis: &Axis<POINTS, 16, 16>,
    channel: Channel,
    seen: &ChannelSeen,
) {
    judge.same("latched channel fault", axis.state().is_channel_faulted(channel), seen.latched.is_some());
    // The magnitude is rounded up, exactly.
    let speed = seen.speed.as_ref().map(|speed| bits(&(ulp_up(&speed.abs()) * speed.signum())));
    judge.same("speed", axis.speed(channel).map(|speed| speed.signed().to_bits()), speed);
    let core = axis.position(channel).map(Position::to_bits);
    judge.same("position known", core.is_some(), seen.position.is_some());
    if let (Some(core), Some(exact)) = (core, &seen.position) {
        let nearest = bits(&model::nearest_ulp(exact));
        judge.same("position", core, nearest);
    }
}

/// The limit of the core lies within what the documented roundings allow, and observed values are rounded up.
fn compare_trip(judge: &mut Judge, trip: &Trip, facts: &TripFacts) {
    if let Some(demanded_at) = facts.demanded_at {
        judge.same("demand of a trip", trip.demanded_at.as_nanos(), demanded_at);
    }
    judge.same("begin of a violation", trip.violated_since.as_nanos(), facts.violated_since);
    judge.same("instant of a trip", trip.tripped_at.as_nanos(), facts.tripped_at);
    let (kind, held) = match trip.evidence {
        Evidence::Position(bound) => (model::Evidence::Position, Held::of(&bound, Position::to_bits)),
        Evidence::Speed(bound) => (model::Evidence::Speed, Held::of(&bound, Speed::to_bits)),
        Evidence::Acceleration(bound) => {
            (model::Evidence::Acceleration, Held::of(&bound, Acceleration::to_bits))
        }
        Evidence::Overrun(bound) => (model::Evidence::Overrun, Held::of(&bound, Position::to_bits)),
        Evidence::Value(bound) => (model::Evidence::Value, Held::of(&bound, Value::to_bits)),
    };
    judge.same("kind of the evidence", kind, facts.bound.evidence);
    if facts.demanded_at.is_some() {
        compare_bound(judge, held, &facts.bound);
    } else {
        compare_limit(judge, held.limit, &facts.bound.limit);
    }
}

/// A bound of the core in steps.
#[derive(Clone, Copy, Debug)]
struct Held {
    observed: i64,
    limit: i64,
    side: Side,
}

impl Held {
    fn of<T: Copy>(bound: &Bound<T>, bits: fn(T) -> i64) -> Self {
        Self { observed: bits(bound.observed), limit: bits(bound.limit), side: bound.side }
    }
}

fn compare_bound(judge: &mut Judge, core: Held, bound: &model::Bound) {
    let side = match core.side {
        Side::Above => model::Side::NotAbove,
        Side::Below => model::Side::NotBelow,
    };
    judge.same("side of a limit", side, bound.side);
    if bound.evidence == model::Evidence::Overrun {
        // What a rounded limit adds to a sum differs with its rounding.
        let (core, seen) = (ulps(core.observed.into()), &bound.observed);
        judge.hold("overrun", seen.exact <= core && core <= seen.strictest, || {
            format!("core {core}, model {} to {}", seen.exact, seen.strictest)
        });
    } else {
        judge.same("observed value", core.observed, bits(&bound.observed.held));
    }
    compare_limit(judge, core.limit, &bound.limit);
}

fn compare_limit(judge: &mut Judge, core: i64, limit: &model::Limit) {
    let core = ulps(core.into());
    // A limit that may not be gone below is rounded the other way.
    let (low, high) =
        (limit.strictest.clone().min(limit.exact.clone()), limit.strictest.clone().max(limit.exact.clone()));
    judge.hold("limit", low <= core && core <= high, || {
        format!("core {core}, model {} to {}", limit.strictest, limit.exact)
    });
}

fn compare_apart<const POINTS: usize>(
    judge: &mut Judge,
    axis: &Axis<POINTS, 16, 16>,
    outcome: &Outcome,
    seen: &Seen,
    align: bool,
) {
    if let Some(rule) = &seen.discrepancy {
        judge.same("discrepancy evaluated", axis.apart().is_some(), rule.difference.is_some());
        judge.same("discrepancy tripped", outcome.position_discrepancy_tripped, rule.tripped_now.is_some());
        if let Some(apart) = axis.apart() {
            let d = apart.d.to_bits();
            judge.same("observed discrepancy", apart.bound.observed.to_bits(), d.abs());
            compare_difference(judge, d, rule, align);
            compare_limit(judge, apart.bound.limit.to_bits(), rule.limit.as_ref().expect("a limit"));
            judge.same("discrepancy violated", apart.bound.is_exceeded(), rule.violated);
        }
    }
    if let Some(rule) = &seen.speed_discrepancy {
        judge.same("speed discrepancy evaluated", axis.speeds_apart().is_some(), rule.difference.is_some());
        judge.same(
            "speed discrepancy tripped",
            outcome.speed_discrepancy_tripped,
            rule.tripped_now.is_some(),
        );
        if let Some(bound) = axis.speeds_apart() {
            let held = rule.difference_held.as_ref().expect("a difference").abs();
            judge.same("speeds apart", bound.observed.to_bits(), bits(&held));
            compare_limit(judge, bound.limit.to_bits(), rule.limit.as_ref().expect("a limit"));
            judge.same("speed discrepancy violated", bound.is_exceeded(), rule.violated);
        }
    }
}

/// Without alignment `d` is the difference after the documented rounding. With it each bracket, and each of the four
/// alignments, is half a ULP from its exact value at most, and a speed rounded to a ULP times an age below 50 ms adds less
/// than a twentieth to each alignment.
fn compare_difference(judge: &mut Judge, core: i64, rule: &DiscrepancySeen, align: bool) {
    let core = ulps(core.into());
    let exact = rule.difference.as_ref().expect("a difference");
    if align {
        let error = (&core - exact).abs() * q(5, 1);
        judge.hold("aligned discrepancy", error <= ulps(16), || format!("core {core}, model {exact}"));
    } else {
        judge.same("discrepancy", Some(core), rule.difference_held.clone());
    }
}

fn compare_checks(judge: &mut Judge, checks: &Checks, setup: &model::Setup, seen: &Seen) {
    for ((checks, monitor), rule) in checks.iter().zip(&seen.monitors).zip(&setup.monitors) {
        for (channel, (check, lane)) in checks.iter().zip(&monitor.lanes).enumerate() {
            // A rule on an analogue value is watched whatever its channel shows; of a faulted line it finds nothing.
            let is_visible = rule.kind.analogue().is_some() || seen.channels[channel].fault.is_none();
            // An output compares nothing, and so shows no check.
            let is_output = rule.kind.demands() || matches!(rule.kind, model::Kind::BrakeOutput { .. });
            judge.same("watched", check.is_some(), monitor.active && is_visible && !is_output);
            if let Some(check) = check {
                compare_check(judge, check, lane);
            }
        }
    }
}

fn compare_check(judge: &mut Judge, check: &Check, lane: &LaneSeen) {
    judge.same("warming up of a monitor", check.warming_up, lane.warming_up);
    judge.same("a monitor without a reference", check.unreferenced, lane.unreferenced);
    judge.same("stop complete", check.complete, lane.complete);
    let Some(bound) = &lane.compared else {
        let compared = check.position.is_some()
            || check.speed.is_some()
            || check.acceleration.is_some()
            || check.value.is_some();
        return judge.same("compared", compared, false);
    };
    let held = match bound.evidence {
        model::Evidence::Position => check.position.map(|bound| Held::of(&bound, Position::to_bits)),
        model::Evidence::Speed => check.speed.map(|bound| Held::of(&bound, Speed::to_bits)),
        model::Evidence::Acceleration => {
            check.acceleration.map(|bound| Held::of(&bound, Acceleration::to_bits))
        }
        model::Evidence::Value => check.value.map(|bound| Held::of(&bound, Value::to_bits)),
        model::Evidence::Overrun => None,
    };
    judge.hold("compared", held.is_some(), || format!("core {check:?}, model {bound:?}"));
    if let Some(held) = held {
        compare_bound(judge, held, bound);
    }
}
