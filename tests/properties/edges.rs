//! What stays within its limits never violates them, and what is one ULP beyond does.

use monitor_core::{
    Acceleration, AccelerationLimit, AccelerationRange, Allowed, AnalogueConfig, AnalogueId, AnalogueReading,
    Braking, Channel, Demand, Direction, Instant, Jerk, Position, PositionRange, Ramp, Referencing, Rule,
    Span, Speed, SpeedDiscrepancy, SpeedLimit, SpeedRange, Standstill, Stop, Supervision, TemperatureLimit,
    TorqueLimit, TorqueRange, TravelLimit, Tripped, Until, Value,
};
use proptest::prelude::*;

use crate::axis::{Config, config};
use crate::grid::{Grid, S, bare, between, button, by, is_broken, is_kept, places, some_between, with};

const UNIT: i64 = 1 << 24;

/// A rule is kept at every place but the last, and broken there on both channels.
fn is_broken_at_the_last(config: Config, places: &[i64]) -> Result<(), TestCaseError> {
    let mut on = Grid::new(config);
    let (last, within) = places.split_last().expect("one at least");
    for place in within {
        let outcome = on.at(*place);
        prop_assert!(is_kept(&outcome), "{:?} at {}", outcome, place);
    }
    let outcome = on.at(*last);
    prop_assert!(is_broken(&outcome), "{:?} at {}", outcome, last);
    prop_assert_eq!([outcome.tripped.a, outcome.tripped.b], [outcome.violated.a, outcome.violated.b]);
    Ok(())
}

fn speed_limit(positive: i64, negative: i64, ramp: Option<Ramp>) -> Rule {
    let [positive, negative] = [positive, negative].map(Speed::from_bits);
    Rule::SpeedLimit(SpeedLimit::of_directions(positive, negative, ramp).expect("limits in range"))
}

fn speed_range(low: i64, high: i64) -> Rule {
    Rule::SpeedRange(SpeedRange::try_new(Speed::from_bits(low), Speed::from_bits(high)).expect("a range"))
}

/// Two ends, numbers from the one to the other, and the number beyond one of them.
fn range(most: i64) -> impl Strategy<Value = ([i64; 2], Vec<i64>, i64)> {
    let ends = (-most..=most, -most..=most).prop_map(|(one, other)| [one.min(other), one.max(other)]);
    ends.prop_flat_map(|[low, high]| {
        (Just([low, high]), some_between(low, high), prop_oneof![Just(low - 1), Just(high + 1)])
    })
}

/// A magnitude, numbers of no more than that, and the number beyond.
fn magnitude(most: i64) -> impl Strategy<Value = (i64, Vec<i64>, i64)> {
    between(0, most).prop_flat_map(|most| {
        (Just(most), some_between(-most, most), prop_oneof![Just(-most - 1), Just(most + 1)])
    })
}

