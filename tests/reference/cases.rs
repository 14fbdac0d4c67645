//! Small cases of one rule each, on which the core and the model once differed. Each is run through both, and what the core
//! says is written out.

use cowitness_tests::model::{
    Demand, Discrepancy, Input, Kind, Lines, Monitor, OneSided, Pairing, Ramp, Referencing, Setup, Source, q,
    ulps,
};
use cowitness_tests::trace::{Case, Mood, RESET_LINE};
use monitor_core::{
    Apart, Axis, Check, Frame, Instant, Levels, Outcome, Reading, Reset, Sample, SourceFault,
};

use crate::compare::{Tally, first_difference};
use cowitness_tests::core_of::core_of;

const MS: u64 = 1_000_000;
const POINTS: usize = 3;

/// 32 bits of a micrometre in mm; 3 m/s; readings may be 4 ms old; a window of one millisecond; no rule at all.
fn bare() -> Setup {
    let source =
        Source { counter_bits: 32, unit_per_count: q(1, 1000), max_speed: q(3000, 1), timeout_ns: 4 * MS };
    Setup {
        a: source.clone(),
        b: source,
        referencing: [Referencing::None, Referencing::None],
        analogues: Vec::new(),
        window_ns: MS,
        points: POINTS,
        warm_up_withholds: false,
        discrepancy: None,
        speed_discrepancy: None,
        inputs: Vec::new(),
        reset_line: Some(RESET_LINE),
        reset_filter_ns: 0,
        monitors: Vec::new(),
    }
}

fn reading(at: u64, count: i64) -> Option<Reading> {
    let sample = Sample::Count(count.cast_unsigned());
    Some(Reading { captured_at: Instant::from_nanos(at), sample })
}

fn invalid(at: u64) -> Option<Reading> {
    Some(Reading { captured_at: Instant::from_nanos(at), sample: Sample::Invalid })
}

fn frame(now: u64, a: Option<Reading>, b: Option<Reading>, bits: u32) -> Frame {
    Frame { now: Instant::from_nanos(now), a, b, levels: Levels::from_bits(bits) }
}

/// Both sources read `count` at the frame itself.
fn both(now: u64, count: i64, bits: u32) -> Frame {
    frame(now, reading(now, count), reading(now, count), bits)
}

/// What the core said of one frame.
#[derive(Clone, Copy)]
struct Said {
    outcome: Outcome,
    /// The last check of the last monitor on channel A.
    last: Option<Check>,
    apart: Option<Apart>,
}

/// Runs the frames through the core, which must agree with the model at each.
fn agreed(setup: &Setup, frames: &[Frame]) -> Vec<Said> {
    let case = Case {
        seed: 0,
        mood: Mood::Clean,
        setup: setup.clone(),
        frames: frames.to_vec(),
        offers: Vec::new(),
    };
    let difference = first_difference::<POINTS>(&case, &mut Tally::default());
    let mut axis = Axis::new(core_of::<POINTS>(setup).config);
    let said: Vec<_> = frames
        .iter()
        .map(|frame| {
            let mut last = None;
            let outcome = axis.step_watched(frame, &mut |_, channel, check| {
                if channel == monitor_core::Channel::A {
                    last = Some(*check);
                }
            });
            Said { outcome, last, apart: axis.apart() }
        })
        .collect();
    assert!(difference.is_none(), "{}", difference.map_or_else(String::new, |found| found.to_string()));
    said
}

/// The faults of channel A at frames at which channel B is read.
fn faults(setup: &Setup, frames: &[(u64, Option<Reading>)]) -> Vec<Option<SourceFault>> {
    let frames: Vec<Frame> = frames.iter().map(|&(now, a)| frame(now, a, reading(now, 0), 0)).collect();
    agreed(setup, &frames).into_iter().map(|said| said.outcome.faults.a).collect()
}

#[test]
fn a_position_out_of_range_is_a_fault_at_every_frame_until_one_is_in_range() {
    let mut setup = bare();
    setup.a.counter_bits = 64;
    let far = reading(0, i64::MAX);
    let out = Some(SourceFault::Range);
    let seen = faults(&setup, &[(0, far), (MS, far), (2 * MS, None), (3 * MS, reading(3 * MS, 0))]);
    assert_eq!(seen, [out, out, out, None]);
}

