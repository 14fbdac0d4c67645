//! What is latched, and what steps in pieces come to.

use cowitness_tests::model::{Demand, Setup};
use cowitness_tests::trace::Case;
use monitor_core::{AxisState, Channel, MonitorSet, Outcome, Reset, Trip, Tripped};
use proptest::prelude::*;

use crate::axis::{
    POINTS, Shown, cases, cases_where, config, handed, is_extra, rules, seeded, shown, withdraws,
};
use cowitness_tests::core_of::core_of;

/// Everything latched on an axis.
#[derive(Debug)]
struct Latched {
    clock: bool,
    channels: [bool; 2],
    inputs: Vec<bool>,
    /// Of analogue values, each on both channels.
    lines: Vec<bool>,
    unreferenced: [MonitorSet; 2],
    trips: Vec<Option<Trip>>,
}

impl Latched {
    fn on(shown: &Shown) -> Self {
        let (core, state) = (&shown.core, shown.axis.state());
        let lines = |&id| Channel::BOTH.map(|channel| state.is_analogue_faulted(id, channel));
        Self {
            clock: state.is_clock_faulted(),
            channels: Channel::BOTH.map(|channel| state.is_channel_faulted(channel)),
            inputs: core.inputs.iter().map(|&id| state.is_input_faulted(id)).collect(),
            lines: core.analogues.iter().flat_map(lines).collect(),
            unreferenced: Channel::BOTH.map(|channel| state.unreferenced(channel)),
            trips: rules(core).into_iter().map(|rule| state.trip(rule)).collect(),
        }
    }

    /// Whether all that was latched before still is, and is the same.
    fn holds(&self, before: &Self) -> bool {
        let kept = |was: &bool, is: &bool| !was || *is;
        let all = |was: &[bool], is: &[bool]| was.iter().zip(is).all(|(was, is)| kept(was, is));
        let mut places = before.unreferenced.iter().zip(self.unreferenced);
        kept(&before.clock, &self.clock)
            && all(&before.channels, &self.channels)
            && all(&before.inputs, &self.inputs)
            && all(&before.lines, &self.lines)
            && places.all(|(was, is)| was.without(is).is_empty())
            && before.trips.iter().zip(&self.trips).all(|(was, is)| was.is_none() || was == is)
    }

    /// Whether a fault is latched that withholds the permit.
    fn faulted(&self) -> bool {
        self.clock
            || self.channels.contains(&true)
            || self.lines.contains(&true)
            || self.unreferenced.iter().any(|set| !set.is_empty())
    }

    /// Whether anything is latched that withholds the permit.
    fn withholds(&self, setup: &Setup) -> bool {
        self.faulted() || self.trips.iter().flatten().any(|trip| withdraws(trip, setup))
    }

    /// Whether nothing is.
    fn is_clear(&self) -> bool {
        !self.faulted() && !self.inputs.contains(&true) && self.trips.iter().all(Option::is_none)
    }
}

/// The stops that latched trips demand.
fn demanded_stops(shown: &Shown, setup: &Setup) -> MonitorSet {
    let core = &shown.core;
    let trips = rules(core).into_iter().filter_map(|rule| shown.axis.state().trip(rule));
    trips.fold(MonitorSet::NONE, |stops, trip| match trip.rule {
        Tripped::Monitor(id, _) => match setup.monitors[usize::from(id.index())].reaction {
            Some(stop) => stops.with(core.monitors[stop]),
            None => stops,
        },
        _ => stops,
    })
}