proptest! {
    #![proptest_config(config(400))]

    #[test]
    fn a_travel_within_the_increment_is_allowed_and_a_ulp_more_is_not(
        (increment, mut travels, beyond) in magnitude(1 << 40),
        from in -UNIT..=UNIT,
    ) {
        travels.push(beyond);
        let rule = TravelLimit::try_new(Position::from_bits(increment)).expect("an increment");
        let places: Vec<i64> = std::iter::once(0).chain(travels).map(|travel| from + travel).collect();
        is_broken_at_the_last(with(Rule::TravelLimit(rule)), &places)?;
    }

    #[test]
    fn a_standstill_may_use_up_both_its_windows_and_a_ulp_more_of_either_is_a_violation(
        (window, mut travels, beyond) in magnitude(1 << 40),
        by_speed: bool,
    ) {
        travels.push(beyond);
        let [window, most] = if by_speed { [i64::MAX, window] } else { [window, i64::MAX] };
        let rule = Standstill::try_new(Position::from_bits(window), Speed::from_bits(most)).expect("windows");
        let places = if by_speed { places(0, &travels) } else { [&[0], &travels[..]].concat() };
        is_broken_at_the_last(with(Rule::Standstill(rule)), &places)?;
    }

    #[test]
    fn a_position_within_its_range_is_allowed_and_a_ulp_beyond_either_end_is_not(
        ([low, high], mut within, beyond) in range(1 << 40),
    ) {
        within.push(beyond);
        let [low, high] = [low, high].map(Position::from_bits);
        is_broken_at_the_last(with(Rule::PositionRange(PositionRange::try_new(low, high).expect("a range"))), &within)?;
    }

    /// Wherever the counter stands when the input declares it.
    #[test]
    fn a_declared_position_counts_from_its_event_on_to_the_ulp(
        ([low, high], mut within, beyond) in range(1 << 40),
        counts in -1_i64 << 40..1 << 40,
        blind in 0_usize..4,
    ) {
        within.push(beyond);
        let mut config = bare();
        let (event, demand) = (button(&mut config, 0), button(&mut config, 1));
        for channel in Channel::BOTH {
            let how = Referencing::Event { input: event, position: Position::from_bits(within[0]) };
            config.set_referencing(channel, how).expect("a channel");
        }
        let [low, high] = [low, high].map(Position::from_bits);
        let rule = Rule::PositionRange(PositionRange::try_new(low, high).expect("a range"));
        config.add_monitor(rule, by(demand), Span::ZERO).expect("room for one");
        let mut on = Grid::new(config);
        // Nothing is asked of it before; a declaration lasts however long the input demands.
        for place in 0..blind {
            prop_assert!(is_kept(&on.step([counts + i64::try_from(place).expect("few"); 2], 0)));
        }
        let last = within.len() - 1;
        for (index, place) in within.iter().enumerate() {
            // A line that means nothing changes now and then, so that all of them are looked at.
            let levels = if index % 3 == 2 { 0b111 } else { 0b011 };
            let outcome = on.step([counts + place - within[0]; 2], levels);
            prop_assert!(outcome.unreferenced.a.is_empty() && outcome.unreferenced.b.is_empty());
            prop_assert!(if index < last { is_kept(&outcome) } else { is_broken(&outcome) }, "{:?}", outcome);
        }
    }

    #[test]
    fn a_way_back_within_the_tolerance_is_allowed_and_a_ulp_more_is_not(
        tolerance in between(0, 1 << 36),
        moves in prop::collection::vec((any::<bool>(), 0_i64..=1 << 36), 1..40),
        backwards: bool,
    ) {
        let allowed = if backwards { Allowed::Negative } else { Allowed::Positive };
        let mut furthest = 0;
        let mut ways = vec![0];
        for (is_forth, share) in moves {
            let back = (i128::from(tolerance) * i128::from(share)) >> 36;
            let way = if is_forth { furthest + share } else { furthest - i64::try_from(back).expect("less") };
            furthest = furthest.max(way);
            ways.push(way);
        }
        ways.push(furthest - tolerance - 1);
        let rule = Direction::try_new(allowed, Position::from_bits(tolerance)).expect("a tolerance");
        let places: Vec<i64> = ways.iter().map(|way| if backwards { -way } else { *way }).collect();
        is_broken_at_the_last(with(Rule::Direction(rule)), &places)?;
    }

    #[test]
    fn a_speed_within_its_range_is_allowed_and_a_ulp_beyond_either_end_is_not(
        ([low, high], mut within, beyond) in range(1 << 36),
    ) {
        within.push(beyond);
        is_broken_at_the_last(with(speed_range(low, high)), &places(0, &within))?;
    }

    #[test]
    fn each_direction_may_reach_its_own_limit_and_a_ulp_more_is_a_violation(
        (positive, negative) in (between(0, 1 << 36), between(0, 1 << 36)),
        shares in prop::collection::vec(-1000_i64..=1000, 1..40),
        forth: bool,
    ) {
        let of = |share: i64| if share < 0 { negative * share / 1000 } else { positive * share / 1000 };
        let mut speeds: Vec<i64> = shares.into_iter().map(of).collect();
        speeds.push(if forth { positive + 1 } else { -negative - 1 });
        is_broken_at_the_last(with(speed_limit(positive, negative, None)), &places(0, &speeds))?;
    }

    #[test]
    fn an_acceleration_within_its_limit_is_allowed_and_a_ulp_more_either_way_is_not(
        (limit, mut within, beyond) in magnitude(1 << 32),
        speed in -1_i64 << 36..1 << 36,
    ) {
        within.push(beyond);
        let limit = AccelerationLimit::try_new(Acceleration::from_bits(limit)).expect("a limit");
        let places = places(0, &places(speed, &within));
        is_broken_at_the_last(with(Rule::AccelerationLimit(limit)), &places)?;
    }

    #[test]
    fn an_acceleration_within_its_range_is_allowed_and_a_ulp_beyond_either_end_is_not(
        ([low, high], mut within, beyond) in range(1 << 32),
        speed in -1_i64 << 36..1 << 36,
    ) {
        within.push(beyond);
        let [low, high] = [low, high].map(Acceleration::from_bits);
        let range = AccelerationRange::try_new(low, high).expect("a range");
        is_broken_at_the_last(with(Rule::AccelerationRange(range)), &places(0, &places(speed, &within)))?;
    }

    /// Every excess lasts a second, so what it carries is as many ULPs. A frame within the limit in between, and the sum begins anew.
    #[test]
    fn an_excess_may_carry_as_far_as_the_allowed_overrun_and_a_ulp_more_trips(
        (low, high) in (0_i64..1 << 30, 0_i64..1 << 30),
        distance in between(0, 1 << 30),
        bursts in prop::collection::vec((any::<bool>(), prop::collection::vec(1_i64..=1000, 1..6)), 1..6),
        is_range: bool,
    ) {
        let mut config = bare();
        let rule = if is_range { speed_range(-low, high) } else { speed_limit(high, low, None) };
        let id = config.add_monitor(rule, Demand::Always, Span::from_nanos(1000 * S)).expect("room for one");
        config.set_allowed_overrun(id, Position::from_bits(distance)).expect("a rule on the speed");
        let mut speeds = Vec::new();
        for (forth, parts) in &bursts {
            // As much of the distance as the parts are of all of them, so together no more than it.
            let all: i64 = parts.iter().sum();
            let beyond = parts.iter().map(|part| distance * part / all).filter(|beyond| *beyond > 0);
            speeds.extend(beyond.map(|beyond| if *forth { high + beyond } else { -low - beyond }));
            speeds.push(0);
        }
        let (forth, parts) = bursts.last().expect("one at least");
        let mut left = distance + 1;
        for part in parts {
            if left == 0 {
                break;
            }
            let beyond = left.min(1 + distance * part / 6000);
            left -= beyond;
            speeds.push(if *forth { high + beyond } else { -low - beyond });
        }
        if left > 0 {
            speeds.push(if *forth { high + left } else { -low - left });
        }
        let mut on = Grid::new(config);
        let places = places(0, &speeds);
        let (last, before) = places.split_last().expect("one at least");
        for place in before {
            prop_assert!(!on.at(*place).has_trip());
        }
        prop_assert!(on.at(*last).has_trip());
        let trip = on.axis.state().trip(Tripped::Monitor(id, Channel::A)).expect("a trip");
        prop_assert!(matches!(trip.evidence, monitor_core::Evidence::Overrun(bound) if bound.observed == Position::from_bits(distance + 1)));
    }

    #[test]
    fn two_speeds_may_be_the_tolerance_apart_and_a_ulp_more_trips(
        (tolerance, mut within, beyond) in magnitude(1 << 36),
        speed in -1_i64 << 36..1 << 36,
    ) {
        within.push(beyond);
        let mut config = bare();
        let rule = SpeedDiscrepancy::try_new(Speed::from_bits(tolerance), Span::ZERO).expect("a tolerance");
        config.set_speed_discrepancy(rule);
        let mut on = Grid::new(config);
        let (mut a, mut b) = (0, 0);
        let _ = on.step([a, b], 0);
        for (index, apart) in within.iter().enumerate() {
            (a, b) = (a + speed + apart, b + speed);
            let said = on.step([a, b], 0).speed_discrepancy_tripped;
            prop_assert_eq!(said, index + 1 == within.len());
        }
    }
}

