//! Frames that bring nothing new, and frames that make no sense.

use cowitness_tests::model::{Demand, Kind, Setup};
use cowitness_tests::trace::plain_case;
use monitor_core::{Axis, Frame, Instant, Levels, Reading, Sample, Tripped};
use proptest::prelude::*;
use quickcheck::{Arbitrary, Gen, QuickCheck};

use crate::axis::{POINTS, clean_cases, config, first_trips, rules, run, when};
use cowitness_tests::core_of::core_of;

/// The setup without what depends on the frames in between: stops, alignment, filters, resets, two-line inputs, and an allowed
/// overrun, of which the first violated frame counts with all the time since the frame before.
fn by_readings_alone(setup: &Setup) -> Setup {
    let mut setup = setup.clone();
    setup.reset_line = None;
    setup.monitors.retain(|monitor| !matches!(monitor.kind, Kind::Stop { .. }));
    for monitor in &mut setup.monitors {
        monitor.demand = Demand::Always;
        monitor.allowed_overrun = None;
    }
    if let Some(rule) = &mut setup.discrepancy {
        rule.align = false;
    }
    setup
}

/// The frames with one more in each gap for which `shares` has a number above zero: that many 256ths into it.
fn with_more(frames: &[Frame], shares: &[u8]) -> Vec<Frame> {
    let mut more = Vec::new();
    for (index, pair) in frames.windows(2).enumerate() {
        more.push(pair[0]);
        let (from, to) = (pair[0].now.as_nanos(), pair[1].now.as_nanos());
        let share = u64::from(shares[index % shares.len()]);
        let between = from + (to - from) * share / 256;
        if between > from {
            let now = Instant::from_nanos(between);
            more.push(Frame { now, a: None, b: None, levels: pair[0].levels });
        }
    }
    more.extend(frames.last());
    more
}

/// Whether no channel is faulted at any frame.
fn is_seen(setup: &Setup, frames: &[Frame]) -> bool {
    run(setup, frames).iter().all(|(outcome, _)| outcome.faults.a.is_none() && outcome.faults.b.is_none())
}

/// Which rules were violated at any frame: of the monitors on each channel, in bits.
fn ever_violated(setup: &Setup, frames: &[Frame]) -> [u32; 2] {
    run(setup, frames).iter().fold([0, 0], |[a, b], (outcome, _)| {
        [a | outcome.violated.a.to_bits(), b | outcome.violated.b.to_bits()]
    })
}

proptest! {
    #![proptest_config(config(400))]

    /// Without stops and alignment. A rule with an on-delay may trip in addition: the violation was there, and no frame fell
    /// between the end of the on-delay and the end of the violation.
    #[test]
    fn frames_without_new_readings_delay_no_trip(
        case in clean_cases(),
        shares in prop::collection::vec(any::<u8>(), 1..40),
    ) {
        let setup = by_readings_alone(&case.setup);
        let more = with_more(&case.frames, &shares);
        prop_assume!(is_seen(&setup, &case.frames) && is_seen(&setup, &more));
        for (plain, more) in first_trips(&setup, &case.frames).iter().zip(&first_trips(&setup, &more)) {
            prop_assert!(when(more.as_ref()) <= when(plain.as_ref()), "{:?} after {:?}", more, plain);
        }
    }

    /// Without stops, alignment and ramps: what falls with time is judged at every frame.
    #[test]
    fn frames_without_new_readings_violate_nothing_and_trip_nothing_without_on_delay(
        case in clean_cases(),
        shares in prop::collection::vec(any::<u8>(), 1..40),
    ) {
        let mut setup = by_readings_alone(&case.setup);
        for monitor in &mut setup.monitors {
            monitor.on_delay_ns = 0;
            if let Kind::SpeedLimit { ramp, .. } | Kind::SpeedLimitEachWay { ramp, .. } = &mut monitor.kind {
                *ramp = None;
            }
        }
        if let Some(rule) = &mut setup.discrepancy {
            rule.discrepancy_time_ns = 0;
        }
        if let Some(rule) = &mut setup.speed_discrepancy {
            rule.discrepancy_time_ns = 0;
        }
        let more = with_more(&case.frames, &shares);
        prop_assume!(is_seen(&setup, &case.frames) && is_seen(&setup, &more));
        prop_assert_eq!(ever_violated(&setup, &case.frames), ever_violated(&setup, &more));
        prop_assert_eq!(first_trips(&setup, &case.frames), first_trips(&setup, &more));
    }
}

/// A number as it comes, or one around something that matters.
fn number() -> impl Strategy<Value = u64> {
    prop_oneof![
        any::<u64>(),
        0_u64..10,
        (0_u64..10).prop_map(|below| u64::MAX - below),
        (0_u32..64, 0_u64..3).prop_map(|(bit, more)| (1_u64 << bit).wrapping_add(more).wrapping_sub(1)),
        0_u64..10_000_000_000,
    ]
}

