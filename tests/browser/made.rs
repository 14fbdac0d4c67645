//! Pages to look at.

use std::fmt::Write;
use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};

use host_harness::explain::{Asked, Explanation, explain_plotted};
use host_harness::html::{Sheet, report};
use host_harness::replay::layout;
use host_harness::report::Report;
use host_harness::trace::{Options, Reader};
use host_harness::vary::Base;
use traces_demo::scenarios;

/// A page and what must be in it.
pub(crate) struct Made {
    pub(crate) name: String,
    pub(crate) path: PathBuf,
    pub(crate) guard: &'static str,
    pub(crate) explanation: Explanation,
    /// Since the first frame.
    pub(crate) trips_s: Vec<f64>,
    /// Frames of a bucket of the overview.
    pub(crate) per: u64,
}

fn made(name: &str, base: &Base, trace: Vec<u8>) -> Made {
    let layout = layout(base.setup()).expect("a layout");
    let mut reader = Reader::from_read(name, Cursor::new(trace), &layout, Options::default())
        .unwrap_or_else(|error| panic!("{name}: {error}"));
    let (explanation, outcome, plot) =
        explain_plotted(base, &mut reader, name, Asked::First, &mut |_| {}, None)
            .unwrap_or_else(|error| panic!("{name}: {error}"));
    let of = Report::new(base.setup(), &outcome, name, 0);
    let sheet = Sheet {
        setup: base.setup(),
        setup_text: base.text(),
        outcome: &outcome,
        report: &of,
        explanation: &explanation,
        plot: &plot,
        identity: None,
    };
    let page = report(&sheet).expect("a page");
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("browser");
    fs::create_dir_all(&folder).expect("a scratch folder");
    let test = std::thread::current().name().unwrap_or("test").replace("::", "-");
    let path =
        folder.join(format!("{test}-{}.html", name.replace(|letter: char| !letter.is_alphanumeric(), "-")));
    fs::write(&path, page).expect("a scratch file");
    let first = outcome.first.map_or(0, monitor_core::Instant::as_nanos);
    let trips = outcome.trips.kept.iter();
    Made {
        name: name.to_owned(),
        path,
        guard: explanation.guard.word(),
        trips_s: trips.map(|trip| (trip.tripped_at.as_nanos() - first) as f64 / 1e9).collect(),
        per: plot.overview.per(),
        explanation,
    }
}

/// The pages of all demos.
pub(crate) fn demos() -> Vec<Made> {
    let demos = scenarios().unwrap_or_else(|error| panic!("{error}"));
    demos.iter().map(|of| demo(&of.name)).collect()
}

/// The page of one demo.
pub(crate) fn demo(name: &str) -> Made {
    let demos = scenarios().unwrap_or_else(|error| panic!("{error}"));
    let demo = demos.iter().find(|demo| demo.name == name).unwrap_or_else(|| panic!("no demo {name}"));
    let text = fs::read_to_string(&demo.scenario).expect("a scenario");
    let scenario =
        host_harness::synth::Scenario::from_toml(&text, name).unwrap_or_else(|error| panic!("{error}"));
    let mut trace = Vec::new();
    scenario.write(&mut trace).unwrap_or_else(|error| panic!("{error}"));
    let base = Base::load(&demo.setup).unwrap_or_else(|error| panic!("{}", error.render(false)));
    made(name, &base, trace)
}

const SETUP: &str = r#"
title = "TITLE"
unit  = "mm"
[time]
column = "t"
unit   = "s"
[channel.a]
column         = "a"
counter_bits   = 32
unit_per_count = "0.001 mm"
max_speed      = "30 m/s"
timeout        = "4 ms"
[channel.b]
column         = "b"
counter_bits   = 32
unit_per_count = "0.001 mm"
max_speed      = "30 m/s"
timeout        = "4 ms"
[speed]
window = "8 ms"
[discrepancy]
tolerance        = "2 mm"
discrepancy_time = "5 ms"
[[monitor]]
name   = "RULE"
kind   = "speed-limit"
demand = ["DOOR"]
limit  = "LIMIT mm/s"
"#;

fn base(title: &str, rule: &str, door: &str, limit: &str) -> Base {
    let quoted = |text: &str| text.replace('\\', "\\\\").replace('"', "\\\"");
    let text = SETUP.replace("TITLE", &quoted(title)).replace("RULE", &quoted(rule));
    let text = text.replace("DOOR", &quoted(door)).replace("LIMIT", limit);
    Base::parse(&text, "axis.toml").unwrap_or_else(|error| panic!("{}", error.render(false)))
}

/// When the spike of [`long_run`] is, and how high.
pub(crate) const SPIKE_AT_S: f64 = 63.21;
pub(crate) const SPIKE_MM: f64 = 1.5;

/// 150 s at 8 kHz and 100 mm/s; one reading of channel a may be out by [`SPIKE_MM`].
pub(crate) fn long_run(name: &str, has_spike: bool) -> Made {
    let mut trace = String::from("t,a,b,door\n");
    let at = (SPIKE_AT_S * 8000.0).round() as u64;
    for row in 0..1_200_000_u64 {
        // 12.5 counts a row.
        let count = row * 25 / 2;
        let a = if has_spike && row == at { count + (SPIKE_MM * 1000.0) as u64 } else { count };
        let nanos = row * 125_000;
        let _ = writeln!(trace, "{}.{:09},{a},{count},0", nanos / 1_000_000_000, nanos % 1_000_000_000);
    }
    made(name, &base("A long run, invented", "never", "door", "500"), trace.into_bytes())
}

/// A trip of a rule that is called so, on an axis that is called so, demanded by a column that is called so.
pub(crate) fn named(name: &str) -> Made {
    let mut trace = format!("t,a,b,\"{}\"\n", name.replace('"', "\"\""));
    for row in 0..400_u64 {
        let _ = writeln!(trace, "{}.{:03},{},{},1", row / 1000, row % 1000, row * 200, row * 200);
    }
    made("named", &base(name, name, name, "100"), trace.into_bytes())
}