/// An axis with an analogue value of two lines whose plausible range and tolerance are wide.
fn with_value(tolerance: i64) -> (Config, AnalogueId) {
    let mut config = bare();
    let range = [-1_i64 << 40, 1 << 40].map(Value::from_bits);
    let (timeout, time) = (Span::from_nanos(S + S / 2), Span::ZERO);
    let value = AnalogueConfig::try_new(range, timeout, Value::from_bits(tolerance), time).expect("in range");
    let id = config.add_analogue(value).expect("room for one");
    (config, id)
}

/// Hands in the values of both lines and stands still.
fn measured(on: &mut Grid, of: AnalogueId, values: [i64; 2]) -> monitor_core::Outcome {
    let captured_at = Instant::from_nanos(on.now + S);
    for (channel, value) in Channel::BOTH.into_iter().zip(values) {
        let value = Some(Value::from_bits(value));
        on.axis.offer(of, channel, AnalogueReading { captured_at, value });
    }
    on.at(0)
}

/// A rule on the value of both lines is kept with every value but the last, and broken by that.
fn is_broken_by_the_last(rule: impl Fn(AnalogueId) -> Rule, values: &[i64]) -> Result<(), TestCaseError> {
    let (mut config, of) = with_value(0);
    config.add_monitor(rule(of), Demand::Always, Span::ZERO).expect("room for one");
    let mut on = Grid::new(config);
    for (index, value) in values.iter().enumerate() {
        let outcome = measured(&mut on, of, [*value; 2]);
        let is_last = index + 1 == values.len();
        prop_assert!(if is_last { is_broken(&outcome) } else { is_kept(&outcome) }, "{:?}", outcome);
        prop_assert_eq!(outcome.has_trip(), is_last);
    }
    Ok(())
}

