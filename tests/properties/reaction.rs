//! How long a trip takes: the formulas of the rules, and never less than the on-delay.
//!
//! All times are multiples of 100 µs and a count is 10⁻⁹ mm, so every position is a whole number of counts and the
//! formulas need no allowance for resolution.

use monitor_core::{
    Acceleration, AccelerationLimit, AccelerationRange, Allowed, AnalogueConfig, AnalogueId, AnalogueReading,
    Axis, Braking, CamOutput, Channel, Demand, Demands, Direction, Frame, InputConfig, InputSet, Instant,
    Jerk, Levels, MonitorSet, Position, PositionDiscrepancy, PositionRange, Ramp, Referencing, Rule, Span,
    Speed, SpeedDiscrepancy, SpeedLimit, SpeedOutput, SpeedRange, Standstill, Stop, Supervision,
    TemperatureLimit, TorqueLimit, TorqueRange, TravelLimit, Trip, Tripped, Until, Value,
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
        self.window_of(frames, (POINTS as u64 - 1) / 2)
    }

    /// The same on an axis that needs accelerations, whose readings last for two of them.
    fn effective_window_of_two(&self, frames: &[Frame]) -> u64 {
        self.window_of(frames, (POINTS as u64 - 3) / 4)
    }

    fn window_of(&self, frames: &[Frame], spacings: u64) -> u64 {
        let window = self.window * TICK;
        let captured: Vec<u64> =
            frames.iter().filter_map(|frame| frame.a).map(|reading| reading.captured_at.as_nanos()).collect();
        let interval = captured.windows(2).map(|pair| pair[1] - pair[0]).max().unwrap_or(0);
        window + interval.max(window / spacings)
    }

    /// What a rule on a position may take.
    fn reaction(&self) -> u64 {
        self.latency() + self.on_delay * TICK + 2 * self.period()
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

fn speed(units: i64) -> Speed {
    Speed::from_int(units).expect("in range")
}

fn position(units: i64) -> Position {
    Position::from_int(units).expect("in range")
}

fn acceleration(units: i64) -> Acceleration {
    Acceleration::from_int(units).expect("in range")
}

/// A range of speeds, or a limit for each direction: the same for speeds that go forth and back.
fn each_way(low: i64, high: i64, is_range: bool) -> Rule {
    if is_range {
        return Rule::SpeedRange(SpeedRange::try_new(speed(low), speed(high)).expect("a range"));
    }
    Rule::SpeedLimit(SpeedLimit::of_directions(speed(high), speed(-low), None).expect("limits"))
}

/// An axis whose counters know their position.
fn referenced(window: u64) -> Config {
    let mut config = fine_axis(window);
    for channel in Channel::BOTH {
        config.set_referencing(channel, Referencing::Absolute { offset: Position::ZERO }).expect("a channel");
    }
    config
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
        let longest = lag + timing.reaction();
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
        let longest = 1 + window.div_ceil(2) + timing.reaction();
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
        let longest = 1 + timing.reaction();
        lies_within(trip, BREAK.cast_unsigned() * TICK + left, longest, &timing)?;
    }
}

/// Milliseconds in nanoseconds.
const MS: u64 = 1_000_000;

/// The other way, when it is to be.
fn way(backwards: bool) -> i64 {
    if backwards { -1 } else { 1 }
}