proptest! {
    #![proptest_config(config(800))]

    #[test]
    fn a_latch_holds_until_an_accepted_reset_and_the_permit_is_gone_meanwhile(case in cases()) {
        let mut on = Shown::new(&case.setup);
        let mut before: Option<Latched> = None;
        for (offers, frame) in shown(&case) {
            let outcome = on.step(offers, frame);
            let now = Latched::on(&on);
            prop_assert!(!(outcome.permit && now.withholds(&case.setup)));
            if outcome.reset == Some(Reset::Accepted) {
                prop_assert!(now.is_clear(), "{:?}", now);
                let none = |sets: [MonitorSet; 2]| sets.iter().all(|set| set.is_empty());
                prop_assert!(none([outcome.violated.a, outcome.violated.b]));
                prop_assert!(none([outcome.unreferenced.a, outcome.unreferenced.b]));
                prop_assert!(outcome.faults.a.is_none() && outcome.faults.b.is_none() && !outcome.warming_up);
                prop_assert!(outcome.analogue_faults.a.is_empty() && outcome.analogue_faults.b.is_empty());
            } else if let Some(before) = &before {
                prop_assert!(now.holds(before), "{:?} after {:?}", now, before);
            }
            before = Some(now);
        }
    }

    #[test]
    fn a_trace_in_pieces_of_any_size_is_the_trace_in_one_piece(
        case in cases(),
        pieces in prop::collection::vec(1_usize..50, 1..40),
    ) {
        let core = core_of::<POINTS>(&case.setup);
        let (config, analogues) = (core.config, core.analogues);
        let step = |state: &mut AxisState<POINTS, 16, 16>, index: usize| {
            for offer in case.offers(index) {
                let (of, channel, reading) = handed(offer, &analogues);
                config.offer(state, of, channel, reading);
            }
            config.step(state, &case.frames[index])
        };
        let mut one = AxisState::new();
        let whole: Vec<Outcome> = (0..case.frames.len()).map(|index| step(&mut one, index)).collect();
        let mut kept = AxisState::new();
        let mut said = Vec::new();
        for piece in pieces.iter().cycle() {
            let (from, to) = (said.len(), (said.len() + *piece).min(case.frames.len()));
            if from == to {
                break;
            }
            let mut state = kept.clone();
            // A state that was left behind is not part of the next one.
            for index in to..(to + 3).min(case.frames.len()) {
                let _ = step(&mut state, index);
            }
            state = kept.clone();
            said.extend((from..to).map(|index| step(&mut state, index)));
            kept = state;
        }
        prop_assert_eq!(whole, said);
        prop_assert_eq!(format!("{one:?}"), format!("{kept:?}"));
    }
}

proptest! {
    #![proptest_config(config(300))]

    #[test]
    fn a_trip_with_a_reaction_demands_its_stop_from_the_next_frame_on_until_the_reset(
        case in cases_where(|case| has_reaction(&case.setup)),
    ) {
        let mut on = Shown::new(&case.setup);
        let mut demanded = MonitorSet::NONE;
        for (offers, frame) in shown(&case) {
            let outcome = on.step(offers, frame);
            if !outcome.clock_fault {
                prop_assert!(demanded.without(outcome.active).is_empty(), "{:?} of {:?}", demanded, outcome);
                demanded = demanded_stops(&on, &case.setup);
            }
        }
    }

    #[test]
    fn a_stop_that_only_trips_demand_is_active_only_after_one(
        case in cases_where(|case| has_reaction(&case.setup)),
    ) {
        let mut on = Shown::new(&case.setup);
        let monitors = on.core.monitors.clone().into_iter().zip(&case.setup.monitors);
        let alone = monitors.filter(|(_, monitor)| monitor.demand == Demand::Reactions);
        let alone = alone.fold(MonitorSet::NONE, |stops, (id, _)| stops.with(id));
        let mut asked = MonitorSet::NONE;
        for (offers, frame) in shown(&case) {
            let outcome = on.step(offers, frame);
            let began = MonitorSet::from_bits(outcome.active.to_bits() & alone.to_bits());
            prop_assert!(began.without(asked).is_empty(), "{:?} though {:?}", began, asked);
            if outcome.reset == Some(Reset::Accepted) {
                asked = MonitorSet::NONE;
            }
            asked = asked.union(demanded_stops(&on, &case.setup));
        }
    }
}

fn has_reaction(setup: &Setup) -> bool {
    setup.monitors.iter().any(|monitor| monitor.reaction.is_some())
}

#[test]
fn the_cases_do_trip_and_are_reset() {
    let counts = |case: &Case| {
        let mut on = Shown::new(&case.setup);
        let said: Vec<Outcome> = shown(case).map(|(offers, frame)| on.step(offers, frame)).collect();
        let resets = said.iter().filter(|outcome| outcome.reset == Some(Reset::Accepted)).count();
        (said.iter().filter(|outcome| outcome.has_trip()).count(), resets)
    };
    let all = (0..200).map(|seed| counts(&seeded(seed, 300, |case| seed % 2 == 0 || is_extra(case))));
    let (trips, resets) = all.fold((0, 0), |sum, one| (sum.0 + one.0, sum.1 + one.1));
    assert!(trips >= 200 && resets >= 100, "{trips} trips, {resets} resets");
}

#[test]
fn reactions_trip_and_their_stops_are_carried_through_and_reset() {
    let mut seen = [0; 3];
    for seed in 0..300 {
        let case = seeded(seed, 300, |case| has_reaction(&case.setup));
        let mut on = Shown::new(&case.setup);
        for (offers, frame) in shown(&case) {
            let outcome = on.step(offers, frame);
            let demanded = !demanded_stops(&on, &case.setup).is_empty();
            seen[0] += u32::from(demanded && outcome.permit);
            seen[1] += u32::from(demanded && !outcome.permit);
            seen[2] += u32::from(outcome.reset == Some(Reset::Stopping));
        }
    }
    assert!(seen.iter().all(|&times| times >= 20), "{seen:?}");
}
