//! Frames that bring nothing new, and frames that make no sense.

use cowitness_tests::model::{Demand, Kind, Lines};
use cowitness_tests::trace::{Case, Mood, Offer};
use monitor_core::{Channel, Frame, Instant, Levels, Reading, Sample, Trip};
use proptest::prelude::*;
use quickcheck::{Arbitrary, Gen, QuickCheck};

use crate::axis::{
    Shown, clean_cases, config, first_trips, is_extra, rules, run, seeded, when, withdraws, without_stops,
};

/// The case without what depends on the frames in between: stops, alignment, filters, resets, two-line inputs, what is demanded, lines of
/// analogue values that go out of date, and an allowed overrun, of which the first violated frame counts with all the time since the
/// frame before.
fn by_readings_alone(case: &Case) -> Case {
    let mut setup = without_stops(&case.setup);
    for monitor in &mut setup.monitors {
        monitor.demand = Demand::Always;
        monitor.allowed_overrun = None;
    }
    // They still declare positions, each at the frame at which its line changes.
    for input in &mut setup.inputs {
        let (Lines::One(first) | Lines::Two { first, .. }) = input.lines;
        (input.lines, input.filter_ns) = (Lines::One(first), 0);
    }
    for analogue in &mut setup.analogues {
        analogue.timeout_ns = u64::MAX;
    }
    if let Some(rule) = &mut setup.discrepancy {
        rule.align = false;
    }
    Case { setup, ..case.clone() }
}

/// The case with one more frame in each gap for which `shares` has a number above zero: that many 256ths into it.
fn with_more(case: &Case, shares: &[u8]) -> Case {
    let (mut frames, mut offers) = (Vec::new(), Vec::new());
    for (index, frame) in case.frames.iter().enumerate() {
        frames.push(*frame);
        offers.push(case.offers(index).to_vec());
        let Some(next) = case.frames.get(index + 1) else { break };
        let (from, to) = (frame.now.as_nanos(), next.now.as_nanos());
        let share = u64::from(shares[index % shares.len()]);
        let between = from + (to - from) * share / 256;
        if between > from {
            frames.push(Frame { now: Instant::from_nanos(between), a: None, b: None, levels: frame.levels });
            offers.push(Vec::new());
        }
    }
    Case { frames, offers, ..case.clone() }
}

/// Whether no channel is faulted at any frame.
fn is_seen(case: &Case) -> bool {
    run(case).iter().all(|(outcome, _)| outcome.faults.a.is_none() && outcome.faults.b.is_none())
}

