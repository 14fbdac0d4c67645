//! What may be exchanged, moved, negated or scaled without a rule noticing.

use cowitness_tests::model::{Kind, Q, Referencing, Setup, Source, Way, as_signed, q, ulps};
use cowitness_tests::trace::{Case, Offer};
use monitor_core::{
    Apart, Axis, AxisConfig, Demand, Frame, Instant, Outcome, PerChannel, Position, Reading, Rule, Sample,
    Scale, SourceConfig, SourceFault, Span, Speed, SpeedLimit, WarmUp, WindowSpeed,
};
use proptest::prelude::*;
use quickcheck::QuickCheck;

use crate::axis::{Told, both, cases, cases_where, clean_cases, config, reading, run};

/// The position discrepancy the other way round.
fn negated(told: Told) -> Told {
    let turned = |apart: Apart| Apart { d: Position::from_bits(-apart.d.to_bits()), ..apart };
    Told { apart: told.apart.map(turned), ..told }
}

/// All motion the other way round.
fn mirrored(told: Told) -> Told {
    Told { speeds: told.speeds.map(|speed| speed.map(|speed| -speed)), ..negated(told) }
}

/// The rules that tell directions apart, the other way round.
fn mirrored_rules(setup: &Setup) -> Setup {
    let mut setup = setup.clone();
    for monitor in &mut setup.monitors {
        match &mut monitor.kind {
            Kind::SpeedLimitEachWay { positive, negative, .. } => std::mem::swap(positive, negative),
            Kind::SpeedRange { low, high }
            | Kind::AccelerationRange { low, high }
            | Kind::PositionRange { low, high }
            | Kind::CamOutput { low, high, .. } => {
                (*low, *high) = (-high.clone(), -low.clone());
            }
            Kind::Direction { allowed, .. } => {
                *allowed = match allowed {
                    Way::Positive => Way::Negative,
                    Way::Negative => Way::Positive,
                };
            }
            Kind::TorqueOff
            | Kind::Standstill { .. }
            | Kind::SpeedLimit { .. }
            | Kind::AccelerationLimit { .. }
            | Kind::TravelLimit { .. }
            | Kind::Stop { .. }
            | Kind::SpeedOutput { .. }
            | Kind::BrakeOutput { .. } => {}
            // What is no motion has no mirror.
            Kind::TorqueLimit { .. } | Kind::TorqueRange { .. } | Kind::TemperatureLimit { .. } => {}
        }
    }
    for referencing in &mut setup.referencing {
        match referencing {
            Referencing::None => {}
            Referencing::Absolute { offset: place } | Referencing::Event { position: place, .. } => {
                *place = -place.clone();
            }
        }
    }
    setup
}

fn is_absolute(referencing: &Referencing) -> bool {
    matches!(referencing, Referencing::Absolute { .. })
}

/// The readings of a channel, as its counter shows them.
fn raw_counts(case: &Case, channel: usize) -> impl Iterator<Item = u64> {
    let readings = case.frames.iter().filter_map(move |frame| [frame.a, frame.b][channel]);
    readings.filter_map(|reading| match reading.sample {
        Sample::Count(value) => Some(value),
        Sample::Invalid => None,
    })
}

/// The case with each count, in its width, replaced.
fn with_counts(case: &Case, count: impl Fn(u64, usize, &Source) -> u64) -> Case {
    let of = |reading: Option<Reading>, channel, source: &Source| {
        reading.map(|reading| match reading.sample {
            Sample::Count(value) => {
                Reading { sample: Sample::Count(count(value, channel, source)), ..reading }
            }
            Sample::Invalid => reading,
        })
    };
    let setup = &case.setup;
    let frames = case.frames.iter();
    let frames =
        frames.map(|frame| Frame { a: of(frame.a, 0, &setup.a), b: of(frame.b, 1, &setup.b), ..*frame });
    Case { frames: frames.collect(), ..case.clone() }
}

/// The lowest `bits` bits.
fn cut(value: u64, bits: u32) -> u64 {
    value & (u64::MAX >> (64 - bits))
}

/// Whether a channel was out of range at a frame.
fn out_of_range(seen: &[(Outcome, Told)]) -> bool {
    let range = |outcome: &Outcome| [outcome.faults.a, outcome.faults.b].contains(&Some(SourceFault::Range));
    seen.iter().any(|(outcome, _)| range(outcome))
}

/// Whether a channel is faulted by a change beyond what the mechanics can.
fn is_implausible(outcome: &Outcome) -> bool {
    [outcome.faults.a, outcome.faults.b].contains(&Some(SourceFault::Implausible))
}

/// The same at every frame, or the first at which it is not.
fn same(one: &[(Outcome, Told)], other: &[(Outcome, Told)]) -> Result<(), TestCaseError> {
    for (index, (one, other)) in one.iter().zip(other).enumerate() {
        prop_assert_eq!(one, other, "frame {}", index);
    }
    Ok(())
}

fn in_time(at: Instant, shift: u64) -> Instant {
    Instant::from_nanos(at.as_nanos() + shift)
}

