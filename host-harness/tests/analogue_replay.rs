//! A trace with analogue values, from its text to the verdict.

use std::fmt::Write;
use std::io::Cursor;
use std::path::Path;

use host_harness::expect::Expectations;
use host_harness::replay::{Apart, Fault, FaultKind, Outcome, ReplayError, TripRule, layout, replay};
use host_harness::report::{Report, text};
use host_harness::setup::Setup;
use host_harness::synth::Scenario;
use host_harness::trace::{Options, Prefetch, Reader};
use monitor_core::{AnalogueReading, Channel, Evidence, Instant, SourceFault, Value};

const HEAD: &str = r#"
title = "A press, invented"
unit  = "mm"
[time]
column = "t"
unit   = "ms"
[channel.a]
column         = "a"
counter_bits   = 32
unit_per_count = "0.001 mm"
max_speed      = "3 m/s"
timeout        = "50 ms"
[channel.b]
column         = "b"
counter_bits   = 32
unit_per_count = "0.001 mm"
max_speed      = "3 m/s"
timeout        = "50 ms"
[speed]
window = "8 ms"
"#;

const TORQUE: &str = r#"
[analogue.torque]
columns          = ["torque_1", "torque_2"]
unit             = "%"
low              = "-300 %"
high             = "300 %"
timeout          = "4 ms"
tolerance        = "5 %"
discrepancy_time = "3 ms"
"#;

const PRESSES: &str = r#"
[[monitor]]
name     = "presses no harder"
kind     = "torque-limit"
of       = "torque"
limit    = "80 %"
on_delay = "2 ms"
"#;

fn setup(sections: &[&str]) -> Setup {
    let text = format!("{HEAD}{}", sections.concat());
    Setup::parse(&text, "axis.toml").unwrap_or_else(|error| panic!("{}", error.render(false)))
}

/// A trace of rows a millisecond apart: the axis stands, and `cells` are those of the two lines.
fn trace(columns: &str, rows: u32, cells: impl Fn(u32) -> String) -> String {
    let mut text = format!("t,a,b,{columns}\n");
    for row in 0..rows {
        writeln!(text, "{row},0,0,{}", cells(row)).unwrap();
    }
    text
}

fn reader_with(setup: &Setup, text: &str, options: Options) -> Reader {
    let stream = Cursor::new(text.as_bytes().to_vec());
    Reader::from_read("t.csv", stream, &layout(setup).unwrap(), options).unwrap()
}

fn reader(setup: &Setup, text: &str) -> Reader {
    reader_with(setup, text, Options::default())
}

fn try_played(setup: &Setup, text: &str) -> Result<Outcome, ReplayError> {
    let straight = replay(setup, &mut reader(setup, text), &mut |_| {});
    let ahead = replay(setup, &mut Prefetch::start(reader(setup, text)).unwrap(), &mut |_| {});
    if let (Ok(straight), Ok(ahead)) = (&straight, &ahead) {
        assert_eq!(straight, ahead, "a thread of its own makes no difference");
    }
    straight
}

fn played(setup: &Setup, text: &str) -> Outcome {
    try_played(setup, text).unwrap_or_else(|error| panic!("{error}"))
}

fn at(ms: u64) -> Instant {
    Instant::from_nanos(ms * 1_000_000)
}

fn value(units: i64) -> Value {
    Value::from_int(units).unwrap()
}

/// Each fault: what, from and to in ms, frames.
fn faults(outcome: &Outcome) -> Vec<(FaultKind, u64, u64, u64)> {
    let ms = |at: Instant| at.as_nanos() / 1_000_000;
    let shown = |fault: &Fault| (fault.kind, ms(fault.from), ms(fault.to), fault.frames);
    outcome.faults.kept.iter().map(shown).collect()
}

