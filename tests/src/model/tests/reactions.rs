//! Trips that demand a stop.

use super::*;

/// A limit of 2 mm/s whose trip demands the stop after it, which ends in torque-off and is `by`; one reading back is the
/// window.
fn reacting(by: By) -> Setup {
    let stop = Kind::Stop { until: Until::TorqueOff, by };
    let monitors = vec![
        Monitor { reaction: Some(1), ..monitor(speed_limit("2"), 0, &[]) },
        Monitor { demand: Demand::Reactions, ..monitor(stop, 0, &[]) },
    ];
    Setup { window_ns: MS, points: 3, warm_up_withholds: false, monitors, ..bare() }
}

fn in_time(ms: u64) -> By {
    By::Time { within_ns: ms * MS }
}

/// 1 mm/s, and 3 mm/s at 5 to 19.
fn burst(ms: u64) -> i64 {
    going(|at| if (5..20).contains(&at) { 3 } else { 1 })(ms)
}

fn without_permit(seen: &[Seen]) -> Vec<usize> {
    (0..seen.len()).filter(|&at| !seen[at].permit).collect()
}

fn stopping(seen: &[Seen]) -> Vec<usize> {
    (0..seen.len()).filter(|&at| seen[at].monitors[1].active).collect()
}

fn list(range: std::ops::Range<usize>) -> Vec<usize> {
    range.collect()
}

/// The button is released at `ms`.
fn reset_at(ms: u64) -> impl Fn(u64) -> u32 {
    move |at| if at + 1 == ms { RESET } else { 0 }
}

#[test]
fn a_trip_demands_its_stop_from_the_next_frame_on_and_the_permit_stays_until_it_is_complete() {
    let seen = run(&reacting(in_time(6)), 0..40, burst, reset_at(30));
    assert_eq!(trips(&seen), [(5, Evidence::Speed)]);
    assert!(seen[5].monitors[0].lanes[0].latched);
    assert_eq!(seen[6].monitors[1].demanded_at.map(millis), Some(6));
    // The reset is accepted at 30; the demand is gone at the frame after it, and with it the stop.
    assert_eq!(seen[30].reset, Reset::Accepted);
    assert_eq!((stopping(&seen), without_permit(&seen)), (list(6..31), list(12..31)));
}

#[test]
fn a_stop_that_is_violated_withdraws_the_permit_at_once() {
    // From the limit in force, 2 mm/s, and the margin at 6 the line falls by 1 mm/s in a millisecond: it is at 3 mm/s at 7, and
    // the axis does not brake.
    let ramp = Ramp { delay_ns: 0, deceleration: d("1000"), margin: d("2"), jerk: None };
    let by = By::Ramp { ramp, standstill_speed: d("0.5"), within_ns: Some(90 * MS) };
    let seen = run(&reacting(by), 0..12, burst, |_| 0);
    let tripped: Vec<usize> =
        (0..12).filter(|&at| seen[at].monitors[1].lanes[0].tripped_now.is_some()).collect();
    assert_eq!(tripped, [8]);
    assert_eq!(without_permit(&seen), list(8..12));
}

#[test]
fn a_reset_is_refused_until_the_stop_that_a_trip_demands_is_complete() {
    let refused = run(&reacting(in_time(30)), 0..40, burst, reset_at(25));
    assert_eq!(refused[25].reset, Reset::Refused(Refusal::Stop));
    assert_eq!((stopping(&refused), without_permit(&refused)), (list(6..40), list(36..40)));
    let accepted = run(&reacting(in_time(30)), 0..40, burst, reset_at(36));
    assert_eq!(accepted[36].reset, Reset::Accepted);
    assert_eq!((stopping(&accepted), without_permit(&accepted)), (list(6..37), vec![36]));
}

#[test]
fn a_stop_that_only_reactions_demand_is_not_active_without_a_trip() {
    let seen = run(&reacting(in_time(6)), 0..5, burst, |_| 0);
    assert_eq!(stopping(&seen), Vec::<usize>::new());
}

#[test]
fn a_stop_with_a_demand_of_its_own_is_demanded_by_the_trip_too() {
    let mut setup = reacting(in_time(6));
    setup.inputs = vec![button(0)];
    setup.monitors[1].demand = Demand::inputs(&[0]);
    let seen = run(&setup, 0..20, burst, |_| 0);
    assert_eq!((stopping(&seen), without_permit(&seen)), (list(6..20), list(12..20)));
    let seen = run(&setup, 0..5, burst, |ms| u32::from(ms >= 3));
    assert_eq!(stopping(&seen), [3, 4]);
}

#[test]
fn a_stop_that_stands_before_the_monitor_is_demanded_at_the_same_frame_as_one_after_it() {
    let mut setup = reacting(in_time(6));
    setup.monitors.swap(0, 1);
    setup.monitors[1].reaction = Some(0);
    let seen = run(&setup, 0..20, burst, |_| 0);
    let active: Vec<usize> = (0..20).filter(|&at| seen[at].monitors[0].active).collect();
    assert_eq!((active, without_permit(&seen)), (list(6..20), list(12..20)));
}

#[test]
fn a_channel_fault_withdraws_the_permit_whatever_reacts() {
    let mut model = Model::new(&reacting(in_time(60)));
    for ms in 0..8 {
        assert!(model.step(&both(ms * MS, burst(ms), 0)).permit);
    }
    assert!(!model.step(&frame(8 * MS, invalid(8 * MS), reading(8 * MS, burst(8)), 0)).permit);
}

#[test]
fn a_reaction_is_a_stop_that_ends_in_torque_off_and_a_stop_has_none() {
    let good = reacting(in_time(6));
    assert_eq!(good.check(), Ok(()));
    let with = |change: fn(&mut Setup)| {
        let mut setup = good.clone();
        change(&mut setup);
        setup.check().is_ok()
    };
    assert!(!with(|setup| setup.monitors[0].reaction = Some(0)));
    assert!(!with(|setup| setup.monitors[0].reaction = Some(2)));
    assert!(!with(|setup| setup.monitors[1].reaction = Some(1)));
    assert!(!with(|setup| setup.monitors[0].demand = Demand::Reactions));
    assert!(!with(|setup| {
        let until = Until::Standstill { position_window: d("1"), speed_window: d("1") };
        setup.monitors[1].kind = Kind::Stop { until, by: By::Time { within_ns: MS } };
    }));
}