proptest! {
    #![proptest_config(config(300))]

    #[test]
    fn a_torque_within_its_limit_is_allowed_and_a_ulp_more_either_way_is_not(
        (limit, mut within, beyond) in magnitude(1 << 39),
    ) {
        within.push(beyond);
        let limit = Value::from_bits(limit);
        is_broken_by_the_last(|of| Rule::TorqueLimit(TorqueLimit::try_new(of, limit).expect("a limit")), &within)?;
    }

    #[test]
    fn a_torque_within_its_range_is_allowed_and_a_ulp_beyond_either_end_is_not(
        ([low, high], mut within, beyond) in range(1 << 39),
    ) {
        within.push(beyond);
        let [low, high] = [low, high].map(Value::from_bits);
        is_broken_by_the_last(|of| Rule::TorqueRange(TorqueRange::try_new(of, low, high).expect("a range")), &within)?;
    }

    #[test]
    fn a_temperature_at_its_limit_and_however_cold_is_allowed_and_a_ulp_more_is_not(
        (limit, mut within) in (-1_i64 << 39..1 << 39).prop_flat_map(|limit| (Just(limit), some_between(-1 << 40, limit))),
    ) {
        within.push(limit + 1);
        let limit = Value::from_bits(limit);
        is_broken_by_the_last(|of| Rule::TemperatureLimit(TemperatureLimit::new(of, limit)), &within)?;
    }

    #[test]
    fn two_lines_may_be_the_tolerance_apart_and_a_ulp_more_trips(
        (tolerance, mut within, beyond) in magnitude(1 << 38),
        value in -1_i64 << 38..1 << 38,
    ) {
        within.push(beyond);
        let (config, of) = with_value(tolerance);
        let mut on = Grid::new(config);
        for (index, apart) in within.iter().enumerate() {
            let outcome = measured(&mut on, of, [value + apart, value]);
            prop_assert_eq!(outcome.analogue_tripped.contains(of), index + 1 == within.len());
            prop_assert_eq!(outcome.permit, index + 1 < within.len());
        }
    }
}

/// A line of whole numbers: its corners last whole seconds, or it has none.
#[derive(Clone, Debug)]
struct Line {
    target: i64,
    delay: i64,
    margin: i64,
    deceleration: i64,
    /// How long each corner lasts, and the jerk.
    corner: Option<(i64, i64)>,
    /// How long it would fall without corners.
    straight: i64,
}

impl Line {
    fn top(&self) -> i64 {
        self.target + self.deceleration * self.straight
    }

    fn corner(&self) -> i64 {
        self.corner.map_or(0, |(lasts, _)| lasts)
    }

    /// From the demand to the landing.
    fn lands(&self) -> i64 {
        self.delay + self.straight + self.corner()
    }

