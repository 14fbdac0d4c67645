//! Stops against the stop categories of IEC 60204-1, textbook stopping times and distances, and a general-purpose trajectory library.

use monitor_core::{
    Acceleration, Check, Demand, Frame, InputConfig, InputSet, Instant, Jerk, Levels, MonitorId, Outcome,
    Position, Ramp, Reading, Rule, Sample, Span, Speed, Standstill, Stop, Supervision, Until,
};
use rsruckig::prelude::{ControlInterface, InputParameter, Ruckig, ThrowErrorHandler, Trajectory};

use super::{MS, TestAxis, config, span};

/// The stop is demanded in this millisecond.
const DEMAND: u64 = 100;

fn mm_per_s(value: i64) -> Speed {
    Speed::from_int(value).unwrap()
}

/// A ramp of a deceleration in mm/s² and a jerk in mm/s³, without delay and margin.
fn ramp(deceleration: i64, jerk: Option<i64>) -> Ramp {
    let straight = Ramp::try_new(Span::ZERO, Acceleration::from_int(deceleration).unwrap(), Speed::ZERO);
    match jerk {
        Some(jerk) => straight.unwrap().with_jerk(Jerk::from_int(jerk).unwrap()).unwrap(),
        None => straight.unwrap(),
    }
}

/// An axis with one rule that is demanded while line 0 is high, on counters of 1 µm.
fn axis(rule: Rule) -> TestAxis {
    let mut config = config(40, 1, 1000, 100_000, 8 * MS);
    let input = config.add_input(InputConfig::single(0, true, Span::ZERO).unwrap()).unwrap();
    // Long enough that nothing trips: what is looked at is the line.
    let demand = Demand::AnyOf(InputSet::NONE.with(input));
    config.add_monitor(rule, demand, span(100_000 * MS)).unwrap();
    TestAxis::new(config)
}

/// Shows the frame of a millisecond, at this place in µm; what the rule found on channel A.
fn frame(axis: &mut TestAxis, ms: u64, x_um: i64) -> (Outcome, Option<Check>) {
    let now = Instant::from_nanos(ms * MS);
    let reading = Some(Reading { captured_at: now, sample: Sample::Count(x_um as u64) });
    let mut found = None;
    let levels = Levels::from_bits(u32::from(ms >= DEMAND));
    let frame = Frame { now, a: reading, b: reading, levels };
    let outcome = axis.step_watched(&frame, &mut |_: MonitorId, channel, check| {
        if channel == monitor_core::Channel::A {
            found = Some(*check);
        }
    });
    (outcome, found)
}

fn units(speed: Speed) -> f64 {
    speed.to_bits() as f64 / f64::from(1 << 24)
}

/// The line in mm/s at every millisecond from the demand on, until the stop is complete, from a constant speed in µm/ms.
fn line(v0: i64, ramp: Ramp) -> Vec<f64> {
    let supervision = Supervision::Ramp { ramp, standstill_speed: Speed::ZERO, within: None };
    let mut axis = axis(Rule::Stop(Stop::try_new(supervision, Until::TorqueOff).unwrap()));
    let mut line = Vec::new();
    for ms in 0..10_000_u64 {
        let (_, found) = frame(&mut axis, ms, i64::try_from(ms).unwrap() * v0);
        if ms < DEMAND {
            continue;
        }
        let check = found.expect("the stop is demanded");
        line.push(units(check.speed.expect("a line").limit));
        if check.complete {
            return line;
        }
    }
    panic!("never complete");
}

/// By the trapezoidal rule, in mm: exact for a straight line, and off by j·T·Δt²/12 for a cubic.
fn distance(line: &[f64]) -> f64 {
    line.windows(2).map(|pair| (pair[0] + pair[1]) / 2.0 / 1000.0).sum()
}

/// Closed form of a jerk-limited stop (Biagiotti and Melchiorri, Trajectory Planning for Automatic Machines and Robots, 2008, chapter 3;
/// formulas from memory): v0 ≥ a²/j: T = v0/a + a/j, s = v0 T / 2; otherwise T = 2 sqrt(v0/j), s = v0 sqrt(v0/j). The values were
/// worked out from it, and by ruckig 0.19.4 (PyPI): v0, a, j in m → T in s, s in m.
#[test]
fn a_jerk_limited_stop_takes_the_time_and_the_way_of_the_closed_form() {
    for (v0, a, j, time_ms, way_mm) in [
        (2000, 4000, 40_000, 600, 600.0),
        (1000, 4000, 40_000, 350, 175.0),
        (250, 2000, 20_000, 225, 28.125),
        // Without reaching the deceleration: 173.205081 ms.
        (300, 4000, 40_000, 174, 25.980_762),
    ] {
        let line = line(v0, ramp(a, Some(j)));
        assert_eq!(line.len() - 1, time_ms, "from {v0} mm/s");
        assert!((distance(&line) - way_mm).abs() < 1e-3, "from {v0} mm/s: {} mm", distance(&line));
    }
}