#[test]
fn a_torque_beyond_its_limit_trips_on_both_lines_at_the_row_at_which_the_on_delay_ends() {
    let setup = setup(&[TORQUE, PRESSES]);
    // 10 % more in every row: 80 % at 8 ms is allowed, 90 % at 9 ms is not, and 2 ms later it trips. The second line is 1 % less.
    let text = trace("torque_1,torque_2", 20, |row| format!("-{}.0,-{}.0", row * 10, row * 10 - row.min(1)));
    let outcome = played(&setup, &text);
    let seen: Vec<_> =
        outcome.trips.kept.iter().map(|trip| (trip.rule, trip.violated_since, trip.tripped_at)).collect();
    assert_eq!(
        seen,
        [
            (TripRule::Monitor(0, Channel::A), at(9), at(11)),
            (TripRule::Monitor(0, Channel::B), at(9), at(11)),
        ]
    );
    let [a, b] = [0, 1].map(|i| match outcome.trips.kept[i].evidence {
        Evidence::Value(bound) => (bound.observed, bound.limit),
        other => panic!("{other:?}"),
    });
    assert_eq!((a, b), ((value(110), value(80)), (value(109), value(80))));
    // Of A the limit is met at 8 ms exactly; of B one tenth of the way later.
    assert_eq!(outcome.trips.kept[0].crossed_at, at(8));
    assert_eq!(outcome.trips.kept[1].crossed_at, Instant::from_nanos(8_100_000));
    assert!(outcome.faults.is_empty());

    let shown = text_of(&setup, &outcome);
    for line in [
        "  0.011 s  channel a  presses no harder (torque-limit)",
        "      110.0000 %, allowed 80.0000 %, 30.0000 % too much",
        "      channel b tripped at the same frame",
    ] {
        assert!(shown.contains(line), "{line}\n{shown}");
    }
    assert!(shown.contains("-110.0000 %"), "the headroom\n{shown}");
    let report = json(&setup, &outcome);
    assert_eq!(
        (report["trips"][1]["quantity"].as_str(), report["trips"][1]["unit"].as_str()),
        (Some("value"), Some("%"))
    );
    assert_eq!(report["trips"][1]["observed"].as_f64(), Some(109.0));
    assert_eq!(report["monitors"][0]["unit"].as_str(), Some("%"));
}

fn text_of(setup: &Setup, outcome: &Outcome) -> String {
    text(setup, outcome, "t.csv", 0)
}

fn json(setup: &Setup, outcome: &Outcome) -> serde_json::Value {
    serde_json::to_value(Report::new(setup, outcome, "t.csv", 0)).unwrap()
}

#[test]
fn a_torque_at_its_limit_never_trips() {
    let outcome = played(
        &setup(&[TORQUE, PRESSES]),
        &trace("torque_1,torque_2", 20, |row| if row % 2 == 0 { "80,-80" } else { "-80,-80.0" }.to_owned()),
    );
    let analogue = |rule| matches!(rule, TripRule::Monitor(..));
    assert!(!outcome.trips.kept.iter().any(|trip| analogue(trip.rule)), "{:?}", outcome.trips);
}

#[test]
fn lines_that_are_apart_for_longer_than_the_discrepancy_time_trip_once_and_a_shorter_time_does_not() {
    let setup = setup(&[TORQUE, PRESSES]);
    let apart = |from: u32, to: u32| {
        let text = trace("torque_1,torque_2", 30, |row| match (from..to).contains(&row) {
            true => "10.5,5.25".to_owned(),
            false => "10,5".to_owned(),
        });
        played(&setup, &text)
    };
    assert!(apart(10, 13).trips.is_empty(), "from 10 to 12 ms is not 3 ms");
    let outcome = apart(10, 14);
    let [trip] = outcome.trips.kept.as_slice() else { panic!("{:?}", outcome.trips) };
    assert_eq!((trip.rule, trip.violated_since, trip.tripped_at), (TripRule::Analogue(0), at(10), at(13)));
    let shown = text_of(&setup, &outcome);
    for line in [
        "  0.013 s  channel both  torque (analogue-discrepancy)",
        "      5.2500 %, allowed 5.0000 %, 0.2500 % too far apart",
    ] {
        assert!(shown.contains(line), "{line}\n{shown}");
    }
    let report = json(&setup, &outcome);
    assert_eq!(report["trips"][0]["monitor"].as_str(), Some("torque"));
    assert_eq!(report["trips"][0]["unit"].as_str(), Some("%"));
}

#[test]
fn how_far_the_lines_of_an_analogue_value_came_apart_is_told_also_when_nothing_tripped() {
    let setup = setup(&[TORQUE, PRESSES]);
    // 4.5 of 5 % apart at row 7, and 4 % at all others but the first; the row with a fault is not compared.
    let cells = |row: u32| match row {
        0 => "0,0".to_owned(),
        7 => "1,5.5".to_owned(),
        12 => "300.5,0".to_owned(),
        _ => "-2,2".to_owned(),
    };
    let outcome = played(&setup, &trace("torque_1,torque_2", 20, cells));
    let of_bits = |halves: i64| Value::from_bits(halves << 23);
    let apart = Apart { largest: (of_bits(9), at(7)), headroom: (of_bits(1), at(7)) };
    assert_eq!(outcome.analogue_discrepancies, [Some(apart)]);
    let line = "\nDiscrepancy of torque: at most 4.5000 % (at 0.007 s), headroom 0.5000 % (at 0.007 s)\n";
    let shown = text_of(&setup, &outcome);
    assert!(shown.contains(line), "{shown}");
    let report = &json(&setup, &outcome)["analogues"][0];
    assert_eq!(
        (report["name"].as_str(), report["discrepancy"]["unit"].as_str()),
        (Some("torque"), Some("%"))
    );
    assert_eq!(report["discrepancy"]["headroom"].as_f64(), Some(0.5));
    // One line that is never plausible: nothing to compare.
    let outcome = played(&setup, &trace("torque_1,torque_2", 20, |_| "301,0".to_owned()));
    assert_eq!(outcome.analogue_discrepancies, [None]);
    let shown = text_of(&setup, &outcome);
    assert!(
        shown.contains("\nDiscrepancy of torque: never compared, at no frame were both lines known\n"),
        "{shown}"
    );
}