    /// So long after the demand.
    fn height(&self, since: i64) -> i64 {
        let (tau, takes, corner) = (since - self.delay, self.straight + self.corner(), self.corner());
        let jerk = self.corner.map_or(0, |(_, jerk)| jerk);
        if tau <= 0 {
            self.top()
        } else if tau <= corner {
            self.top() - jerk * tau * tau / 2
        } else if takes - tau >= corner && tau < takes {
            self.top() - self.deceleration * (2 * tau - corner) / 2
        } else if tau < takes {
            self.target + jerk * (takes - tau) * (takes - tau) / 2
        } else {
            self.target
        }
    }

    /// By what the line may lie below its exact value: rounding, and what it falls in 2 ns.
    const ROUNDING: i64 = 5;

    /// What is surely allowed.
    fn allowed(&self, since: i64) -> i64 {
        let height = self.height(since);
        let is_exact = since <= self.delay || since >= self.lands();
        if is_exact { height } else { (height - Self::ROUNDING).max(self.target) }
    }

    fn ramp(&self) -> Ramp {
        let delay = Span::from_nanos(S * self.delay.cast_unsigned());
        let deceleration = Acceleration::from_bits(self.deceleration);
        let straight = Ramp::try_new(delay, deceleration, Speed::from_bits(self.margin)).expect("a ramp");
        let jerk = self.corner.map(|(_, jerk)| straight.with_jerk(Jerk::from_bits(jerk)).expect("a jerk"));
        jerk.unwrap_or(straight)
    }
}

fn line() -> impl Strategy<Value = Line> {
    let corner = prop::option::of((1_i64..=4, (10_i64..1 << 25).prop_map(|half| 2 * half)));
    (0_i64..1 << 28, 0_i64..=3, corner, 20_i64..1 << 26, 0_i64..=8, 0_i64..=1000).prop_map(
        |(target, delay, corner, deceleration, more, share)| {
            let deceleration = corner.map_or(deceleration, |(lasts, jerk)| lasts * jerk);
            // Long enough that the corners do not meet before the deceleration is reached.
            let straight = 1 + corner.map_or(0, |(lasts, _)| lasts - 1) + more;
            let margin = deceleration * straight * share / 1000;
            Line { target, delay, margin, deceleration, corner, straight }
        },
    )
}

/// Goes at the speed that the line starts from, is demanded, and then goes at so many thousandths of what is allowed. At the frame
/// `breaks` after the demand it is a ULP above the line. What is said from the demand on.
fn along(line: &Line, rule: Rule, shares: &[i64], breaks: Option<i64>) -> Vec<monitor_core::Outcome> {
    let mut config = bare();
    let demand = button(&mut config, 0);
    config.add_monitor(rule, by(demand), Span::ZERO).expect("room for one");
    let mut on = Grid::new(config);
    let speed = line.top() - line.margin;
    let mut count = 0;
    for _ in 0..3 {
        let _ = on.at(count);
        count += speed;
    }
    let since = 0..=line.lands() + 3;
    let step = |since: i64| {
        let share = shares[usize::try_from(since).expect("later") % shares.len()];
        let outcome = on.step([count; 2], 1);
        // What it goes until the next frame is its speed there.
        let next = since + 1;
        let speed = if breaks == Some(next) { line.height(next) + 1 } else { line.allowed(next) };
        let part = if breaks == Some(next) {
            speed
        } else {
            (i128::from(speed) * i128::from(share) / 1000).try_into().expect("less")
        };
        count += if share % 2 == 0 { part } else { -part };
        outcome
    };
    since.map(step).collect()
}