/// The velocity of rsruckig 3.0.1 (crates.io), a general-purpose trajectory library, on its way to standstill.
fn library(v0: f64, a: f64, j: f64, ms: usize) -> f64 {
    let mut input = InputParameter::<1>::new(None);
    input.control_interface = ControlInterface::Velocity;
    input.current_velocity[0] = v0;
    input.target_velocity[0] = 0.0;
    input.max_acceleration[0] = a;
    input.max_jerk[0] = j;
    let mut trajectory = Trajectory::<1>::new(None);
    Ruckig::<1, ThrowErrorHandler>::new(None, 1e-3).calculate(&input, &mut trajectory).unwrap();
    let profile = &trajectory.profiles[0][0];
    let (mut left, mut v, mut acceleration) = (ms as f64 / 1000.0, v0, 0.0);
    for (duration, jerk) in profile.t.iter().zip(&profile.j) {
        let t = duration.min(left);
        v += acceleration * t + jerk * t * t / 2.0;
        acceleration += jerk * t;
        left -= t;
    }
    v
}

#[test]
fn a_jerk_limited_line_is_that_of_a_trajectory_library_and_never_above_it() {
    let mut most: f64 = 0.0;
    for (v0, a, j) in [(2000, 4000, 40_000), (250, 2000, 20_000), (300, 4000, 40_000), (1234, 777, 5_000)] {
        for (ms, level) in line(v0, ramp(a, Some(j))).into_iter().enumerate() {
            let below = library(v0 as f64, a as f64, j as f64, ms) - level;
            // The library reckons in floats; the line is below by at most 4 ULP and what it falls in 2 ns.
            assert!((-1e-9..1e-5).contains(&below), "{v0} {a} {j} at {ms} ms: {below}");
            most = most.max(below);
        }
    }
    assert!(most > 0.0, "never rounded");
}

/// From 30.0 m/s at 7.00 and 5.00 m/s²: 64.3 m and 90.0 m (OpenStax College Physics, section 2.5).
#[test]
fn a_straight_stop_takes_the_way_of_the_textbook() {
    for (deceleration, way_m) in [(7000, 64.3), (5000, 90.0)] {
        let way = distance(&line(30_000, ramp(deceleration, None))) / 1000.0;
        assert_eq!((way * 10.0).round() / 10.0, way_m);
    }
}

/// The permit at every millisecond of a motion at 100 mm/s that brakes at 1 m/s² from the demand on, and stands 100 ms later.
fn permits(rule: Rule) -> Vec<bool> {
    let mut axis = axis(rule);
    let x = |ms: u64| {
        let (before, braking) = (ms.min(DEMAND) as i64, ms.saturating_sub(DEMAND).min(100) as i64);
        100 * before + 100 * braking - braking * braking / 2
    };
    (0..DEMAND + 400).map(|ms| frame(&mut axis, ms, x(ms)).0.permit).collect()
}

fn at(permits: &[bool], after_demand: u64) -> bool {
    permits[usize::try_from(DEMAND + after_demand).unwrap()]
}

/// IEC 60204-1:2016, 9.2.2: category 0 removes the power of the actuators at once.
#[test]
fn torque_off_is_a_stop_of_category_0() {
    let permits = permits(Rule::TorqueOff);
    assert!(permits[usize::try_from(DEMAND).unwrap() - 1]);
    assert!((0..400).all(|ms| !at(&permits, ms)), "at once, and while it is demanded");
}

fn stop(until: Until) -> [Rule; 2] {
    let ramp = ramp(1000, None);
    let by_ramp = Supervision::Ramp { ramp, standstill_speed: mm_per_s(10), within: None };
    let by_time = Supervision::Time { within: span(150 * MS) };
    [by_ramp, by_time].map(|by| Rule::Stop(Stop::try_new(by, until).unwrap()))
}

/// The same: category 1 stops with power, and removes it when the stop is achieved.
#[test]
fn a_stop_until_torque_off_is_a_stop_of_category_1() {
    // The line reaches the standstill speed 90 ms after the demand.
    for (rule, achieved) in stop(Until::TorqueOff).into_iter().zip([90, 150]) {
        let permits = permits(rule);
        assert!((0..achieved).all(|ms| at(&permits, ms)), "{rule:?}: power for the stop");
        assert!((achieved..400).all(|ms| !at(&permits, ms)), "{rule:?}: none after it");
    }
}

/// The same: category 2 stops with power and keeps it; what then holds the axis is watched.
#[test]
fn a_stop_until_standstill_is_a_stop_of_category_2() {
    let standstill = Standstill::try_new(Position::from_int(1).unwrap(), mm_per_s(10)).unwrap();
    for rule in stop(Until::Standstill(standstill)) {
        assert!((0..400).all(|ms| at(&permits(rule), ms)), "{rule:?}");
        let mut axis = axis(rule);
        let mut violated = None;
        for ms in 0..DEMAND + 400 {
            // Standing, until it creeps away by 5 mm/s from 200 ms after the demand on.
            let x = 5 * ms.saturating_sub(DEMAND + 200) as i64;
            if frame(&mut axis, ms, x).1.is_some_and(|check| check.is_violated()) {
                violated.get_or_insert(ms - DEMAND);
            }
        }
        // A millimetre takes 200 ms, and one count more is beyond it.
        assert_eq!(violated, None, "a millimetre is reached at the last frame");
    }
}
