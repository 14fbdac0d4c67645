//! Referenced positions, and the rule on them.

use super::*;

/// Positions by `how`, a range of them, a button on line 0; one reading back is the window.
fn placed(how: Referencing, low: &str, high: &str) -> Setup {
    let kind = Kind::PositionRange { low: d(low), high: d(high) };
    Setup {
        window_ns: MS,
        points: 3,
        warm_up_withholds: false,
        referencing: [how.clone(), how],
        inputs: vec![button(0)],
        monitors: vec![monitor(kind, 0, &[])],
        ..bare()
    }
}

fn absolute(offset: &str) -> Referencing {
    Referencing::Absolute { offset: d(offset) }
}

/// Line 0 declares that the axis is at 10 mm.
fn event() -> Referencing {
    Referencing::Event { input: 0, position: d("10") }
}

/// 0.1 mm a frame.
fn creeping(ms: u64) -> i64 {
    100 * ms.cast_signed()
}

fn referenced(seen: &[Seen], channel: usize) -> Vec<Option<Q>> {
    seen.iter().map(|seen| seen.channels[channel].referenced.clone()).collect()
}

#[test]
fn an_absolute_position_is_its_offset_and_the_count() {
    let seen = run(&placed(absolute("-0.5"), "-9", "9"), 0..3, creeping, |_| 0);
    for channel in [0, 1] {
        assert_eq!(referenced(&seen, channel), ["-0.5", "-0.4", "-0.3"].map(|place| Some(d(place))));
    }
}

#[test]
fn an_input_declares_the_position_when_it_comes_to_demand_and_no_later() {
    // Demands at 3 to 5, and again from 8 on.
    let bits = |ms: u64| u32::from((3..6).contains(&ms) || ms >= 8);
    let seen = run(&placed(event(), "0", "20"), 0..10, creeping, bits);
    let expected = ["10", "10.1", "10.2", "10.3", "10.4", "10", "10.1"].map(|place| Some(d(place)));
    assert_eq!(referenced(&seen, 1)[..3], [None, None, None]);
    assert_eq!(referenced(&seen, 1)[3..], expected);
}

#[test]
fn an_input_that_demands_at_the_first_frame_declares_the_position() {
    let seen = run(&placed(event(), "0", "20"), 0..2, creeping, |_| 1);
    assert_eq!(referenced(&seen, 0), [Some(d("10")), Some(d("10.1"))]);
}

#[test]
fn a_broken_count_takes_a_declared_reference_and_leaves_that_of_an_absolute_source() {
    for (how, after) in [(event(), None), (absolute("1"), Some(d("91")))] {
        let mut model = Model::new(&placed(how, "-200", "200"));
        assert!(model.step(&both(0, 0, 1)).channels[0].referenced.is_some());
        // A jump of A by 90 mm.
        let seen = model.step(&frame(MS, reading(MS, 90_000), reading(MS, 0), 1));
        assert_eq!(seen.channels[0].fault, Some(Fault::Implausible));
        assert_eq!(seen.channels[0].referenced, after);
        assert!(seen.channels[1].referenced.is_some());
        // It is a fault of the channel, not of the rule; at the frame after it, the rule sees the position without its
        // reference.
        assert!(!seen.monitors[0].lanes[0].unreferenced);
        let seen = model.step(&frame(2 * MS, reading(2 * MS, 90_000), reading(2 * MS, 0), 1));
        assert_eq!(seen.channels[0].referenced, after);
        assert_eq!(seen.monitors[0].lanes[0].unreferenced, after.is_none());
    }
}

#[test]
fn a_reading_out_of_order_breaks_no_reference() {
    let mut model = Model::new(&placed(event(), "0", "20"));
    model.step(&both(0, 0, 1));
    model.step(&both(MS, 100, 1));
    let seen = model.step(&frame(2 * MS, reading(MS, 300), reading(2 * MS, 200), 1));
    assert_eq!(seen.channels[0].fault, Some(Fault::OutOfOrder));
    let seen = model.step(&both(3 * MS, 300, 1));
    assert_eq!(seen.channels[0].referenced, Some(d("10.3")));
}

#[test]
fn an_event_declares_nothing_on_a_faulted_channel() {
    let mut model = Model::new(&placed(event(), "0", "20"));
    model.step(&both(MS, 0, 0));
    let seen = model.step(&frame(2 * MS, reading(MS, 5), reading(2 * MS, 0), 1));
    assert_eq!(seen.channels[0].fault, Some(Fault::OutOfOrder));
    assert_eq!(seen.channels.clone().map(|channel| channel.referenced), [None, Some(d("10"))]);
    // The input demands still, which is no event.
    assert_eq!(model.step(&both(3 * MS, 0, 1)).channels[0].referenced, None);
}

