//! Outputs, and what they demand.

use super::*;

/// Absolute positions from 0, a button on line 0; one reading back is the window.
fn with(monitors: Vec<Monitor>) -> Setup {
    let absolute = Referencing::Absolute { offset: d("0") };
    Setup {
        window_ns: MS,
        points: 3,
        warm_up_withholds: false,
        referencing: [absolute.clone(), absolute],
        inputs: vec![button(0)],
        monitors,
        ..bare()
    }
}

/// From 0 to 1 mm, with a quarter of hysteresis.
fn cam() -> Kind {
    Kind::CamOutput { low: d("0"), high: d("1"), hysteresis: d("0.25") }
}

fn slow() -> Kind {
    Kind::SpeedOutput { threshold: d("10"), hysteresis: d("2") }
}

fn by(kind: Kind, terms: &[Term]) -> Monitor {
    Monitor { demand: Demand::Any(terms.to_vec()), ..monitor(kind, 0, &[]) }
}

/// On and near of the first monitor on a channel.
fn states(seen: &Seen, channel: usize) -> (bool, bool) {
    let lane = &seen.monitors[0].lanes[channel];
    (lane.on, lane.near)
}

const NEITHER: (bool, bool) = (false, false);
const NEAR: (bool, bool) = (false, true);
const ON: (bool, bool) = (true, true);

#[test]
fn the_hysteresis_of_a_cam_lies_inside_for_on_and_outside_for_near() {
    let places = [
        (-300, NEITHER),
        (-250, NEITHER),
        (-1, NEITHER),
        (0, NEAR),
        (249, NEAR),
        (250, ON),
        (0, ON),
        (1000, ON),
        (1001, NEAR),
        (1250, NEAR),
        (1251, NEITHER),
        (1100, NEITHER),
        (1000, NEAR),
        (751, NEAR),
        (750, ON),
        (-1, NEAR),
        (-250, NEAR),
        (-251, NEITHER),
    ];
    let seen = run(&with(vec![monitor(cam(), 0, &[])]), 0..18, |ms| places[ms as usize].0, |_| 0);
    for (seen, (place, expected)) in seen.iter().zip(places) {
        assert_eq!([0, 1].map(|channel| states(seen, channel)), [expected; 2], "{place}");
        assert_eq!(seen.monitors[0].output, expected == ON);
        assert!(seen.monitors[0].lanes.iter().all(|lane| lane.compared.is_none() && !lane.violated));
    }
}

#[test]
fn the_hysteresis_of_a_speed_output_lies_below_for_on_and_above_for_near() {
    // The first speed is unknown: near, as it would be below the threshold.
    let speeds = [
        (0, NEAR),
        (11, NEAR),
        (12, NEITHER),
        (11, NEITHER),
        (10, NEITHER),
        (9, NEAR),
        (8, NEAR),
        (7, ON),
        (9, ON),
        (10, NEAR),
        (-8, NEAR),
        (-7, ON),
        (-12, NEITHER),
    ];
    let counts = going(|ms| speeds[ms as usize].0);
    let seen = run(&with(vec![monitor(slow(), 0, &[])]), 0..13, counts, |_| 0);
    for (seen, (speed, expected)) in seen.iter().zip(speeds) {
        assert_eq!([0, 1].map(|channel| states(seen, channel)), [expected; 2], "{speed}");
    }
    assert!(seen[0].monitors[0].lanes[0].warming_up && !seen[1].monitors[0].lanes[0].warming_up);
}

#[test]
fn an_output_is_true_at_both_channels_and_demands_at_either() {
    let watch = || speed_limit("1000");
    let setup = with(vec![
        monitor(cam(), 0, &[]),
        by(watch(), &[Term::Output(0)]),
        by(watch(), &[Term::NotOutput(0)]),
    ]);
    // What A and B count; whether the output is true, what it demands, what its absence demands.
    let cases = [
        (500, 500, [true, true, false]),
        (500, 100, [false, true, true]),
        (100, 100, [false, true, true]),
        (500, 2500, [false, true, true]),
        (2500, 500, [false, true, true]),
        (2500, 2500, [false, false, true]),
    ];
    for (a, b, expected) in cases {
        let seen = Model::new(&setup).step(&frame(0, reading(0, a), reading(0, b), 0));
        let said = [seen.monitors[0].output, seen.monitors[1].active, seen.monitors[2].active];
        assert_eq!(said, expected, "{a} {b}");
    }
}

