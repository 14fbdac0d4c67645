//! Pages to look at.

use std::fmt::Write;
use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};

use host_harness::accept::{AcceptReport, Plan, record};
use host_harness::explain::{Asked, Explanation, explain_plotted};
use host_harness::html::{Sheet, acceptance, report};
use host_harness::plot::Stretch;
use host_harness::replay::{FrameSource, layout};
use host_harness::report::Report;
use host_harness::sweep::Identity;
use host_harness::trace::{BATCH_FRAMES, Options, Reader, TraceError};
use host_harness::vary::Base;
use monitor_core::{Frame, Instant, Levels, Reading, Sample};
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
    /// From when to when what is kept around what happened, and frames of a bucket of it.
    pub(crate) closeups: Vec<(f64, f64, u64)>,
}

fn around(of: &Stretch, first: u64) -> Option<(f64, f64, u64)> {
    let since = |at: u64| (at - first) as f64 / 1e9;
    Some((since(of.buckets().first()?.first), since(of.buckets().last()?.last), of.per()))
}

fn read(name: &str, base: &Base, trace: Vec<u8>, asked: Asked) -> Made {
    let layout = layout(base.setup()).expect("a layout");
    let mut reader = Reader::from_read(name, Cursor::new(trace), &layout, Options::default())
        .unwrap_or_else(|error| panic!("{name}: {error}"));
    made_about(name, base, &mut reader, asked)
}

fn made(name: &str, base: &Base, source: &mut impl FrameSource) -> Made {
    made_about(name, base, source, Asked::First)
}

fn made_about(name: &str, base: &Base, source: &mut impl FrameSource, asked: Asked) -> Made {
    let (told, outcome, plot) = explain_plotted(base, source, name, asked, &mut |_| {}, None)
        .unwrap_or_else(|error| panic!("{name}: {error}"));
    let of = Report::new(base.setup(), &outcome, name, 0);
    let sheet = Sheet {
        setup: base.setup(),
        setup_text: base.text(),
        outcome: &outcome,
        report: &of,
        told: &told,
        plot: &plot,
        identity: Identity { bytes: 0, crc32: 0 },
    };
    let page = report(&sheet).expect("a page");
    let asked_for = match asked {
        Asked::First => String::new(),
        Asked::Trip(number) => format!("-trip-{number}"),
        Asked::Fault(number) => format!("-fault-{number}"),
    };
    let path = written(&format!("{name}{asked_for}"), &page);
    let first = outcome.first.map_or(0, Instant::as_nanos);
    let trips = outcome.trips.kept.iter();
    Made {
        name: name.to_owned(),
        path,
        guard: told.first.guard.word(),
        trips_s: trips.map(|trip| (trip.tripped_at.as_nanos() - first) as f64 / 1e9).collect(),
        per: plot.overview.per(),
        closeups: plot.closeups.iter().filter_map(|of| around(of, first)).collect(),
        explanation: told.first,
    }
}

/// A page in a scratch file of this test.
fn written(name: &str, page: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("browser");
    fs::create_dir_all(&folder).expect("a scratch folder");
    let test = std::thread::current().name().unwrap_or("test").replace("::", "-");
    let path =
        folder.join(format!("{test}-{}.html", name.replace(|letter: char| !letter.is_alphanumeric(), "-")));
    fs::write(&path, page).expect("a scratch file");
    path
}