proptest! {
    #![proptest_config(config(400))]

    /// With corners by a jerk, and without.
    #[test]
    fn a_speed_on_the_line_of_a_ramp_is_allowed_and_a_ulp_above_it_is_not(
        line in line(),
        shares in prop::collection::vec(prop_oneof![Just(1000_i64), 0_i64..=1000], 1..30),
        at in 0_i64..20,
    ) {
        let breaks = 1 + at % (line.lands() + 3);
        for breaks in [None, Some(breaks)] {
            let said = along(&line, speed_limit(line.target, line.target, Some(line.ramp())), &shares, breaks);
            for (since, outcome) in (0..).zip(&said) {
                if breaks.is_some_and(|breaks| breaks == since) {
                    prop_assert!(is_broken(outcome) && outcome.has_trip(), "{} s after the demand", since);
                } else {
                    prop_assert!(is_kept(outcome), "{} s after the demand: {:?}", since, outcome);
                }
            }
        }
    }

    #[test]
    fn a_stop_on_its_line_is_complete_where_it_lands_and_a_ulp_above_it_is_a_violation(
        line in line(),
        shares in prop::collection::vec(prop_oneof![Just(1000_i64), 0_i64..=1000], 1..30),
        at in 0_i64..20,
        within in prop::option::of(0_i64..10),
    ) {
        let supervision = Supervision::Ramp {
            ramp: line.ramp(),
            standstill_speed: Speed::from_bits(line.target),
            within: within.map(|within| Span::from_nanos(S * within.cast_unsigned())),
        };
        let stop = Rule::Stop(Stop::try_new(supervision, Until::TorqueOff).expect("a stop"));
        let complete = within.map_or(line.lands(), |within| within.min(line.lands()));
        let kept = along(&line, stop, &shares, None);
        for (since, outcome) in (0..).zip(&kept) {
            prop_assert!(is_kept(outcome), "{} s after the demand: {:?}", since, outcome);
            prop_assert_eq!(outcome.permit, since < complete, "{} s after the demand, {}", since, complete);
        }
        // At the frame of the completion it is still checked; after it nothing is.
        let breaks = 1 + at % (line.lands() + 3);
        let broken = along(&line, stop, &shares, Some(breaks));
        for (since, outcome) in (0..).zip(&broken) {
            prop_assert_eq!(outcome.has_trip(), since == breaks && breaks <= complete, "{} s after", since);
        }
    }

    #[test]
    fn a_stop_that_brakes_as_hard_as_it_must_is_complete_at_its_standstill_speed_and_a_ulp_less_is_a_violation(
        (deceleration, margin) in (1_i64..1 << 30).prop_flat_map(|most| (Just(most), between(0, most))),
        delay in 1_i64..=4,
        before in prop::collection::vec(-1_i64 << 30..1 << 30, 4),
        harder in prop::collection::vec(between(0, 1 << 28), 0..20),
        slow in 0_i64..1 << 24,
        softly: bool,
        backwards: bool,
    ) {
        let least = deceleration - margin;
        let braking = Braking::try_new(
            Span::from_nanos(S * delay.cast_unsigned()),
            Acceleration::from_bits(deceleration),
            Acceleration::from_bits(margin),
        );
        let standstill_speed = Speed::from_bits(slow);
        let supervision =
            Supervision::Deceleration { braking: braking.expect("braking"), standstill_speed, within: None };
        let mut config = bare();
        let demand = button(&mut config, 0);
        let stop = Rule::Stop(Stop::try_new(supervision, Until::TorqueOff).expect("a stop"));
        config.add_monitor(stop, by(demand), Span::ZERO).expect("room for one");
        // What it brakes by in each second after the demand; before the delay whatever it likes.
        let early = before[..usize::try_from(delay - 1).expect("few")].iter();
        let mut brakes: Vec<i64> = early.map(|brake| if softly { *brake } else { brake.abs() }).collect();
        brakes.extend(harder.iter().map(|more| least + more));
        // The last second ends either too softly and far above the standstill speed, or at it.
        brakes.push(if softly { least - 1 } else { 1 });
        let mut speeds = vec![if softly { slow + (1 << 33) } else { slow }];
        for brake in brakes.iter().rev() {
            speeds.push(speeds[speeds.len() - 1] + brake);
        }
        speeds.reverse();
        // Never at the standstill speed before.
        prop_assume!(speeds[..speeds.len() - 1].iter().all(|speed| *speed > slow));
        let sign = if backwards { -1 } else { 1 };
        let mut on = Grid::new(config);
        let mut count = 0;
        for _ in 0..3 {
            let _ = on.at(count);
            count += sign * speeds[0];
        }
        for (since, speed) in speeds.iter().enumerate() {
            let outcome = on.step([count; 2], 1);
            count += sign * speeds.get(since + 1).unwrap_or(speed);
            let is_last = since + 1 == speeds.len();
            prop_assert_eq!(outcome.has_trip(), is_last && softly, "{} s after: {:?}", since, outcome);
            prop_assert_eq!(is_broken(&outcome), is_last && softly);
            prop_assert_eq!(outcome.permit, !is_last, "{} s after: {:?}", since, outcome);
        }
    }

    #[test]
    fn a_stop_by_time_watches_nothing_before_it_and_is_complete_not_a_frame_later(
        within in 0_i64..20,
        moves in prop::collection::vec(-1_i64 << 36..1 << 36, 30),
        released in 0_usize..30,
    ) {
        let supervision = Supervision::Time { within: Span::from_nanos(S * within.cast_unsigned()) };
        let mut config = bare();
        let demand = button(&mut config, 0);
        let stop = Rule::Stop(Stop::try_new(supervision, Until::TorqueOff).expect("a stop"));
        config.add_monitor(stop, by(demand), Span::ZERO).expect("room for one");
        let mut on = Grid::new(config);
        prop_assert!(on.at(0).permit);
        for (since, place) in (0..).zip(&moves) {
            let is_demanded = usize::try_from(since).expect("later") <= released;
            let outcome = on.step([*place; 2], u32::from(is_demanded));
            prop_assert!(is_kept(&outcome));
            // It is carried through, and ends with its demand.
            let is_withdrawn = since == within || (since > within && is_demanded);
            prop_assert_eq!(outcome.permit, !is_withdrawn, "{} s after", since);
        }
    }

    /// Whatever the stop is supervised by.
    #[test]
    fn after_a_stop_until_standstill_a_place_within_the_window_is_allowed_and_a_ulp_beyond_is_not(
        (window, mut travels, beyond) in magnitude(1 << 36),
        line in line(),
        how in 0_u8..3,
        within in 1_i64..10,
    ) {
        travels.push(beyond);
        let (slow, span) = (Speed::from_bits(line.target), |seconds: i64| Span::from_nanos(S * seconds.cast_unsigned()));
        let braking = Braking::try_new(span(2), Acceleration::from_bits(1), Acceleration::ZERO).expect("braking");
        // It stands a second after the demand, so that is when a braking stop is complete.
        let (supervision, complete) = match how {
            0 => (Supervision::Time { within: span(within) }, within),
            1 => (Supervision::Ramp { ramp: line.ramp(), standstill_speed: slow, within: None }, line.lands()),
            _ => (Supervision::Deceleration { braking, standstill_speed: slow, within: None }, 1),
        };
        let windows = Standstill::try_new(Position::from_bits(window), Speed::MAX).expect("windows");
        let mut config = bare();
        let demand = button(&mut config, 0);
        let stop = Rule::Stop(Stop::try_new(supervision, Until::Standstill(windows)).expect("a stop"));
        config.add_monitor(stop, by(demand), Span::ZERO).expect("room for one");
        let mut on = Grid::new(config);
        let speed = line.top() - line.margin;
        prop_assume!(speed > line.target);
        let mut count = 0;
        for _ in 0..3 {
            let _ = on.at(count);
            count += speed;
        }
        for _ in 0..=complete {
            let outcome = on.step([count; 2], 1);
            prop_assert!(is_kept(&outcome) && outcome.permit, "{:?}", outcome);
        }
        let last = travels.len() - 1;
        for (index, travel) in travels.iter().enumerate() {
            let outcome = on.step([count + travel; 2], 1);
            prop_assert!(if index < last { is_kept(&outcome) } else { is_broken(&outcome) }, "{:?}", outcome);
            prop_assert_eq!(outcome.permit, index < last);
        }
    }

    #[test]
    fn torque_off_takes_the_permit_at_every_frame_of_its_demand_and_at_no_other(
        levels in prop::collection::vec(any::<bool>(), 1..60),
        steps in prop::collection::vec(-1_i64 << 36..1 << 36, 60),
    ) {
        let mut config = bare();
        let demand = button(&mut config, 0);
        config.add_monitor(Rule::TorqueOff, by(demand), Span::ZERO).expect("room for one");
        let mut on = Grid::new(config);
        for (is_demanded, place) in levels.into_iter().zip(steps) {
            let outcome = on.step([place; 2], u32::from(is_demanded));
            prop_assert!(is_kept(&outcome) && outcome.permit != is_demanded);
        }
    }
}
