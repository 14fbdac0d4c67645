//! Sealed setups as a person meets them: what a review says, what is refused, how a sheet is laid out.

mod comparing;
mod pages;
mod refusing;
mod source;
mod values;

use host_harness::seal::seal;
use host_harness::setup::Setup;

/// Every part that a setup can have, with values that are no whole steps among them.
const FULL: &str = r#"
title = "Every part, invented"
unit  = "mm"
cycle = "2 ms"
time  = { column = "time", unit = "s" }
[channel.a]
column         = "motor"
counter_bits   = 32
unit_per_count = "-1/3000 mm"
max_speed      = "3 m/s"
timeout        = "5 ms"
[channel.b]
column         = "rail"
column_unit    = "um"
latency        = "0.25 ms"
capture_column = "rail_time"
capture_unit   = "us"
valid_column   = "rail_valid"
sparse         = true
max_speed      = "3 m/s"
timeout        = "5 ms"
[speed]
window  = "8 ms"
warm_up = "permit"
[discrepancy]
tolerance        = "2.1 mm"
skew_allowance   = "1 ms"
discrepancy_time = "20 ms"
align            = true
[speed_discrepancy]
tolerance        = "60.7 mm/s"
discrepancy_time = "50 ms"
[input.door]
columns          = ["door_1", "door_2"]
pairing          = "antivalent"
demand           = "low"
filter           = "3 ms"
discrepancy_time = "500 ms"
one_sided        = "ignore"
[reset]
column = "reset"
filter = "4 ms"
[[monitor]]
name   = "hold"
kind   = "torque-off"
demand = ["off"]
[[monitor]]
name            = "stand"
kind            = "standstill"
demand          = ["door", "off"]
position_window = "1.1 mm"
speed_window    = "100.1 mm/s"
on_delay        = "10 ms"
[[monitor]]
name     = "slow"
kind     = "speed-limit"
demand   = ["door"]
limit    = "250.1 mm/s"
ramp     = { delay = "100 ms", deceleration = "2000.1 mm/s^2", margin = "60.1 mm/s" }
on_delay = "6 ms"
[[monitor]]
name             = "stop"
kind             = "stop"
demand           = ["off"]
until            = "standstill"
position_window  = "1.3 mm"
speed_window     = "100.3 mm/s"
by               = "ramp"
ramp             = { delay = "110 ms", deceleration = "2000.3 mm/s^2", margin = "60.3 mm/s" }
standstill_speed = "100.7 mm/s"
within           = "1 s"
on_delay         = "7 ms"
[[monitor]]
name   = "stop in time"
kind   = "stop"
demand = ["off"]
until  = "torque-off"
by     = "time"
within = "1.5 s"
"#;

fn parsed(text: &str) -> Setup {
    Setup::parse(text, "axis.toml").unwrap_or_else(|error| panic!("{}", error.render(false)))
}

fn full() -> Setup {
    parsed(FULL)
}

fn sealed(setup: &Setup) -> Vec<u8> {
    seal(setup, 129, true).unwrap_or_else(|error| panic!("{error}"))
}

/// The same bytes with the checksum that belongs to them.
fn with_its_checksum(mut bytes: Vec<u8>) -> Vec<u8> {
    let content = bytes.len() - 4;
    let crc = monitor_core::seal::crc32(&bytes[..content]).to_le_bytes();
    bytes[content..].copy_from_slice(&crc);
    bytes
}
