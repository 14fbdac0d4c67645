//! What outputs say, what they demand, and what inverted demands do.

use cowitness_tests::model::{self, Kind, Lines, Monitor, Term, q};
use cowitness_tests::trace::Case;
use monitor_core::{
    BrakeOutput, CamOutput, Demand, Demands, Frame, Instant, Levels, MonitorId, MonitorSet, Outcome,
    Position, Rule, Span, Speed, SpeedOutput, TravelLimit,
};
use proptest::prelude::*;

use crate::axis::{Config, Shown, cases, cases_where, config, reading, shown};
use crate::grid::{Grid, S, bare, button, by};

/// An output that is always active, something that it demands, and something that is demanded unless it is on.
struct Demanding {
    on: Grid,
    output: MonitorId,
    near: MonitorId,
    off: MonitorId,
}

impl Demanding {
    fn new(rule: Rule) -> Self {
        let mut config = bare();
        let anything = || Rule::TravelLimit(TravelLimit::try_new(Position::MAX).expect("an increment"));
        let add = |config: &mut Config, rule, demand| config.add_monitor(rule, demand, Span::ZERO);
        let output = add(&mut config, rule, Demand::Always).expect("room");
        let only = MonitorSet::NONE.with(output);
        let near = Demand::Any(Demands { outputs: only, ..Demands::default() });
        let off = Demand::Any(Demands { not_outputs: only, ..Demands::default() });
        let near = add(&mut config, anything(), near).expect("room");
        let off = add(&mut config, anything(), off).expect("room");
        Self { on: Grid::new(config), output, near, off }
    }

    /// Whether it is true, demands, and leaves what is demanded unless it is on.
    fn said(&self, outcome: &Outcome) -> [bool; 3] {
        [
            outcome.outputs.contains(self.output),
            outcome.active.contains(self.near),
            outcome.active.contains(self.off),
        ]
    }
}

/// Where a value of a channel is: where the output comes on, where it may stay on, and where it may stay near.
#[derive(Clone, Copy, Debug)]
struct Zone {
    inner: bool,
    whole: bool,
    outer: bool,
}

/// What an output may say while its channels are in these zones.
fn is_right([a, b]: [Zone; 2], [on, near, off]: [bool; 3]) -> Result<(), TestCaseError> {
    // True only where it is so on both channels, and near wherever it is on either.
    prop_assert!(!on || (a.whole && b.whole));
    prop_assert!(near || !(a.whole || b.whole));
    prop_assert!(on || !(a.inner && b.inner));
    prop_assert!(!near || a.outer || b.outer);
    prop_assert_eq!(on, !off);
    Ok(())
}

/// The same, and the hysteresis of channels that are at one value: what it said before.
fn is_kept([zone, _]: [Zone; 2], said: [bool; 3], before: [bool; 3]) -> Result<(), TestCaseError> {
    let between = zone.whole && !zone.inner;
    prop_assert!(!between || said[0] == before[0], "{:?} after {:?}", said, before);
    let beside = zone.outer && !zone.whole;
    prop_assert!(!beside || said[1] == before[1], "{:?} after {:?}", said, before);
    Ok(())
}

/// Shows an output the values of its channels, places or speeds, one frame after the other.
fn holds(
    rule: Rule,
    zone: impl Fn(i64) -> Zone,
    values: &[[i64; 2]],
    is_speed: bool,
) -> Result<(), TestCaseError> {
    let mut demanding = Demanding::new(rule);
    let mut before = [false, false, true];
    let mut counts = [0; 2];
    if is_speed {
        // A speed that is not known is no slow one.
        let outcome = demanding.on.step(counts, 0);
        prop_assert_eq!(demanding.said(&outcome), [false, true, true]);
    }
    let mut is_same = true;
    for &[a, b] in values {
        counts = if is_speed { [counts[0] + a, counts[1] + b] } else { [a, b] };
        let outcome = demanding.on.step(counts, 0);
        let (zones, said) = ([zone(a), zone(b)], demanding.said(&outcome));
        prop_assert!(outcome.permit && !outcome.has_trip(), "an output takes nothing");
        is_right(zones, said)?;
        is_same &= a == b;
        if is_same {
            is_kept(zones, said, before)?;
        }
        before = said;
    }
    Ok(())
}