#[test]
fn every_position_that_has_a_bit_pattern_and_its_negative_is_in_range() {
    let mut setup = bare();
    setup.a.counter_bits = 64;
    setup.a.unit_per_count = ulps(1);
    for (count, fault) in [(i64::MAX, None), (-i64::MAX, None), (i64::MIN, Some(SourceFault::Range))] {
        assert_eq!(faults(&setup, &[(0, reading(0, count))]), [fault], "{count}");
    }
}

#[test]
fn a_good_reading_of_the_first_nanosecond_is_taken_after_an_invalid_one() {
    assert_eq!(
        faults(&bare(), &[(0, invalid(0)), (1, reading(0, 7)), (2, None)]),
        [Some(SourceFault::Invalid), None, None]
    );
}

#[test]
fn another_value_at_the_instant_of_the_last_good_reading_is_out_of_order_after_an_invalid_one_too() {
    let frames = [(0, reading(0, 0)), (MS, invalid(MS)), (2 * MS, reading(0, 1)), (3 * MS, reading(0, 0))];
    let bad = Some(SourceFault::Invalid);
    assert_eq!(faults(&bare(), &frames), [None, bad, Some(SourceFault::OutOfOrder), bad]);
}

#[test]
fn a_gap_between_two_readings_is_stale_whichever_frames_were_evaluated_in_it() {
    let stale = Some(SourceFault::Stale);
    let ends = [(0, reading(0, 0)), (9 * MS, reading(9 * MS, 0)), (10 * MS, reading(10 * MS, 0))];
    assert_eq!(faults(&bare(), &ends), [None, stale, None]);
    let [first, last, after] = ends;
    // Where a fault has broken the count already, the reading after it is a first one.
    assert_eq!(faults(&bare(), &[first, (5 * MS, None), last, after]), [None, stale, None, None]);
    let bad = Some(SourceFault::Invalid);
    assert_eq!(faults(&bare(), &[first, (5 * MS, invalid(5 * MS)), last, after]), [None, bad, None, None]);
}

#[test]
fn a_reading_that_is_too_old_already_is_stale_and_not_a_first_one() {
    let stale = Some(SourceFault::Stale);
    // Implausible as well: the first of the two names the fault. The good one after it starts the count.
    let late = [(0, reading(0, 0)), (7 * MS, reading(2 * MS, 90_000)), (8 * MS, reading(5 * MS, 0))];
    assert_eq!(faults(&bare(), &late), [None, stale, None]);
    assert_eq!(faults(&bare(), &[(9 * MS, reading(0, 0)), (10 * MS, reading(3 * MS, 0))]), [stale, stale]);
}

fn button(line: u8) -> Input {
    Input { lines: Lines::One(line), demand_high: true, filter_ns: 0 }
}

fn monitor(kind: Kind, demand: &[usize]) -> Monitor {
    Monitor {
        demand: Demand::inputs(demand),
        reaction: None,
        on_delay_ns: 50 * MS,
        allowed_overrun: None,
        kind,
    }
}

/// A limit of 6 mm/s on line 0, and an envelope on line 1 that ends at 4 mm/s.
fn handed_over() -> Setup {
    let ramp = Ramp { delay_ns: 20 * MS, deceleration: q(1000, 1), margin: q(1, 1), jerk: None };
    let limit = Kind::SpeedLimit { limit: q(6, 1), ramp: None };
    let envelope = Kind::SpeedLimit { limit: q(4, 1), ramp: Some(ramp) };
    let monitors = vec![monitor(limit, &[0]), monitor(envelope, &[1])];
    Setup { inputs: vec![button(0), button(1)], monitors, ..bare() }
}

/// The limit of the last monitor on channel A at the last frame, in mm/s.
fn last_limit(setup: &Setup, frames: &[Frame]) -> Option<i64> {
    let check = agreed(setup, frames).last()?.last;
    Some(check?.speed?.limit.to_bits() >> 24)
}

#[test]
fn a_limit_stays_in_force_for_a_later_envelope_while_the_channel_is_faulted() {
    let mut frames: Vec<Frame> = (0..4).map(|ms| both(ms * MS, 8 * ms.cast_signed(), 1)).collect();
    // A reading from the future: channel A is faulted at this frame alone.
    frames.push(frame(4 * MS, reading(5 * MS, 0), reading(4 * MS, 32), 1));
    frames.push(both(5 * MS, 40, 2));
    // 6 mm/s were in force, and the margin is 1 mm/s.
    assert_eq!(last_limit(&handed_over(), &frames), Some(7));
}

