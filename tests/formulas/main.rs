//! Monitors against formulas of signal temporal logic that a general-purpose runtime-verification library evaluates on the same traces.
//!
//! `evaluate.py` beside this file says which library and how it comes here. Where python3, pip or the network is missing, the
//! tests say so and pass, except where the variable `CI` is set.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use cowitness_tests::python;
use host_harness::replay::{TripRule, layout, replay};
use host_harness::setup::Setup;
use host_harness::trace::{Options, Reader};
use monitor_core::Channel;
use serde_json::Value;

const SETUP: &str = include_str!("axis.toml");
/// Rows of a trace, one in every millisecond.
const ROWS: usize = 1500;
/// The demands of a trace: level columns.
const DEMANDS: [&str; 5] = ["slow", "hold", "range", "way", "step"];
/// Traces.
const TRACES: u64 = 24;

/// A 64-bit xorshift.
struct Random(u64);

impl Random {
    fn up_to(&mut self, most: i64) -> i64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        i64::try_from(self.0 >> 33).expect("31 bits") % (most + 1)
    }
}

/// A motion that changes its acceleration at random, and demands that come and go.
fn trace(seed: u64) -> String {
    let mut random = Random(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1);
    let mut text = format!("t,a,b,{}\n", DEMANDS.join(","));
    // In nanometres and nanometres a millisecond.
    let (mut x, mut v, mut acceleration) = (0_i64, 0_i64, 0_i64);
    let mut levels = [false; DEMANDS.len()];
    // Some traces are so gentle that little trips.
    let most = [200, 2500, 6000][usize::try_from(seed % 3).expect("a small number")];
    for row in 0..ROWS {
        if row % 50 == 0 {
            acceleration = random.up_to(2 * most) - most;
            if random.up_to(3) == 0 || (x > 300_000_000) == (v > 0) && x.abs() > 300_000_000 {
                // Towards standstill.
                acceleration = -v / 50;
            }
        }
        for level in &mut levels {
            // Some 200 rows each way.
            *level ^= random.up_to(199) == 0;
        }
        v += acceleration;
        x += v;
        let demands: Vec<&str> = levels.iter().map(|level| if *level { "1" } else { "0" }).collect();
        // Down to whole counts; the second counter runs the other way and wraps at 24 bits.
        let (a, b) = (x.div_euclid(1000) as u32, (-x).div_euclid(2000));
        text += &format!("{row},{},{},{}\n", a.cast_signed(), b, demands.join(","));
    }
    text
}

/// The row of the first trip of each monitor on each channel.
fn trips(path: &Path) -> BTreeMap<(String, Channel), usize> {
    let setup = Setup::parse(SETUP, "axis.toml").unwrap_or_else(|error| panic!("{error}"));
    let layout = layout(&setup).expect("a layout");
    let file = fs::File::open(path).expect("the trace");
    let mut reader = Reader::from_read("trace", file, &layout, Options::default())
        .unwrap_or_else(|error| panic!("{error}"));
    let outcome = replay(&setup, &mut reader, &mut |_| {}).unwrap_or_else(|error| panic!("{error}"));
    assert!(outcome.faults.is_empty(), "{:?}", outcome.faults.kept);
    let mut first = BTreeMap::new();
    for trip in &outcome.trips.kept {
        let TripRule::Monitor(monitor, channel) = trip.rule else { panic!("{trip:?}") };
        let row = outcome.time_ns(trip.tripped_at) / 1_000_000;
        let row = usize::try_from(row).expect("a row");
        first.entry((setup.monitors[monitor].name.clone(), channel)).or_insert(row);
    }
    first
}

/// What the library says of each trace; `None` when it cannot be had.
fn evaluated(traces: &[PathBuf]) -> Option<Vec<Value>> {
    python("formulas/evaluate.py", traces)
}

#[test]
fn every_monitor_trips_at_the_row_at_which_its_formula_first_holds_and_otherwise_never() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("formulas");
    fs::create_dir_all(&folder).expect("a scratch folder");
    let traces: Vec<PathBuf> = (0..TRACES)
        .map(|seed| {
            let path = folder.join(format!("{seed}.csv"));
            fs::write(&path, trace(seed)).expect("a trace");
            path
        })
        .collect();
    let Some(evaluated) = evaluated(&traces) else { return };
    assert_eq!(evaluated.len(), traces.len());
    // How often each monitor tripped, and how often it did not.
    let mut met: BTreeMap<String, [u32; 2]> = BTreeMap::new();
    for (path, formulas) in traces.iter().zip(&evaluated) {
        let trips = trips(path);
        for (monitor, channels) in formulas.as_object().expect("an object") {
            for (channel, letter) in Channel::BOTH.into_iter().zip(["a", "b"]) {
                let holds = channels[letter].as_u64().map(|row| usize::try_from(row).expect("a row"));
                let tripped = trips.get(&(monitor.clone(), channel)).copied();
                assert_eq!(tripped, holds, "{monitor} on {letter} in {}", path.display());
                met.entry(monitor.clone()).or_default()[usize::from(tripped.is_some())] += 1;
            }
        }
    }
    let setup = Setup::parse(SETUP, "axis.toml").expect("the setup");
    assert_eq!(met.len(), setup.monitors.len(), "a formula for each monitor");
    for (monitor, [quiet, tripped]) in met {
        assert!(quiet >= 2, "{monitor} trips in nearly every trace");
        assert!(
            tripped >= 4 || monitor == "never" && tripped == 0,
            "{monitor} trips in {tripped} cases only"
        );
    }
}
