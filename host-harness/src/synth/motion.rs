//! The true motion: pieces of constant jerk on a nanosecond grid.
//!
//! The phases of every move come from a time-optimal jerk-limited planner. That planner takes cube roots and cosines
//! from the platform, whose last bits differ between machines, so nothing it computes is used as it is:
//!
//! - from each phase only its **sign of jerk** and its **duration rounded to 1 ns** are kept; empty phases are dropped
//!   and neighbours of equal jerk are joined;
//! - the phases are integrated here, with `+ - * /` only;
//! - what the rounding leaves at the end of the move (position, speed and acceleration) is spread over the whole move
//!   by a quintic with zero start and the missing end values, so that the move ends exactly in its target state.
//!
//! A last-bit difference could still move a duration by 1 ns if it fell on a rounding edge. The edge lies 0.0003 ns off
//! the half nanosecond, away from the durations that round inputs give; elsewhere a difference in the last bits of a
//! phase of one second (some 1e-15 s) meets an edge about once in a million phases.

use rsruckig::prelude::{ControlInterface, InputParameter, Ruckig, ThrowErrorHandler, Trajectory};

use super::error::Complaint;
use super::numeric::sin_cos_turns;

/// True state of the axis, in the axis unit and seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MotionState {
    /// Position, in mm or deg.
    pub position: f64,
    /// Speed with its sign, in mm/s or deg/s.
    pub speed: f64,
    /// Acceleration with its sign, in mm/s² or deg/s².
    pub acceleration: f64,
}

/// Limits of one move, all above zero.
#[derive(Debug, Clone, Copy)]
pub(super) struct Limits {
    /// Not needed for a move to a speed.
    pub(super) speed: f64,
    pub(super) acceleration: f64,
    pub(super) jerk: f64,
}

/// Where a move leads.
#[derive(Debug, Clone, Copy)]
pub(super) enum Goal {
    /// Rest at a position.
    Position(f64),
    /// A speed, held until the next move.
    Speed(f64),
}

/// Constant jerk from `start` to the start of the next segment.
#[derive(Debug, Clone, Copy)]
struct Segment {
    start: i64,
    position: f64,
    speed: f64,
    acceleration: f64,
    jerk: f64,
    correction: Option<Correction>,
}

/// The quintic that makes a move end exactly in its target: `u^3 (k3 + k4 u + k5 u^2)`, `u` from 0 to 1 over the move.
#[derive(Debug, Clone, Copy)]
struct Correction {
    start: i64,
    duration_s: f64,
    k3: f64,
    k4: f64,
    k5: f64,
}

/// The shortest time in which a jerk limit may reach the acceleration limit: 10 us is 10 000 grid steps.
const SHORTEST_JERK_PHASE_S: f64 = 10e-6;

/// Position over time; at rest before the first move, holding its last speed after the last one.
#[derive(Debug, Clone)]
pub(super) struct Path {
    segments: Vec<Segment>,
}

fn seconds(ns: i64) -> f64 {
    ns as f64 / 1e9
}

impl Segment {
    fn state(&self, t: i64) -> MotionState {
        let dt = seconds(t - self.start);
        let (speed, acceleration, jerk) = (self.speed, self.acceleration, self.jerk);
        let mut state = MotionState {
            position: self.position + dt * (speed + dt * (acceleration / 2.0 + dt * (jerk / 6.0))),
            speed: speed + dt * (acceleration + dt * (jerk / 2.0)),
            acceleration: acceleration + dt * jerk,
        };
        if let Some(fix) = &self.correction {
            let u = seconds(t - fix.start) / fix.duration_s;
            let (k3, k4, k5) = (fix.k3, fix.k4, fix.k5);
            state.position += u * u * u * (k3 + u * (k4 + u * k5));
            state.speed += u * u * (3.0 * k3 + u * (4.0 * k4 + u * (5.0 * k5))) / fix.duration_s;
            state.acceleration +=
                u * (6.0 * k3 + u * (12.0 * k4 + u * (20.0 * k5))) / (fix.duration_s * fix.duration_s);
        }
        state
    }
}

impl Correction {
    /// From the differences still missing at the end of the move.
    fn new(start: i64, end: i64, missing: MotionState) -> Self {
        let duration_s = seconds(end - start);
        let p = missing.position;
        let v = missing.speed * duration_s;
        let a = missing.acceleration * duration_s * duration_s;
        Self {
            start,
            duration_s,
            k3: 10.0 * p - 4.0 * v + a / 2.0,
            k4: -15.0 * p + 7.0 * v - a,
            k5: 6.0 * p - 3.0 * v + a / 2.0,
        }
    }
}

