//! The setup that the tests of the setup file vary.

use host_harness::setup::{Setup, SetupError};

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
    match Setup::parse(&varied(replacements), "axis.toml") {
        Ok(_) => panic!("accepted: {replacements:?}"),
        Err(error) => error,
    }
}
