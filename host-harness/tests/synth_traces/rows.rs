//! Rows, columns, files, and the same bytes every time.

use std::fs;
use std::io::Read;
use std::path::PathBuf;

use super::support::{FINE, OUT_AND_BACK, STEADY, ms, read, scenario_text, trace};
use host_harness::synth::{PlantedKind, Scenario, create};

/// A scenario that uses every effect, every fault and every output option that changes bytes.
const EVERYTHING: &str = r#"
title = "everything at once"
note = "invented"
seed = 123456789
unit = "mm"
duration = "6 s"
rate = "3 kHz"
[motion]
start = "-12.5 mm"
speed = "333 mm/s"
acceleration = "2.7 m/s^2"
jerk = "31 m/s^3"
[[move]]
at = "0.25 s"
to = "612.34 mm"
[[move]]
at = "1.7 s"
to = "90 mm"
[[move]]
wait = "0.1 s"
speed = "-77 mm/s"
[[move]]
wait = "0.5 s"
speed = "0 mm/s"
[[disturbance]]
kind = "creep"
at = "5 s"
by = "0.7 mm"
over = "0.4 s"
[[disturbance]]
kind = "vibration"
at = "0.5 s"
until = "1.5 s"
amplitude = "0.05 mm"
frequency = "31 Hz"
[encoder.a]
column = "a"
unit_per_count = "0.0005 mm"
counter_bits = 20
start_count = 1048000
latency = "0.3 ms"
jitter = "40 us"
noise = "0.8 um"
backlash = "0.02 mm"
compliance = { by = "0.015 mm", per = "1 m/s^2" }
capture_column = "a_at"
capture_unit = "us"
valid_column = "a_ok"
[encoder.b]
column = "b"
column_unit = "um"
decimals = 2
period = "700 us"
phase = "100 us"
sparse = true
scale_error = "-120 ppm"
eccentricity = { amplitude = "0.03 mm", period = "80 mm", phase = "200 deg" }
noise = "0.2 um"
reversed = true
[[input]]
column = "door"
initial = 1
events = [{ at = "1.1 s", level = 0 }, { at = "3.3 s", level = 1 }]
bounce = { for = "4 ms", every = "0.7 ms" }
stuck_from = "3.302 s"
[[fault]]
kind = "lost-counts"
source = "a"
at = "0.9 s"
until = "1.3 s"
rate = "3 %"
[[fault]]
kind = "slip"
source = "b"
at = "1.0 s"
by = "1.5 mm"
over = "0.3 s"
[[fault]]
kind = "latency"
source = "a"
at = "1.4 s"
until = "1.5 s"
to = "9 ms"
[[fault]]
kind = "dropped"
source = "b"
at = "2 s"
until = "2.1 s"
[[fault]]
kind = "reversed"
source = "b"
at = "2.5 s"
until = "2.6 s"
[[fault]]
kind = "drift"
source = "a"
at = "3 s"
until = "3.5 s"
speed = "-4 mm/s"
[[fault]]
kind = "jump"
source = "b"
at = "3.6 s"
until = "3.8 s"
by = "2 mm"
[[fault]]
kind = "invalid"
source = "a"
at = "4 s"
until = "4.1 s"
[[fault]]
kind = "gap"
at = "4.2 s"
until = "4.25 s"
[[fault]]
kind = "stuck"
source = "a"
at = "5.5 s"
[output]
columns = ["time_ms", "door", "b", "a", "a_ok", "a_at"]
time_column = "time_ms"
time_unit = "ms"
time_decimals = 4
start_time = "10 s"
delimiter = ";"
decimal_comma = true
"#;

