//! The reset.

use super::*;

fn sharp() -> Setup {
    let monitors = vec![monitor(speed_limit("2"), 3 * MS, &[])];
    Setup { window_ns: MS, points: 3, warm_up_withholds: false, monitors, ..bare() }
}

#[test]
fn a_reset_acts_on_the_falling_edge_and_the_permit_of_that_frame_is_back() {
    // Too fast at 2 to 6: trips at 5. Pressed at 9 to 11.
    let count = |ms: u64| 5 * ms.clamp(1, 6).cast_signed();
    let seen = run(&sharp(), 0..15, count, |ms| if (9..12).contains(&ms) { RESET } else { 0 });
    let resets: Vec<usize> = (0..15).filter(|&at| seen[at].reset != Reset::None).collect();
    assert_eq!(resets, [12]);
    assert_eq!(seen[12].reset, Reset::Accepted);
    let without: Vec<usize> = (0..15).filter(|&at| !seen[at].permit).collect();
    assert_eq!(without, list(5..12));
    assert!(seen[11].monitors[0].lanes[0].latched && !seen[12].monitors[0].lanes[0].latched);
}

fn list(range: std::ops::Range<usize>) -> Vec<usize> {
    range.collect()
}

#[test]
fn a_reset_is_refused_while_a_monitor_is_violated_before_its_on_delay_too() {
    let count = |ms: u64| if ms < 10 { 0 } else { 5 * ms.cast_signed() - 45 };
    let seen = run(&sharp(), 0..12, count, |ms| if ms == 9 { RESET } else { 0 });
    assert!(seen[10].monitors[0].lanes[0].violated && seen[10].permit);
    assert_eq!(seen[10].reset, Reset::Refused(Refusal::Violation));
}

#[test]
fn a_reset_is_refused_while_a_channel_is_faulted_or_was_never_read() {
    for b in [None, invalid(0)] {
        let mut model = Model::new(&sharp());
        model.step(&frame(0, reading(0, 0), b, RESET));
        let seen = model.step(&frame(MS, reading(MS, 0), None, 0));
        assert_eq!(seen.reset, Reset::Refused(Refusal::Channel));
    }
}

#[test]
fn a_tripped_monitor_trips_again_after_a_reset_only() {
    // Too fast in two bursts, 2 to 8 and 12 to 18, and in a third at 24 to 30 after a reset at 21.
    let fast = |at: u64| (2..9).contains(&at) || (12..19).contains(&at) || (24..31).contains(&at);
    let count = |ms: u64| (1..=ms).map(|at| if fast(at) { 5 } else { 0 }).sum();
    let seen = run(&sharp(), 0..32, count, |ms| if ms == 20 { RESET } else { 0 });
    let trips: Vec<usize> =
        (0..32).filter(|&at| seen[at].monitors[0].lanes[0].tripped_now.is_some()).collect();
    assert_eq!(trips, [5, 27]);
}

#[test]
fn a_reset_clears_a_clock_fault_and_an_edge_is_seen_over_it() {
    let mut model = Model::new(&sharp());
    model.step(&both(5 * MS, 0, RESET));
    assert!(!model.step(&both(5 * MS, 0, 0)).permit);
    let seen = model.step(&both(6 * MS, 0, 0));
    assert_eq!((seen.reset, seen.clock_latched, seen.permit), (Reset::Accepted, false, true));
}

#[test]
fn a_reset_is_refused_while_an_active_monitor_is_warming_up() {
    let mut model = Model::new(&sharp());
    model.step(&both(0, 0, RESET));
    // A jump of channel A: its speed is unknown at the frame after it.
    model.step(&frame(MS, reading(MS, 90_000), reading(MS, 0), RESET));
    let seen = model.step(&frame(2 * MS - 1, reading(2 * MS - 1, 90_000), reading(2 * MS - 1, 0), 0));
    assert_eq!(seen.channels[0].fault, None);
    assert_eq!(seen.reset, Reset::Refused(Refusal::WarmingUp));
}

#[test]
fn the_line_of_the_reset_passes_its_filter() {
    let setup = Setup { reset_filter_ns: 2 * MS, monitors: Vec::new(), ..sharp() };
    let resets = |high: &[u64]| {
        let seen = run(&setup, 0..12, |_| 0, |ms| if high.contains(&ms) { RESET } else { 0 });
        (0..12).filter(|&at| seen[at].reset != Reset::None).collect::<Vec<_>>()
    };
    assert_eq!(resets(&[3, 4]), Vec::<usize>::new());
    assert_eq!(resets(&[3, 4, 5, 7, 8]), [11]);
}