/// The acceptance of a demo, with another title, machine and name of its first trial.
pub(crate) fn acceptance_of(name: &str) -> PathBuf {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the root").join("traces-demo");
    let text = fs::read_to_string(root.join("shuttle.accept.toml")).expect("the plan");
    let changed = [
        "Acceptance of the transfer shuttle (invented)",
        "tile kiln, transfer shuttle (invented)",
        "too fast while the door is open",
    ];
    let text = changed.iter().fold(text, |text, old| text.replacen(old, name, 1));
    // Files are named from where the plan is.
    let line = |line: &str| match line.split_once('"') {
        Some((key, file)) if key.starts_with("setup ") || key.starts_with("trace ") => {
            format!("{key}\"{}/{file}\n", root.display())
        }
        _ => format!("{line}\n"),
    };
    let plan = written("plan", &text.lines().map(line).collect::<String>());
    let plan = Plan::load(&plan).unwrap_or_else(|error| panic!("{error}"));
    let mut recordings = std::collections::BTreeMap::new();
    for trial in &plan.trials {
        let Some(recorded) = &trial.recorded else { continue };
        let path = recorded.path.as_path();
        let of: Vec<_> = (plan.trials.iter())
            .filter(|trial| trial.recorded.as_ref().is_some_and(|other| other.path == path))
            .collect();
        let recording = record(&plan.setup, path, &of, &mut |_| {}).unwrap_or_else(|error| panic!("{error}"));
        recordings.insert(path, recording);
    }
    written("acceptance", &acceptance(&AcceptReport::new(&plan, &recordings)))
}

/// A trace that is thinned and in which the door opens and closes at every frame; 100 mm/s, the limit is 500 mm/s.
pub(crate) fn flicker() -> Made {
    let at = |number: u64| ([number * 25 / 2; 2], u32::from(number.is_multiple_of(2)));
    made(
        "flicker",
        &base("A door that rattles, invented", "slow", "door", "500"),
        &mut Frames { next: 0, of: 80_000, at },
    )
}

/// The first frame of a trace at 0.4 s, or at such a time after an epoch.
pub(crate) fn begins_at(name: &str, seconds: u64) -> Made {
    let mut trace = String::from("t,a,b,door\n");
    for row in 0..8000_u64 {
        let millis = 400 + row;
        let _ =
            writeln!(trace, "{}.{:03},{},{},0", seconds + millis / 1000, millis % 1000, row * 100, row * 100);
    }
    read(name, &base(name, "slow", "door", "500"), trace.into_bytes(), Asked::First)
}

/// A rule that is broken and reset again and again: more trips than are kept in full.
pub(crate) fn trips(asked: Asked) -> Made {
    let setup =
        SETUP.replace("TITLE", "Many trips, invented").replace("RULE", "slow").replace("DOOR", "door");
    let setup = setup.replace("LIMIT", "500") + "[reset]\ncolumn = \"reset\"\n";
    let base = Base::parse(&setup, "axis.toml").unwrap_or_else(|error| panic!("{}", error.render(false)));
    let mut trace = String::from("t,a,b,door,reset\n");
    let mut count = 0;
    for row in 0..12_000_u64 {
        let place = row % 300;
        count += if (100..130).contains(&place) { 900 } else { 0 };
        let open = u8::from((90..200).contains(&place));
        let reset = u8::from((250..270).contains(&place));
        let _ = writeln!(trace, "{}.{:03},{count},{count},{open},{reset}", row / 1000, row % 1000);
    }
    read("trips", &base, trace.into_bytes(), asked)
}

/// The pages of all demos.
pub(crate) fn demos() -> Vec<Made> {
    let demos = scenarios().unwrap_or_else(|error| panic!("{error}"));
    demos.iter().map(|of| demo(&of.name)).collect()
}

/// The page of one demo.
pub(crate) fn demo(name: &str) -> Made {
    demo_about(name, Asked::First)
}