impl Path {
    pub(super) fn at_rest(position: f64) -> Self {
        let rest = Segment {
            start: -(1 << 61),
            position,
            speed: 0.0,
            acceleration: 0.0,
            jerk: 0.0,
            correction: None,
        };
        Self { segments: vec![rest] }
    }

    /// State at `t`; `hint` is the segment found last and makes a forward walk cheap.
    pub(super) fn state(&self, t: i64, hint: &mut usize) -> MotionState {
        while self.segments.get(*hint + 1).is_some_and(|next| next.start <= t) {
            *hint += 1;
        }
        while *hint > 0 && self.segments[*hint].start > t {
            *hint -= 1;
        }
        self.segments[*hint].state(t)
    }

    /// Starts a move at `start`, which breaks off whatever is planned after that instant. Returns the end of the move.
    pub(super) fn append(&mut self, start: i64, goal: Goal, limits: Limits) -> Result<i64, Complaint> {
        let mut hint = self.segments.len() - 1;
        let from = self.state(start, &mut hint);
        self.segments.truncate(hint + 1);
        if self.segments[hint].start == start && hint > 0 {
            self.segments.pop();
        }

        let first = self.segments.len();
        let mut now = from;
        let mut t = start;
        for (duration, jerk) in phases(from, goal, limits)? {
            let segment = Segment {
                start: t,
                position: now.position,
                speed: now.speed,
                acceleration: now.acceleration,
                jerk,
                correction: None,
            };
            t += duration;
            now = segment.state(t);
            self.segments.push(segment);
        }
        let end = match goal {
            Goal::Position(position) => MotionState { position, speed: 0.0, acceleration: 0.0 },
            Goal::Speed(speed) => MotionState { position: now.position, speed, acceleration: 0.0 },
        };
        let missing = MotionState {
            position: end.position - now.position,
            speed: end.speed - now.speed,
            acceleration: end.acceleration - now.acceleration,
        };
        if t > start && missing != (MotionState { position: 0.0, speed: 0.0, acceleration: 0.0 }) {
            let correction = Correction::new(start, t, missing);
            self.segments[first..].iter_mut().for_each(|segment| segment.correction = Some(correction));
        }
        self.segments.push(Segment {
            start: t,
            position: end.position,
            speed: end.speed,
            acceleration: 0.0,
            jerk: 0.0,
            correction: None,
        });
        Ok(t)
    }
}

/// Phases of a move as nanoseconds and jerk.
fn phases(from: MotionState, goal: Goal, limits: Limits) -> Result<Vec<(i64, f64)>, Complaint> {
    if limits.acceleration / limits.jerk < SHORTEST_JERK_PHASE_S {
        return Err(Complaint::new(
            "the jerk limit reaches the acceleration limit in less than 10 us",
            "lower the jerk or raise the acceleration: phases lie on a grid of 1 ns",
        ));
    }
    let mut input = InputParameter::<1>::new(None);
    input.current_velocity[0] = from.speed;
    input.current_acceleration[0] = from.acceleration;
    input.max_acceleration[0] = limits.acceleration;
    input.max_jerk[0] = limits.jerk;
    match goal {
        Goal::Position(to) => {
            // Relative to the present position, so that the planner's absolute tolerances stay meaningful far out.
            input.target_position[0] = to - from.position;
            input.max_velocity[0] = limits.speed;
        }
        Goal::Speed(speed) => {
            input.control_interface = ControlInterface::Velocity;
            input.target_velocity[0] = speed;
            input.max_velocity[0] = speed.abs().max(from.speed.abs()).max(1.0);
        }
    }
    let mut planner = Ruckig::<1, ThrowErrorHandler>::new(None, 1e-3);
    let mut trajectory = Trajectory::<1>::new(None);
    planner.calculate(&input, &mut trajectory).map_err(|error| {
        Complaint::new(
            format!("no motion profile was found for this move ({error})"),
            "change its start, target or limits",
        )
    })?;

    let profile = &trajectory.profiles[0][0];
    let brake = profile.brake.t.iter().zip(&profile.brake.j);
    let mut merged: Vec<(i64, f64)> = Vec::with_capacity(9);
    for (duration_s, jerk) in brake.chain(profile.t.iter().zip(&profile.j)) {
        let duration = grid_ns(*duration_s);
        let jerk = if *jerk > 0.0 {
            limits.jerk
        } else if *jerk < 0.0 {
            -limits.jerk
        } else {
            0.0
        };
        match merged.last_mut() {
            _ if duration == 0 => {}
            Some(last) if last.1 == jerk => last.0 += duration,
            _ => merged.push((duration, jerk)),
        }
    }
    Ok(merged)
}

