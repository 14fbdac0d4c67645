//! Every effect of a source against its formula.

use super::support::{FINE, OUT_AND_BACK, REST, STEADY, ms, trace};
use host_harness::synth::Scenario;

/// Half of the last digit of a position column with six decimals, and some rounding of `f64`.
const FINE_STEP: f64 = 0.5001e-6;

#[test]
fn an_ideal_source_shows_the_true_position_within_half_a_step() {
    let counter = "unit_per_count = \"0.01 mm\"\ncounter_bits = 32\n";
    let t = trace(OUT_AND_BACK, "3 s", counter, "");
    for (row, (count, fine)) in t.numbers("a").iter().zip(t.numbers("b")).enumerate() {
        let truth = t.true_position(ms(row as i64));
        assert!((count * 0.01 - truth).abs() <= 0.005 + 1e-9, "row {row}");
        assert!((fine - truth).abs() <= FINE_STEP, "row {row}");
    }
    assert_eq!(t.numbers("a")[2_999], 1_000.0);
}

#[test]
fn at_constant_speed_a_latency_shifts_the_reading_by_speed_times_latency() {
    let t = trace(STEADY, "1 s", &format!("{FINE}latency = \"2.5 ms\""), "");
    let (a, b) = (t.numbers("a"), t.numbers("b"));
    for row in 300..1_000 {
        assert!((b[row] - a[row] - 100.0 * 0.0025).abs() <= 2.0 * FINE_STEP, "row {row}");
    }
}

#[test]
fn a_scale_error_grows_with_the_travel_from_the_start() {
    let motion = OUT_AND_BACK.replace("[motion]", "[motion]\nstart = \"-30 mm\"");
    let t = trace(&motion, "3 s", &format!("{FINE}scale_error = \"80 ppm\""), "");
    for (row, (a, b)) in t.numbers("a").iter().zip(t.numbers("b")).enumerate() {
        assert!((a - b - 80e-6 * (b + 30.0)).abs() <= 2.0 * FINE_STEP, "row {row}");
    }
    // 80 mm from the start: 6.4 um.
    assert!((t.numbers("a")[1_400] - 50.0064).abs() <= FINE_STEP);
}

#[test]
fn an_eccentricity_is_a_sine_of_the_position_with_its_amplitude_period_and_phase() {
    let ecc = "eccentricity = { amplitude = \"0.05 mm\", period = \"40 mm\", phase = \"30 deg\" }";
    let t = trace(STEADY, "1.2 s", &format!("{FINE}{ecc}"), "");
    let mut largest = 0.0f64;
    for (a, b) in t.numbers("a").iter().zip(t.numbers("b")) {
        // Oracle: the platform's sine.
        let expected = 0.05 * (std::f64::consts::TAU * (b / 40.0 + 30.0 / 360.0)).sin();
        assert!((a - b - expected).abs() <= 2.0 * FINE_STEP + 0.05 * 0.16 * FINE_STEP);
        largest = largest.max((a - b).abs());
    }
    assert!((largest - 0.05).abs() < 1e-5, "{largest}");
}

#[test]
fn after_a_reversal_the_source_rests_until_the_play_is_used_up() {
    let t = trace(OUT_AND_BACK, "3 s", &format!("{FINE}backlash = \"0.8 mm\""), "");
    let (a, b) = (t.numbers("a"), t.numbers("b"));
    assert!((a[1_400] - 49.6).abs() <= FINE_STEP, "half the play behind on the way out");
    for row in 1_500..3_000 {
        let expected = if b[row] > 49.2 { 49.6 } else { b[row] + 0.4 };
        assert!((a[row] - expected).abs() <= 2.0 * FINE_STEP, "row {row}");
    }
}

