//! Every fault does what its sentence says, from its instant on.

use super::support::{FINE, OUT_AND_BACK, STEADY, Trace, ms, trace};
use host_harness::synth::PlantedKind;

const STEP: f64 = 1.0001e-6;

fn fault(motion: &str, a: &str, keys: &str) -> Trace {
    trace(motion, "3 s", a, &format!("[[fault]]\nsource = \"a\"\n{keys}"))
}

/// Difference of source A from the ideal source B, row by row.
fn differences(t: &Trace) -> Vec<f64> {
    t.numbers("a").iter().zip(t.numbers("b")).map(|(a, b)| a - b).collect()
}

#[test]
fn a_stuck_source_keeps_its_last_value_until_it_is_freed() {
    let t = fault(STEADY, FINE, "kind = \"stuck\"\nat = \"1 s\"\nuntil = \"2 s\"");
    let (a, b) = (t.numbers("a"), t.numbers("b"));
    for row in 0..3_000 {
        let expected = if (1_000..2_000).contains(&row) { b[999] } else { b[row] };
        assert_eq!(a[row], expected, "row {row}");
    }
}

#[test]
fn a_fault_of_the_sensor_shows_one_latency_later() {
    let a = format!("{FINE}latency = \"5 ms\"");
    let t = fault(STEADY, &a, "kind = \"jump\"\nat = \"1 s\"\nby = \"3 mm\"");
    let d = differences(&t);
    assert!((d[1_004] + 0.5).abs() <= STEP && (d[1_005] - 2.5).abs() <= STEP);
    assert_eq!(t.written.planted[0].at_ns, ms(1_000));
    assert_eq!(t.written.planted[0].first_row_ns, Some(ms(1_005)));
}

#[test]
fn a_jump_shifts_the_reading_while_it_lasts() {
    let t = fault(STEADY, FINE, "kind = \"jump\"\nat = \"1 s\"\nuntil = \"2 s\"\nby = \"-3 mm\"");
    for (row, d) in differences(&t).iter().enumerate() {
        let expected = if (1_000..2_000).contains(&row) { -3.0 } else { 0.0 };
        assert!((d - expected).abs() <= STEP, "row {row}: {d}");
    }
}

#[test]
fn lost_counts_are_the_given_share_of_the_travel_and_stay_lost() {
    let counter = "unit_per_count = \"0.001 mm\"\ncounter_bits = 32\n";
    let t =
        fault(STEADY, counter, "kind = \"lost-counts\"\nat = \"1 s\"\nuntil = \"2 s\"\nrate = \"12.5 %\"");
    let (a, b) = (t.numbers("a"), t.numbers("b"));
    let lost: Vec<f64> = a.iter().zip(&b).map(|(a, b)| b / 0.001 - a).collect();
    assert!(lost[..1_000].iter().all(|lost| lost.abs() <= 0.51));
    // 100 counts a row, 12.5 lost on average: 12 or 13 in each, so the sum of 1000 rows has a standard deviation of
    // sqrt(1000/4); five of them, and one count of resolution.
    assert!((lost[2_000] - 12_500.0).abs() <= 5.0 * 250f64.sqrt() + 1.0, "{}", lost[2_000]);
    assert!((lost[2_999] - lost[2_000]).abs() <= 1.0);
}

#[test]
fn lost_counts_need_motion() {
    let counter = "unit_per_count = \"0.001 mm\"\ncounter_bits = 32\n";
    let t = fault(OUT_AND_BACK, counter, "kind = \"lost-counts\"\nat = \"2.5 s\"\nrate = \"100 %\"");
    assert_eq!(t.numbers("a")[2_999], 10_000.0);
}

#[test]
fn a_source_that_loses_every_count_stands_still_in_both_directions() {
    let counter = "unit_per_count = \"0.001 mm\"\ncounter_bits = 32\nstart_count = 70\n";
    let t = fault(OUT_AND_BACK, counter, "kind = \"lost-counts\"\nat = \"0 s\"\nrate = \"100 %\"");
    assert!(t.text("a").iter().all(|count| *count == "70"));
}