fn nonsense() -> impl Strategy<Value = Option<Reading>> {
    let sample = prop_oneof![9 => number().prop_map(Sample::Count), 1 => Just(Sample::Invalid)];
    let reading = (number(), sample);
    prop::option::weighted(
        0.8,
        reading.prop_map(|(at, sample)| Reading { captured_at: Instant::from_nanos(at), sample }),
    )
}

fn nonsense_frame() -> impl Strategy<Value = Frame> {
    (number(), nonsense(), nonsense(), any::<u32>()).prop_map(|(now, a, b, levels)| Frame {
        now: Instant::from_nanos(now),
        a,
        b,
        levels: Levels::from_bits(levels),
    })
}

/// Runs the frames on the setup of a seed; everything that can be asked is asked.
fn survives(seed: u64, frames: &[Frame]) -> bool {
    let core = core_of::<POINTS>(&plain_case(seed, 1, POINTS).setup);
    let rules = rules(&core.monitors);
    let mut axis = Axis::new(core.config);
    frames.iter().all(|frame| {
        let outcome = axis.step(frame);
        let shown = format!(
            "{outcome:?} {:?} {:?} {:?}",
            axis.state().trips().collect::<Vec<_>>(),
            axis.apart(),
            axis.speeds_apart()
        );
        let positions =
            monitor_core::Channel::BOTH.map(|channel| (axis.position(channel), axis.speed(channel)));
        let trips: Vec<_> = rules.iter().filter_map(|&rule: &Tripped| axis.state().trip(rule)).collect();
        let faulted = outcome.clock_fault || outcome.faults.a.is_some() || outcome.faults.b.is_some();
        let consistent = !(outcome.permit && (faulted || !trips.is_empty()));
        consistent && !shown.is_empty() && positions.len() == 2
    })
}

proptest! {
    #![proptest_config(config(400))]

    #[test]
    fn no_frame_whatever_it_holds_makes_it_panic(
        seed: u64,
        frames in prop::collection::vec(nonsense_frame(), 1..120),
    ) {
        prop_assert!(survives(seed, &frames));
    }

    #[test]
    fn frames_in_order_with_any_readings_make_nothing_panic(
        seed: u64,
        mut frames in prop::collection::vec(nonsense_frame(), 1..120),
        gap in 1_u64..10_000_000,
    ) {
        let mut now = frames[0].now.as_nanos() >> 1;
        for frame in &mut frames {
            now += gap;
            frame.now = Instant::from_nanos(now);
            // Half of the readings are captured at the frame, and the others whenever they say.
            for reading in [&mut frame.a, &mut frame.b].into_iter().flatten() {
                if frame.levels.to_bits() & 1 == 1 {
                    reading.captured_at = frame.now;
                }
            }
        }
        prop_assert!(survives(seed, &frames));
    }
}

/// A frame made of raw bits.
#[derive(Clone, Debug)]
struct Raw(Frame);

impl Arbitrary for Raw {
    fn arbitrary(g: &mut Gen) -> Self {
        let reading = |g: &mut Gen| {
            let sample =
                if u8::arbitrary(g) < 25 { Sample::Invalid } else { Sample::Count(u64::arbitrary(g)) };
            bool::arbitrary(g)
                .then(|| Reading { captured_at: Instant::from_nanos(u64::arbitrary(g)), sample })
        };
        Self(Frame {
            now: Instant::from_nanos(u64::arbitrary(g)),
            a: reading(g),
            b: reading(g),
            levels: Levels::from_bits(u32::arbitrary(g)),
        })
    }
}

#[test]
fn no_frame_of_raw_bits_makes_it_panic_for_quickcheck() {
    fn property(seed: u64, frames: Vec<Raw>) -> bool {
        let frames: Vec<Frame> = frames.into_iter().map(|Raw(frame)| frame).collect();
        survives(seed, &frames)
    }
    QuickCheck::new().tests(300).quickcheck(property as fn(u64, Vec<Raw>) -> bool);
}

#[test]
fn clean_cases_are_seen_throughout_often_enough_to_say_something() {
    let clean = (0..200)
        .map(|seed| plain_case(seed, 100, POINTS))
        .filter(|case| case.mood == cowitness_tests::trace::Mood::Clean);
    let seen = clean.map(|case| is_seen(&by_readings_alone(&case.setup), &case.frames));
    let (seen, blind): (Vec<bool>, Vec<bool>) = seen.partition(|seen| *seen);
    assert!(seen.len() > 4 * blind.len(), "{} seen, {} not", seen.len(), blind.len());
}