#[test]
fn a_compliance_displaces_the_reading_in_proportion_to_the_acceleration() {
    let compliance = "compliance = { by = \"0.02 mm\", per = \"1 m/s^2\" }";
    let t = trace(OUT_AND_BACK, "3 s", &format!("{FINE}{compliance}"), "");
    let mut largest = 0.0f64;
    for (row, (a, b)) in t.numbers("a").iter().zip(t.numbers("b")).enumerate() {
        let acceleration = t.scenario.truth().at(ms(row as i64)).acceleration;
        assert!((a - b - 0.02 * acceleration / 1_000.0).abs() <= 2.0 * FINE_STEP, "row {row}");
        largest = largest.max(a - b);
    }
    // The move reaches its limit of 2 m/s².
    assert!((largest - 0.04).abs() < 1e-5, "{largest}");
}

#[test]
fn a_counter_of_any_width_wraps_and_unwraps_to_the_true_counts() {
    for bits in 8..=64u32 {
        for signed in [false, true] {
            // One count below the wrap, so that every width passes it at once.
            let start = if signed { (1i128 << (bits - 1)) - 1 } else { (1i128 << bits) - 1 };
            let scale = format!(
                "unit_per_count = \"0.01 mm\"\ncounter_bits = {bits}\nsigned = {signed}\nstart_count = \"{start}\""
            );
            let t = trace(OUT_AND_BACK, "2.6 s", &scale, "");
            let modulus = 1i128 << bits;
            let (low, high) = if signed { (-modulus / 2, modulus / 2) } else { (0, modulus) };
            let mut unwrapped = 0i128;
            let mut wraps = 0;
            let mut before = start;
            for (row, cell) in t.text("a").iter().enumerate() {
                let count: i128 = cell.parse().expect("an integer");
                assert!((low..high).contains(&count), "{bits} bits: {count}");
                let step = (count - before + modulus / 2).rem_euclid(modulus) - modulus / 2;
                wraps += u32::from(step != count - before);
                unwrapped += step;
                before = count;
                let truth = t.true_position(ms(row as i64)) / 0.01;
                assert!((unwrapped as f64 - truth).abs() <= 0.5 + 1e-6, "{bits} bits, row {row}");
            }
            assert!(wraps >= 1, "{bits} bits");
        }
    }
}

#[test]
fn jitter_stays_within_its_bound_and_the_capture_time_tells_it() {
    let a = format!("{FINE}latency = \"1 ms\"\njitter = \"0.2 ms\"\ncapture_column = \"a_at\"");
    let t = trace(STEADY, "3 s", &a, "[output]\nstart_time = \"1 s\"");
    let (readings, captured, time) = (t.numbers("a"), t.nanoseconds("a_at"), t.nanoseconds("time"));
    let (mut least, mut most) = (i64::MAX, i64::MIN);
    for row in 0..3_000 {
        let error = captured[row] - (time[row] - ms(1));
        assert!(error.abs() <= 200_000, "row {row}: {error}");
        (least, most) = (least.min(error), most.max(error));
        let truth = t.true_position(captured[row] - ms(1_000));
        assert!((readings[row] - truth).abs() <= FINE_STEP, "row {row}");
    }
    // 3000 uniform draws miss the outer 1 % of one side with a probability of 0.995^3000 = 3e-7.
    assert!(least < -198_000 && most > 198_000, "{least} {most}");
}

#[test]
fn noise_has_mean_zero_and_the_rms_asked_for() {
    let t = trace(REST, "20 s", &format!("{FINE}noise = \"3 um\""), "");
    let readings = t.numbers("a");
    let n = readings.len() as f64;
    let mean = readings.iter().sum::<f64>() / n;
    let rms = (readings.iter().map(|x| x * x).sum::<f64>() / n).sqrt();
    // Five standard errors for n readings: of the mean rms/sqrt(n), of the rms rms x sqrt((2.9 - 1)/(4 n)), where 2.9
    // is the kurtosis of a sum of twelve uniform numbers.
    assert!(mean.abs() < 5.0 * 0.003 / n.sqrt(), "{mean}");
    assert!((rms / 0.003 - 1.0).abs() < 5.0 * (1.9 / (4.0 * n)).sqrt(), "{rms}");
    assert!(readings.iter().all(|x| x.abs() <= 6.0 * 0.003));
}