#[test]
fn a_reversed_source_moves_against_the_truth_and_keeps_the_offset_afterwards() {
    let t = fault(STEADY, FINE, "kind = \"reversed\"\nat = \"1 s\"\nuntil = \"2 s\"");
    let (a, b) = (t.numbers("a"), t.numbers("b"));
    for row in 0..3_000 {
        let expected = match row {
            0..1_000 => b[row],
            1_000..2_000 => b[999] - (b[row] - b[999]),
            _ => b[999] - (b[1_999] - b[999]) + (b[row] - b[1_999]),
        };
        assert!((a[row] - expected).abs() <= 4.0 * STEP, "row {row}");
    }
}

#[test]
fn a_drift_grows_with_time_and_stays() {
    let t = fault(STEADY, FINE, "kind = \"drift\"\nat = \"1 s\"\nuntil = \"2 s\"\nspeed = \"2 mm/s\"");
    for (row, d) in differences(&t).iter().enumerate() {
        let expected = 2.0 * ((row as f64 - 1_000.0) / 1_000.0).clamp(0.0, 1.0);
        assert!((d - expected).abs() <= STEP, "row {row}: {d}");
    }
}

#[test]
fn a_slipping_coupling_leaves_the_source_behind() {
    let t = fault(STEADY, FINE, "kind = \"slip\"\nat = \"1 s\"\nby = \"4 mm\"\nover = \"500 ms\"");
    for (row, d) in differences(&t).iter().enumerate() {
        let expected = -4.0 * ((row as f64 - 1_000.0) / 500.0).clamp(0.0, 1.0);
        assert!((d - expected).abs() <= STEP, "row {row}: {d}");
    }
    assert_eq!(t.written.planted[0].until_ns, Some(ms(1_500)));
}

#[test]
fn a_slip_within_the_play_is_not_seen() {
    let a = format!("{FINE}backlash = \"1 mm\"");
    let rest = "[motion]\n";
    let t = fault(rest, &a, "kind = \"slip\"\nat = \"1 s\"\nby = \"0.4 mm\"\nover = \"500 ms\"");
    assert!(t.numbers("a").iter().all(|x| *x == 0.0));
}

#[test]
fn dropped_readings_repeat_the_last_one_with_its_capture_time_and_validity() {
    let a = format!("{FINE}capture_column = \"a_at\"\nvalid_column = \"a_ok\"");
    let faults = "kind = \"dropped\"\nat = \"1 s\"\nuntil = \"1.25 s\"\n\
        [[fault]]\nsource = \"a\"\nkind = \"invalid\"\nat = \"1.1 s\"\nuntil = \"1.5 s\"";
    let t = fault(STEADY, &a, faults);
    let (a, b, at) = (t.numbers("a"), t.numbers("b"), t.nanoseconds("a_at"));
    for row in 0..3_000 {
        let shown = if (1_000..1_250).contains(&row) { 999 } else { row };
        assert_eq!(a[row], b[shown], "row {row}");
        assert_eq!(at[row], ms(shown as i64), "row {row}");
        let invalid = (1_250..1_500).contains(&row);
        assert_eq!(t.text("a_ok")[row], if invalid { "0" } else { "1" }, "row {row}");
    }
    // The validity was withdrawn while nothing arrived: the first row to show it is the first reading after that.
    assert_eq!(t.written.planted[0].first_row_ns, Some(ms(1_000)));
    assert_eq!(t.written.planted[1].first_row_ns, Some(ms(1_250)));
}

#[test]
fn dropped_readings_of_a_sparse_source_leave_its_cell_empty() {
    let a = format!("{FINE}sparse = true");
    let t = fault(STEADY, &a, "kind = \"dropped\"\nat = \"0 s\"\nuntil = \"0.25 s\"");
    for (row, cell) in t.text("a").iter().enumerate() {
        assert_eq!(cell.is_empty(), row < 250, "row {row}");
    }
    assert_eq!(t.written.planted[0].first_row_ns, Some(0));
}

