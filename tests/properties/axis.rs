//! What the properties share.

use cowitness_tests::model::{Demand, Kind, Setup};
use cowitness_tests::trace::{Case, Mood, Offer, case};
use monitor_core::{
    AnalogueId, AnalogueReading, Apart, Axis, AxisConfig, Bound, Channel, Frame, Instant, Levels, Outcome,
    Reading, Sample, Scale, SourceConfig, Span, Speed, Trip, Tripped, Value, WarmUp,
};
use proptest::prelude::*;

use cowitness_tests::core_of::{Core, core_of};

/// Stored points of every axis here.
pub const POINTS: usize = 9;
/// The axis of the properties.
pub type Config = AxisConfig<POINTS, 16, 16>;

/// Random cases of 50 to 400 frames in any mood. More than half of them have outputs, places of the machine, analogue values or stops as
/// reactions.
pub fn cases() -> impl Strategy<Value = Case> {
    any::<bool>()
        .no_shrink()
        .prop_flat_map(|has_extras| cases_where(move |case| !has_extras || is_extra(case)))
}

/// Random cases in which the sources are perfect.
pub fn clean_cases() -> impl Strategy<Value = Case> {
    any::<bool>().no_shrink().prop_flat_map(|has_extras| {
        cases_where(move |case| case.mood == Mood::Clean && (!has_extras || is_extra(case)))
    })
}

/// Random cases of which the beginning is as wanted.
pub fn cases_where(wanted: impl Fn(&Case) -> bool) -> impl Strategy<Value = Case> {
    (any::<u64>().no_shrink(), 50_usize..=400).prop_map(move |(seed, length)| seeded(seed, length, &wanted))
}

/// The case of a seed, or of the next one whose setup and mood are as wanted.
pub fn seeded(mut seed: u64, length: usize, wanted: impl Fn(&Case) -> bool) -> Case {
    while !wanted(&case(seed, 1, POINTS)) {
        seed = seed.wrapping_add(1);
    }
    case(seed, length, POINTS)
}

/// Whether the setup has more than rules on the motion.
pub fn is_extra(case: &Case) -> bool {
    let is_output = |kind: &Kind| kind.demands() || matches!(kind, Kind::BrakeOutput { .. });
    let mut monitors = case.setup.monitors.iter();
    !case.setup.analogues.is_empty()
        || monitors.any(|monitor| monitor.reaction.is_some() || is_output(&monitor.kind))
}

/// So many cases of each property, and no file with failures.
pub fn config(cases: u32) -> ProptestConfig {
    ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(cases) }
}

/// What an axis tells when it is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    pub apart: Option<Apart>,
    pub speeds_apart: Option<Bound<Speed>>,
    /// In ULPs.
    pub speeds: [Option<i64>; 2],
}

/// An axis that is shown a case: before each frame what is handed in of analogue values.
pub struct Shown {
    pub core: Core<POINTS>,
    pub axis: Axis<POINTS>,
}

impl Shown {
    pub fn new(setup: &Setup) -> Self {
        let core = core_of::<POINTS>(setup);
        Self { axis: Axis::new(core.config.clone()), core }
    }

    pub fn step(&mut self, offers: &[Offer], frame: &Frame) -> Outcome {
        for offer in offers {
            let (of, channel, reading) = handed(offer, &self.core.analogues);
            self.axis.offer(of, channel, reading);
        }
        self.axis.step(frame)
    }
}

/// An offer as the core takes it.
pub fn handed(offer: &Offer, analogues: &[AnalogueId]) -> (AnalogueId, Channel, AnalogueReading) {
    let captured_at = Instant::from_nanos(offer.captured_at);
    let reading = AnalogueReading { captured_at, value: offer.value.map(Value::from_bits) };
    (analogues[offer.analogue], Channel::BOTH[offer.channel], reading)
}

/// The frames of a case, each with what is handed in before it.
pub fn shown(case: &Case) -> impl Iterator<Item = (&[Offer], &Frame)> {
    case.frames.iter().enumerate().map(|(index, frame)| (case.offers(index), frame))
}

