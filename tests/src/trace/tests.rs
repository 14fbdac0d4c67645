//! The generators are worth something: what the rules name does occur.

use super::*;
use crate::model::{AnalogueFault, Fault, Model, Q, Refusal, Reset, Seen, Side, Tri, ulps};
use num_traits::Signed;
use proptest::prelude::*;
use std::collections::BTreeMap;

#[test]
fn a_longer_case_begins_like_a_shorter_one() {
    let (short, long) = (case(7, 60, 9), case(7, 90, 9));
    assert_eq!(short.frames, long.frames[..60]);
    assert_eq!(short.setup, long.setup);
}

/// Hands in what comes before a frame.
fn offer(model: &mut Model, offers: &[Offer]) {
    for offer in offers {
        model.offer(offer.analogue, offer.channel, offer.captured_at, offer.value());
    }
}

/// How often each thing was seen.
fn seen(cases: std::ops::Range<u64>, length: usize) -> BTreeMap<String, u64> {
    let mut counts = BTreeMap::new();
    for seed in cases {
        let case = case(seed, length, 9);
        let mut model = Model::new(&case.setup);
        let mut count =
            |what: &str, times: usize| *counts.entry(what.to_owned()).or_insert(0) += times as u64;
        for (index, frame) in case.frames.iter().enumerate() {
            offer(&mut model, case.offers(index));
            let seen = model.step_with(frame, |question, held| {
                let words = format!("{question:?}");
                let kind = words.split(' ').next().unwrap_or_default();
                count(&format!("near {kind}"), 1);
                held
            });
            count("frame", 1);
            count("permit", usize::from(seen.permit));
            count("clock fault", usize::from(seen.clock_fault));
            count("compared", seen.compared);
            count("near", seen.near);
            if seen.reset != Reset::None && !seen.clock_fault {
                count(&format!("{:?}", seen.reset), 1);
            }
            for channel in &seen.channels {
                if let Some(fault) = channel.fault {
                    count(&format!("{fault:?}"), 1);
                    count(&format!("{fault:?} while {:?}", case.mood), 1);
                }
            }
            for analogue in &seen.analogues {
                let tripped = analogue.discrepancy.tripped_now.is_some();
                count("analogue discrepancy trip", usize::from(tripped));
                for fault in analogue.lines.iter().filter_map(|line| line.fault) {
                    count(&format!("analogue {fault:?}"), 1);
                }
            }
            count(
                "referenced",
                usize::from(seen.channels.iter().any(|channel| channel.referenced.is_some())),
            );
            for input in &seen.inputs {
                count("input fault", usize::from(input.faulted));
            }
            for (monitor, rule) in seen.monitors.iter().zip(&case.setup.monitors) {
                let name = format!("{:?}", rule.kind);
                let name = name.split([' ', '{']).next().unwrap_or_default();
                count(&format!("{name} true"), usize::from(monitor.output));
                count(
                    &format!("{name} demands"),
                    usize::from(!monitor.output && monitor.lanes.iter().any(|lane| lane.near)),
                );
                let reacts = rule.reaction.is_some() && monitor.lanes.iter().any(|lane| lane.latched);
                count("reaction with the permit", usize::from(reacts && seen.permit));
                count("withdrawn as planned", usize::from(monitor.withdraws));
                for lane in &monitor.lanes {
                    count("complete", usize::from(lane.complete));
                    count("unreferenced", usize::from(lane.unreferenced));
                    count("warming up", usize::from(lane.warming_up));
                    count(&format!("{name} trip"), usize::from(lane.tripped_now.is_some()));
                    let tie =
                        lane.compared.as_ref().is_some_and(|bound| bound.observed.exact == bound.limit.exact);
                    count("tie", usize::from(tie && lane.verdict == Tri::No));
                }
            }
            count(
                "discrepancy trip",
                usize::from(seen.discrepancy.is_some_and(|rule| rule.tripped_now.is_some())),
            );
            let speeds = seen.speed_discrepancy.is_some_and(|rule| rule.tripped_now.is_some());
            count("speed discrepancy trip", usize::from(speeds));
        }
    }
    counts
}