#[test]
fn the_crossing_of_a_discrepancy_of_lines_is_interpolated() {
    let setup = setup(&[TORQUE, PRESSES]);
    // 1 % apart at 9 ms and 9 % at 10 ms: 5 % in the middle.
    let cells = |row: u32| if row < 10 { "0,1" } else { "0,9" }.to_owned();
    let outcome = played(&setup, &trace("torque_1,torque_2", 20, cells));
    let [trip] = outcome.trips.kept.as_slice() else { panic!("{:?}", outcome.trips) };
    assert_eq!((trip.crossed_at, trip.violated_since), (Instant::from_nanos(9_500_000), at(10)));
}

#[test]
fn a_line_without_a_new_value_for_longer_than_the_timeout_is_stale_until_the_next() {
    let sparse = TORQUE.to_owned() + "sparse = true\n";
    let setup = setup(&[&sparse, PRESSES]);
    // The last value of the second line before the hole is that of 9 ms: at 14 ms it is 5 ms old.
    let text =
        trace("torque_1,torque_2", 30, |row| if (10..20).contains(&row) { "1," } else { "1,1" }.to_owned());
    let outcome = played(&setup, &text);
    let stale = FaultKind::Analogue(0, Channel::B, SourceFault::Stale, None);
    assert_eq!(faults(&outcome), [(stale, 14, 19, 6)]);
    assert_eq!(outcome.permit_lost_at(), Some(at(14)));
    assert!(!outcome.permit_at_last, "latched until a reset");
    assert!(outcome.trips.is_empty());
    let shown = text_of(&setup, &outcome);
    assert!(shown.starts_with("FAULT"), "{shown}");
    assert!(shown.contains("  0.014 s  line b of torque  stale, 6 frames until 0.019 s"), "{shown}");
    let fault = &json(&setup, &outcome)["faults"][0];
    assert_eq!(
        ["kind", "channel", "analogue"].map(|key| fault[key].as_str()),
        [Some("stale"), Some("b"), Some("torque")]
    );
}

#[test]
fn a_value_outside_the_plausible_range_is_a_fault_of_its_line_alone_and_not_compared() {
    let setup = setup(&[TORQUE, PRESSES]);
    let text =
        trace("torque_1,torque_2", 20, |row| if row == 10 { "300.001,0" } else { "0,-0.5" }.to_owned());
    let outcome = played(&setup, &text);
    let reading =
        AnalogueReading { captured_at: at(10), value: Some(Value::from_bits(300_001 * (1 << 24) / 1000)) };
    let range = FaultKind::Analogue(0, Channel::A, SourceFault::Range, Some(reading));
    assert_eq!(faults(&outcome), [(range, 10, 10, 1)]);
    assert!(outcome.trips.is_empty(), "{:?}", outcome.trips);
    assert!(outcome.monitors.iter().all(|facts| facts.exceeded == 0), "{:?}", outcome.monitors);
    let shown = text_of(&setup, &outcome);
    let line = "  0.01 s  line a of torque  range\n      reading 300.0010 %, captured 0.01 s; plausible are -300 % to 300 %\n";
    assert!(shown.contains(line), "{shown}");
    let fault = &json(&setup, &outcome)["faults"][0];
    assert_eq!(
        (fault["reading"]["value"].as_f64(), fault["reading"]["captured_s"].as_f64()),
        (Some(300.001), Some(0.01))
    );
    // The end itself is plausible, and then it is a torque beyond its limit.
    let text = text.replace("300.001", "300");
    let outcome = played(&setup, &text);
    assert!(outcome.faults.is_empty());
    assert_eq!(outcome.monitors[0].exceeded, 1);
}

#[test]
fn a_temperature_is_held_against_its_limit_with_its_sign_below_zero() {
    let winding = r#"
[analogue.winding]
columns          = ["winding_1", "winding_2"]
unit             = "degC"
low              = "-60 degC"
high             = "200 degC"
timeout          = "100 ms"
tolerance        = "5 degC"
discrepancy_time = "10 ms"
[[monitor]]
name  = "stays frozen"
kind  = "temperature-limit"
of    = "winding"
limit = "-10 degC"
"#;
    let setup = setup(&[winding]);
    let text = trace("winding_1,winding_2", 20, |row| {
        let line = |above: u32| f64::from(row + above) / 2.0 - 18.0;
        format!("{:.2},{:.2}", line(0), line(1))
    });
    let outcome = played(&setup, &text);
    let seen: Vec<_> = outcome.trips.kept.iter().map(|trip| (trip.rule, trip.tripped_at)).collect();
    // -10 degC is met by A at 16 ms and by B at 15 ms: both are beyond it a row later.
    assert_eq!(
        seen,
        [(TripRule::Monitor(0, Channel::B), at(16)), (TripRule::Monitor(0, Channel::A), at(17)),]
    );
    let shown = text_of(&setup, &outcome);
    assert!(shown.contains("      -9.5000 degC, allowed -10.0000 degC, 0.5000 degC too hot"), "{shown}");
}

