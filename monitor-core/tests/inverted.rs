//! An input that is demanded inverted protects at rest: there, too, both of its channels have to be seen.

use monitor_core::{
    Axis, AxisConfig, Demand, Demands, Frame, InputConfig, InputSet, Instant, Levels, OneSided, Pairing,
    Reading, Reset, Rule, Sample, Scale, SourceConfig, Span, Speed, WarmUp,
};

const RESET: u32 = 4;

fn ms(millis: u64) -> Span {
    Span::from_millis(millis).unwrap()
}

/// Torque off unless both lines are high for "clear", 50 ms for them to agree.
fn axis() -> Axis<9, 1, 1> {
    let scale = Scale::from_ratio(1, 1000).unwrap();
    let source = SourceConfig::try_new(24, scale, Speed::from_int(3000).unwrap(), ms(4)).unwrap();
    let mut config = AxisConfig::try_new(source, source, ms(2), WarmUp::Permit).unwrap();
    let clear =
        InputConfig::dual([0, 1], Pairing::Equivalent, true, Span::ZERO, ms(50), OneSided::Fault).unwrap();
    let clear = config.add_input(clear).unwrap();
    config.set_reset(InputConfig::single(2, true, Span::ZERO).unwrap());
    let not_clear = Demand::Any(Demands { not_inputs: InputSet::NONE.with(clear), ..Demands::default() });
    config.add_monitor(Rule::TorqueOff, not_clear, Span::ZERO).unwrap();
    Axis::new(config)
}

/// Shows the axis levels, each for so many milliseconds; whether there was a fault of the input, and what resets came to.
fn run(axis: &mut Axis<9, 1, 1>, levels: &[(u32, u64)]) -> (bool, Vec<Reset>) {
    let (mut now, mut faulted, mut resets) = (0, false, Vec::new());
    for &(levels, millis) in levels {
        for _ in 0..millis {
            now += 1_000_000;
            let at = Instant::from_nanos(now);
            let reading = Some(Reading { captured_at: at, sample: Sample::Count(0) });
            let frame = Frame { now: at, a: reading, b: reading, levels: Levels::from_bits(levels) };
            let outcome = axis.step(&frame);
            faulted |= !outcome.input_faults.is_empty();
            resets.extend(outcome.reset);
        }
    }
    (faulted, resets)
}

#[test]
fn a_channel_that_leaves_and_comes_back_while_the_other_stays_is_a_fault() {
    assert!(run(&mut axis(), &[(3, 100), (2, 20), (3, 100)]).0);
    assert!(run(&mut axis(), &[(3, 100), (1, 20), (3, 100)]).0);
    // The other follows in time.
    assert!(!run(&mut axis(), &[(3, 100), (2, 20), (0, 20), (3, 100)]).0);
    assert!(!run(&mut axis(), &[(3, 100), (2, 10), (3, 10), (0, 10), (3, 100)]).0);
}

#[test]
fn a_disagreement_that_is_there_at_the_first_frame_is_judged_as_if_both_had_agreed_before() {
    // One demands from the first frame on and releases; the other never moved.
    assert!(run(&mut axis(), &[(1, 20), (0, 100)]).0);
    // One comes to demand beside one that always did: at rest it protects as well.
    assert!(run(&mut axis(), &[(2, 20), (3, 100)]).0);
    // They change places, or agree in both states in time.
    assert!(!run(&mut axis(), &[(1, 10), (2, 10), (0, 100)]).0);
    assert!(!run(&mut axis(), &[(1, 10), (0, 10), (3, 100)]).0);
}

#[test]
fn a_reset_after_a_fault_wants_both_channels_seen_in_either_state() {
    let press = [(3, 20), (3 | RESET, 20), (3, 20)];
    // Line 1 is welded high.
    let welded = [(3, 100), (2, 100)];
    let (faulted, resets) = run(&mut axis(), &[&welded[..], &press].concat());
    assert!(faulted && resets == [Reset::InputFaulted], "{faulted}, {resets:?}");
    // The other way round: line 1 is dead. At the fault both are at rest, and that they can demand is not seen.
    let dead = [(0, 100), (1, 100), (0, 20), (RESET, 20), (0, 20)];
    let (faulted, resets) = run(&mut axis(), &dead);
    assert!(faulted && resets == [Reset::InputFaulted], "{faulted}, {resets:?}");
    let repaired = [(0, 20)];
    let (faulted, resets) = run(&mut axis(), &[&welded[..], &repaired, &press].concat());
    assert!(faulted && resets == [Reset::Accepted], "{faulted}, {resets:?}");
}
