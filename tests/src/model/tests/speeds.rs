//! The window, the history, the warm-up.

use super::super::speed::{History, Point};
use super::*;
use proptest::prelude::*;

/// Plain arithmetic: a windowed speed lags a constant acceleration by half the window. 2 m/s² over 4 ms reads
/// 4 mm/s low.
#[test]
fn the_speed_lags_a_constant_acceleration_by_half_the_window() {
    // x = a t² / 2 = 0.001 mm × k² at the k-th millisecond; the true speed is 2 mm/s × k.
    let seen = run(&bare(), 0..30, |ms| (ms * ms).cast_signed(), |_| 0);
    for (ms, seen) in seen.iter().enumerate().skip(4) {
        let lag = q(2 * i128::try_from(ms).expect("a small number"), 1)
            - seen.channels[0].speed.clone().expect("known");
        assert_eq!(lag, q(4, 1), "at {ms} ms");
    }
}

#[test]
fn the_speed_is_unknown_until_the_window_has_filled() {
    let seen = run(&bare(), 0..6, |ms| ms.cast_signed(), |_| 0);
    let known: Vec<bool> = seen.iter().map(|seen| seen.channels[0].speed.is_some()).collect();
    assert_eq!(known, [false, false, false, false, true, true]);
}

#[test]
fn a_counter_that_runs_the_other_way_gives_a_negative_speed() {
    let mut setup = bare();
    setup.b.unit_per_count = d("-0.001");
    let seen = run(&setup, 0..6, |ms| (3 * ms).cast_signed(), |_| 0);
    assert_eq!(seen[5].channels[0].speed, Some(d("3")));
    assert_eq!(seen[5].channels[1].speed, Some(d("-3")));
}

#[test]
fn the_speed_is_kept_over_frames_without_a_reading() {
    let mut model = Model::new(&bare());
    for ms in 0..6 {
        model.step(&both(ms * MS, ms.cast_signed(), 0));
    }
    let seen = model.step(&frame(6 * MS, None, reading(5 * MS, 5), 0));
    assert_eq!(seen.channels.map(|channel| channel.speed), [Some(d("1")), Some(d("1"))]);
}

#[test]
fn a_reading_is_stored_when_the_next_is_more_than_the_spacing_after_the_last_stored() {
    // Spacing 10: 0 is stored first; 11 arrives and stores 4; 14 is not more than 10 after 4, 15 is and stores 14.
    let mut history = History::starting(5, 10, Point { at: 0, count: 0 });
    let mut bases = Vec::new();
    for at in [4, 11, 14, 15, 19] {
        history.take(Point { at, count: at.into() });
        bases.push(history.base().map(|base| base.at));
    }
    assert_eq!(bases, [None, Some(4), Some(4), Some(4), Some(14)]);
}

proptest! {
    /// So the bounded history of the rules and the unbounded one of the model are the same.
    #[test]
    fn a_capacity_of_points_always_holds_the_base(
        half in 1_u64..20,
        window in 20_u64..2000,
        steps in prop::collection::vec(1_u64..200, 10..300),
    ) {
        let spacing = window / half;
        let mut history = History::starting(window, spacing, Point { at: 0, count: 0 });
        let mut at = 0;
        for step in steps {
            at += step % (2 * spacing + 2) + 1;
            history.take(Point { at, count: 0 });
            if let Some(points) = history.points_in_use() {
                prop_assert!(points as u64 <= 2 * half + 1);
            }
        }
    }

    /// And so are they where two windows are needed.
    #[test]
    fn a_capacity_for_two_windows_always_holds_the_base_of_the_base(
        quarter in 1_u64..20,
        window in 20_u64..2000,
        steps in prop::collection::vec(1_u64..200, 10..300),
    ) {
        let spacing = window / quarter;
        let mut history = History::starting(window, spacing, Point { at: 0, count: 0 });
        let mut at = 0;
        for step in steps {
            at += step % (2 * spacing + 2) + 1;
            history.take(Point { at, count: 0 });
            if let Some(points) = history.points_in_use_of_two_windows() {
                prop_assert!(points as u64 <= 4 * quarter + 3);
            }
        }
    }

    /// Section 4: at most `window × (1 + 1 / M)` while readings come at least every spacing.
    #[test]
    fn the_effective_window_exceeds_the_set_one_by_one_spacing_at_most(
        half in 1_u64..20,
        window in 40_u64..2000,
        steps in prop::collection::vec(1_u64..200, 10..300),
    ) {
        let spacing = window / half;
        let mut history = History::starting(window, spacing, Point { at: 0, count: 0 });
        let mut at = 0;
        for step in steps {
            at += step % spacing + 1;
            history.take(Point { at, count: 0 });
            if let Some(base) = history.base() {
                prop_assert!(at - base.at <= window + spacing);
            }
        }
    }
}