proptest! {
    #![proptest_config(config(400))]

    #[test]
    fn leaving_an_increment_or_a_range_of_positions_trips_within_its_formula_and_not_before_the_on_delay(
        timing in timing(),
        speed in 1_i64..1000,
        millimetres in 0_i64..3,
        backwards: bool,
        is_range: bool,
    ) {
        let count = |t: i64| way(backwards) * 100_000 * speed * (t - BREAK).max(0);
        let frames = timing.frames(count);
        let rule = if is_range {
            // The end that is not met is far away, or near.
            let [low, high] = if backwards { [-millimetres, 0] } else { [0, millimetres] };
            Rule::PositionRange(PositionRange::try_new(position(low), position(high)).expect("a range"))
        } else {
            Rule::TravelLimit(TravelLimit::try_new(position(millimetres)).expect("an increment"))
        };
        let trip = trip(referenced(timing.window * TICK), rule, &timing, &frames);
        let left = millimetres.cast_unsigned() * 1_000_000_000 / speed.cast_unsigned();
        lies_within(trip, BREAK.cast_unsigned() * TICK + left, 1 + timing.reaction(), &timing)?;
    }

    /// The furthest point is one that a frame has seen. Where the axis turns between two, it is passed unseen, and the way back counts
    /// from a place that is seen a frame later at most.
    #[test]
    fn a_way_back_trips_within_its_formula_and_not_before_the_on_delay(
        timing in timing(),
        (forth, back) in (0_i64..1000, 1_i64..1000),
        millimetres in 0_i64..3,
        backwards: bool,
        rests: bool,
    ) {
        let rest = if rests { 40 } else { 0 };
        let count = |t: i64| {
            let way_back = back * (t - BREAK).max(0);
            way(backwards) * 100_000 * (forth * t.min(BREAK - rest) - way_back)
        };
        let frames = timing.frames(count);
        let allowed = if backwards { Allowed::Negative } else { Allowed::Positive };
        let rule = Direction::try_new(allowed, position(millimetres)).expect("a tolerance");
        let trip = trip(fine_axis(timing.window * TICK), Rule::Direction(rule), &timing, &frames);
        let left = millimetres.cast_unsigned() * 1_000_000_000 / back.cast_unsigned();
        let unseen = if rests { 0 } else { timing.period() };
        lies_within(trip, BREAK.cast_unsigned() * TICK + left, 1 + unseen + timing.reaction(), &timing)?;
    }

    #[test]
    fn a_step_out_of_a_range_of_speeds_trips_within_its_formula_and_not_before_the_on_delay(
        timing in timing(),
        (v1, end, v2) in (0_i64..1000, 0_i64..1000, 1_i64..1000)
            .prop_map(|(v1, above, beyond)| (v1, v1 + above, v1 + above + beyond)),
        other in 0_i64..1000,
        backwards: bool,
        is_range: bool,
    ) {
        let count = |t: i64| way(backwards) * 100_000 * (v1 * t.min(BREAK) + v2 * (t - BREAK).max(0));
        let frames = timing.frames(count);
        let [low, high] = if backwards { [-end, other] } else { [-other, end] };
        let rule = each_way(low, high, is_range);
        let trip = trip(fine_axis(timing.window * TICK), rule, &timing, &frames);
        let parts = timing.effective_window(&frames) * (end - v1).cast_unsigned();
        let lag = parts.div_ceil((v2 - v1).cast_unsigned());
        lies_within(trip, BREAK.cast_unsigned() * TICK, lag + timing.reaction(), &timing)?;
    }

    #[test]
    fn a_constant_acceleration_out_of_a_range_of_speeds_trips_within_its_formula_and_not_before_the_on_delay(
        timing in timing(),
        end in 1_i64..50,
        other in 0_i64..1000,
        thousands in 1_i64..20,
        backwards: bool,
        is_range: bool,
    ) {
        let rises = 1000 * thousands;
        let count = |t: i64| way(backwards) * 5 * rises * (t - BREAK).max(0) * (t - BREAK).max(0);
        let frames = timing.frames(count);
        // As above, reached after one window at least.
        let window = timing.effective_window(&frames);
        let end = end + i64::try_from(window).expect("short") * rises / 1_000_000_000 + 1;
        let [low, high] = if backwards { [-end, other] } else { [-other, end] };
        let trip = trip(fine_axis(timing.window * TICK), each_way(low, high, is_range), &timing, &frames);
        let reached = end.cast_unsigned() * 1_000_000_000 / rises.cast_unsigned();
        let longest = 1 + window.div_ceil(2) + timing.reaction();
        lies_within(trip, BREAK.cast_unsigned() * TICK + reached, longest, &timing)?;
    }

    #[test]
    fn an_acceleration_beyond_its_limit_trips_within_its_formula_and_not_before_the_on_delay(
        timing in timing(),
        moving in -1000_i64..1000,
        (end, beyond) in (0_i64..5000, 1_i64..5000),
        other in 0_i64..1000,
        backwards: bool,
        is_range: bool,
    ) {
        let rises = way(backwards) * (end + beyond);
        let count = |t: i64| 100_000 * moving * t + 5 * rises * (t - BREAK).max(0) * (t - BREAK).max(0);
        let frames = timing.frames(count);
        let rule = if is_range {
            let [low, high] = if backwards { [-end, other] } else { [-other, end] };
            let range = AccelerationRange::try_new(acceleration(low), acceleration(high));
            Rule::AccelerationRange(range.expect("a range"))
        } else {
            Rule::AccelerationLimit(AccelerationLimit::try_new(acceleration(end)).expect("a limit"))
        };
        let trip = trip(fine_axis(timing.window * TICK), rule, &timing, &frames);
        let longest = 2 * timing.effective_window_of_two(&frames) + timing.reaction();
        lies_within(trip, BREAK.cast_unsigned() * TICK, longest, &timing)?;
    }

    #[test]
    fn braking_that_goes_soft_trips_a_stop_within_two_windows_and_not_before_the_on_delay(
        timing in timing(),
        (softer, least, harder) in (-2000_i64..2000, 1_i64..3000, 1_i64..3000)
            .prop_map(|(softer, more, harder)| (softer, softer.max(0) + more, softer.max(0) + more + harder)),
        margin in 0_i64..1000,
        backwards: bool,
    ) {
        let count = |t: i64| {
            let (hard, soft) = (t.min(BREAK), (t - BREAK).max(0));
            // Braking lasts from tick 0 on; what it is slower by at BREAK stays. It is a little harder than it must, by more than the
            // rounding of an acceleration.
            let way_hard = 5 * harder * hard * hard + 10 * harder * hard * soft;
            way(backwards) * (100_000 * 15_000 * t - way_hard - 5 * softer * soft * soft)
        };
        let frames = timing.frames(count);
        let braking = Braking::try_new(Span::ZERO, acceleration(least + margin), acceleration(margin));
        let supervision = Supervision::Deceleration {
            braking: braking.expect("braking"),
            standstill_speed: speed(1),
            within: None,
        };
        let rule = Rule::Stop(Stop::try_new(supervision, Until::TorqueOff).expect("a stop"));
        let trip = trip(fine_axis(timing.window * TICK), rule, &timing, &frames);
        let longest = 2 * timing.effective_window_of_two(&frames) + timing.reaction();
        lies_within(trip, BREAK.cast_unsigned() * TICK, longest, &timing)?;
    }

    /// The excess counts once the window is full of it, at the latest; a frame before it began, at the earliest.
    #[test]
    fn an_excess_trips_when_it_has_carried_beyond_the_allowed_overrun_and_not_a_frame_before(
        timing in timing(),
        (limit, excess) in (0_i64..1000, 1_i64..1000),
        millimetres in 0_i64..50,
        backwards: bool,
        is_range: bool,
    ) {
        let count = |t: i64| way(backwards) * 100_000 * (limit + excess) * (t - BREAK).max(0);
        let frames = timing.frames(count);
        let mut config = fine_axis(timing.window * TICK);
        let rule = each_way(-limit, limit, is_range);
        let id = config.add_monitor(rule, Demand::Always, Span::from_nanos(1_000_000 * MS)).expect("room");
        config.set_allowed_overrun(id, position(millimetres)).expect("a rule on the speed");
        let mut axis = Axis::new(config);
        for frame in &frames {
            let _ = axis.step(frame);
        }
        let carried = millimetres.cast_unsigned() * 1_000_000_000 / excess.cast_unsigned();
        let begun = BREAK.cast_unsigned() * TICK;
        let longest = begun + timing.effective_window(&frames) + timing.latency() + carried + 1 + 2 * timing.period();
        match axis.state().trip(Tripped::Monitor(id, Channel::A)) {
            Some(trip) => {
                let at = trip.tripped_at.as_nanos();
                prop_assert!(at + timing.period() >= begun + carried, "{} ns before", begun + carried - at);
                prop_assert!(at <= longest, "{} ns after", at - longest);
            }
            None => prop_assert!(timing.last() < longest),
        }
    }

    /// The axis does not slow down at all, and the line comes down to it.
    #[test]
    fn a_line_that_falls_below_the_speed_trips_within_two_frames_and_not_before_the_on_delay(
        timing in timing(),
        (thousands, margin) in (1_i64..20, 0_i64..200),
        delay in 0_u64..200,
        corner in prop::option::of(1_i64..50),
        is_stop: bool,
    ) {
        let (going, falls) = (1000, 1000 * thousands);
        let straight = Ramp::try_new(Span::from_nanos(delay * TICK), acceleration(falls), speed(margin));
        let straight = straight.expect("a ramp");
        // A corner of so many milliseconds, and no longer than the margin lasts: the line is straight where it meets the speed.
        let corner = corner.map(|corner| corner.min(1000 * margin / falls)).filter(|corner| *corner > 0);
        let jerk = |corner: i64| Jerk::from_int(1000 * falls / corner + 1).expect("in range");
        let ramp = match corner {
            Some(corner) => straight.with_jerk(jerk(corner)).expect("a jerk"),
            None => straight,
        };
        let rule = if is_stop {
            let supervision = Supervision::Ramp { ramp, standstill_speed: Speed::ZERO, within: None };
            Rule::Stop(Stop::try_new(supervision, Until::TorqueOff).expect("a stop"))
        } else {
            Rule::SpeedLimit(SpeedLimit::try_new(Speed::ZERO, Some(ramp)).expect("a limit"))
        };
        let mut config = fine_axis(timing.window * TICK);
        let input = config.add_input(InputConfig::single(0, true, Span::ZERO).expect("a line")).expect("room");
        let on_delay = Span::from_nanos(timing.on_delay * TICK);
        let id = config.add_monitor(rule, Demand::AnyOf(InputSet::NONE.with(input)), on_delay).expect("room");
        let mut axis = Axis::new(config);
        let mut begun = None;
        for frame in timing.frames(|t| 100_000 * going * t) {
            let is_demanded = frame.now.as_nanos() >= BREAK.cast_unsigned() * TICK;
            if is_demanded && begun.is_none() {
                begun = Some(frame.now.as_nanos());
            }
            let _ = axis.step(&Frame { levels: Levels::from_bits(u32::from(is_demanded)), ..frame });
        }
        let Some(begun) = begun else { return Ok(()) };
        let half_corner = corner.map_or(0, |corner| corner.cast_unsigned() * MS / 2);
        let meets = begun + delay * TICK + half_corner + 1_000_000_000 * margin.cast_unsigned() / falls.cast_unsigned();
        // By its rounding, and that of the jerk above, the line falls a little early.
        let early = 20 + half_corner / 1000;
        let longest = early + 1 + timing.on_delay * TICK + 2 * timing.period();
        lies_within(axis.state().trip(Tripped::Monitor(id, Channel::A)), meets - early, longest, &timing)?;
    }

    #[test]
    fn the_permit_goes_when_the_stop_that_a_trip_demands_is_complete_and_not_before(
        timing in timing(),
        within in 0_u64..500,
        speed in 1_i64..1000,
    ) {
        let mut config = fine_axis(timing.window * TICK);
        let supervision = Supervision::Time { within: Span::from_nanos(within * TICK) };
        let stop = Rule::Stop(Stop::try_new(supervision, Until::TorqueOff).expect("a stop"));
        let stop = config.add_monitor(stop, Demand::Reaction, Span::ZERO).expect("room");
        let travel = Rule::TravelLimit(TravelLimit::try_new(Position::ZERO).expect("an increment"));
        let on_delay = Span::from_nanos(timing.on_delay * TICK);
        let travel = config.add_monitor(travel, Demand::Always, on_delay).expect("room");
        config.set_reaction(travel, stop).expect("a stop until torque-off");
        let mut axis = Axis::new(config);
        let mut tripped_at = None;
        let mut gone_at = None;
        for frame in timing.frames(|t| 100_000 * speed * (t - BREAK).max(0)) {
            let outcome = axis.step(&frame);
            let now = frame.now.as_nanos();
            if gone_at.is_none() && !outcome.permit {
                gone_at = Some(now);
            }
            prop_assert!(gone_at.is_none() || !outcome.permit, "it does not come back");
            if outcome.tripped.a.contains(travel) {
                tripped_at = Some(now);
                prop_assert!(outcome.permit, "the trip alone does not take it");
            }
        }
        // From the next frame on it is demanded, and the time ends between two frames.
        match (tripped_at, gone_at) {
            (Some(tripped), Some(gone)) => {
                prop_assert!(gone > tripped && gone - tripped >= within * TICK);
                prop_assert!(gone - tripped <= within * TICK + 2 * timing.period());
            }
            (Some(tripped), None) => prop_assert!(timing.last() < tripped + within * TICK + 2 * timing.period()),
            (None, gone) => prop_assert_eq!(gone, None),
        }
    }
}