#[test]
fn a_range_of_torques_trips_at_either_end_with_its_sign() {
    let holds = r#"
[[monitor]]
name = "holds the load"
kind = "torque-range"
of   = "torque"
low  = "10 %"
high = "60 %"
"#;
    let setup = setup(&[TORQUE, holds]);
    let tripped = |cells: &'static str| {
        let text =
            trace("torque_1,torque_2", 10, |row| if row < 5 { "10,60" } else { cells }.to_owned() + "\n");
        // The lines are far apart on purpose: only the monitor is looked at.
        let outcome = played(&setup, &text);
        let of_monitor = |trip: &&host_harness::replay::Trip| matches!(trip.rule, TripRule::Monitor(..));
        outcome.trips.kept.iter().find(of_monitor).map(|trip| (trip.rule, trip.tripped_at))
    };
    assert_eq!(tripped("10,60"), None);
    assert_eq!(tripped("9.9999,60"), Some((TripRule::Monitor(0, Channel::A), at(5))));
    assert_eq!(tripped("10,60.0001"), Some((TripRule::Monitor(0, Channel::B), at(5))));
    assert_eq!(tripped("-10,60"), Some((TripRule::Monitor(0, Channel::A), at(5))));
}

#[test]
fn a_latency_makes_a_value_older_and_the_first_row_reaches_back_by_it() {
    let late = TORQUE.to_owned() + "latency = \"1.5 ms\"\n";
    let setup = setup(&[&late]);
    let text = trace("torque_1,torque_2", 2, |row| format!("{row},2"));
    let mut reader = reader(&setup, &text);
    let mut batch = Vec::new();
    assert!(reader.next_batch(&mut batch).unwrap());
    assert_eq!(reader.summary().origin_ns, -1_500_000);
    let seen: Vec<_> =
        reader.offered().iter().map(|one| (one.frame, one.of, one.channel, one.reading)).collect();
    let reading = |ms, units| AnalogueReading { captured_at: at(ms), value: Some(value(units)) };
    assert_eq!(
        seen,
        [
            (0, 0, Channel::A, reading(0, 0)),
            (0, 0, Channel::B, reading(0, 2)),
            (1, 0, Channel::A, reading(1, 1)),
            (1, 0, Channel::B, reading(1, 2)),
        ]
    );
    assert_eq!(batch[0].now, Instant::from_nanos(1_500_000));
    // 1.5 ms old when it comes: two rows more make 3.5 ms, three 4.5 ms.
    let sparse = late + "sparse = true\n";
    let setup = self::setup(&[&sparse]);
    let text = trace("torque_1,torque_2", 8, |row| if row == 0 { "0,0" } else { ",0" }.to_owned());
    let outcome = played(&setup, &text);
    let [fault] = outcome.faults.kept.as_slice() else { panic!("{:?}", outcome.faults) };
    assert_eq!(outcome.time_ns(fault.from), 3_000_000);
}

#[test]
fn an_evaluation_at_a_period_of_its_own_has_the_newest_values() {
    let cycle = HEAD.replacen("unit  = \"mm\"", "unit  = \"mm\"\ncycle = \"3 ms\"", 1);
    let setup = Setup::parse(&format!("{cycle}{TORQUE}{PRESSES}"), "axis.toml").unwrap();
    // Between two evaluations it presses too hard; at 21 ms and from then on it does so at each of them.
    let hard = |row: u32| row % 3 == 1 || row >= 21;
    let text = trace("torque_1,torque_2", 40, |row| if hard(row) { "81,81" } else { "79,79.5" }.to_owned());
    let outcome = played(&setup, &text);
    let seen: Vec<_> =
        outcome.trips.kept.iter().map(|trip| (trip.rule, trip.violated_since, trip.tripped_at)).collect();
    assert_eq!(
        seen,
        [
            (TripRule::Monitor(0, Channel::A), at(21), at(24)),
            (TripRule::Monitor(0, Channel::B), at(21), at(24)),
        ]
    );
    // Rows that are further apart than the period: no new value comes, and the last one holds.
    let sparse = setup_with_cycle_of_one();
    let text = trace("torque_1,torque_2", 12, |row| format!("{row},{row}")).lines().fold(
        String::new(),
        |text, line| match line.split(',').next().and_then(|t| t.parse::<u32>().ok()) {
            Some(t) if t % 3 != 0 => text,
            _ => text + line + "\n",
        },
    );
    let outcome = played(&sparse, &text);
    assert_eq!(outcome.frames, 10);
    assert!(outcome.faults.is_empty(), "{:?}", outcome.faults);
}