proptest! {
    #![proptest_config(config(400))]

    #[test]
    fn a_mirrored_motion_does_the_same_with_every_sign_turned(case in cases()) {
        // The lowest number of a width is its own negative, so where a count starts there nothing is mirrored. A counter that wraps
        // may start anywhere, unless it is the one that knows where that is.
        let lowest = |value: u64, source: &Source| cut(value, source.counter_bits) == 1 << (source.counter_bits - 1);
        for (channel, source) in [&case.setup.a, &case.setup.b].into_iter().enumerate() {
            let means_itself = source.counter_bits == 64 || is_absolute(&case.setup.referencing[channel]);
            prop_assume!(!means_itself || !raw_counts(&case, channel).any(|value| lowest(value, source)));
        }
        let mut turned = with_counts(&case, |value, _, source| cut(value.wrapping_neg(), source.counter_bits));
        turned.setup = mirrored_rules(&case.setup);
        for ((plain, told), turned) in run(&case).into_iter().zip(run(&turned)) {
            prop_assert_eq!((plain, mirrored(told)), turned);
        }
    }

    #[test]
    fn a_counter_that_runs_the_other_way_turns_every_sign_and_nothing_else(case in cases()) {
        let mut other = Case { setup: mirrored_rules(&case.setup), ..case.clone() };
        for source in [&mut other.setup.a, &mut other.setup.b] {
            source.unit_per_count = -source.unit_per_count.clone();
        }
        for ((plain, told), turned) in run(&case).into_iter().zip(run(&other)) {
            prop_assert_eq!((plain, mirrored(told)), turned);
        }
    }

    #[test]
    fn when_it_happens_changes_nothing(case in cases(), shift in 1_u64..1 << 62) {
        let of = |reading: Option<Reading>| {
            reading.map(|reading| Reading { captured_at: in_time(reading.captured_at, shift), ..reading })
        };
        let mut moved = case.clone();
        for frame in &mut moved.frames {
            *frame = Frame { now: in_time(frame.now, shift), a: of(frame.a), b: of(frame.b), ..*frame };
        }
        for offer in moved.offers.iter_mut().flatten() {
            offer.captured_at += shift;
        }
        same(&run(&case), &run(&moved))?;
    }

    /// But for a counter that knows its position: where that starts, the axis is.
    #[test]
    fn where_the_counters_start_changes_nothing_within_the_range(case in cases(), a: u64, b: u64) {
        let moved = with_counts(&case, |value, channel, source| {
            let offset = if is_absolute(&case.setup.referencing[channel]) { 0 } else { [a, b][channel] };
            cut(value.wrapping_add(offset), source.counter_bits)
        });
        let (plain, moved) = (run(&case), run(&moved));
        prop_assume!(!out_of_range(&plain) && !out_of_range(&moved));
        same(&plain, &moved)?;
    }

    #[test]
    fn a_counter_that_knows_its_position_may_start_elsewhere_when_its_offset_says_so(
        case in cases_where(|case| case.setup.referencing.iter().any(is_absolute)),
        steps in [-100_i64..=100, -100..=100],
    ) {
        let mut moved = case.clone();
        let mut by = [0_i64; 2];
        for (channel, source) in [&case.setup.a, &case.setup.b].into_iter().enumerate() {
            let Referencing::Absolute { offset } = &mut moved.setup.referencing[channel] else { continue };
            // So many counts are a whole number of ULPs, and so is the offset.
            let whole = (&source.unit_per_count / ulps(1)).denom().clone();
            let Ok(whole) = i64::try_from(whole) else { continue };
            let signed = |value| as_signed(value, source.counter_bits);
            let half = 1_i128 << (source.counter_bits - 1);
            // Next to its wrap a counter comes back at the other end, which a fault may make its start.
            let fits = |value| (-half..half).contains(&(signed(value) + i128::from(whole * steps[channel])));
            if raw_counts(&case, channel).all(fits) {
                by[channel] = whole * steps[channel];
                *offset = &*offset - Q::from_integer(by[channel].into()) * &source.unit_per_count;
            }
        }
        prop_assume!(by != [0, 0]);
        let setup = moved.setup;
        let counts = with_counts(&case, |value, channel, source| {
            cut(value.wrapping_add_signed(by[channel]), source.counter_bits)
        });
        let (plain, moved) = (run(&case), run(&Case { setup, ..counts }));
        prop_assume!(!out_of_range(&plain) && !out_of_range(&moved));
        same(&plain, &moved)?;
    }

    #[test]
    fn exchanged_channels_exchange_what_is_said(case in cases()) {
        let mut other = case.clone();
        std::mem::swap(&mut other.setup.a, &mut other.setup.b);
        other.setup.referencing.reverse();
        for frame in &mut other.frames {
            std::mem::swap(&mut frame.a, &mut frame.b);
        }
        for offer in other.offers.iter_mut().flatten() {
            *offer = Offer { channel: 1 - offer.channel, ..*offer };
        }
        fn turned<T>(each: PerChannel<T>) -> PerChannel<T> {
            PerChannel { a: each.b, b: each.a }
        }
        for (plain, (other, told)) in run(&case).into_iter().zip(run(&other)) {
            let exchanged = Outcome {
                faults: turned(other.faults),
                violated: turned(other.violated),
                tripped: turned(other.tripped),
                unreferenced: turned(other.unreferenced),
                analogue_faults: turned(other.analogue_faults),
                ..other
            };
            let [a, b] = told.speeds;
            prop_assert_eq!(plain, (exchanged, Told { speeds: [b, a], ..negated(told) }));
        }
    }

    #[test]
    fn the_same_motion_in_finer_counts_is_the_same_motion(case in clean_cases(), doublings in 1_u32..=4) {
        prop_assume!(case.setup.a.counter_bits.max(case.setup.b.counter_bits) + doublings <= 64);
        let mut fine = with_counts(&case, |value, _, _| value << doublings);
        for source in [&mut fine.setup.a, &mut fine.setup.b] {
            source.counter_bits += doublings;
            source.unit_per_count = &source.unit_per_count * q(1, 1 << doublings);
        }
        let (plain, fine) = (run(&case), run(&fine));
        // The one count that a change may be beyond the plausible is a finer one: what it finds is found in addition.
        // A count has 64 bits, and finer counts use them up sooner.
        let until = (0..fine.len())
            .find(|&frame| is_implausible(&fine[frame].0) || out_of_range(&fine[frame..=frame]))
            .unwrap_or(fine.len());
        prop_assert!(!plain[..until].iter().any(|(outcome, _)| is_implausible(outcome)));
        same(&plain[..until], &fine[..until])?;
    }
}