#[test]
fn everything_the_rules_name_occurs_and_near_cases_are_rare() {
    let counts = seen(0..240, 400);
    let of = |what: &str| counts.get(what).copied().unwrap_or(0);
    for fault in [Fault::Invalid, Fault::OutOfOrder, Fault::Stale, Fault::Implausible, Fault::Range] {
        assert!(of(&format!("{fault:?}")) >= 10, "{fault:?}: {counts:#?}");
    }
    for fault in
        [AnalogueFault::Invalid, AnalogueFault::OutOfOrder, AnalogueFault::Stale, AnalogueFault::Range]
    {
        assert!(of(&format!("analogue {fault:?}")) >= 10, "{fault:?}: {counts:#?}");
    }
    for reset in [
        Reset::Accepted,
        Reset::Refused(Refusal::Channel),
        Reset::Refused(Refusal::Analogue),
        Reset::Refused(Refusal::Reference),
        Reset::Refused(Refusal::WarmingUp),
        Reset::Refused(Refusal::Violation),
        Reset::Refused(Refusal::Stop),
        Reset::Refused(Refusal::Input),
    ] {
        assert!(of(&format!("{reset:?}")) >= 10, "{reset:?}: {counts:#?}");
    }
    for what in [
        "clock fault",
        "input fault",
        "withdrawn as planned",
        "complete",
        "warming up",
        "Standstill trip",
        "SpeedLimit trip",
        "SpeedRange trip",
        "Direction trip",
        "AccelerationLimit trip",
        "AccelerationRange trip",
        "TravelLimit trip",
        "Stop trip",
        "PositionRange trip",
        "TorqueLimit trip",
        "TorqueRange trip",
        "TemperatureLimit trip",
        "CamOutput true",
        "CamOutput demands",
        "SpeedOutput true",
        "SpeedOutput demands",
        "BrakeOutput true",
        "referenced",
        "unreferenced",
        "reaction with the permit",
        "analogue discrepancy trip",
        "discrepancy trip",
        "speed discrepancy trip",
        "tie",
    ] {
        assert!(of(what) >= 10, "{what}: {counts:#?}");
    }
    assert!(of("permit") * 10 > of("frame"), "the permit is there in a tenth of the frames at least");
    assert!(of("near") * 400 < of("compared"), "less than one comparison in 400 is near");
}

#[test]
fn a_failing_case_is_minimised_to_what_it_needs() {
    let tripped = |case: &Case| {
        let mut model = Model::new(&case.setup);
        case.frames
            .iter()
            .any(|frame| model.step(frame).monitors.iter().any(|m| m.lanes[0].tripped_now.is_some()))
    };
    let found = (0..40).map(|seed| case(seed, 100, 9)).find(|case| tripped(case)).expect("some case trips");
    let smallest = minimised(&found, tripped);
    assert!(tripped(&smallest));
    assert!(smallest.frames.len() < 20, "{} frames are left", smallest.frames.len());
    assert_eq!(smallest.setup.monitors.len(), 1);
}