#[test]
fn a_limit_is_in_force_for_a_later_envelope_before_the_speed_is_known() {
    let frames = [both(0, 0, 1), both(MS, 8, 2)];
    assert_eq!(last_limit(&handed_over(), &frames), Some(7));
}

/// An envelope falls while the axis is far below it; then it ends, and another one is demanded at a frame that is too fast for it.
#[test]
fn a_line_that_fell_unwatched_is_in_force_for_a_later_envelope_as_it_was_at_the_frame_before() {
    let ramp = |deceleration, margin| Ramp {
        delay_ns: 0,
        deceleration: q(deceleration, 1),
        margin: q(margin, 1),
        jerk: None,
    };
    let falling = Kind::SpeedLimit { limit: q(1, 1), ramp: Some(ramp(200, 4)) };
    let later = Kind::SpeedLimit { limit: q(1, 1), ramp: Some(ramp(200, 1)) };
    let monitors = vec![monitor(falling, &[0]), monitor(later, &[1])];
    let setup = Setup { inputs: vec![button(0), button(1)], monitors, window_ns: 2 * MS, ..bare() };
    // How fast it is in the end decides whether the second line is broken.
    let frames = |fast: i64| {
        let mut count = 0;
        let one = |ms: u64| {
            // 8 mm/s when the first line is demanded, and 2 mm/s under it.
            count += match ms {
                0..10 => 8,
                10..43 => 2,
                _ => fast,
            };
            let lines = match ms {
                0..5 => 0,
                5..43 => 1,
                _ => 2,
            };
            both(ms * MS, count, lines)
        };
        (0..45).map(one).collect::<Vec<Frame>>()
    };
    // The line fell from 12 mm/s by 0.2 mm/s each millisecond since 5 ms: 4.6 mm/s at 42 ms. With the margin, and a
    // millisecond later, 5.4 mm/s are left.
    for fast in 9..=20 {
        assert_eq!(last_limit(&setup, &frames(fast)), Some(5), "{fast}");
    }
}

#[test]
fn the_speed_windows_of_a_standstill_are_in_force_for_a_later_envelope_before_anything_is_known() {
    let mut setup = handed_over();
    setup.monitors[0].kind = Kind::Standstill { position_window: q(1, 1), speed_window: q(5, 1) };
    let frames = [frame(0, None, None, 1), both(1, 0, 2), both(MS + 1, 8, 2)];
    assert_eq!(last_limit(&setup, &frames), Some(6));
}

#[test]
fn an_envelope_demanded_at_an_out_of_order_frame_starts_from_the_speed_of_the_last_good_reading() {
    let mut frames: Vec<Frame> = (0..4).map(|ms| both(ms * MS, 8 * ms.cast_signed(), 0)).collect();
    frames.push(frame(4 * MS, reading(5 * MS, 0), reading(4 * MS, 32), 2));
    // Twice as fast at the next reading: 32 µm in 2 ms.
    frames.push(both(5 * MS, 24 + 32, 2));
    frames.push(both(6 * MS, 24 + 48, 2));
    assert_eq!(last_limit(&handed_over(), &frames), Some(9));
}

#[test]
fn a_standstill_counts_its_travel_from_the_very_reading_that_showed_a_jump() {
    let kind = Kind::Standstill { position_window: q(5, 1000), speed_window: q(100, 1) };
    let setup = Setup { monitors: vec![monitor(kind, &[])], ..bare() };
    let a = |ms: u64, count| frame(ms * MS, reading(ms * MS, count), reading(ms * MS, 0), 0);
    let said = agreed(&setup, &[a(0, 0), a(1, 0), a(2, 90_000), a(3, 90_006), a(4, 90_006)]);
    assert_eq!(said[2].outcome.faults.a, Some(SourceFault::Implausible));
    let violated: Vec<bool> = said.iter().map(|said| !said.outcome.violated.a.is_empty()).collect();
    assert_eq!(violated, [false, false, false, true, true]);
}

#[test]
fn a_discrepancy_is_counted_from_the_very_reading_that_showed_a_jump() {
    let rule = Discrepancy {
        tolerance: q(5, 1000),
        skew_allowance_ns: 0,
        align: false,
        discrepancy_time_ns: 50 * MS,
    };
    let setup = Setup { discrepancy: Some(rule), ..bare() };
    let a = |ms: u64, count| frame(ms * MS, reading(ms * MS, count), reading(ms * MS, 0), 0);
    let said = agreed(&setup, &[a(0, 0), a(1, 0), a(2, 90_000), a(3, 90_006), a(4, 90_006)]);
    let exceeded = |said: &Said| said.apart.is_some_and(|apart| apart.bound.is_exceeded());
    let violated: Vec<bool> = said.iter().map(exceeded).collect();
    assert_eq!(violated, [false, false, false, true, true]);
}