/// An axis with an analogue value of two lines.
fn with_value(window: u64) -> (Config, AnalogueId) {
    let mut config = fine_axis(window);
    let range = [-1000, 1000].map(|units| Value::from_int(units).expect("in range"));
    let timeout = Span::from_nanos(400 * MS);
    let value = AnalogueConfig::try_new(range, timeout, Value::ZERO, Span::ZERO).expect("in range");
    let id = config.add_analogue(value).expect("room");
    (config, id)
}

proptest! {
    #![proptest_config(config(400))]

    /// The readings of the lines are as old as those of the counters.
    #[test]
    fn a_value_beyond_its_limit_trips_within_its_formula_and_not_before_the_on_delay(
        timing in timing(),
        (end, other) in (0_i64..500, 0_i64..500),
        (within, beyond) in (0_i64..500, 1_i64..500),
        kind in 0_u8..3,
        backwards: bool,
    ) {
        let (mut config, of) = with_value(timing.window * TICK);
        let value = |units: i64| Value::from_int(units).expect("in range");
        // A temperature has no limit below.
        let backwards = backwards && kind != 2;
        let rule = match kind {
            0 => Rule::TorqueLimit(TorqueLimit::try_new(of, value(end)).expect("a limit")),
            1 => {
                let [low, high] = if backwards { [-end, other] } else { [-other, end] };
                Rule::TorqueRange(TorqueRange::try_new(of, value(low), value(high)).expect("a range"))
            }
            _ => Rule::TemperatureLimit(TemperatureLimit::new(of, value(end))),
        };
        let on_delay = Span::from_nanos(timing.on_delay * TICK);
        let id = config.add_monitor(rule, Demand::Always, on_delay).expect("room");
        let mut axis = Axis::new(config);
        for frame in timing.frames(|_| 0) {
            let captured_at = frame.a.map_or(frame.now, |reading| reading.captured_at);
            let is_beyond = captured_at > Instant::from_nanos(BREAK.cast_unsigned() * TICK);
            let units = if is_beyond { end + beyond } else { within.min(end) };
            for channel in Channel::BOTH {
                let value = Some(value(way(backwards) * units));
                axis.offer(of, channel, AnalogueReading { captured_at, value });
            }
            let outcome = axis.step(&frame);
            prop_assert!(outcome.analogue_faults.a.is_empty());
        }
        let trip = axis.state().trip(Tripped::Monitor(id, Channel::A));
        lies_within(trip, BREAK.cast_unsigned() * TICK, timing.reaction(), &timing)?;
    }

    #[test]
    fn a_cam_is_late_by_its_formula_at_the_most_and_never_early(
        timing in timing(),
        speed in 1_i64..1000,
        (low, wide, hysteresis) in (1_i64..5, 0_i64..5, 0_i64..2),
        backwards: bool,
    ) {
        let high = low + wide + 2 * hysteresis;
        let [from, to] = if backwards { [-high, -low] } else { [low, high] };
        let cam = CamOutput::try_new(position(from), position(to), position(hysteresis)).expect("a cam");
        let late = timing.latency() + 2 * timing.period();
        let reached = |millimetres: i64| {
            BREAK.cast_unsigned() * TICK + millimetres.cast_unsigned() * 1_000_000_000 / speed.cast_unsigned()
        };
        let frames = timing.frames(|t| way(backwards) * 100_000 * speed * (t - BREAK).max(0));
        let config = referenced(timing.window * TICK);
        for (now, [is_on, is_near]) in said(config, Rule::CamOutput(cam), &frames) {
            // Surely so when it has been for as long; surely not before, and not any more.
            let since = |millimetres: i64| now > reached(millimetres) + late;
            let is_there = |millimetres: i64| now >= reached(millimetres);
            // It may have been through before a frame has seen it.
            let passes = |from: i64, to: i64| reached(to) <= reached(from) + late;
            prop_assert!(!is_on || is_there(low + hysteresis));
            prop_assert!(is_on || !since(low + hysteresis) || is_there(high) || passes(low + hysteresis, high - hysteresis));
            prop_assert!(!is_on || !since(high));
            prop_assert!(!is_near || is_there(low));
            prop_assert!(is_near || !since(low) || is_there(high + hysteresis) || passes(low, high));
            prop_assert!(!is_near || !since(high + hysteresis));
        }
    }

    #[test]
    fn a_speed_output_is_late_by_its_formula_at_the_most(
        timing in timing(),
        (slower, hysteresis) in (1_i64..50, 0_i64..20),
        thousands in 1_i64..20,
        backwards: bool,
    ) {
        let rises = 1000 * thousands;
        let frames = timing.frames(|t| way(backwards) * 5 * rises * (t - BREAK).max(0) * (t - BREAK).max(0));
        // As above, every speed that matters is reached after one window at least.
        let window = timing.effective_window(&frames);
        let inner = slower + i64::try_from(window).expect("short") * rises / 1_000_000_000 + 1;
        let threshold = inner + hysteresis;
        let output = SpeedOutput::try_new(speed(threshold), speed(hysteresis)).expect("an output");
        let late = 1 + window.div_ceil(2) + timing.latency() + 2 * timing.period();
        let reached = |units: i64| {
            BREAK.cast_unsigned() * TICK + units.cast_unsigned() * 1_000_000_000 / rises.cast_unsigned()
        };
        let full = frames[0].now.as_nanos() + window + late;
        for (now, [is_on, is_near]) in said(fine_axis(timing.window * TICK), Rule::SpeedOutput(output), &frames) {
            prop_assert!(is_on || now < full || now >= reached(threshold), "it is slow");
            prop_assert!(!is_on || now < reached(threshold) + late, "it is not slow any more");
            prop_assert!(is_near || now >= reached(threshold + hysteresis));
            prop_assert!(!is_near || now < reached(threshold + hysteresis) + late);
        }
    }
}