#[test]
fn what_stands_after_an_output_is_demanded_at_the_same_frame_along_a_chain() {
    // Outside the cam the speed is told; while it is slow there, there is no torque.
    let setup = with(vec![
        monitor(cam(), 0, &[]),
        by(slow(), &[Term::NotOutput(0)]),
        by(Kind::TorqueOff, &[Term::Output(1)]),
    ]);
    // In the cam, outside it at 2 with 1000 mm/s, standing there from 3 on, back at 5.
    let counts = [500, 500, 1500, 1500, 1500, 500, 500];
    let seen = run(&setup, 0..7, |ms| counts[ms as usize], |_| 0);
    let active: Vec<[bool; 2]> =
        seen.iter().map(|seen| [1, 2].map(|monitor| seen.monitors[monitor].active)).collect();
    let (inside, fast, stands) = ([false, false], [true, false], [true, true]);
    assert_eq!(active, [inside, inside, fast, stands, stands, inside, inside]);
    let permits: Vec<bool> = seen.iter().map(|seen| seen.permit).collect();
    assert_eq!(permits, [true, true, true, false, false, true, true]);
}

#[test]
fn an_output_that_is_not_active_is_neither_on_nor_near() {
    let watch = || speed_limit("1000");
    let setup = with(vec![
        monitor(cam(), 0, &[0]),
        by(watch(), &[Term::Output(0)]),
        by(watch(), &[Term::NotOutput(0)]),
    ]);
    let seen = run(&setup, 0..6, |_| 500, |ms| u32::from((2..4).contains(&ms)));
    let said: Vec<[bool; 3]> = seen
        .iter()
        .map(|seen| [seen.monitors[0].output, seen.monitors[1].active, seen.monitors[2].active])
        .collect();
    let (off, on) = ([false, false, true], [true, true, false]);
    assert_eq!(said, [off, off, on, on, off, off]);
}

#[test]
fn a_new_demand_of_an_output_starts_with_both_states_false() {
    let setup = with(vec![monitor(cam(), 0, &[0])]);
    // On in the middle; then within the hysteresis inside, over a pause of the demand at 4, and outside.
    let counts = [500, 500, 100, 100, 100, 100, -100, -100, -100, -100];
    let demand = |ms| u32::from(ms != 4 && ms != 8);
    let seen = run(&setup, 0..10, |ms| counts[ms as usize], demand);
    let said: Vec<(bool, bool)> = seen.iter().map(|seen| states(seen, 0)).collect();
    assert_eq!(said, [ON, ON, ON, ON, NEITHER, NEAR, NEAR, NEAR, NEITHER, NEITHER]);
}

#[test]
fn an_output_is_near_and_not_on_while_its_channel_cannot_be_seen_and_goes_on_from_there() {
    let mut model = Model::new(&with(vec![monitor(cam(), 0, &[])]));
    assert_eq!(states(&model.step(&both(0, 500, 0)), 0), ON);
    let seen = model.step(&frame(MS, reading(0, 501), reading(MS, 500), 0));
    assert_eq!(seen.channels[0].fault, Some(Fault::OutOfOrder));
    assert_eq!([0, 1].map(|channel| states(&seen, channel)), [NEAR, ON]);
    assert!(!seen.monitors[0].output);
    // Within the hysteresis A is not on again, and B still is.
    let seen = model.step(&both(2 * MS, 100, 0));
    assert_eq!([0, 1].map(|channel| states(&seen, channel)), [NEAR, ON]);
    // Outside A is near as long as it was near.
    let seen = model.step(&both(3 * MS, -100, 0));
    assert_eq!([0, 1].map(|channel| states(&seen, channel)), [NEAR, NEAR]);
    assert_eq!(states(&model.step(&both(4 * MS, -251, 0)), 0), NEITHER);
}

#[test]
fn a_cam_without_a_reference_is_a_fault_and_near() {
    let mut setup = with(vec![monitor(cam(), 0, &[])]);
    setup.referencing = [(); 2].map(|()| Referencing::Event { input: 0, position: d("0.5") });
    let seen = run(&setup, 0..4, |_| 0, |ms| u32::from(ms >= 2));
    assert_eq!([1, 2].map(|at| states(&seen[at], 0)), [NEAR, ON]);
    assert_eq!([1, 2].map(|at| seen[at].monitors[0].lanes[0].unreferenced), [true, false]);
    assert!(seen.iter().all(|seen| !seen.permit));
}