#[test]
fn readings_of_a_line_that_a_newer_one_replaced_before_the_next_evaluation_are_counted() {
    let cycle = HEAD.replacen("unit  = \"mm\"", "unit  = \"mm\"\ncycle = \"3 ms\"", 1);
    let winding = TORQUE.replace("torque", "winding");
    let sparse = |section: &str| format!("{section}sparse = true\n");
    let text = format!("{cycle}{}{}{PRESSES}", sparse(TORQUE), sparse(&winding));
    let setup = Setup::parse(&text, "axis.toml").unwrap();
    // Evaluated at 0, 3, 6 and 9 ms. Of the first line of the winding those of 1, 2, 4, 5, 7 and 8 ms are replaced, and that of 10 ms comes
    // too late. Its second line has none at 2, 3, 5 and 6 ms: those of 1 and 4 ms are seen, those of 7 and 8 ms replaced.
    let text = trace("torque_1,torque_2,winding_1,winding_2", 11, |row| {
        let second = if [2, 3, 5, 6].contains(&row) { "" } else { "7" };
        let torque = if row % 3 == 0 { "1,1" } else { "," };
        format!("{torque},7,{second}")
    });
    let outcome = played(&setup, &text);
    assert!(outcome.faults.is_empty(), "{:?}", outcome.faults);
    let rows = outcome.rows.as_ref().expect("rows behind the frames");
    assert_eq!(rows.analogues_passed_over, [[0, 0], [7, 3]]);
    let shown = text_of(&setup, &outcome);
    let line = "           7 readings on line a and 3 on b of winding were passed over\n";
    assert!(shown.contains(line) && !shown.contains("on b of torque"), "{shown}");
    let report = json(&setup, &outcome);
    let of = |i: usize| {
        let analogue = &report["trace"]["rows"]["analogues"][i];
        let count = |key: &str| analogue[key].as_u64();
        (analogue["name"].as_str(), count("passed_over_a"), count("passed_over_b"))
    };
    assert_eq!([of(0), of(1)], [(Some("torque"), Some(0), Some(0)), (Some("winding"), Some(7), Some(3))]);
}

fn setup_with_cycle_of_one() -> Setup {
    let cycle = HEAD.replacen("unit  = \"mm\"", "unit  = \"mm\"\ncycle = \"1 ms\"", 1);
    Setup::parse(&format!("{cycle}{TORQUE}{PRESSES}"), "axis.toml").unwrap()
}

#[test]
fn values_reach_every_frame_of_a_trace_that_is_longer_than_a_batch() {
    let setup = setup(&[TORQUE, PRESSES]);
    // Beyond the limit from 9000 ms on, in the third batch.
    let text = trace("torque_1,torque_2", 10_000, |row| if row < 9_000 { "1,1" } else { "90,90" }.to_owned());
    let outcome = played(&setup, &text);
    assert!(outcome.faults.is_empty(), "{:?}", outcome.faults);
    let seen: Vec<_> = outcome.trips.kept.iter().map(|trip| trip.tripped_at).collect();
    assert_eq!(seen, [at(9_002), at(9_002)]);
    let cycled = Setup { cycle: setup_with_cycle_of_one().cycle, ..setup };
    let seen: Vec<_> = played(&cycled, &text).trips.kept.iter().map(|trip| trip.tripped_at).collect();
    assert_eq!(seen, [at(9_002), at(9_002)]);
}

#[test]
fn a_fault_of_a_position_source_does_not_matter_to_a_torque() {
    let setup = setup(&[TORQUE, PRESSES]);
    // The counter of channel A jumps by a metre at 12 ms; the torque is beyond its limit from 11 ms on.
    let text = trace("torque_1,torque_2", 20, |row| if row < 11 { "1,1" } else { "90,90" }.to_owned())
        .replace("12,0,0,", "12,1000000,0,");
    let outcome = played(&setup, &text);
    let [fault] = outcome.faults.kept.as_slice() else { panic!("{:?}", outcome.faults) };
    assert!(matches!(fault.kind, FaultKind::Channel(Channel::A, SourceFault::Implausible, _)), "{fault:?}");
    let a = outcome.trips.kept.iter().find(|trip| trip.rule == TripRule::Monitor(0, Channel::A));
    let a = a.expect("a trip on channel a");
    assert_eq!(a.tripped_at, at(13));
    // From 1 to 90 % within the millisecond: 79/89 of it, for the crossing as for channel B.
    let b = outcome.trips.kept.iter().find(|trip| trip.rule == TripRule::Monitor(0, Channel::B));
    assert_eq!(Some(a.crossed_at), b.map(|trip| trip.crossed_at));
    assert!((10_887_000..10_888_000).contains(&a.crossed_at.as_nanos()), "{a:?}");
}

