//! The setup that the tests of the setup file vary.

use host_harness::setup::{MonitorSetup, Setup, SetupError};
use monitor_core::Span;

/// A whole setup; names and values are invented.
pub const EXAMPLE: &str = r#"title = "Kiln shuttle 2, transfer axis"
unit  = "mm"
cycle = "1 ms"

[time]
column = "time"
unit   = "s"

[channel.a]
column         = "motor_count"
counter_bits   = 32
unit_per_count = "0.0005 mm"
max_speed      = "3 m/s"
timeout        = "4 ms"

[channel.b]
column         = "rail_count"
counter_bits   = 24
unit_per_count = "0.001 mm"
latency        = "0.25 ms"
max_speed      = "3 m/s"
timeout        = "4 ms"

[speed]
window = "8 ms"

[discrepancy]
tolerance        = "2 mm"
skew_allowance   = "1 ms"
discrepancy_time = "20 ms"

[input.door]
columns          = ["door_1", "door_2"]
pairing          = "equivalent"
demand           = "low"
filter           = "3 ms"
discrepancy_time = "500 ms"

[[monitor]]
name     = "slow while the door is open"
kind     = "speed-limit"
demand   = ["door"]
limit    = "250 mm/s"
ramp     = { delay = "100 ms", deceleration = "2 m/s^2", margin = "50 mm/s" }
on_delay = "4 ms"

[[monitor]]
name            = "hold at the loading place"
kind            = "standstill"
demand          = ["at_loading"]
position_window = "1 mm"
speed_window    = "10 mm/s"
on_delay        = "10 ms"
"#;

pub const BRAKING: &str =
    "braking = { delay = \"150 ms\", deceleration = \"2 m/s^2\", margin = \"0.3 m/s^2\" }";
pub const RAMP: &str = "ramp = { delay = \"150 ms\", deceleration = \"2 m/s^2\", margin = \"50 mm/s\" }";
pub const CAM: &str = "kind = \"cam-output\"\nlow = \"10 mm\"\nhigh = \"20 mm\"";
pub const CREEP: &str = "kind = \"speed-output\"\nthreshold = \"10 mm/s\"";
pub const SLOW: &str = "kind = \"speed-limit\"\nlimit = \"1 m/s\"";
pub const STOP: &str = "kind = \"stop\"\nuntil = \"torque-off\"\nby = \"time\"\nwithin = \"1 s\"";

/// A demanded stop until torque off, by what is written.
pub fn stop(by: &str) -> String {
    format!(
        "kind = \"stop\"\ndemand = [\"halt\"]\nuntil = \"torque-off\"\nstandstill_speed = \"10 mm/s\"\n{by}"
    )
}

/// A monitor.
pub fn one(name: &str, body: &str) -> String {
    format!("[[monitor]]\nname = \"{name}\"\n{body}\n")
}

/// More below an example. Below the one of this file, its first line is line 54.
pub fn below(example: &str, body: &str) -> String {
    format!("{example}{body}\n")
}

/// The example and below it the monitor "m": its body begins in line 56.
pub fn with(body: &str) -> String {
    below(EXAMPLE, &one("m", body))
}

/// The monitor that was written below the example.
pub fn monitor(body: &str) -> MonitorSetup {
    let mut setup = parsed(&with(body));
    setup.monitors.pop().expect("a monitor")
}

/// The example with both counters knowing their place: it is a line longer in each channel.
pub fn placed() -> String {
    let known = |letter| format!("[channel.{letter}]\nreference = \"absolute\"");
    varied(&[("[channel.a]", &known("a")), ("[channel.b]", &known("b"))])
}

/// The example with each text replaced that is named; each must be there exactly once.
pub fn varied(replacements: &[(&str, &str)]) -> String {
    let mut text = EXAMPLE.to_owned();
    for (old, new) in replacements {
        assert_eq!(text.matches(old).count(), 1, "`{old}` must be in the example once");
        text = text.replacen(old, new, 1);
    }
    text
}

/// The mistakes found in the varied example.
pub fn refused(replacements: &[(&str, &str)]) -> SetupError {
    error(&varied(replacements))
}

pub fn parsed(text: &str) -> Setup {
    Setup::parse(text, "axis.toml").unwrap_or_else(|error| panic!("{}", error.render(false)))
}

pub fn error(text: &str) -> SetupError {
    Setup::parse(text, "axis.toml").expect_err(text)
}

/// The way out of the first mistake.
pub fn way_out(text: &str) -> String {
    error(text).diagnostics()[0].way_out.clone()
}

/// What must be reported, as `line:column: message`; each must come with a way out.
pub fn check(text: &str, expected: &[&str]) {
    let found: Vec<_> = reported(text).into_iter().map(|(message, _)| message).collect();
    assert_eq!(found, *expected, "{text}");
}

/// Each row: the monitor, and what must be reported, as `line:column: message`.
pub fn check_monitors(rows: &[(&str, &[&str])]) {
    for (body, expected) in rows {
        check(&with(body), expected);
    }
}

/// The same, each with the beginning of its way out.
pub fn check_ways_out(text: &str, expected: &[(&str, &str)]) {
    let (messages, ways_out): (Vec<_>, Vec<_>) = expected.iter().copied().unzip();
    check(text, &messages);
    for ((message, way_out), expected) in reported(text).iter().zip(ways_out) {
        assert!(expected.len() > 15 && way_out.starts_with(expected), "{message}: {way_out}");
    }
}

fn reported(text: &str) -> Vec<(String, String)> {
    let error = error(text);
    let reported = error.diagnostics().iter().map(|one| {
        let place = one.place.as_ref().expect("a place in the file");
        assert!(one.way_out.len() > 15, "no way out: {one:?}");
        (format!("{}:{}: {}", place.line, place.column, one.message), one.way_out.clone())
    });
    reported.collect()
}

/// The line and the label of the other place of the only mistake.
pub fn other_place(text: &str) -> (usize, String) {
    let error = error(text);
    let [one] = error.diagnostics() else { panic!("one mistake: {error}") };
    let (place, label) = one.related.as_ref().expect("another place");
    (place.line, label.clone())
}

/// Whole units in ULP of 2⁻²⁴.
pub const fn ulps(units: i64) -> i64 {
    units << 24
}

pub fn ms(millis: u64) -> Span {
    Span::from_millis(millis).expect("in range")
}