/// Worked by hand: frames and readings every 10 ms, a tolerance of 0 and an on-delay of 1 ms. From 20.1 ms on the axis goes back with 10 mm/s,
/// but at 30 ms it is still 1 µm further than at 20 ms, where it came with 1 m/s. So 40 ms is the first frame that sees a way back.
#[test]
fn an_axis_that_turns_right_after_a_frame_is_seen_to_go_back_up_to_a_frame_later() {
    let mut config = fine_axis(10 * MS);
    let rule = Direction::try_new(Allowed::Positive, Position::ZERO).expect("a tolerance");
    let forth =
        config.add_monitor(Rule::Direction(rule), Demand::Always, Span::from_nanos(MS)).expect("room");
    let mut axis = Axis::new(config);
    // In millimetres times 10⁹, that is in counts.
    for (ms, count) in
        [(10, 10_000_000_000), (20, 20_000_000_000), (30, 20_001_000_000), (40, 19_901_000_000)]
    {
        let _ = axis.step(&both(ms * MS, reading(ms * MS, count)));
    }
    assert_eq!(axis.state().trip(Tripped::Monitor(forth, Channel::A)), None);
    let _ = axis.step(&both(50 * MS, reading(50 * MS, 19_801_000_000)));
    let trip = axis.state().trip(Tripped::Monitor(forth, Channel::A)).expect("a trip");
    assert_eq!([trip.violated_since, trip.tripped_at], [40, 50].map(|ms| Instant::from_nanos(ms * MS)));
}