#[test]
fn a_line_that_never_has_a_value_gives_no_verdict() {
    let sparse = TORQUE.to_owned() + "sparse = true\n";
    let setup = setup(&[&sparse, PRESSES]);
    let error = try_played(&setup, &trace("torque_1,torque_2", 3, |_| "1,".to_owned())).unwrap_err();
    assert_eq!(
        error.to_string(),
        "column `torque_2`: the line of [analogue.torque] has no reading in the whole trace; check the column, and `sparse`, in the setup"
    );
}

#[test]
fn bad_values_are_refused_with_their_place() {
    let setup = setup(&[TORQUE]);
    for (cell, message) in [
        ("", "t.csv:3:9: column `torque_2`: the cell is empty"),
        ("hot", "t.csv:3:9: column `torque_2`: \"hot\" is not a number"),
        ("NaN", "t.csv:3:9: column `torque_2`: \"NaN\" is not a finite number"),
        ("-inf", "t.csv:3:9: column `torque_2`: \"-inf\" is not a finite number"),
        ("1e12", "t.csv:3:9: column `torque_2`: \"1e12\" is beyond the range of values, -2^39 up to 2^39 %"),
        ("549755813888", "t.csv:3:9: column `torque_2`: \"549755813888\" is beyond the range of values"),
    ] {
        let text = format!("t,a,b,torque_1,torque_2\n0,0,0,1,1\n1,0,0,1,{cell}\n");
        let error = try_played(&setup, &text).unwrap_err().to_string();
        assert!(error.starts_with(message), "{cell}: {error}");
    }
    // A bad row that is left out leaves no value behind: the next row has the first one.
    let text = "t,a,b,torque_1,torque_2\n0,0,0,7,hot\n1,0,0,8,9\n";
    let mut reader = reader_with(&setup, text, Options { skip_bad: true });
    let mut batch = Vec::new();
    assert!(reader.next_batch(&mut batch).unwrap());
    let seen: Vec<_> = reader.offered().iter().map(|one| (one.frame, one.reading.value)).collect();
    assert_eq!((batch.len(), seen), (1, vec![(0, Some(value(8))), (0, Some(value(9)))]));
    assert_eq!(reader.skipped().total(), 1);
}

#[test]
fn a_reading_that_is_marked_invalid_is_a_fault_of_its_line_whatever_its_cell_says() {
    let flagged = TORQUE.to_owned() + "valid_columns = [\"ok_1\", \"ok_2\"]\n";
    let setup = setup(&[&flagged, PRESSES]);
    let text = trace("torque_1,ok_1,torque_2,ok_2", 30, |row| match row {
        10..13 => "1,true,nan,0".to_owned(),
        20 => ",False,1,1".to_owned(),
        _ => "1,1,1,1.0".to_owned(),
    });
    let outcome = played(&setup, &text);
    let invalid = |line, ms| {
        let reading = AnalogueReading { captured_at: at(ms), value: None };
        FaultKind::Analogue(0, line, SourceFault::Invalid, Some(reading))
    };
    assert_eq!(
        faults(&outcome),
        [(invalid(Channel::B, 10), 10, 12, 3), (invalid(Channel::A, 20), 20, 20, 1)]
    );
    assert_eq!((outcome.permit_lost_at(), outcome.permit_at_last), (Some(at(10)), false), "latched");
    assert!(outcome.trips.is_empty(), "{:?}", outcome.trips);
    let shown = text_of(&setup, &outcome);
    let line = "  0.01 s  line b of torque  invalid, 3 frames until 0.012 s\n      reading marked invalid, captured 0.01 s";
    assert!(shown.contains(line), "{shown}");
    let fault = &json(&setup, &outcome)["faults"][0];
    assert_eq!((fault["kind"].as_str(), fault["channel"].as_str()), (Some("invalid"), Some("b")));
    assert!(fault["reading"]["value"].is_null(), "{fault}");
    let met = "verdict = \"fault\"\n[[fault]]\nkind = \"invalid\"\nanalogue = \"torque\"\nchannel = \"b\"\n\
               [[fault]]\nkind = \"invalid\"\nanalogue = \"torque\"\nchannel = \"a\"\n";
    assert_eq!(misses(&setup, &outcome, "invalid", met), Ok(Vec::new()));
}

