//! What is latched, and what steps in pieces come to.

use cowitness_tests::trace::Case;
use monitor_core::{Axis, AxisState, Channel, Outcome, Reset, Trip};
use proptest::prelude::*;

use crate::axis::{cases, config, config_of, rules};
use cowitness_tests::core_of::{Core, core_of};

/// Everything latched on an axis.
#[derive(Debug)]
struct Latched {
    clock: bool,
    channels: [bool; 2],
    inputs: Vec<bool>,
    trips: Vec<Option<Trip>>,
}

impl Latched {
    /// Whether all that was latched before still is, and is the same.
    fn holds(&self, before: &Self) -> bool {
        let kept = |was: &bool, is: &bool| !was || *is;
        let all = |was: &[bool], is: &[bool]| was.iter().zip(is).all(|(was, is)| kept(was, is));
        kept(&before.clock, &self.clock)
            && all(&before.channels, &self.channels)
            && all(&before.inputs, &self.inputs)
            && before.trips.iter().zip(&self.trips).all(|(was, is)| was.is_none() || was == is)
    }

    /// Whether anything is latched that withholds the permit.
    fn withholds(&self) -> bool {
        self.clock || self.channels.contains(&true) || self.trips.iter().any(Option::is_some)
    }
}

proptest! {
    #![proptest_config(config(800))]

    #[test]
    fn a_latch_holds_until_an_accepted_reset_and_the_permit_is_gone_meanwhile(case in cases()) {
        let Core { config, inputs, monitors, .. } = core_of::<9>(&case.setup);
        let mut axis = Axis::new(config);
        let mut before: Option<Latched> = None;
        for frame in &case.frames {
            let outcome = axis.step(frame);
            let state = axis.state();
            let now = Latched {
                clock: state.is_clock_faulted(),
                channels: Channel::BOTH.map(|channel| state.is_channel_faulted(channel)),
                inputs: inputs.iter().map(|&id| state.is_input_faulted(id)).collect(),
                trips: rules(&monitors).into_iter().map(|rule| state.trip(rule)).collect(),
            };
            prop_assert!(!(outcome.permit && now.withholds()));
            if outcome.reset == Some(Reset::Accepted) {
                prop_assert!(!now.withholds() && !now.inputs.contains(&true));
                prop_assert!(outcome.violated.a.is_empty() && outcome.violated.b.is_empty());
                prop_assert!(outcome.faults.a.is_none() && outcome.faults.b.is_none() && !outcome.warming_up);
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
        let config = config_of(&case.setup);
        let mut axis = Axis::new(config.clone());
        let whole: Vec<Outcome> = case.frames.iter().map(|frame| axis.step(frame)).collect();
        let mut kept = AxisState::new();
        let mut said = Vec::new();
        let mut rest = case.frames.as_slice();
        for piece in pieces.iter().cycle() {
            if rest.is_empty() {
                break;
            }
            let (now, later) = rest.split_at((*piece).min(rest.len()));
            let mut state = kept.clone();
            // A state that was left behind is not part of the next one.
            for frame in later.iter().take(3) {
                let _ = config.step(&mut state, frame);
            }
            state = kept.clone();
            said.extend(now.iter().map(|frame| config.step(&mut state, frame)));
            kept = state;
            rest = later;
        }
        prop_assert_eq!(whole, said);
        prop_assert_eq!(format!("{:?}", axis.state()), format!("{kept:?}"));
    }
}

#[test]
fn the_cases_do_trip_and_are_reset() {
    let counts = |case: &Case| {
        let mut axis = Axis::new(config_of(&case.setup));
        let said: Vec<Outcome> = case.frames.iter().map(|frame| axis.step(frame)).collect();
        let resets = said.iter().filter(|outcome| outcome.reset == Some(Reset::Accepted)).count();
        (said.iter().filter(|outcome| outcome.has_trip()).count(), resets)
    };
    let all = (0..100).map(|seed| counts(&cowitness_tests::trace::plain_case(seed, 300, 9)));
    let (trips, resets) = all.fold((0, 0), |sum, one| (sum.0 + one.0, sum.1 + one.1));
    assert!(trips >= 100 && resets >= 100, "{trips} trips, {resets} resets");
}