/// A duration on the grid of 1 ns; the rounding edge avoids the half, where durations of round inputs may lie.
fn grid_ns(duration_s: f64) -> i64 {
    (duration_s.max(0.0) * 1e9 + 0.5003).floor() as i64
}

/// A displacement of the axis that no move commanded; both sources see it.
#[derive(Debug, Clone, Copy)]
pub(super) enum Disturbance {
    /// `by` at constant speed during `over`, and it stays.
    Creep { at: i64, by: f64, over: i64 },
    /// A sine of `amplitude` from `at` to `until`, starting and ending wherever its phase is.
    Vibration { at: i64, until: i64, amplitude: f64, frequency: f64 },
}

impl Disturbance {
    fn add(&self, t: i64, state: &mut MotionState) {
        match *self {
            Self::Creep { at, by, over } => {
                let done = seconds((t - at).clamp(0, over)) / seconds(over);
                state.position += by * done;
                if t >= at && t < at + over {
                    state.speed += by / seconds(over);
                }
            }
            Self::Vibration { at, until, amplitude, frequency } => {
                if t >= at && t < until {
                    let (sin, cos) = sin_cos_turns(frequency * seconds(t - at));
                    let omega = std::f64::consts::TAU * frequency;
                    state.position += amplitude * sin;
                    state.speed += amplitude * omega * cos;
                    state.acceleration -= amplitude * omega * omega * sin;
                }
            }
        }
    }
}

/// The true motion of a scenario: what ideal sources would show.
#[derive(Debug, Clone)]
pub struct Truth {
    pub(super) path: Path,
    pub(super) disturbances: Vec<Disturbance>,
}

impl Truth {
    /// True state at `time_ns` nanoseconds after the first row; before it the axis rests at its start position.
    #[must_use]
    pub fn at(&self, time_ns: i64) -> MotionState {
        self.walk(time_ns, &mut 0)
    }