#[test]
fn one_column_may_mark_both_lines_and_an_empty_cell_of_a_sparse_value_leaves_its_flag_open() {
    let flagged = TORQUE.to_owned() + "sparse = true\nvalid_columns = [\"ok\", \"ok\"]\n";
    let setup = setup(&[&flagged]);
    // The flag may stay empty where neither line has a value; a 0 is an invalid reading also there.
    let text = trace("torque_1,torque_2,ok", 9, |row| match row {
        0 | 3 => "1,1,1".to_owned(),
        1 => ",1,1".to_owned(),
        6 => ",,0".to_owned(),
        8 => "1,1,1".to_owned(),
        _ => ",,".to_owned(),
    });
    let mut reader = reader(&setup, &text);
    reader.next_batch(&mut Vec::new()).unwrap();
    let seen: Vec<_> = (reader.offered().iter())
        .map(|one| (one.frame, one.channel, one.reading.captured_at, one.reading.value))
        .collect();
    let (a, b, one) = (Channel::A, Channel::B, Some(value(1)));
    assert_eq!(
        seen,
        [
            (0, a, at(0), one),
            (0, b, at(0), one),
            (1, b, at(1), one),
            (3, a, at(3), one),
            (3, b, at(3), one),
            (6, a, at(6), None),
            (6, b, at(6), None),
            (8, a, at(8), one),
            (8, b, at(8), one),
        ]
    );
    // A value needs its flag.
    let text = trace("torque_1,torque_2,ok", 3, |row| if row == 1 { "1,1," } else { "1,1,1" }.to_owned());
    let error = try_played(&setup, &text).expect_err("an empty flag").to_string();
    assert!(error.starts_with("t.csv:3:11: column `ok`: the cell is empty; "), "{error}");
    let error = try_played(&setup, &text.replace("1,1,\n", "1,1,high\n")).expect_err("no flag").to_string();
    assert!(
        error.starts_with(
            "t.csv:3:11: column `ok`: \"high\" says neither valid nor invalid; write 0 or false for invalid"
        ),
        "{error}"
    );
    let missing = text.replace("torque_2,ok", "torque_2,okay");
    let stream = Cursor::new(missing.into_bytes());
    let error = Reader::from_read("t.csv", stream, &layout(&setup).unwrap(), Options::default());
    let error = error.map(|_| ()).expect_err("no such column").to_string();
    assert!(error.starts_with("t.csv:1: there is no column `ok`"), "{error}");
}

#[test]
fn the_header_and_the_row_of_units_are_held_against_the_setup() {
    let setup = setup(&[TORQUE]);
    let layout = layout(&setup).unwrap();
    let open = |text: &str| {
        let mut reader =
            Reader::from_read("t.csv", Cursor::new(text.as_bytes().to_vec()), &layout, Options::default())
                .map_err(|error| error.to_string())?;
        reader.next_batch(&mut Vec::new()).map_err(|error| error.to_string())
    };
    let missing = open("t,a,b,torque_1,torque_3\n").unwrap_err();
    assert!(
        missing.contains(
            "there is no column `torque_2` that `[analogue.torque]` asks for, did you mean `torque_"
        ),
        "{missing}"
    );
    let units = |torque: &str| open(&format!("t,a,b,torque_1,torque_2\n[ms],-,-,[%],{torque}\n0,0,0,1,1\n"));
    assert_eq!(units("%"), Ok(true));
    assert_eq!(units(""), Ok(true));
    // Another possible one, a multiple that no setup can name, another way of writing one, and what is none.
    for found in ["Nm", "kNm", "N.m", "bar"] {
        assert_eq!(
            units(&format!("[{found}]")).unwrap_err(),
            format!(
                "t.csv:2:14: column `torque_2` is in {found} by the row of units, in % by the setup; an analogue value is in \
                 Nm (or N m, N\u{b7}m), % or degC (or \u{b0}C): name the same one in the setup and in the row of units, and \
                 record the column in it"
            )
        );
    }
}

/// What a replay misses of expectations, or why these cannot be used.
fn misses(setup: &Setup, outcome: &Outcome, name: &str, expectations: &str) -> Result<Vec<String>, String> {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("analogue-{name}.expected.toml"));
    std::fs::write(&path, expectations).unwrap();
    let expectations = Expectations::load(&path, setup).map_err(|error| error.to_string())?;
    let report = Report::new(setup, outcome, "t.csv", 0);
    Ok(expectations.misses(&report).iter().map(ToString::to_string).collect())
}

#[test]
fn an_expectation_names_an_analogue_value_for_its_discrepancy_and_for_the_faults_of_its_lines() {
    let setup = setup(&[TORQUE, PRESSES]);
    let text = trace("torque_1,torque_2", 30, |row| match row {
        5..15 => "10,0".to_owned(),
        20 => "0,301".to_owned(),
        _ => "0,0".to_owned(),
    });
    let outcome = played(&setup, &text);
    let said = |name, expectations: &str| misses(&setup, &outcome, name, expectations);
    let met = "verdict = \"tripped\"\n[[trip]]\nmonitor = \"torque\"\nchannel = \"both\"\nfrom = \"8 ms\"\nto = \"8 ms\"\n\
               [[fault]]\nkind = \"range\"\nanalogue = \"torque\"\nchannel = \"b\"\n";
    assert_eq!(said("met", met), Ok(Vec::new()));
    let other_line = said("other_line", &met.replace("channel = \"b\"", "channel = \"a\"")).unwrap();
    assert_eq!(
        other_line,
        [
            "expected a fault `range` on channel a of analogue value `torque`; there was none",
            "fault `range` of line b of `torque` at 0.020000000 s; no expectation names it",
        ]
    );
    for (name, expectations, message) in [
        (
            "unknown",
            "[[fault]]\nanalogue = \"force\"\n",
            ":2:12: the setup has no analogue value `force`; use one",
        ),
        (
            "input",
            "[[fault]]\nkind = \"input\"\nanalogue = \"torque\"\n",
            ":3:12: a fault `input` is none of an",
        ),
        (
            "jump",
            "[[fault]]\nkind = \"implausible\"\nanalogue = \"torque\"\n",
            ":3:12: a fault `implausible`",
        ),
        (
            "one",
            "[[trip]]\nmonitor = \"torque\"\nchannel = \"a\"\n",
            ":3:11: `torque` belongs to both channels",
        ),
    ] {
        let error = said(name, expectations).expect_err(name);
        assert!(error.contains(message), "{error}");
    }
}

