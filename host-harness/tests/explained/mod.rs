//! `cowitness explain` on traces of the demos and on such as a test writes.
#![allow(dead_code, reason = "no test needs all of it")]

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use crate::program::{self, cowitness};

pub fn out(output: &Output) -> String {
    program::out(output).to_owned()
}

/// The lines before the first empty one, in one line: the verdict.
pub fn head(text: &str) -> String {
    let head = text.split("\n\n").next().unwrap_or_default();
    head.split_whitespace().collect::<Vec<_>>().join(" ")
}

pub fn explain(name: &str, setup: &str, more: &[&str]) -> Output {
    let trace = format!("traces-demo/{name}.csv.gz");
    let setup = format!("traces-demo/{setup}");
    cowitness(&[&["explain", &trace, "--setup", &setup], more].concat())
}

pub const SHUTTLE: &str = "shuttle.toml";
pub const EVERY: &str = "every-function.setup.toml";
pub const CLAMP: &str = "stack-clamp.setup.toml";

/// A folder of its own for one test.
pub struct Bench(pub PathBuf);

pub const SETUP: &str = r#"
title = "Slide, invented"
unit  = "mm"
[time]
column = "time"
unit   = "s"
[channel.a]
column         = "motor"
counter_bits   = 32
unit_per_count = "0.001 mm"
max_speed      = "3 m/s"
timeout        = "4 ms"
[channel.b]
column         = "rail"
counter_bits   = 32
unit_per_count = "0.001 mm"
max_speed      = "3 m/s"
timeout        = "4 ms"
[speed]
window = "8 ms"
[discrepancy]
tolerance        = "1 mm"
discrepancy_time = "5 ms"
[[monitor]]
name     = "slow"
kind     = "speed-limit"
limit    = "250 mm/s"
on_delay = "4 ms"
"#;

impl Bench {
    pub fn new(name: &str, setup: &str) -> Self {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("explain-{name}"));
        let _ = std::fs::remove_dir_all(&folder);
        std::fs::create_dir_all(&folder).expect("a folder");
        let bench = Self(folder);
        bench.write("axis.toml", setup);
        bench
    }

    pub fn write(&self, name: &str, content: &str) {
        std::fs::write(self.0.join(name), content).expect("a file");
    }

    pub fn explain(&self, more: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_cowitness"))
            .args(["explain", "trace.csv", "--setup", "axis.toml"])
            .args(more)
            .current_dir(&self.0)
            .output()
            .expect("the program")
    }
}

/// Rows of 1 ms: what each channel counts at a time in ms.
pub fn rows(many: u32, counts: impl Fn(u32) -> (i64, i64)) -> String {
    let mut text = "time,motor,rail\n".to_owned();
    for ms in 0..many {
        let (a, b) = counts(ms);
        let _ = writeln!(text, "{}.{:03},{a},{b}", ms / 1000, ms % 1000);
    }
    text
}

/// The setup up to its monitors.
pub fn axis() -> &'static str {
    SETUP.split_once("[[monitor]]").expect("monitors").0
}

/// Rows of 1 ms of an axis that both channels see alike, in um: its speed in mm/s at a time in ms, and what stands in the other columns.
pub fn motion(columns: &str, many: u32, row: impl Fn(u32) -> (f64, &'static str)) -> String {
    let mut text = format!("time,motor,rail{columns}\n");
    let mut place = 0.0;
    for ms in 0..many {
        let (speed, others) = row(ms);
        place += speed;
        let _ = writeln!(text, "{}.{:03},{place:.0},{place:.0}{others}", ms / 1000, ms % 1000);
    }
    text
}
