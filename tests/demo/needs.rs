//! What must be redundant for a function, found by taking it away.

use host_harness::replay::axis;
use host_harness::setup::Setup;
use monitor_core::{AnalogueReading, AnalogueSet, Channel, Frame, Instant, Levels, Reading, Sample, Value};

const TIME: &str = r#"
title = "an axis with one monitor, invented"
unit  = "mm"
[time]
column = "t"
unit   = "ms"
"#;

const CHANNEL: &str = r#"
counter_bits   = 32
unit_per_count = "0.001 mm"
max_speed      = "3 m/s"
timeout        = "1 s"
"#;

const REFERENCE: &str = "reference = \"absolute\"\n";

const ANALOGUES: &str = r#"
[analogue.torque]
columns          = ["torque_1", "torque_2"]
unit             = "Nm"
low              = "-100 Nm"
high             = "100 Nm"
timeout          = "1 s"
tolerance        = "5 Nm"
discrepancy_time = "10 ms"
[analogue.winding]
columns          = ["winding_1", "winding_2"]
unit             = "degC"
low              = "-40 degC"
high             = "200 degC"
timeout          = "1 s"
tolerance        = "5 degC"
discrepancy_time = "10 ms"
"#;

/// What a monitor of this kind must have beside its name and its demand.
fn rest(kind: &str) -> Option<&'static str> {
    Some(match kind {
        "torque-off" | "brake-output" => "",
        "standstill" => "position_window = \"1 mm\"\nspeed_window = \"10 mm/s\"",
        "speed-limit" => "limit = \"250 mm/s\"",
        "speed-range" => "low = \"-100 mm/s\"\nhigh = \"100 mm/s\"",
        "direction" => "allowed = \"positive\"\ntolerance = \"1 mm\"",
        "acceleration-limit" => "limit = \"5 m/s^2\"",
        "acceleration-range" => "low = \"-5 m/s^2\"\nhigh = \"5 m/s^2\"",
        "travel-limit" => "increment = \"10 mm\"",
        "position-range" | "cam-output" => "low = \"-100 mm\"\nhigh = \"100 mm\"",
        "speed-output" => "threshold = \"100 mm/s\"",
        "torque-limit" => "of = \"torque\"\nlimit = \"50 Nm\"",
        "torque-range" => "of = \"torque\"\nlow = \"-50 Nm\"\nhigh = \"50 Nm\"",
        "temperature-limit" => "of = \"winding\"\nlimit = \"120 degC\"",
        "stop" => "",
        _ => return None,
    })
}

/// The same for what narrows the kind down.
fn more(key: &str) -> Option<&'static str> {
    Some(match key {
        "until = \"torque-off\"" => "",
        "until = \"standstill\"" => "position_window = \"1 mm\"\nspeed_window = \"10 mm/s\"",
        "by = \"ramp\"" => {
            "ramp = { delay = \"50 ms\", deceleration = \"1 m/s^2\", margin = \"50 mm/s\" }\nstandstill_speed = \"5 mm/s\""
        }
        "by = \"deceleration\"" => {
            "braking = { delay = \"50 ms\", deceleration = \"1 m/s^2\", margin = \"0.5 m/s^2\" }\nstandstill_speed = \"5 mm/s\""
        }
        "by = \"time\"" => "within = \"20 ms\"",
        _ => return None,
    })
}

/// Takes the permit, so that nothing is different only because it goes or comes.
const OFF: &str = "[[monitor]]\nname = \"off\"\nkind = \"torque-off\"\ndemand = [\"go\"]\n";

/// A setup of one monitor, with these sections beside it.
fn parsed(monitor: &str, reference: &str, analogues: &str) -> Result<Setup, String> {
    let channel = |name: &str| format!("[channel.{name}]\ncolumn = \"{name}\"{CHANNEL}{reference}");
    let (a, b) = (channel("a"), channel("b"));
    let text = format!("{TIME}{a}{b}[speed]\nwindow = \"8 ms\"\n{analogues}\n{monitor}{OFF}");
    Setup::parse(&text, "one.toml").map_err(|error| error.render(false))
}

/// What is there on channel B.
#[derive(Clone, Copy)]
struct There {
    position: bool,
    values: bool,
}

/// What is shown of the monitor on channel B, frame by frame, and whether an output is true.
fn shown(setup: &Setup, there: There) -> Vec<String> {
    let mut axis = axis(setup).expect("an axis");
    let mut seen = Vec::new();
    for ms in 0..60_u64 {
        let now = Instant::from_nanos(ms * 1_000_000);
        let reading = Reading { captured_at: now, sample: Sample::Count(1_000 + ms) };
        let frame = Frame {
            now,
            a: Some(reading),
            b: there.position.then_some(reading),
            levels: Levels::from_bits(u32::MAX),
        };
        for of in AnalogueSet::from_bits((1 << setup.analogues.len()) - 1).iter() {
            for channel in [Some(Channel::A), there.values.then_some(Channel::B)].into_iter().flatten() {
                axis.offer(of, channel, AnalogueReading { captured_at: now, value: Value::from_int(7) });
            }
        }
        let outcome = axis.step_watched(&frame, &mut |_, channel, check| {
            if channel == Channel::B {
                seen.push(format!("{ms} ms: {check:?}"));
            }
        });
        assert!(!outcome.permit, "{ms} ms");
        seen.push(format!("{ms} ms: {:?}", outcome.outputs));
    }
    seen
}

/// What must be redundant for a kind of monitor, in the words of the README.
pub fn needs(kind: &str, keys: &[&str]) -> Result<String, String> {
    let rest = rest(kind).ok_or_else(|| format!("nothing is known of what `{kind}` needs"))?;
    let demand = if kind == "brake-output" { "" } else { "demand = [\"go\"]\n" };
    let mut monitor = format!("[[monitor]]\nname = \"m\"\nkind = \"{kind}\"\n{demand}{rest}\n");
    for key in keys.iter().filter(|key| key.contains(" = ")) {
        let more = more(key).ok_or_else(|| format!("nothing is known of what `{key}` needs"))?;
        monitor += &format!("{key}\n{more}\n");
    }
    let setup = parsed(&monitor, REFERENCE, ANALOGUES)?;
    let all = shown(&setup, There { position: true, values: true });
    let blind = shown(&setup, There { position: false, values: true });
    let mute = shown(&setup, There { position: true, values: false });
    let without_reference = parsed(&monitor, "", ANALOGUES).map_err(|why| why.contains("reference"));
    let without_values = parsed(&monitor, REFERENCE, "").map_err(|why| why.contains("no analogue value"));
    let place = without_reference.err().unwrap_or_default();
    let value = without_values.err().unwrap_or_default();
    match (all != blind, place, all != mute, value) {
        (false, false, false, false) => Ok("nothing that is measured"),
        (true, false, false, false) => Ok("a second position source"),
        (true, true, false, false) => Ok("a second position source, both with a reference"),
        (false, false, true, true) => Ok("its own two lines"),
        other => Err(format!("needs what no other function does: {other:?}")),
    }
    .map(str::to_owned)
}