/// Values around the ends of these zones, of channels that go together or, in half of the cases, each on its own.
fn around(ends: Vec<i64>) -> impl Strategy<Value = Vec<[i64; 2]>> {
    let far = ends.iter().map(|end| end.abs()).max().unwrap_or(0) + 2;
    let end = (prop::sample::select(ends), -1_i64..=1).prop_map(|(end, beside)| end + beside);
    let value = prop_oneof![4 => end, 1 => -far..=far].boxed();
    let each = (value.clone(), value).prop_map(|(a, b)| [a, b]);
    let pairs = prop::collection::vec(each, 1..80);
    (pairs, any::<bool>()).prop_map(|(mut pairs, is_same)| {
        if is_same {
            pairs.iter_mut().for_each(|pair| pair[1] = pair[0]);
        }
        pairs
    })
}

fn cam() -> impl Strategy<Value = ([i64; 3], Vec<[i64; 2]>)> {
    (-1_i64 << 30..1 << 30, 0_i64..100, 0_i64..50).prop_flat_map(|(low, wide, hysteresis)| {
        let high = low + 2 * hysteresis + wide;
        let ends = vec![low - hysteresis, low, low + hysteresis, high - hysteresis, high, high + hysteresis];
        (Just([low, high, hysteresis]), around(ends))
    })
}

fn slow() -> impl Strategy<Value = ([i64; 2], Vec<[i64; 2]>)> {
    (1_i64..1 << 30, 0_i64..=1000).prop_flat_map(|(threshold, share)| {
        let hysteresis = threshold * share / 1001;
        let ends = [threshold - hysteresis, threshold, threshold + hysteresis];
        let ends = ends.iter().flat_map(|end| [*end, -end]).collect();
        (Just([threshold, hysteresis]), around(ends))
    })
}

proptest! {
    #![proptest_config(config(400))]

    #[test]
    fn a_cam_is_true_only_within_its_range_on_both_channels_and_demands_all_over_it(
        ([low, high, hysteresis], mut places) in cam(),
    ) {
        // Before its first frame it is neither.
        places.insert(0, [high + hysteresis + 1; 2]);
        let rule = CamOutput::try_new(Position::from_bits(low), Position::from_bits(high), Position::from_bits(hysteresis));
        let zone = |x: i64| Zone {
            inner: (low + hysteresis..=high - hysteresis).contains(&x),
            whole: (low..=high).contains(&x),
            outer: (low - hysteresis..=high + hysteresis).contains(&x),
        };
        holds(Rule::CamOutput(rule.expect("a cam")), zone, &places, false)?;
    }

    #[test]
    fn a_speed_output_is_true_only_below_its_threshold_on_both_channels_and_demands_all_below_it(
        ([threshold, hysteresis], mut speeds) in slow(),
    ) {
        speeds.insert(0, [0; 2]);
        let rule = SpeedOutput::try_new(Speed::from_bits(threshold), Speed::from_bits(hysteresis));
        let zone = |v: i64| Zone {
            inner: v.abs() < threshold - hysteresis,
            whole: v.abs() < threshold,
            outer: v.abs() < threshold + hysteresis,
        };
        holds(Rule::SpeedOutput(rule.expect("an output")), zone, &speeds, true)?;
    }

    /// The last frame is one whose clock has stood still.
    #[test]
    fn a_brake_is_open_while_the_permit_is_there_and_closed_before_its_delay_is_over(
        delay in 0_u64..3 * S,
        frames in prop::collection::vec((1_u64..=S, prop::bool::weighted(0.3)), 2..80),
        even in prop::option::of(1_u64..=S),
    ) {
        let mut config = bare();
        let demand = button(&mut config, 0);
        config.add_monitor(Rule::TorqueOff, by(demand), Span::ZERO).expect("room");
        let brake = BrakeOutput::try_new(Span::from_nanos(delay)).expect("a delay");
        let brake = config.add_monitor(Rule::BrakeOutput(brake), Demand::Always, Span::ZERO).expect("room");
        let mut axis = Grid::new(config).axis;
        let (mut now, mut gone, mut was_open) = (0, 0, false);
        let mut step = |now: u64, is_demanded: bool| -> Outcome {
            let levels = Levels::from_bits(u32::from(is_demanded));
            let reading = reading(now, 0);
            axis.step(&Frame { now: Instant::from_nanos(now), a: reading, b: reading, levels })
        };
        let mut had_permit = true;
        for (period, is_demanded) in frames {
            let period = even.unwrap_or(period);
            now += period;
            let outcome = step(now, is_demanded);
            let is_open = outcome.outputs.contains(brake);
            if had_permit && !outcome.permit {
                gone = now;
            }
            // The next frame, if it comes as soon as this one did, is not too late.
            let may_wait = now - gone + period <= delay;
            prop_assert_eq!(is_open, outcome.permit || (was_open && may_wait), "{} ns after", now - gone);
            (had_permit, was_open) = (outcome.permit, is_open);
        }
        let outcome = step(now, false);
        prop_assert!(outcome.clock_fault && !outcome.outputs.contains(brake));
        let outcome = step(now + 1, false);
        prop_assert!(!outcome.permit && !outcome.outputs.contains(brake));
    }
}