#[test]
fn noise_and_jitter_of_one_source_leave_the_other_alone() {
    let quiet = trace(STEADY, "1 s", FINE, "");
    let noisy = trace(STEADY, "1 s", &format!("{FINE}noise = \"3 um\"\njitter = \"0.2 ms\""), "");
    assert_eq!(quiet.text("b"), noisy.text("b"));
    assert_ne!(quiet.text("a"), noisy.text("a"));
}

#[test]
fn a_source_with_its_own_period_repeats_its_last_reading() {
    let a = format!("{FINE}period = \"4 ms\"\nphase = \"2 ms\"");
    let t = trace(STEADY, "1 s", &a, "");
    for (row, reading) in t.numbers("a").iter().enumerate() {
        let arrived = (row as i64 + 2).div_euclid(4) * 4 - 2;
        assert!((reading - t.true_position(ms(arrived))).abs() <= FINE_STEP, "row {row}");
    }
}

#[test]
fn a_sparse_source_leaves_its_cells_empty_between_readings() {
    let a = format!(
        "{FINE}period = \"4 ms\"\nphase = \"2 ms\"\nsparse = true\nlatency = \"1 ms\"\n\
         capture_column = \"a_at\"\nvalid_column = \"a_ok\""
    );
    let t = trace(STEADY, "1 s", &a, "[output]\nstart_time = \"1 s\"");
    for (row, cells) in t.rows.iter().enumerate() {
        // The first row shows the reading in force when the trace begins.
        let expected = row == 0 || row % 4 == 2;
        assert!(cells[1..4].iter().all(|cell| cell.is_empty() != expected), "row {row}: {cells:?}");
        if expected && row > 0 {
            assert_eq!(cells[2], format!("{}.{:03}000000", 1 + (row - 1) / 1_000, (row - 1) % 1_000));
            assert_eq!(cells[3], "1");
        }
    }
}

#[test]
fn readings_faster_than_the_rows_show_the_newest_one() {
    let t = trace(STEADY, "1 s", &format!("{FINE}period = \"300 us\""), "");
    for (row, reading) in t.numbers("a").iter().enumerate() {
        let arrived = ms(row as i64) / 300_000 * 300_000;
        assert!((reading - t.true_position(arrived)).abs() <= FINE_STEP, "row {row}");
    }
}

#[test]
fn a_reversed_source_counts_the_other_way() {
    let counter = "unit_per_count = \"0.001 mm\"\ncounter_bits = 24\nstart_count = 5\n";
    let plain = trace(STEADY, "1 s", counter, "").numbers("a");
    let reversed = trace(STEADY, "1 s", &format!("{counter}reversed = true"), "").numbers("a");
    for (row, (p, r)) in plain.iter().zip(&reversed).enumerate() {
        let back = if *r > 5.0 { r - f64::from(1 << 24) } else { *r };
        assert!((p - 5.0 + back - 5.0).abs() <= 1.0, "row {row}: {p} {r}");
    }
}

#[test]
fn a_rotary_axis_works_in_degrees_and_turns() {
    let text = "title = \"rotary\"\nseed = 1\nunit = \"deg\"\nperiod = \"1 ms\"\nduration = \"2 s\"\n\
        [motion]\nacceleration = \"10 rev/s^2\"\njerk = \"200 rev/s^3\"\n[[move]]\nspeed = \"1 rev/s\"\n\
        [encoder.a]\ncolumn = \"a\"\nunit_per_count = \"1/4096 rev\"\ncounter_bits = 16\n\
        [encoder.b]\ncolumn = \"b\"\ncolumn_unit = \"rev\"\ndecimals = 6\n";
    let t = super::support::read(Scenario::from_toml(text, "rotary.toml").expect("a scenario"));
    let truth = t.true_position(ms(1_999));
    // Closed form: from rest to v in T = v/a + a/j, during which v T / 2 is travelled.
    assert!((truth - 360.0 * (1.999 - 0.15 / 2.0)).abs() < 1e-5, "{truth}");
    assert_eq!(t.numbers("a")[1_999], (truth / 360.0 * 4096.0).round());
    assert!((t.numbers("b")[1_999] - truth / 360.0).abs() <= FINE_STEP);
}