#[test]
fn one_channel_of_an_input_declares_and_a_faulted_input_does_not() {
    let lines = Lines::Two {
        first: 0,
        second: 1,
        pairing: Pairing::Equivalent,
        discrepancy_time_ns: 5 * MS,
        one_sided: OneSided::Fault,
    };
    let mut setup = placed(event(), "0", "20");
    setup.inputs = vec![Input { lines, demand_high: true, filter_ns: 0 }];
    // One line alone at 2 to 9, which is a fault from 7 on; both from 12 on.
    let bits = |ms| match ms {
        2..10 => 1,
        12.. => 3,
        _ => 0,
    };
    let seen = run(&setup, 0..14, creeping, bits);
    assert!(!seen[6].inputs[0].faulted && seen[7].inputs[0].faulted);
    let places = referenced(&seen, 0);
    assert_eq!((&places[1], &places[2]), (&None, &Some(d("10"))));
    assert_eq!((&places[12], &places[13]), (&Some(d("11")), &Some(d("11.1"))));
}

#[test]
fn a_position_at_the_end_of_its_range_is_in_it() {
    // x is 0.5 mm more than the count.
    let counts = [0, 1, 0, -1000, -1001];
    let seen = run(&placed(absolute("0.5"), "-0.5", "0.5"), 0..5, |ms| counts[ms as usize], |_| 0);
    assert_eq!(violated(&seen), [1, 4]);
    let ends = [0, 1, 3, 4].map(|at| {
        let Bound { evidence, side, observed, limit } = bound(&seen[at]);
        (evidence, side, observed.exact, observed.held, limit.exact)
    });
    let (above, below) = (Side::NotAbove, Side::NotBelow);
    let up = ulp_up(&d("0.501"));
    let expected = [
        (above, d("0.5"), d("0.5"), d("0.5")),
        (above, d("0.501"), up.clone(), d("0.5")),
        (below, d("-0.5"), d("-0.5"), d("-0.5")),
        (below, d("-0.501"), -up, d("-0.5")),
    ];
    assert_eq!(
        ends,
        expected.map(|(side, exact, held, limit)| (Evidence::Position, side, exact, held, limit))
    );
    assert_eq!(trips(&seen), [(1, Evidence::Position)]);
}

#[test]
fn a_rule_without_its_reference_is_a_fault_that_is_latched_until_a_reset() {
    // Declared at 3; the reset is released at 2, and at 6.
    let bits = |ms: u64| u32::from(ms >= 3) | if ms == 1 || ms == 5 { RESET } else { 0 };
    let seen = run(&placed(event(), "0", "20"), 0..8, creeping, bits);
    let lanes = |at: usize| seen[at].monitors[0].lanes.clone();
    for at in 0..3 {
        assert!(lanes(at).iter().all(|lane| lane.unreferenced && lane.latched_unreferenced));
        assert!(lanes(at).iter().all(|lane| !lane.warming_up && !lane.violated));
    }
    assert!(lanes(3).iter().all(|lane| !lane.unreferenced && lane.latched_unreferenced));
    assert_eq!(seen[2].reset, Reset::Refused(Refusal::Reference));
    assert_eq!(seen[6].reset, Reset::Accepted);
    assert!(lanes(6).iter().all(|lane| !lane.latched_unreferenced));
    let permits: Vec<bool> = seen.iter().map(|seen| seen.permit).collect();
    assert_eq!(permits, [false, false, false, false, false, false, true, true]);
}

#[test]
fn a_rule_on_the_position_warms_up_without_a_reading_and_needs_no_reference_while_it_is_not_active() {
    let mut model = Model::new(&placed(event(), "0", "20"));
    let seen = model.step(&frame(0, None, reading(0, 0), 0));
    let lanes = seen.monitors[0].lanes.clone();
    assert_eq!(lanes.clone().map(|lane| lane.warming_up), [true, false]);
    assert_eq!(lanes.map(|lane| lane.unreferenced), [false, true]);
    let mut setup = placed(event(), "0", "20");
    setup.inputs.push(button(1));
    setup.monitors[0].demand = Demand::inputs(&[1]);
    let permits: Vec<bool> =
        run(&setup, 0..4, creeping, |ms| if ms < 2 { 0 } else { 2 }).iter().map(|seen| seen.permit).collect();
    assert_eq!(permits, [true, true, false, false]);
}