/// Everything latched at a frame: clock, channels, inputs, monitors on their channels, discrepancies.
fn latches(seen: &Seen) -> Vec<bool> {
    let channels = seen.channels.iter().map(|channel| channel.latched.is_some());
    let inputs = seen.inputs.iter().map(|input| input.faulted);
    let lanes = || seen.monitors.iter().flat_map(|monitor| &monitor.lanes);
    let places = lanes().map(|lane| lane.latched_unreferenced);
    let lines = seen.analogues.iter().flat_map(|one| &one.lines).map(|line| line.latched.is_some());
    let apart = seen.analogues.iter().map(|one| one.discrepancy.latched);
    let rules = [&seen.discrepancy, &seen.speed_discrepancy].into_iter().flatten().map(|rule| rule.latched);
    let others = [seen.clock_latched].into_iter().chain(channels).chain(places).chain(lines).chain(apart);
    // What does not withdraw the permit by itself comes last: an input fault is a demand, and a trip may have a reaction.
    others.chain(rules).chain(inputs).chain(lanes().map(|lane| lane.latched)).collect()
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(6) })]

    #[test]
    fn latches_hold_until_a_reset_and_held_limits_lie_within_their_error(case in cases(17)) {
        let mut model = Model::new(&case.setup);
        let mut before: Option<Seen> = None;
        for (index, frame) in case.frames.iter().enumerate() {
            offer(&mut model, case.offers(index));
            let seen = model.step(frame);
            let now = latches(&seen);
            if let Some(before) = &before {
                let cleared = latches(before).iter().zip(&now).any(|(was, is)| *was && !*is);
                prop_assert!(!cleared || seen.reset == Reset::Accepted);
            }
            if seen.permit {
                let others = now.len() - seen.inputs.len() - 2 * seen.monitors.len();
                prop_assert!(now[..others].iter().all(|latched| !latched));
                let trips = seen.monitors.iter().zip(&case.setup.monitors);
                let mut withdrawing = trips.filter(|(_, rule)| rule.reaction.is_none());
                prop_assert!(withdrawing.all(|(one, _)| one.lanes.iter().all(|lane| !lane.latched)));
                prop_assert!(seen.channels.iter().all(|channel| channel.fault.is_none()));
            }
            let lanes = seen.monitors.iter().flat_map(|monitor| &monitor.lanes);
            let limits = lanes.filter_map(|lane| lane.compared.as_ref()).map(|bound| (bound.side, &bound.limit));
            let apart = seen.discrepancy.as_ref().and_then(|rule| rule.limit.as_ref());
            for (side, limit) in limits.chain(apart.map(|limit| (Side::NotAbove, limit))) {
                let never_looser = |one: &Q, other: &Q| !side.excess(one, other).is_negative();
                let is_between = never_looser(&limit.held, &limit.strictest)
                    && never_looser(&limit.exact, &limit.held);
                prop_assert!(is_between, "{limit:?}");
            }
            if let Some(rule) = &seen.discrepancy
                && let (Some(exact), Some(held)) = (&rule.difference, &rule.difference_held)
            {
                // Half a ULP for each bracket, and for each of the two alignments of a channel.
                prop_assert!((exact - held).abs() <= ulps(3));
            }
            before = Some(seen);
        }
    }

    #[test]
    fn exchanging_the_channels_exchanges_what_is_seen(case in cases(9)) {
        let mut setup = case.setup.clone();
        std::mem::swap(&mut setup.a, &mut setup.b);
        setup.referencing.reverse();
        let (mut one, mut other) = (Model::new(&case.setup), Model::new(&setup));
        for (index, frame) in case.frames.iter().enumerate().take(300) {
            offer(&mut one, case.offers(index));
            let exchanged = case.offers(index).iter().map(|&offer| Offer { channel: 1 - offer.channel, ..offer });
            offer(&mut other, &exchanged.collect::<Vec<_>>());
            let mut mirrored = other.step(&Frame { a: frame.b, b: frame.a, ..*frame });
            mirrored.channels.reverse();
            for monitor in &mut mirrored.monitors {
                monitor.lanes.reverse();
            }
            for analogue in &mut mirrored.analogues {
                analogue.lines.reverse();
            }
            let apart = mirrored.analogues.iter_mut().map(|analogue| &mut analogue.discrepancy);
            let rules = [&mut mirrored.discrepancy, &mut mirrored.speed_discrepancy].into_iter().flatten();
            for rule in rules.chain(apart) {
                rule.difference = rule.difference.take().map(|difference| -difference);
                rule.difference_held = rule.difference_held.take().map(|difference| -difference);
            }
            prop_assert_eq!(one.step(frame), mirrored);
        }
    }
}