/// What the axis says at every frame, and what it tells there.
pub fn run(case: &Case) -> Vec<(Outcome, Told)> {
    let mut on = Shown::new(&case.setup);
    let step = |(offers, frame): (&[Offer], &Frame)| {
        let outcome = on.step(offers, frame);
        let axis = &on.axis;
        let speed = |channel| axis.speed(channel).map(|speed| speed.signed().to_bits());
        let told =
            Told { apart: axis.apart(), speeds_apart: axis.speeds_apart(), speeds: Channel::BOTH.map(speed) };
        (outcome, told)
    };
    shown(case).map(step).collect()
}

/// Every rule of a setup: each monitor on each channel, then the discrepancies.
pub fn rules(core: &Core<POINTS>) -> Vec<Tripped> {
    let of = |&id| Channel::BOTH.map(|channel| Tripped::Monitor(id, channel));
    let discrepancies = [Tripped::PositionDiscrepancy, Tripped::SpeedDiscrepancy];
    let values = core.analogues.iter().map(|&id| Tripped::AnalogueDiscrepancy(id));
    core.monitors.iter().flat_map(of).chain(discrepancies).chain(values).collect()
}

/// The first trip of every rule on an axis that is never reset.
pub fn first_trips(case: &Case) -> Vec<Option<Trip>> {
    let mut on = Shown::new(&case.setup);
    for (offers, frame) in shown(case) {
        assert_eq!(on.step(offers, frame).reset, None, "the axis has no reset");
    }
    rules(&on.core).into_iter().map(|rule| on.axis.state().trip(rule)).collect()
}

/// Whether a latched trip takes the permit at once: it has no stop as its reaction.
pub fn withdraws(trip: &Trip, setup: &Setup) -> bool {
    match trip.rule {
        Tripped::Monitor(id, _) => setup.monitors[usize::from(id.index())].reaction.is_none(),
        _ => true,
    }
}

/// The same setup without reset, reactions and stops. What stood in the place of a stop still stands there, and watches nothing.
pub fn without_stops(setup: &Setup) -> Setup {
    let mut setup = setup.clone();
    setup.reset_line = None;
    for monitor in &mut setup.monitors {
        monitor.reaction = None;
        if matches!(monitor.kind, Kind::Stop { .. }) {
            (monitor.kind, monitor.allowed_overrun) = (Kind::TorqueOff, None);
            if monitor.demand == Demand::Reactions {
                monitor.demand = Demand::Always;
            }
        }
    }
    setup
}

/// The instant of a trip in nanoseconds; later than anything when there was none.
pub fn when(trip: Option<&Trip>) -> u64 {
    trip.map_or(u64::MAX, |trip| trip.tripped_at.as_nanos())
}

/// A source of 64 bits whose count is a millionth of a micrometre, in mm.
pub fn fine_source() -> SourceConfig {
    let scale = Scale::from_ratio(1, 1_000_000_000).expect("in range");
    let max_speed = Speed::from_int(20_000).expect("in range");
    SourceConfig::try_new(64, scale, max_speed, Span::from_nanos(400_000_000)).expect("in range")
}

/// An axis with two such sources and no rules.
pub fn fine_axis(window: u64) -> Config {
    AxisConfig::try_new(fine_source(), fine_source(), Span::from_nanos(window), WarmUp::Permit)
        .expect("in range")
}

/// A reading.
pub fn reading(captured_at: u64, count: i64) -> Option<Reading> {
    let sample = Sample::Count(count.cast_unsigned());
    Some(Reading { captured_at: Instant::from_nanos(captured_at), sample })
}

/// A frame at which both sources say the same and every line is low.
pub fn both(now: u64, reading: Option<Reading>) -> Frame {
    Frame { now: Instant::from_nanos(now), a: reading, b: reading, levels: Levels::from_bits(0) }
}