/// A motion of at most 40 counts (of 2⁻¹⁰ ULP) each millisecond on a counter of `bits` bits from `start` on: what is said at every
/// frame, with the speeds.
fn with_width(bits: u32, start: u64, steps: &[i8]) -> Vec<(Outcome, Option<WindowSpeed>)> {
    let scale = Scale::from_ratio(1, 1 << 34).expect("in range");
    let max_speed = Speed::from_bits(60);
    let timeout = Span::from_nanos(2_000_000);
    let source = SourceConfig::try_new(bits, scale, max_speed, timeout).expect("in range");
    let window = Span::from_nanos(3_000_000);
    let mut config =
        AxisConfig::<9, 1, 1>::try_new(source, source, window, WarmUp::Permit).expect("in range");
    let rule = SpeedLimit::try_new(Speed::from_bits(20), None).expect("in range");
    config.add_monitor(Rule::SpeedLimit(rule), Demand::Always, Span::from_nanos(2_000_000)).expect("room");
    let mut axis = Axis::new(config);
    let mut count = start;
    let mut now = 0;
    steps
        .iter()
        .map(|step| {
            count = count.wrapping_add_signed(i64::from(step % 41));
            now += 1_000_000;
            let raw = cut(count, bits);
            let outcome = axis.step(&both(now, reading(now, raw.cast_signed())));
            (outcome, axis.speed(monitor_core::Channel::A))
        })
        .collect()
}

/// A counter of 64 bits cannot wrap: its count leaves the range, which is a fault.
fn leaves_the_range(start: u64, steps: &[i8]) -> bool {
    let mut count = start.cast_signed();
    steps.iter().any(|step| {
        let next = count.checked_add(i64::from(step % 41));
        count = next.unwrap_or(count);
        next.is_none_or(|next| next == i64::MIN)
    })
}

/// Runs the motion at every width from `start` and as much before each wrap.
fn width_shows(start: u64, before: u8, steps: &[i8]) -> bool {
    let plain = with_width(32, 0, steps);
    (8..=64).all(|bits| {
        let turn = 1_u64.checked_shl(bits).unwrap_or(0);
        let wraps = [start, turn.wrapping_sub(before.into()), (1 << (bits - 1)) - u64::from(before % 100)];
        wraps.into_iter().all(|start| {
            (bits == 64 && leaves_the_range(start, steps)) || with_width(bits, start, steps) == plain
        })
    })
}

proptest! {
    #![proptest_config(config(150))]

    #[test]
    fn a_counter_of_any_width_may_start_anywhere_and_next_to_its_wrap(
        start: u64,
        before: u8,
        steps in prop::collection::vec(any::<i8>(), 1..60),
    ) {
        prop_assert!(width_shows(start, before, &steps));
    }
}

#[test]
fn a_counter_of_any_width_may_start_anywhere_for_quickcheck_too() {
    fn property(start: u64, before: u8, steps: Vec<i8>) -> bool {
        width_shows(start, before, &steps)
    }
    QuickCheck::new().tests(60).quickcheck(property as fn(u64, u8, Vec<i8>) -> bool);
}

#[test]
fn the_motion_of_the_widths_trips_and_is_not_faulted() {
    let steps = [40_i8; 20];
    let seen = with_width(8, 200, &steps);
    assert!(seen.iter().any(|(outcome, _)| outcome.has_trip()));
    assert!(seen.iter().all(|(outcome, _)| outcome.faults.a.is_none()));
}