    /// As [`Truth::at`], with the place of the last look-up kept by the caller.
    pub(super) fn walk(&self, time_ns: i64, hint: &mut usize) -> MotionState {
        let mut state = self.path.state(time_ns, hint);
        for disturbance in &self.disturbances {
            disturbance.add(time_ns, &mut state);
        }
        state
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stop(speed: f64, acceleration: f64, jerk: f64) -> (i64, f64) {
        let mut path = Path::at_rest(0.0);
        let limits = Limits { speed: 1.0, acceleration: 1e3, jerk: 1e6 };
        let running = path.append(0, Goal::Speed(speed), limits).expect("a plan");
        let limits = Limits { speed: 1.0, acceleration, jerk };
        let end = path.append(running + 1_000_000, Goal::Speed(0.0), limits).expect("a plan");
        let travelled = path.state(end, &mut 0).position - path.state(running + 1_000_000, &mut 0).position;
        (end - running - 1_000_000, travelled)
    }

    /// Oracle, the closed form of the jerk-limited stop: with `v >= a^2/j`, `T = v/a + a/j`; else `T = 2 sqrt(v/j)`; `s = v T / 2`.
    /// The last row is irrational: two phases rounded to 1 ns, and nine printed digits.
    #[test]
    fn a_stop_takes_the_time_and_distance_of_the_closed_form() {
        for (v, a, j, time_s, distance, tolerance) in [
            (2.0, 4.0, 40.0, 0.6, 0.6, 1e-12),
            (1.0, 4.0, 40.0, 0.35, 0.175, 1e-12),
            (0.25, 2.0, 20.0, 0.225, 0.028_125, 1e-12),
            (0.3, 4.0, 40.0, 0.173_205_081, 0.025_980_762, 1.5e-9),
        ] {
            let (time, travelled) = stop(v, a, j);
            assert!((time as f64 * 1e-9 - time_s).abs() < tolerance, "T of {v} {a} {j}: {time}");
            assert!((travelled - distance).abs() < tolerance, "s of {v} {a} {j}: {travelled}");
        }
    }

    #[test]
    fn every_move_ends_exactly_in_its_target_and_never_jumps() {
        let mut path = Path::at_rest(-3.7);
        let limits = Limits { speed: 311.0, acceleration: 1_234.5, jerk: 17_777.0 };
        let mut end = 0;
        for (start, goal) in [
            (1_000, Goal::Position(401.3)),
            (700_000_123, Goal::Position(-250.0)),
            (1_100_000_001, Goal::Speed(55.5)),
            (4_000_000_000, Goal::Speed(-55.5)),
            (4_100_000_000, Goal::Position(7.0)),
        ] {
            end = path.append(start, goal, limits).expect("a plan");
        }
        assert_eq!(path.state(end, &mut 0), MotionState { position: 7.0, speed: 0.0, acceleration: 0.0 });
        // A jump in position would exceed speed x step, one in speed acceleration x step, by far.
        let mut hint = 0;
        let step = 10_000;
        let mut before = path.state(0, &mut hint);
        for t in (step..end + step).step_by(step as usize) {
            let now = path.state(t, &mut hint);
            let dt = step as f64 * 1e-9;
            assert!((now.position - before.position).abs() <= 600.0 * dt, "position at {t}");
            assert!((now.speed - before.speed).abs() <= 1_235.0 * dt, "speed at {t}");
            assert!((now.acceleration - before.acceleration).abs() <= 17_780.0 * dt, "acceleration at {t}");
            before = now;
        }
    }

    #[test]
    fn a_correction_starts_with_nothing_and_ends_with_what_is_missing() {
        let missing = MotionState { position: 3.0, speed: -5.0, acceleration: 7.0 };
        let end = 250_000_000;
        let segment = Segment {
            start: 0,
            position: 0.0,
            speed: 0.0,
            acceleration: 0.0,
            jerk: 0.0,
            correction: Some(Correction::new(0, end, missing)),
        };
        assert_eq!(segment.state(0), MotionState { position: 0.0, speed: 0.0, acceleration: 0.0 });
        let last = segment.state(end);
        assert!((last.position - 3.0).abs() < 1e-12, "{last:?}");
        assert!((last.speed + 5.0).abs() < 1e-11, "{last:?}");
        assert!((last.acceleration - 7.0).abs() < 1e-9, "{last:?}");
    }

    #[test]
    fn speed_and_acceleration_stay_within_the_limits_of_a_positioning_move() {
        let mut path = Path::at_rest(0.0);
        let limits = Limits { speed: 250.0, acceleration: 2_000.0, jerk: 20_000.0 };
        let end = path.append(0, Goal::Position(400.0), limits).expect("a plan");
        let mut hint = 0;
        let (mut fastest, mut hardest) = (0.0f64, 0.0f64);
        for t in (0..end).step_by(10_000) {
            let state = path.state(t, &mut hint);
            fastest = fastest.max(state.speed.abs());
            hardest = hardest.max(state.acceleration.abs());
        }
        assert!((fastest - 250.0).abs() < 1e-6, "{fastest}");
        assert!((hardest - 2_000.0).abs() < 1e-3, "{hardest}");
        // Closed form of a move that reaches its speed: T = s/v + v/a + a/j.
        assert!((end as f64 * 1e-9 - (400.0 / 250.0 + 250.0 / 2_000.0 + 0.1)).abs() < 5e-9);
    }

    #[test]
    fn the_last_bits_of_a_round_duration_do_not_move_it_on_the_grid() {
        for half_ns in (1..2_000_000_001u64).step_by(9_999_998) {
            let duration = half_ns as f64 / 2e9;
            let near = (-8..=8i64).map(|ulp| f64::from_bits(duration.to_bits().wrapping_add_signed(ulp)));
            let on_grid: Vec<i64> = near.map(grid_ns).collect();
            assert!(on_grid.iter().all(|ns| *ns == on_grid[0]), "{duration}: {on_grid:?}");
        }
    }

    #[test]
    fn a_jerk_limit_shorter_than_the_grid_allows_is_refused() {
        let limits = Limits { speed: 1.0, acceleration: 1.0, jerk: 1e6 };
        assert!(Path::at_rest(0.0).append(0, Goal::Position(1.0), limits).is_err());
    }

    #[test]
    fn a_vibration_is_consistent_with_its_own_speed_and_acceleration() {
        let truth = Truth {
            path: Path::at_rest(0.0),
            disturbances: vec![Disturbance::Vibration {
                at: 0,
                until: 1_000_000_000,
                amplitude: 0.1,
                frequency: 20.0,
            }],
        };
        let h = 1_000;
        for t in (h..900_000_000).step_by(7_000_001) {
            let (before, now, after) = (truth.at(t - h), truth.at(t), truth.at(t + h));
            let dt = h as f64 * 1e-9;
            assert!(((after.position - before.position) / (2.0 * dt) - now.speed).abs() < 1e-5);
            assert!(((after.speed - before.speed) / (2.0 * dt) - now.acceleration).abs() < 1e-3);
        }
        assert_eq!(truth.at(1_000_000_000).position, 0.0);
    }
}