/// FNV-1a, 64 bits (offset basis and prime from memory of the published constants; any change of the bytes shows).
fn fingerprint(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

fn bytes(text: &str) -> Vec<u8> {
    let mut bytes = Vec::new();
    let scenario = Scenario::from_toml(text, "test.toml").unwrap_or_else(|error| panic!("{error}"));
    scenario.write(&mut bytes).expect("a trace");
    bytes
}

#[test]
fn the_same_scenario_gives_the_same_bytes_and_another_seed_gives_others() {
    let trace = bytes(EVERYTHING);
    assert_eq!(trace, bytes(EVERYTHING));
    assert_ne!(trace, bytes(&EVERYTHING.replace("123456789", "123456790")));
    assert_eq!(fingerprint(&trace), 0x9875_e7c9_e954_e525, "the bytes of a pinned scenario changed");
}

#[test]
fn every_fault_of_the_pinned_scenario_is_shown_by_a_row() {
    let mut out = Vec::new();
    let written =
        Scenario::from_toml(EVERYTHING, "e.toml").expect("a scenario").write(&mut out).expect("a trace");
    assert_eq!(written.planted.len(), 10 + 2 + 3);
    for fact in &written.planted {
        let first = fact.first_row_ns.unwrap_or_else(|| panic!("{fact} is not shown"));
        // The latest to show: an invalid or slow reading, at most 0.4 ms + one period of 0.7 ms + a row of 0.34 ms; a
        // gap shows at its end.
        let from = if fact.kind == PlantedKind::Gap { fact.until_ns.expect("an end") } else { fact.at_ns };
        assert!((from..from + 1_500_000).contains(&first), "{fact}: {first}");
    }
}

#[test]
fn the_number_of_rows_is_told_before_they_are_written() {
    for (rate, duration, rows) in
        [("1 kHz", "1 s", 1_000), ("3 kHz", "1 s", 3_000), ("3 kHz", "1.0001 s", 3_001), ("7 Hz", "0.1 s", 1)]
    {
        let text = scenario_text(STEADY, "1 s", FINE, "")
            .replace("1 kHz", rate)
            .replace("\"1 s\"", &format!("{duration:?}"));
        let text = text.replace("at = \"0.1 s\"", "at = \"0.01 s\"");
        let scenario = Scenario::from_toml(&text, "t.toml").unwrap_or_else(|error| panic!("{error}"));
        assert_eq!(scenario.rows(), rows, "{rate} {duration}");
        assert_eq!(read(scenario).rows.len() as u64, rows, "{rate} {duration}");
    }
}

#[test]
fn the_trace_calls_itself_invented_and_carries_title_and_note() {
    let text = bytes(EVERYTHING);
    let text = String::from_utf8(text).expect("text");
    let lines: Vec<&str> = text.lines().take(5).collect();
    assert_eq!(lines[..3], ["# invented data", "# everything at once", "# invented"]);
    assert_eq!(lines[3], "time_ms;door;b;a;a_ok;a_at");
    assert!(lines[4].starts_with("10000,0000;1;"), "{}", lines[4]);
    assert!(!text.contains('.'), "a decimal comma everywhere");
}

#[test]
fn time_is_written_in_the_unit_and_digits_asked_for() {
    for (output, second) in [
        ("", "0.001000000"),
        ("time_decimals = 3", "0.001"),
        ("time_unit = \"ms\"\ntime_decimals = 0", "1"),
        ("time_unit = \"us\"", "1000.000"),
        ("time_unit = \"ns\"\nstart_time = \"5 us\"", "1005000"),
        ("time_unit = \"ms\"\ntime_decimals = 2\nstart_time = \"5 us\"", "1.01"),
    ] {
        let t = trace(STEADY, "0.2 s", FINE, &format!("[output]\n{output}"));
        assert_eq!(t.text("time")[1], second, "{output}");
    }
}

#[test]
fn columns_stand_in_the_order_asked_for_with_the_same_content() {
    let input = "[[input]]\ncolumn = \"door\"\ninitial = 0\nevents = [{ at = \"0.1 s\", level = 1 }]\n";
    let plain = trace(STEADY, "0.3 s", FINE, input);
    let order = format!("{input}[output]\ncolumns = [\"door\", \"b\", \"time\", \"a\"]");
    let other = trace(STEADY, "0.3 s", FINE, &order);
    assert_eq!(plain.header, ["time", "a", "b", "door"]);
    assert_eq!(other.header, ["door", "b", "time", "a"]);
    for column in ["time", "a", "b", "door"] {
        assert_eq!(plain.text(column), other.text(column));
    }
    assert_eq!(plain.text("door").iter().position(|level| *level == "1"), Some(100));
}

#[test]
fn an_input_bounces_in_the_rows_after_its_change() {
    let input = "[[input]]\ncolumn = \"door\"\ninitial = 1\nevents = [{ at = \"0.1 s\", level = 0 }]\n\
        bounce = { for = \"7 ms\", every = \"2 ms\" }\n";
    let t = trace(STEADY, "0.3 s", FINE, input);
    assert_eq!(t.text("door")[98..110].concat(), "110011001000");
    let fact = &t.written.planted[0];
    assert_eq!((fact.kind, fact.at_ns), (PlantedKind::Level(0), ms(100)));
}

#[test]
fn a_compressed_file_holds_the_same_trace_and_is_the_same_file_every_time() {
    let scenario = Scenario::from_toml(EVERYTHING, "e.toml").expect("a scenario");
    let plain = bytes(EVERYTHING);
    let write = |name: &str| {
        let path = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(name);
        let mut sink = create(&path).expect("a file");
        scenario.write(&mut sink).expect("a trace");
        sink.finish().expect("a complete file");
        fs::read(&path).expect("the file")
    };
    assert_eq!(write("synth.csv"), plain);
    let gzip = write("synth.csv.gz");
    assert_eq!(gzip, write("synth2.csv.gz"));
    let mut unpacked = Vec::new();
    flate2::read::GzDecoder::new(gzip.as_slice()).read_to_end(&mut unpacked).expect("gzip");
    assert_eq!(unpacked, plain);
    let zstandard = write("synth.csv.zst");
    assert!(zstandard.len() < plain.len());
    assert_eq!(zstd::decode_all(zstandard.as_slice()).expect("zstd"), plain);
}

/// Oracle: closed form of the jerk-limited stop from v: if v >= a²/j, T = v/a + a/j, else T = 2 sqrt(v/j); s = v T / 2.
#[test]
fn a_stop_of_a_scenario_takes_the_time_and_distance_of_the_closed_form() {
    for (v, a, j, time, distance, tolerance) in [
        (2.0, 4.0, 40.0, 0.6, 0.6, 1e-12),
        (1.0, 4.0, 40.0, 0.35, 0.175, 1e-12),
        (0.25, 2.0, 20.0, 0.225, 0.028_125, 1e-12),
        // Irrational: two phases rounded to 1 ns, and nine digits of the expected value.
        (0.3, 4.0, 40.0, 0.173_205_081, 0.025_980_762, 1.5e-9),
    ] {
        let motion = format!(
            "[motion]\nacceleration = \"10 m/s^2\"\njerk = \"1000 m/s^3\"\n[[move]]\nspeed = \"{v} m/s\"\n\
             [[move]]\nat = \"1 s\"\nspeed = \"0 m/s\"\nacceleration = \"{a} m/s^2\"\njerk = \"{j} m/s^3\"\n"
        );
        let text = scenario_text(&motion, "2 s", FINE, "");
        let scenario = Scenario::from_toml(&text, "stop.toml").expect("a scenario");
        let truth = scenario.truth();
        // The speed alone vanishes below one rounding a little earlier; the acceleration reaches zero at the end.
        let at_rest = |t: &i64| (truth.at(*t).speed, truth.at(*t).acceleration) == (0.0, 0.0);
        let stopped = (0..1_000).map(|ns| ms(1_000) + (time * 1e9) as i64 - 500 + ns).find(at_rest);
        let stopped = stopped.expect("a stop");
        assert!(((stopped - ms(1_000)) as f64 * 1e-9 - time).abs() <= tolerance, "{v}: {stopped}");
        let travelled = (truth.at(ms(1_900)).position - truth.at(ms(1_000)).position) / 1_000.0;
        assert!((travelled - distance).abs() <= tolerance, "{v}: {travelled}");
    }
}

#[test]
fn a_move_that_breaks_off_another_continues_without_a_jump() {
    let motion = OUT_AND_BACK.replace("at = \"1.5 s\"", "at = \"0.13 s\"");
    let t = trace(&motion, "3 s", FINE, "");
    let positions = t.numbers("b");
    let largest = positions.windows(3).map(|p| (p[2] - 2.0 * p[1] + p[0]).abs()).fold(0.0, f64::max);
    // The second difference of rows 1 ms apart is at most 2 m/s² x (1 ms)², and two units of the last digit.
    assert!(largest <= 2_000.0 * 1e-6 + 2.1e-6, "{largest}");
    assert_eq!(positions[2_999], 10.0);
}