#[test]
fn a_demand_by_not_an_input_ends_only_while_both_channels_demand_without_a_fault() {
    let lines = Lines::Two {
        first: 0,
        second: 1,
        pairing: Pairing::Equivalent,
        discrepancy_time_ns: 5 * MS,
        one_sided: OneSided::Ignore,
    };
    let mut setup = with(vec![by(speed_limit("1000"), &[Term::NotInput(0)])]);
    setup.inputs = vec![Input { lines, demand_high: true, filter_ns: 0 }];
    // None, one, both; one alone from 3 on, which is a fault at 8; both, and after a reset both again.
    let bits = [0, 1, 3, 2, 1, 1, 1, 1, 1, 3, 3, 0, RESET, 0, 3];
    let seen = run(&setup, 0..15, |_| 0, |ms| bits[ms as usize]);
    let faulted: Vec<usize> = (0..15).filter(|&at| seen[at].inputs[0].faulted).collect();
    assert_eq!(faulted, [8, 9, 10, 11, 12]);
    let inactive: Vec<usize> = (0..15).filter(|&at| !seen[at].monitors[0].active).collect();
    assert_eq!(inactive, [2, 14]);
}

/// The frame, in ms, at which a brake closes whose permit goes at 10 ms, with a frame every `period` ms to 40 ms.
fn closes(delay_ns: u64, period: u64) -> Option<u64> {
    let mut setup =
        with(vec![monitor(Kind::BrakeOutput { delay_ns }, 0, &[]), monitor(Kind::TorqueOff, 0, &[0])]);
    for source in [&mut setup.a, &mut setup.b] {
        source.timeout_ns = period * MS;
    }
    let mut model = Model::new(&setup);
    let mut closed = None;
    for ms in (0..40).step_by(usize::try_from(period).expect("a small period")) {
        let seen = model.step(&both(ms * MS, 0, u32::from(ms >= 10)));
        assert_eq!(seen.permit, ms < 10);
        if !seen.monitors[0].output {
            closed = closed.or(Some(ms));
        } else {
            assert_eq!(closed, None, "it does not open again without the permit");
        }
    }
    closed
}

#[test]
fn a_brake_closes_a_frame_before_its_delay_would_be_exceeded_by_the_next() {
    assert_eq!(
        [0, MS - 1, MS, 5 * MS - 1, 5 * MS].map(|delay| closes(delay, 1)),
        [10, 10, 11, 14, 15].map(Some)
    );
    // Two milliseconds apart: at 12 it is 2 + 2 of 5, at 14 it would be 4 + 2.
    assert_eq!([5 * MS, 6 * MS].map(|delay| closes(delay, 2)), [14, 16].map(Some));
    assert_eq!(closes(6 * MS, 5), Some(15));
    assert_eq!(closes(60 * MS, 1), None);
}

#[test]
fn a_brake_opens_with_the_permit_and_never_without_it() {
    let brake = monitor(Kind::BrakeOutput { delay_ns: 3 * MS }, 0, &[]);
    let setup = with(vec![brake, monitor(Kind::TorqueOff, 0, &[0])]);
    // No permit at 0 to 1, 4 to 5 (too short to close), and from 8 on; again at 12.
    let bits = |ms: u64| u32::from(!matches!(ms, 2..4 | 6..8 | 12));
    let seen = run(&setup, 0..14, |_| 0, bits);
    let open: Vec<usize> = (0..14).filter(|&at| seen[at].monitors[0].output).collect();
    assert_eq!(open, [2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 13]);
}

#[test]
fn a_clock_fault_closes_a_brake_at_once_and_the_frame_after_it_does_not_open_it() {
    let setup = with(vec![monitor(Kind::BrakeOutput { delay_ns: 90 * MS }, 0, &[])]);
    let mut model = Model::new(&setup);
    assert!(model.step(&both(MS, 0, 0)).monitors[0].output);
    assert!(!model.step(&both(MS, 0, 0)).monitors[0].output);
    let seen = model.step(&both(2 * MS, 0, RESET));
    assert!(!seen.permit && !seen.monitors[0].output);
    let seen = model.step(&both(3 * MS, 0, 0));
    assert!(seen.permit && seen.monitors[0].output);
}

#[test]
fn only_an_output_that_stands_before_can_demand_and_a_brake_neither_demands_nor_is_demanded() {
    let watch = |term| by(speed_limit("1"), &[term]);
    let brake = || monitor(Kind::BrakeOutput { delay_ns: 0 }, 0, &[]);
    let check = |monitors| with(monitors).check().is_ok();
    for term in [Term::Output, Term::NotOutput] {
        assert!(check(vec![monitor(cam(), 0, &[]), watch(term(0))]));
        assert!(!check(vec![watch(term(1)), monitor(cam(), 0, &[])]));
        assert!(!check(vec![by(cam(), &[term(0)])]));
        assert!(!check(vec![brake(), watch(term(0))]));
    }
    assert!(check(vec![brake()]) && !check(vec![Monitor { demand: Demand::inputs(&[0]), ..brake() }]));
    assert!(!check(vec![watch(Term::NotInput(1))]));
}