/// Which rules were violated at any frame: of the monitors on each channel, in bits.
fn ever_violated(case: &Case) -> [u32; 2] {
    run(case).iter().fold([0, 0], |[a, b], (outcome, _)| {
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
        let plain = by_readings_alone(&case);
        let more = with_more(&plain, &shares);
        prop_assume!(is_seen(&plain) && is_seen(&more));
        for (plain, more) in first_trips(&plain).iter().zip(&first_trips(&more)) {
            prop_assert!(when(more.as_ref()) <= when(plain.as_ref()), "{:?} after {:?}", more, plain);
        }
    }

    /// Without stops, alignment and ramps: what falls with time is judged at every frame.
    #[test]
    fn frames_without_new_readings_violate_nothing_and_trip_nothing_without_on_delay(
        case in clean_cases(),
        shares in prop::collection::vec(any::<u8>(), 1..40),
    ) {
        let mut plain = by_readings_alone(&case);
        let setup = &mut plain.setup;
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
        for analogue in &mut setup.analogues {
            analogue.discrepancy_time_ns = 0;
        }
        let more = with_more(&plain, &shares);
        prop_assume!(is_seen(&plain) && is_seen(&more));
        prop_assert_eq!(ever_violated(&plain), ever_violated(&more));
        prop_assert_eq!(first_trips(&plain), first_trips(&more));
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

/// A reading of one of the analogue values, or of none when the setup has none.
fn nonsense_offer() -> impl Strategy<Value = Offer> {
    let value = prop_oneof![
        1 => Just(None),
        4 => number().prop_map(|value| Some(value.cast_signed())),
        4 => (-200_i64..200).prop_map(|units| Some(units << 24)),
    ];
    (0_usize..2, 0_usize..2, number(), value).prop_map(|(analogue, channel, captured_at, value)| Offer {
        analogue,
        channel,
        captured_at,
        value,
    })
}

fn nonsense_step() -> impl Strategy<Value = (Vec<Offer>, Frame)> {
    (prop::collection::vec(nonsense_offer(), 0..3), nonsense_frame())
}

/// Runs the frames on the setup of a seed; everything that can be asked is asked.
fn survives(seed: u64, steps: &[(Vec<Offer>, Frame)]) -> bool {
    let setup = seeded(seed, 1, |case| seed & 1 == 0 || is_extra(case)).setup;
    let mut on = Shown::new(&setup);
    let rules = rules(&on.core);
    steps.iter().all(|(offers, frame)| {
        let known = offers.iter().filter(|offer| offer.analogue < setup.analogues.len());
        let outcome = on.step(&known.copied().collect::<Vec<_>>(), frame);
        let (axis, core) = (&on.axis, &on.core);
        let state = axis.state();
        // Asked for, so that it may panic.
        let lines = |&id| Channel::BOTH.map(|channel| state.analogue_reading(id, channel));
        let lines: Vec<_> = core.analogues.iter().map(lines).collect();
        let positions = Channel::BOTH.map(|channel| (axis.position(channel), axis.speed(channel)));
        let latched: Vec<_> = state.trips().collect();
        let told = (latched, axis.apart(), axis.speeds_apart(), lines, positions);
        std::hint::black_box(format!("{outcome:?} {told:?}"));
        let trips: Vec<Trip> = rules.iter().filter_map(|&rule| state.trip(rule)).collect();
        let faulted = outcome.clock_fault
            || outcome.faults.a.is_some()
            || outcome.faults.b.is_some()
            || !outcome.analogue_faults.a.is_empty()
            || !outcome.analogue_faults.b.is_empty()
            || !outcome.unreferenced.a.is_empty()
            || !outcome.unreferenced.b.is_empty();
        let withdraws = trips.iter().any(|trip| withdraws(trip, &setup));
        !(outcome.permit && (faulted || withdraws))
    })
}

proptest! {
    #![proptest_config(config(400))]

    #[test]
    fn no_frame_whatever_it_holds_makes_it_panic(
        seed: u64,
        steps in prop::collection::vec(nonsense_step(), 1..120),
    ) {
        prop_assert!(survives(seed, &steps));
    }

    #[test]
    fn frames_in_order_with_any_readings_make_nothing_panic(
        seed: u64,
        mut steps in prop::collection::vec(nonsense_step(), 1..120),
        gap in 1_u64..10_000_000,
    ) {
        let mut now = steps[0].1.now.as_nanos() >> 1;
        for (offers, frame) in &mut steps {
            now += gap;
            frame.now = Instant::from_nanos(now);
            // Half of the readings are captured at the frame, and the others whenever they say.
            if frame.levels.to_bits() & 1 == 1 {
                for reading in [&mut frame.a, &mut frame.b].into_iter().flatten() {
                    reading.captured_at = frame.now;
                }
                for offer in offers {
                    offer.captured_at = now;
                }
            }
        }
        prop_assert!(survives(seed, &steps));
    }
}

/// A frame made of raw bits, with readings of analogue values.
#[derive(Clone, Debug)]
struct Raw(Vec<Offer>, Frame);

impl Arbitrary for Raw {
    fn arbitrary(g: &mut Gen) -> Self {
        let reading = |g: &mut Gen| {
            let sample =
                if u8::arbitrary(g) < 25 { Sample::Invalid } else { Sample::Count(u64::arbitrary(g)) };
            bool::arbitrary(g)
                .then(|| Reading { captured_at: Instant::from_nanos(u64::arbitrary(g)), sample })
        };
        let offer = |g: &mut Gen| Offer {
            analogue: usize::arbitrary(g) % 2,
            channel: usize::arbitrary(g) % 2,
            captured_at: u64::arbitrary(g),
            value: Option::arbitrary(g),
        };
        let offers = (0..u8::arbitrary(g) % 3).map(|_| offer(g)).collect();
        let frame = Frame {
            now: Instant::from_nanos(u64::arbitrary(g)),
            a: reading(g),
            b: reading(g),
            levels: Levels::from_bits(u32::arbitrary(g)),
        };
        Self(offers, frame)
    }
}

#[test]
fn no_frame_of_raw_bits_makes_it_panic_for_quickcheck() {
    fn property(seed: u64, steps: Vec<Raw>) -> bool {
        let steps: Vec<_> = steps.into_iter().map(|Raw(offers, frame)| (offers, frame)).collect();
        survives(seed, &steps)
    }
    QuickCheck::new().tests(300).quickcheck(property as fn(u64, Vec<Raw>) -> bool);
}

#[test]
fn clean_cases_are_seen_throughout_often_enough_to_say_something() {
    let clean = (0..50)
        .map(|seed| seeded(seed, 100, |case| case.mood == Mood::Clean && (seed % 2 == 0 || is_extra(case))));
    let seen = clean.map(|case| is_seen(&by_readings_alone(&case)));
    let (seen, blind): (Vec<bool>, Vec<bool>) = seen.partition(|seen| *seen);
    assert!(seen.len() > 4 * blind.len(), "{} seen, {} not", seen.len(), blind.len());
}