proptest! {
    #![proptest_config(config(400))]

    /// Channel B stands still.
    #[test]
    fn channels_that_come_apart_trip_within_the_formula_of_their_rule_and_not_before_its_time(
        timing in timing(),
        going in 1_i64..1000,
        millimetres in 0_i64..3,
        share in 0_i64..1000,
        by_speed: bool,
        backwards: bool,
    ) {
        let mut frames = timing.frames(|t| way(backwards) * 100_000 * going * (t - BREAK).max(0));
        let time = Span::from_nanos(timing.on_delay * TICK);
        let mut config = fine_axis(timing.window * TICK);
        let (rule, lag) = if by_speed {
            let tolerance = going * share / 1000;
            config.set_speed_discrepancy(SpeedDiscrepancy::try_new(speed(tolerance), time).expect("a tolerance"));
            let parts = timing.effective_window(&frames) * tolerance.cast_unsigned();
            (Tripped::SpeedDiscrepancy, parts.div_ceil(going.cast_unsigned()))
        } else {
            let rule = PositionDiscrepancy::try_new(position(millimetres), Span::ZERO, time, false);
            config.set_position_discrepancy(rule.expect("a tolerance"));
            (Tripped::PositionDiscrepancy, 0)
        };
        let mut axis = Axis::new(config);
        for frame in &mut frames {
            frame.b = frame.b.and_then(|b| reading(b.captured_at.as_nanos(), 0));
            let _ = axis.step(frame);
        }
        // A place is rounded to the nearest ULP, which the slowest passes in 60 ns.
        let left = if by_speed { 0 } else { millimetres.cast_unsigned() * 1_000_000_000 / going.cast_unsigned() };
        let longest = lag + 60 + timing.reaction();
        lies_within(axis.state().trip(rule), BREAK.cast_unsigned() * TICK + left, longest, &timing)?;
    }

    #[test]
    fn lines_that_come_apart_trip_within_the_formula_of_their_rule_and_not_before_its_time(
        timing in timing(),
        beyond in 1_i64..500,
        backwards: bool,
    ) {
        let mut config = fine_axis(timing.window * TICK);
        let units = |units: i64| Value::from_int(units).expect("in range");
        let (timeout, time) = (Span::from_nanos(400 * MS), Span::from_nanos(timing.on_delay * TICK));
        let value = AnalogueConfig::try_new([units(-1000), units(1000)], timeout, units(7), time);
        let of = config.add_analogue(value.expect("in range")).expect("room");
        let mut axis = Axis::new(config);
        for frame in timing.frames(|_| 0) {
            let captured_at = frame.a.map_or(frame.now, |reading| reading.captured_at);
            let is_beyond = captured_at > Instant::from_nanos(BREAK.cast_unsigned() * TICK);
            let apart = if is_beyond { 7 + beyond } else { 7 };
            for (channel, value) in Channel::BOTH.into_iter().zip([way(backwards) * apart, 0]) {
                axis.offer(of, channel, AnalogueReading { captured_at, value: Some(units(value)) });
            }
            let _ = axis.step(&frame);
        }
        let trip = axis.state().trip(Tripped::AnalogueDiscrepancy(of));
        lies_within(trip, BREAK.cast_unsigned() * TICK, timing.reaction(), &timing)?;
    }
}

/// At every frame whether an output is true, and whether it demands.
fn said(mut config: Config, output: Rule, frames: &[Frame]) -> Vec<(u64, [bool; 2])> {
    let output = config.add_monitor(output, Demand::Always, Span::ZERO).expect("room");
    let near = Demand::Any(Demands { outputs: MonitorSet::NONE.with(output), ..Demands::default() });
    let anything = Rule::TravelLimit(TravelLimit::try_new(Position::MAX).expect("an increment"));
    let near = config.add_monitor(anything, near, Span::ZERO).expect("room");
    let mut axis = Axis::new(config);
    let step = |frame: &Frame| {
        let outcome = axis.step(frame);
        (frame.now.as_nanos(), [outcome.outputs.contains(output), outcome.active.contains(near)])
    };
    frames.iter().map(step).collect()
}