#[test]
fn a_reset_is_refused_while_an_active_monitor_is_warming_up() {
    let limit = Kind::SpeedLimit { limit: q(6, 1), ramp: None };
    let setup = Setup { monitors: vec![monitor(limit, &[])], ..bare() };
    let pressed = 1 << RESET_LINE;
    let a = |now: u64, count, bits| frame(now, reading(now, count), reading(now, 0), bits);
    let mut frames = vec![a(0, 0, 0), a(MS, 90_000, pressed), a(2 * MS - 1, 90_000, 0)];
    frames.extend([a(3 * MS - 1, 90_000, pressed), a(4 * MS, 90_000, 0)]);
    let said = agreed(&setup, &frames);
    assert_eq!(said[2].outcome.reset, Some(Reset::WarmingUp));
    assert_eq!(said[4].outcome.reset, Some(Reset::Accepted));
}

fn door() -> Setup {
    let lines = Lines::Two {
        first: 0,
        second: 1,
        pairing: Pairing::Equivalent,
        discrepancy_time_ns: 5 * MS,
        one_sided: OneSided::Fault,
    };
    Setup { inputs: vec![Input { lines, demand_high: true, filter_ns: 0 }], ..bare() }
}

/// The frames at which the input became faulted and what came of a reset at the last one, with the line levels at 0 ms,
/// 1 ms, and so on.
fn door_frames(bits: &[u32]) -> (Vec<usize>, Option<Reset>) {
    let frames: Vec<Frame> =
        bits.iter().zip(0..).map(|(&bits, ms): (_, u64)| both(ms * MS, 0, bits)).collect();
    let said = agreed(&door(), &frames);
    let faulted = (0..said.len()).filter(|&at| !said[at].outcome.input_faults.is_empty()).collect();
    (faulted, said.last().and_then(|said| said.outcome.reset))
}

#[test]
fn a_one_sided_cycle_is_cleared_by_both_demanding_together_before_its_time_and_not_at_it() {
    assert_eq!(door_frames(&[0, 1, 0, 0, 0, 3, 0, 0, 0]).0, Vec::<usize>::new());
    assert_eq!(door_frames(&[0, 1, 0, 0, 0, 0, 3, 0, 0]).0, [6]);
    // The late one is the frame of the fault itself, so it does not count for the reset; the frame after it would.
    let pressed = 1 << RESET_LINE;
    let after = |second| door_frames(&[0, 1, 0, 0, 0, 0, 3, second, pressed, 0]).1;
    assert_eq!(after(0), Some(Reset::InputFaulted));
    assert_eq!(after(3), Some(Reset::Accepted));
}

#[test]
fn a_one_sided_cycle_that_has_not_become_a_fault_yet_does_not_refuse_a_reset() {
    let pressed = 1 << RESET_LINE;
    let proven = [0, 1, 1, 1, 1, 1, 1, 3, 0, 0];
    // Channels that disagree at the frame of the reset do.
    assert_eq!(door_frames(&[&proven[..], &[1, pressed, 1]].concat()).1, Some(Reset::InputFaulted));
    assert_eq!(door_frames(&[&proven[..], &[1, pressed, 0]].concat()).1, Some(Reset::Accepted));
    // Its time runs on over the reset.
    let (faulted, _) = door_frames(&[&proven[..], &[1, pressed, 0, 0, 0, 0, 0]].concat());
    assert_eq!(faulted, [6, 15]);
}

#[test]
fn channels_that_change_places_are_no_one_sided_cycle() {
    assert_eq!(door_frames(&[0, 1, 2, 0, 0, 0, 0, 0, 0]).0, Vec::<usize>::new());
    assert_eq!(door_frames(&[0, 1, 1, 0, 0, 0, 0, 0, 0]).0, [6]);
}

#[test]
fn a_second_input_fault_before_the_reset_must_be_followed_by_both_demanding_together_again() {
    let pressed = 1 << RESET_LINE;
    let proven = [0, 1, 1, 1, 1, 1, 1, 3, 0, 0];
    let reset = [pressed, 0];
    assert_eq!(door_frames(&[&proven[..], &reset].concat()).1, Some(Reset::Accepted));
    let again = [3, 1, 1, 1, 1, 1, 1, 0];
    let unproven = [&proven[..], &again, &reset].concat();
    assert_eq!(door_frames(&unproven).1, Some(Reset::InputFaulted));
    let proven_again = [&proven[..], &again, &[3, 0], &reset].concat();
    assert_eq!(door_frames(&proven_again).1, Some(Reset::Accepted));
}

