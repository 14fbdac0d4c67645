//! Trials of an invented axis in a folder of their own.

use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use serde_json::Value;

use crate::program::{cowitness, err, out};

/// An invented axis, one count a micrometre.
pub(crate) const SETUP: &str = r#"
title = "Slide, invented"
unit  = "mm"
[time]
column = "time"
unit   = "s"
[channel.a]
column         = "motor"
counter_bits   = 32
unit_per_count = "0.001 mm"
max_speed      = "2 m/s"
timeout        = "4 ms"
[channel.b]
column         = "rail"
counter_bits   = 32
unit_per_count = "0.001 mm"
max_speed      = "2 m/s"
timeout        = "4 ms"
[speed]
window = "8 ms"
[discrepancy]
tolerance        = "10 mm"
discrepancy_time = "10 ms"
[machine]
frame_period = "1 ms"
[[monitor]]
name     = "slow"
kind     = "speed-limit"
demand   = ["gate"]
limit    = "150 mm/s"
on_delay = "5 ms"
"#;

/// Monitors that end as planned, and an output.
pub(crate) const PLANNED: &str = r#"
[[monitor]]
name   = "off"
kind   = "torque-off"
demand = ["gate"]
[[monitor]]
name   = "halt"
kind   = "stop"
demand = ["gate"]
until  = "torque-off"
by     = "time"
within = "20 ms"
[[monitor]]
name      = "slow enough"
kind      = "speed-output"
threshold = "200 mm/s"
"#;

/// 400 rows of 1 ms; `speed` in counts per ms, one for each source. The gate is open from 50 ms on.
pub(crate) fn rows(speed: impl Fn(u32) -> (i64, i64)) -> String {
    let mut text = "time,motor,rail,gate\n".to_owned();
    let (mut a, mut b) = (0, 0);
    for ms in 0..400 {
        let _ = writeln!(text, "{}.{:03},{a},{b},{}", ms / 1000, ms % 1000, u8::from(ms >= 50));
        let (more_a, more_b) = speed(ms);
        (a, b) = (a + more_a, b + more_b);
    }
    text
}

/// From 100 mm/s to 300 mm/s at 200 ms, and at rest from 300 ms on. By hand: the mean over 8 ms is 100 + 25 k after k ms, so it is at
/// 150 mm/s, which is allowed, at 202 ms, and beyond it from the frame at 203 ms on; the on-delay ends at 208 ms, at 300 mm/s. It is at
/// rest, at 300 (1 - k/8), after 8 ms more than 300.
pub(crate) fn fast() -> String {
    let speed = |ms| match ms {
        0..200 => 100,
        200..300 => 300,
        _ => 0,
    };
    rows(|ms| (speed(ms), speed(ms)))
}

pub(crate) struct Bench(pub(crate) PathBuf);

impl Bench {
    /// A folder of its own with the setup and the trace of the fast run.
    pub(crate) fn new(name: &str) -> Self {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("accept").join(name);
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir_all(&folder).expect("a scratch folder");
        let bench = Self(folder);
        bench.write("axis.toml", SETUP);
        bench.write("fast.csv", &fast());
        bench
    }

    pub(crate) fn path(&self, name: &str) -> String {
        self.0.join(name).to_str().expect("text").to_owned()
    }

    pub(crate) fn write(&self, name: &str, text: &str) {
        fs::write(self.0.join(name), text).expect("a file");
    }

    /// Accepts by a plan of these trials.
    pub(crate) fn accept(&self, trials: &str, more: &[&str]) -> Output {
        self.write("plan.toml", &format!("title = \"Slide\"\nsetup = \"axis.toml\"\n{trials}"));
        cowitness(&[&["accept", &self.path("plan.toml")], more].concat())
    }

    /// The report for programs.
    pub(crate) fn report(&self, trials: &str) -> Value {
        let output = self.accept(trials, &["--json", "-"]);
        assert_eq!(err(&output), "");
        serde_json::from_str(out(&output)).expect("JSON")
    }
}

/// A trial of the fast run, with these lines more.
pub(crate) fn slow(more: &str) -> String {
    format!(
        "[[trial]]\nname = \"too fast\"\nhow = \"run\"\ntrace = \"fast.csv\"\nmonitor = \"slow\"\n{more}\n"
    )
}

/// What of the first trial was held to a bound, or missed: what, measured, and whether it is as wanted.
pub(crate) fn check<'r>(report: &'r Value, what: &str) -> &'r Value {
    let checks = report["trials"][0]["checks"].as_array().expect("checks");
    checks
        .iter()
        .find(|check| check["what"].as_str().is_some_and(|of| of.contains(what)))
        .unwrap_or(&Value::Null)
}