#[test]
fn a_growing_latency_repeats_the_last_sample_until_the_delayed_ones_catch_up() {
    let a = format!("{FINE}latency = \"2 ms\"");
    let t = fault(STEADY, &a, "kind = \"latency\"\nat = \"1 s\"\nuntil = \"2 s\"\nto = \"30 ms\"");
    let (a, b) = (t.numbers("a"), t.numbers("b"));
    for (row, reading) in a.iter().enumerate().skip(2) {
        let sampled = match row {
            1_000..2_000 => (row - 30).max(997),
            _ => row - 2,
        };
        assert_eq!(*reading, b[sampled], "row {row}");
    }
}

#[test]
fn an_invalid_source_keeps_the_right_value() {
    let a = format!("{FINE}valid_column = \"a_ok\"");
    let t = fault(STEADY, &a, "kind = \"invalid\"\nat = \"1 s\"\nuntil = \"2 s\"");
    for (row, ok) in t.text("a_ok").iter().enumerate() {
        assert_eq!(*ok == "0", (1_000..2_000).contains(&row), "row {row}");
    }
    assert_eq!(t.text("a"), t.text("b"));
}

#[test]
fn a_gap_leaves_rows_out_and_the_sources_run_on() {
    let gap = "[[fault]]\nkind = \"gap\"\nat = \"1 s\"\nuntil = \"1.5 s\"";
    let t = trace(STEADY, "3 s", FINE, gap);
    let whole = trace(STEADY, "3 s", FINE, "");
    assert_eq!(t.written.rows, 2_500);
    assert_eq!(t.rows[..1_000], whole.rows[..1_000]);
    assert_eq!(t.rows[1_000..], whole.rows[1_500..]);
    let fact = &t.written.planted[0];
    assert_eq!((fact.kind, fact.column.as_deref()), (PlantedKind::Gap, None));
    assert_eq!((fact.until_ns, fact.first_row_ns), (Some(ms(1_500)), Some(ms(1_500))));
}

#[test]
fn faults_of_one_source_add_up_and_never_touch_the_other() {
    let faults = "kind = \"jump\"\nat = \"1 s\"\nby = \"1 mm\"\n\
        [[fault]]\nsource = \"a\"\nkind = \"jump\"\nat = \"2 s\"\nby = \"2 mm\"";
    let t = fault(STEADY, FINE, faults);
    let d = differences(&t);
    assert!((d[1_500] - 1.0).abs() <= STEP && (d[2_500] - 3.0).abs() <= STEP);
    assert_eq!(t.text("b"), trace(STEADY, "3 s", FINE, "").text("b"));
}

#[test]
fn a_disturbance_moves_the_axis_so_both_sources_see_it() {
    let creep = "[[disturbance]]\nkind = \"creep\"\nat = \"1 s\"\nby = \"0.5 mm\"\nover = \"1 s\"\n\
        [[disturbance]]\nkind = \"vibration\"\nat = \"2.5 s\"\namplitude = \"0.1 mm\"\nfrequency = \"25 Hz\"";
    let t = trace("[motion]\n", "3 s", FINE, creep);
    assert_eq!(t.text("a"), t.text("b"));
    for (row, b) in t.numbers("b").iter().enumerate() {
        let creep = 0.5 * ((row as f64 - 1_000.0) / 1_000.0).clamp(0.0, 1.0);
        // Oracle: the platform's sine.
        let shake = (std::f64::consts::TAU * 25.0 * (row as f64 - 2_500.0) / 1_000.0).sin();
        let expected = creep + if row >= 2_500 { 0.1 * shake } else { 0.0 };
        assert!((b - expected).abs() <= STEP, "row {row}: {b} {expected}");
    }
    assert!((t.scenario.truth().at(ms(1_500)).speed - 0.5).abs() < 1e-12);
}

#[test]
fn a_fault_that_no_row_shows_says_so() {
    let a = format!("{FINE}latency = \"100 ms\"");
    let t = fault(STEADY, &a, "kind = \"jump\"\nat = \"2.95 s\"\nby = \"3 mm\"");
    assert_eq!(t.written.planted[0].first_row_ns, None);
}