/// Always active, or demanded so, and never violated.
fn anything(term: Term) -> Monitor {
    Monitor {
        demand: model::Demand::Any(vec![term]),
        reaction: None,
        on_delay_ns: 0,
        allowed_overrun: None,
        kind: Kind::TravelLimit { increment: q(1 << 38, 1) },
    }
}

/// The case with the outputs of its setup alone, and with a rule on each of the terms after them.
fn demanded(case: &Case, terms: &[Term]) -> Case {
    let mut case = case.clone();
    // Outputs come first, and refer to none but outputs.
    case.setup.monitors.retain(|monitor| monitor.kind.demands());
    case.setup.monitors.extend(terms.iter().map(|term| anything(*term)));
    case
}

proptest! {
    #![proptest_config(config(400))]

    #[test]
    fn an_input_or_its_inverse_demands_at_every_frame_and_both_while_it_is_in_doubt(
        case in cases(),
        which: prop::sample::Index,
        is_filtered: bool,
    ) {
        let mut case = case;
        let which = which.index(case.setup.inputs.len());
        if !is_filtered {
            case.setup.inputs[which].filter_ns = 0;
        }
        let input = case.setup.inputs[which].clone();
        let case = demanded(&case, &[Term::Input(which), Term::NotInput(which)]);
        let mut on = Shown::new(&case.setup);
        let ids = on.core.monitors.clone();
        let [.., straight, inverse] = ids[..] else { unreachable!("two at least") };
        let id = on.core.inputs[which];
        for (offers, frame) in shown(&case) {
            let was_faulted = on.axis.state().is_input_faulted(id);
            let outcome = on.step(offers, frame);
            if outcome.clock_fault {
                continue;
            }
            let (asks, denies) = (outcome.active.contains(straight), outcome.active.contains(inverse));
            prop_assert!(asks || denies);
            prop_assert_eq!(asks, outcome.demanding.contains(id));
            if input.filter_ns > 0 {
                continue;
            }
            let at = |line: u8| (frame.levels.to_bits() >> line & 1 == 1) == input.demand_high;
            let [first, second] = match input.lines {
                Lines::One(line) => [at(line); 2],
                Lines::Two { first, second, pairing, .. } => {
                    [at(first), at(second) == (pairing == model::Pairing::Equivalent)]
                }
            };
            let is_faulted = was_faulted || outcome.input_faults.contains(id);
            prop_assert_eq!(asks, first || second || is_faulted);
            prop_assert_eq!(denies, !(first && second) || is_faulted);
        }
    }

    #[test]
    fn an_output_or_its_inverse_demands_at_every_frame_whatever_becomes_of_the_channels(
        case in cases_where(|case| case.setup.monitors.iter().any(|monitor| monitor.kind.demands())),
        which: prop::sample::Index,
    ) {
        let outputs = case.setup.monitors.iter().filter(|monitor| monitor.kind.demands()).count();
        let which = which.index(outputs);
        let case = demanded(&case, &[Term::Output(which), Term::NotOutput(which)]);
        let mut on = Shown::new(&case.setup);
        let ids = on.core.monitors.clone();
        let [.., near, off] = ids[..] else { unreachable!("two at least") };
        for (offers, frame) in shown(&case) {
            let outcome = on.step(offers, frame);
            if outcome.clock_fault {
                continue;
            }
            let is_on = outcome.outputs.contains(ids[which]);
            let (is_near, is_off) = (outcome.active.contains(near), outcome.active.contains(off));
            prop_assert_eq!(is_off, !is_on);
            prop_assert!(is_near || !is_on);
            let is_active = outcome.active.contains(ids[which]);
            prop_assert!(is_active || !(is_on || is_near), "an output that is not active says nothing");
            let is_blind = outcome.faults.a.is_some() || outcome.faults.b.is_some();
            prop_assert!(!(is_active && is_blind) || (!is_on && is_near), "what is not seen may be there");
        }
    }
}