#[test]
fn a_fault_of_a_line_does_not_meet_the_expectation_of_another_value_nor_of_a_channel() {
    let second = TORQUE.replace("torque", "grip");
    let setup = setup(&[TORQUE, &second, PRESSES]);
    let outcome = played(
        &setup,
        &trace("torque_1,torque_2,grip_1,grip_2", 30, |row| match row {
            20 => "301,0,0,0".to_owned(),
            _ => "0,0,0,0".to_owned(),
        }),
    );
    let said = |name, expectations: &str| misses(&setup, &outcome, name, expectations).unwrap();
    assert_eq!(said("any", "[[fault]]\nkind = \"range\"\n"), [""; 0]);
    assert_eq!(
        said("same", "[[fault]]\nkind = \"range\"\nchannel = \"a\"\nanalogue = \"torque\"\n"),
        [""; 0]
    );
    let unnamed = "fault `range` of line a of `torque` at 0.020000000 s; no expectation names it";
    assert_eq!(
        said("grip", "[[fault]]\nkind = \"range\"\nanalogue = \"grip\"\n"),
        ["expected a fault `range` of analogue value `grip`; there was none", unnamed]
    );
    assert_eq!(
        said("channel", "[[fault]]\nkind = \"range\"\nchannel = \"a\"\n"),
        ["expected a fault `range` on channel a; there was none", unnamed]
    );
}

#[test]
fn what_is_planted_into_a_synthetic_trace_is_what_its_replay_finds() {
    let scenario = r#"
title    = "A press, invented"
seed     = 11
unit     = "mm"
duration = "0.5 s"
rate     = "1 kHz"
[motion]
[encoder.a]
column         = "a"
unit_per_count = "0.001 mm"
counter_bits   = 32
[encoder.b]
column         = "b"
unit_per_count = "0.001 mm"
counter_bits   = 32
[[analogue]]
columns  = ["torque_1", "torque_2"]
unit     = "%"
decimals = 2
sparse   = true
noise    = "0.1 %"
points   = [{ at = "0.1 s", value = "0 %" }, { at = "0.2 s", value = "100 %" }, { at = "0.21 s", value = "0 %" }]
offset   = { by = "8 %", from = "0.3 s", until = "0.32 s" }
[[fault]]
kind   = "dropped"
source = "torque_2"
at     = "0.4 s"
until  = "0.42 s"
[output]
time_column   = "t"
time_unit     = "ms"
time_decimals = 0
"#;
    let mut bytes = Vec::new();
    let written = Scenario::from_toml(scenario, "press.toml").unwrap().write(&mut bytes).unwrap();
    let planted: Vec<String> = written.planted.iter().map(ToString::to_string).collect();
    assert_eq!(
        planted,
        [
            "offset of torque_2 at 0.300000000 s until 0.320000000 s",
            "dropped of torque_2 at 0.400000000 s until 0.420000000 s",
        ]
    );
    let sparse = TORQUE.to_owned() + "sparse = true\n";
    let setup = setup(&[&sparse, PRESSES]);
    let outcome = played(&setup, str::from_utf8(&bytes).unwrap());
    // 80 % are met at 180 ms, noise moves that by less than a row; the offset lasts longer than 3 ms from 300 ms on; the last
    // value before the hole is that of 399 ms, which is older than 4 ms at 404 ms.
    let of = |rule| outcome.trips.kept.iter().find(|trip| trip.rule == rule).map(|trip| trip.tripped_at);
    for channel in Channel::BOTH {
        let tripped = of(TripRule::Monitor(0, channel)).expect("too hard");
        assert!((at(182)..=at(184)).contains(&tripped), "{tripped:?}");
    }
    assert_eq!(of(TripRule::Analogue(0)), Some(at(303)));
    assert_eq!(outcome.trips.kept.len(), 3);
    let stale = FaultKind::Analogue(0, Channel::B, SourceFault::Stale, None);
    assert_eq!(faults(&outcome), [(stale, 404, 419, 16)]);
}
