//! How long a trip takes: the formulas of the rules, and never less than the on-delay.
//!
//! All times are multiples of 100 µs and a count is 10⁻⁹ mm, so every position is a whole number of counts and the
//! formulas need no allowance for resolution.

use monitor_core::{
    Axis, Channel, Demand, Frame, Position, Rule, Span, Speed, SpeedLimit, Standstill, Trip, Tripped,
};
use proptest::prelude::*;

use crate::axis::{Config, POINTS, both, config, fine_axis, reading};

const TICK: u64 = 100_000;

/// The timing of a trace in ticks of 100 µs.
#[derive(Clone, Debug)]
struct Timing {
    window: u64,
    on_delay: u64,
    /// Gap before each frame, and the age of its reading.
    frames: Vec<(u64, u64)>,
}

impl Timing {
    /// The largest frame period, in nanoseconds.
    fn period(&self) -> u64 {
        TICK * self.frames.iter().map(|(gap, _)| *gap).max().unwrap_or(0)
    }

    /// The largest age of a reading, in nanoseconds.
    fn latency(&self) -> u64 {
        TICK * self.frames.iter().map(|(_, age)| *age).max().unwrap_or(0)
    }

    /// The frames of a motion: counts at an instant given in ticks. Readings are captured in order.
    fn frames(&self, count: impl Fn(i64) -> i64) -> Vec<Frame> {
        let (mut now, mut last) = (1000, 0);
        self.frames
            .iter()
            .map(|&(gap, age)| {
                now += gap;
                last = (now - age).max(last);
                both(now * TICK, reading(last * TICK, count(last.cast_signed())))
            })
            .collect()
    }

    /// The largest effective window by the rules: the window and the larger of the spacing and one reading interval.
    fn effective_window(&self, frames: &[Frame]) -> u64 {
        let window = self.window * TICK;
        let captured: Vec<u64> =
            frames.iter().filter_map(|frame| frame.a).map(|reading| reading.captured_at.as_nanos()).collect();
        let interval = captured.windows(2).map(|pair| pair[1] - pair[0]).max().unwrap_or(0);
        window + interval.max(window / (POINTS as u64 - 1) * 2)
    }

    fn last(&self) -> u64 {
        TICK * (1000 + self.frames.iter().map(|(gap, _)| *gap).sum::<u64>())
    }
}

fn timing() -> impl Strategy<Value = Timing> {
    (1_u64..=60, 0_u64..=40, 1_u64..=20, 0_u64..=10).prop_flat_map(|(window, on_delay, gap, age)| {
        prop::collection::vec((1..=gap, 0..=age), 600).prop_map(move |frames| Timing {
            window,
            on_delay,
            frames,
        })
    })
}

fn trip(mut config: Config, rule: Rule, timing: &Timing, frames: &[Frame]) -> Option<Trip> {
    let id = config
        .add_monitor(rule, Demand::Always, Span::from_nanos(timing.on_delay * TICK))
        .expect("room for one");
    let mut axis = Axis::new(config);
    for frame in frames {
        let outcome = axis.step(frame);
        assert_eq!(outcome.faults.a, None, "the motion is seen throughout");
    }
    axis.state().trip(Tripped::Monitor(id, Channel::A))
}

fn speed_limit(limit: i64) -> Rule {
    Rule::SpeedLimit(SpeedLimit::try_new(Speed::from_int(limit).expect("in range"), None).expect("in range"))
}

/// Where the motion breaks the rule, in ticks: late enough for every window to be full.
const BREAK: i64 = 1400;

/// The trip lies between the on-delay and `longest` after `violated` (nanoseconds, all of them), unless the trace ends before.
fn lies_within(
    trip: Option<Trip>,
    violated: u64,
    longest: u64,
    timing: &Timing,
) -> Result<(), TestCaseError> {
    let Some(trip) = trip else {
        prop_assert!(timing.last() < violated + longest, "no trip within {longest} ns");
        return Ok(());
    };
    let (at, on_delay) = (trip.tripped_at.as_nanos(), timing.on_delay * TICK);
    prop_assert!(at - trip.violated_since.as_nanos() >= on_delay);
    prop_assert!(at >= violated + on_delay, "before the true violation and the on-delay");
    prop_assert!(at <= violated + longest, "{} ns, {longest} allowed", at - violated);
    Ok(())
}

proptest! {
    #![proptest_config(config(800))]

    #[test]
    fn a_step_of_the_speed_trips_within_its_formula_and_not_before_the_on_delay(
        timing in timing(),
        (v1, limit, v2) in (0_i64..1000, 0_i64..1000, 1_i64..1000)
            .prop_map(|(v1, above, beyond)| (v1, v1 + above, v1 + above + beyond)),
    ) {
        // mm/s × 100 µs = 10⁻⁴ mm = 100 000 counts.
        let count = |t: i64| 100_000 * (v1 * t.min(BREAK) + v2 * (t - BREAK).max(0));
        let frames = timing.frames(count);
        let trip = trip(fine_axis(timing.window * TICK), speed_limit(limit), &timing, &frames);
        let parts = timing.effective_window(&frames) * (limit - v1).cast_unsigned();
        let lag = parts.div_ceil((v2 - v1).cast_unsigned());
        let longest = lag + timing.latency() + timing.on_delay * TICK + 2 * timing.period();
        lies_within(trip, BREAK.cast_unsigned() * TICK, longest, &timing)?;
    }

    #[test]
    fn a_constant_acceleration_trips_within_its_formula_and_not_before_the_on_delay(
        timing in timing(),
        limit in 1_i64..50,
        thousands in 1_i64..20,
    ) {
        // mm/s² × (100 µs)² / 2 = 5·10⁻⁹ mm = 5 counts. From standstill at BREAK.
        let acceleration = 1000 * thousands;
        let count = |t: i64| 5 * acceleration * (t - BREAK).max(0) * (t - BREAK).max(0);
        let frames = timing.frames(count);
        // The formula is that of an acceleration which lasts over the window, so the limit is reached after one at least.
        let window = timing.effective_window(&frames);
        let limit = limit + i64::try_from(window).expect("short") * acceleration / 1_000_000_000 + 1;
        let trip = trip(fine_axis(timing.window * TICK), speed_limit(limit), &timing, &frames);
        let reached = limit.cast_unsigned() * 1_000_000_000 / acceleration.cast_unsigned();
        let longest =
            1 + window.div_ceil(2) + timing.latency() + timing.on_delay * TICK + 2 * timing.period();
        lies_within(trip, BREAK.cast_unsigned() * TICK + reached, longest, &timing)?;
    }

    #[test]
    fn leaving_a_standstill_trips_within_its_formula_and_not_before_the_on_delay(
        timing in timing(),
        speed in 1_i64..1000,
        millimetres in 0_i64..3,
    ) {
        let count = |t: i64| 100_000 * speed * (t - BREAK).max(0);
        let frames = timing.frames(count);
        let window = Position::from_int(millimetres).expect("in range");
        let rule = Rule::Standstill(Standstill::try_new(window, Speed::MAX).expect("in range"));
        let trip = trip(fine_axis(timing.window * TICK), rule, &timing, &frames);
        let left = millimetres.cast_unsigned() * 1_000_000_000 / speed.cast_unsigned();
        let longest = 1 + timing.latency() + timing.on_delay * TICK + 2 * timing.period();
        lies_within(trip, BREAK.cast_unsigned() * TICK + left, longest, &timing)?;
    }
}