#[test]
fn an_axis_with_only_a_discrepancy_has_no_permit_before_both_sources_are_read() {
    let rule =
        Discrepancy { tolerance: q(1, 1), skew_allowance_ns: 0, align: false, discrepancy_time_ns: 10 * MS };
    let setup = Setup { discrepancy: Some(rule), warm_up_withholds: true, ..bare() };
    let frames: Vec<Frame> = (0..4)
        .map(|ms| frame(ms * MS, reading(ms * MS, 0), if ms < 2 { None } else { reading(ms * MS, 0) }, 0))
        .collect();
    let permits: Vec<bool> = agreed(&setup, &frames).iter().map(|said| said.outcome.permit).collect();
    assert_eq!(permits, [false, false, true, true]);
}

/// The frame at which a position above `high` ten-thousandths of a unit is violated first: both channels move a micrometre in every millisecond, and
/// the declared position is 10 units.
fn violated_at(bits: &[u32], high: i128) -> Option<usize> {
    let declared = Referencing::Event { input: 0, position: q(10, 1) };
    let rule = monitor(Kind::PositionRange { low: q(-100, 1), high: q(high, 10_000) }, &[1]);
    let setup = Setup {
        inputs: vec![door().inputs[0].clone(), button(2)],
        referencing: [declared.clone(), declared],
        monitors: vec![rule],
        ..door()
    };
    let frames: Vec<Frame> =
        bits.iter().zip(0..).map(|(&bits, ms): (_, i64)| both(ms as u64 * MS, ms, bits)).collect();
    agreed(&setup, &frames).iter().position(|said| !said.outcome.violated.a.is_empty())
}

#[test]
fn a_position_is_declared_at_the_frame_after_the_reset_of_a_fault_of_its_input() {
    let pressed = 1 << RESET_LINE;
    // The input faults, is proven and reset at frame 11, and declares 10 units at frame 12: a thousandth more at frame 13.
    let levels = [3, 0, 1, 1, 1, 1, 1, 1, 3, 0, pressed, 0, 3, 4, 4, 4];
    assert_eq!(violated_at(&levels, 100_005), Some(13));
    assert_eq!(violated_at(&levels, 100_015), Some(14));
    // Without the second declaration it would have been 10 units at frame 0.
    let once = [3, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 4, 4, 4];
    assert_eq!(violated_at(&once, 100_145), Some(15));
}

#[test]
fn a_speed_output_without_a_speed_is_warming_up_and_withholds_the_permit() {
    let output = Kind::SpeedOutput { threshold: q(10, 1), hysteresis: q(0, 1) };
    let output = Monitor { on_delay_ns: 0, ..monitor(output, &[]) };
    let setup = Setup { monitors: vec![output], warm_up_withholds: true, ..bare() };
    let frames: Vec<Frame> = (0..4).map(|ms| both(ms * MS, 0, 0)).collect();
    let said = agreed(&setup, &frames);
    let permits: Vec<bool> = said.iter().map(|said| said.outcome.permit).collect();
    assert_eq!(permits, [false, true, true, true]);
    assert!(said[0].outcome.warming_up && said[0].outcome.outputs.is_empty());
    assert!(!said[1].outcome.outputs.is_empty());
}

#[test]
fn a_position_that_its_reference_moves_out_of_the_range_is_unreferenced_and_passes_nothing() {
    // 2³⁹ less a unit, and the counter adds a unit in every thousand of its counts.
    let offset = q((1 << 39) - 1, 1);
    let rule = monitor(Kind::PositionRange { low: q(0, 1), high: q((1 << 39) - 1, 1) + q(999, 1000) }, &[]);
    let setup = Setup {
        referencing: [Referencing::Absolute { offset: offset.clone() }, Referencing::Absolute { offset }],
        monitors: vec![rule],
        ..bare()
    };
    let at = |count| {
        let said = agreed(&setup, &[both(0, count, 0)]);
        (said[0].outcome.violated.a.is_empty(), said[0].outcome.unreferenced.a.is_empty())
    };
    assert_eq!(at(998), (true, true));
    assert_eq!(at(1001), (true, false));
}