/// The page of one demo about one of the things that happened in it.
pub(crate) fn demo_about(name: &str, asked: Asked) -> Made {
    let demos = scenarios().unwrap_or_else(|error| panic!("{error}"));
    let demo = demos.iter().find(|demo| demo.name == name).unwrap_or_else(|| panic!("no demo {name}"));
    let text = fs::read_to_string(&demo.scenario).expect("a scenario");
    let scenario =
        host_harness::synth::Scenario::from_toml(&text, name).unwrap_or_else(|error| panic!("{error}"));
    let mut trace = Vec::new();
    scenario.write(&mut trace).unwrap_or_else(|error| panic!("{error}"));
    let base = Base::load(&demo.setup).unwrap_or_else(|error| panic!("{}", error.render(false)));
    read(name, &base, trace, asked)
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

/// Frames that nobody wrote down: what both counters show, and the lines of the inputs, at each of them.
struct Frames<F> {
    next: u64,
    of: u64,
    at: F,
}

/// Between two frames: 8 kHz.
const PERIOD_NS: u64 = 125_000;

impl<F: Fn(u64) -> ([u64; 2], u32)> FrameSource for Frames<F> {
    fn next_batch(&mut self, batch: &mut Vec<Frame>) -> Result<bool, TraceError> {
        batch.clear();
        let last = self.of.min(self.next + BATCH_FRAMES as u64);
        batch.extend((self.next..last).map(|number| {
            let now = Instant::from_nanos(number * PERIOD_NS);
            let (counts, lines) = (self.at)(number);
            let [a, b] = counts.map(|count| Some(Reading { captured_at: now, sample: Sample::Count(count) }));
            Frame { now, a, b, levels: Levels::from_bits(lines) }
        }));
        self.next = last;
        Ok(!batch.is_empty())
    }
}

/// When the spike of [`long_run`] is, and how high.
pub(crate) const SPIKE_AT_S: f64 = 963.21;
pub(crate) const SPIKE_MM: f64 = 1.5;

/// Ten million frames at 100 mm/s; one reading of channel a may be out by [`SPIKE_MM`].
pub(crate) fn long_run(name: &str, has_spike: bool) -> Made {
    let spike = (SPIKE_AT_S * 8000.0).round() as u64;
    let at = |number: u64| {
        // 12.5 counts a frame.
        let count = number * 25 / 2;
        let out = if has_spike && number == spike { (SPIKE_MM * 1000.0) as u64 } else { 0 };
        ([count + out, count], 0)
    };
    let mut frames = Frames { next: 0, of: 10_000_000, at };
    made(name, &base("A long run, invented", "never", "door", "500"), &mut frames)
}

/// The rules that trip in [`hour`], one after the other.
pub(crate) const RULES: u64 = 8;

/// An hour at 8 kHz: to and fro at up to 200 mm/s, both counts uneasy, and every seven minutes the door of another rule opens.
pub(crate) fn hour() -> Made {
    let mut text = SETUP.replace("TITLE", "An hour, invented").replace("RULE", "rule 0");
    text = text.replace("DOOR", "door 0").replace("LIMIT", "100");
    for rule in 1..RULES {
        let _ = write!(
            text,
            "[[monitor]]\nname = \"rule {rule}\"\nkind = \"speed-limit\"\ndemand = [\"door {rule}\"]\nlimit = \"100 mm/s\"\n"
        );
    }
    let base = Base::parse(&text, "axis.toml").unwrap_or_else(|error| panic!("{}", error.render(false)));
    let at = |number: u64| {
        let t = number as f64 * PERIOD_NS as f64 / 1e9;
        // 200 mm/s at most, 1.3 s to and fro.
        let omega = std::f64::consts::TAU / 1.3;
        let count = (1e6 + 200_000.0 / omega * (1.0 - (omega * t).cos())) as u64;
        // Of a linear congruential generator, a count up or down on each channel.
        let mixed = number.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        let minutes = number * PERIOD_NS / 60_000_000_000;
        let door = if minutes.is_multiple_of(7) { 1 << (minutes / 7).min(31) } else { 0 };
        ([count + (mixed >> 61) % 3, count + (mixed >> 37) % 3], door)
    };
    made("hour", &base, &mut Frames { next: 0, of: 3600 * 8000, at })
}

/// A trip of a rule that is called so, on an axis that is called so, demanded by a column that is called so.
pub(crate) fn named(name: &str) -> Made {
    let mut trace = format!("t,a,b,\"{}\"\n", name.replace('"', "\"\""));
    for row in 0..400_u64 {
        let _ = writeln!(trace, "{}.{:03},{},{},1", row / 1000, row % 1000, row * 200, row * 200);
    }
    read("named", &base(name, name, name, "100"), trace.into_bytes(), Asked::First)
}
