//! Filter, disagreement, one-sided cycle, input fault.

use super::*;

fn door(pairing: Pairing, one_sided: OneSided) -> Setup {
    let lines = Lines::Two { first: 0, second: 1, pairing, discrepancy_time_ns: 5 * MS, one_sided };
    let mut setup = bare();
    setup.inputs = vec![Input { lines, demand_high: true, filter_ns: 0 }];
    setup
}

/// Which frames see a demand, and which a fault, when line 0 is high at `first` and line 1 at `second`.
fn frames(setup: &Setup, first: &[u64], second: &[u64]) -> (Vec<u64>, Vec<u64>) {
    let bits = |ms: u64| u32::from(first.contains(&ms)) | u32::from(second.contains(&ms)) << 1;
    let seen = run(setup, 0..16, |_| 0, bits);
    let at = |wanted: fn(&Seen) -> bool| (0..16).filter(|&ms| wanted(&seen[ms as usize])).collect();
    (at(|seen| seen.inputs[0].demanding), at(|seen| seen.inputs[0].faulted))
}

fn list(range: std::ops::Range<u64>) -> Vec<u64> {
    range.collect()
}

#[test]
fn either_channel_demands() {
    let setup = door(Pairing::Equivalent, OneSided::Fault);
    let (demanding, faulted) = frames(&setup, &list(2..6), &list(4..8));
    assert_eq!((demanding, faulted), (list(2..8), Vec::<u64>::new()));
}

#[test]
fn an_antivalent_pair_demands_with_its_second_line_at_the_other_level() {
    let setup = door(Pairing::Antivalent, OneSided::Fault);
    let second: Vec<u64> = list(0..4).into_iter().chain(8..16).collect();
    let (demanding, faulted) = frames(&setup, &list(4..8), &second);
    assert_eq!((demanding, faulted), (list(4..8), Vec::<u64>::new()));
}

#[test]
fn a_disagreement_is_a_fault_at_the_discrepancy_time_and_stays_a_demand() {
    let setup = door(Pairing::Equivalent, OneSided::Fault);
    let (demanding, faulted) = frames(&setup, &list(3..9), &[]);
    assert_eq!((demanding, faulted), (list(3..16), list(8..16)));
    let (_, faulted) = frames(&setup, &list(3..8), &list(7..8));
    assert_eq!(faulted, Vec::<u64>::new());
}

#[test]
fn a_one_sided_cycle_is_a_fault_at_the_end_of_the_discrepancy_time() {
    let cycle = |setup: &Setup, second: &[u64]| frames(setup, &list(3..5), second);
    let setup = door(Pairing::Equivalent, OneSided::Fault);
    assert_eq!(cycle(&setup, &[]).1, list(8..16));
    // The other channel alone afterwards neither heals nor restarts it.
    assert_eq!(cycle(&setup, &[6]).1, list(8..16));
    // Both together before the end clear it, at the end they are too late.
    assert_eq!(frames(&setup, &[3, 4, 7], &[7]).1, Vec::<u64>::new());
    assert_eq!(frames(&setup, &[3, 4, 8], &[8]).1, list(8..16));
    assert_eq!(cycle(&door(Pairing::Equivalent, OneSided::Ignore), &[]).1, Vec::<u64>::new());
}

#[test]
fn channels_that_change_places_are_no_one_sided_cycle() {
    let setup = door(Pairing::Equivalent, OneSided::Fault);
    assert_eq!(frames(&setup, &[3, 4], &[5, 6]).1, Vec::<u64>::new());
    // Nor is it one when the first comes back afterwards.
    assert_eq!(frames(&setup, &[3, 5], &[4]).1, Vec::<u64>::new());
    // The timer of the disagreement runs on all the same.
    assert_eq!(frames(&setup, &[3, 4, 7, 8], &[5, 6]).1, list(8..16));
}

#[test]
fn a_return_to_the_demand_by_one_channel_after_both_demanded_is_not_one_sided() {
    let setup = door(Pairing::Equivalent, OneSided::Fault);
    assert_eq!(frames(&setup, &[2, 3, 5, 6], &list(2..7)).1, Vec::<u64>::new());
}

#[test]
fn a_level_takes_effect_when_it_was_read_unchanged_for_the_filter_time() {
    let mut setup = bare();
    setup.inputs = vec![Input { filter_ns: 3 * MS, ..button(0) }];
    let seen = |high: &[u64]| frames(&setup, high, &[]).0;
    assert_eq!(seen(&list(4..10)), list(7..13));
    assert_eq!(seen(&[4, 5, 6, 8, 9, 10, 12]), Vec::<u64>::new());
    // The very first level takes effect at once.
    assert_eq!(seen(&[0]), list(0..4));
}

#[test]
fn an_input_fault_is_reset_after_both_channels_were_seen_demanding_together() {
    let setup = door(Pairing::Equivalent, OneSided::Fault);
    let reset_at = |bits: &dyn Fn(u64) -> u32| {
        let seen = run(&setup, 0..24, |_| 0, bits);
        seen.into_iter().map(|seen| seen.reset).find(|reset| *reset != Reset::None)
    };
    let alone = |ms: u64| u32::from((3..12).contains(&ms));
    let pressed = |ms: u64| if ms == 18 { RESET } else { 0 };
    assert_eq!(reset_at(&|ms| alone(ms) | pressed(ms)), Some(Reset::Refused(Refusal::Input)));
    let together = |ms: u64| if (14..16).contains(&ms) { 3 } else { 0 };
    assert_eq!(reset_at(&|ms| alone(ms) | together(ms) | pressed(ms)), Some(Reset::Accepted));
    // Together, but not in agreement at the frame of the reset.
    let apart = |ms: u64| if ms == 19 { 2 } else { 0 };
    let bits = |ms: u64| alone(ms) | together(ms) | apart(ms) | pressed(ms);
    assert_eq!(reset_at(&bits), Some(Reset::Refused(Refusal::Input)));
}
