//! Planted causes of a disagreement of two channels are found, with their size.

mod machine;
mod nuisance;
mod pairs;
mod planted;
mod regress;
mod report;
mod told;

use std::collections::BTreeMap;

use host_harness::causes::{Cause, Decomposition, Side, Term};
use traces_demo::scenarios;

use machine::{Run, compared, run};
use nuisance::{Nuisance, SETUP};
use planted::Main;

fn demo(name: &str) -> Run {
    let [setup, scenario] = texts(name);
    run(&setup, &scenario)
}

fn texts(name: &str) -> [String; 2] {
    let demos = scenarios().unwrap_or_else(|error| panic!("{error}"));
    let demo = demos.iter().find(|demo| demo.name == name).unwrap_or_else(|| panic!("no demo `{name}`"));
    [&demo.setup, &demo.scenario].map(|path| std::fs::read_to_string(path).expect("a file of the demo"))
}

#[test]
fn the_difference_of_the_samples_is_that_of_the_core() {
    for name in ["counter-wrap", "rail-cable-fault", "creep-at-loading", "belt-slip"] {
        let [setup, scenario] = texts(name);
        let (core, samples) = compared(&setup, &scenario);
        assert!(samples.points.len() > 2000, "{name}");
        for point in &samples.points {
            let d = core
                .get(&point.now_ns)
                .unwrap_or_else(|| panic!("{name}: no difference at {}", point.now_ns));
            // Either travel is rounded to an ULP there.
            assert!((point.d() - d).abs() < 2.5e-7, "{name} at {}: {} and {d}", point.t, point.d());
        }
        let restarts = u64::from(name == "rail-cable-fault");
        assert!(samples.unusable.restarts >= restarts, "{name}");
    }
}

#[test]
fn the_difference_of_the_samples_is_aligned_as_that_of_the_core() {
    let [setup, scenario] = texts("asynchronous-readings");
    assert!(setup.contains("align            = true"));
    let (core, samples) = compared(&setup, &scenario);
    assert!(samples.points.len() > 2000);
    for point in &samples.points {
        let d = core.get(&point.now_ns).unwrap_or_else(|| panic!("no difference at {}", point.now_ns));
        // The window of the core may be longer by the spacing of its history, over which 2 m/s^2 changes the speed by a few mm/s; readings
        // are up to 4 ms old.
        assert!((point.d() - d).abs() < 0.01, "at {}: {} and {d}", point.t, point.d());
    }
}

fn main_cause(found: &Decomposition) -> &Cause {
    &found.main().unwrap_or_else(|| panic!("no cause was found: {found}")).cause
}

#[test]
fn the_late_rail_channel_is_found_by_how_much_it_is_late_and_since_when() {
    let found = demo("late-rail-channel").decompose();
    let Cause::TimeSkew { late: Side::B, by, since_ns: Some(since) } = main_cause(&found) else {
        panic!("{found}")
    };
    // 5 ms instead of the 0.25 ms that the setup knows; from the reading at 6.2 s on.
    assert!((by.value - 0.00475).abs() < 0.000_02, "{found}");
    assert!(by.holds(0.00475), "{found}");
    assert!((since - 6_200_000_000).abs() <= 500_000, "{found}");
    assert!((found.terms[0].share.value - 0.8 * 4.75).abs() < 0.02, "{found}");
}

#[test]
fn the_slip_of_the_belt_is_found_with_its_speed_and_its_two_ends() {
    let found = demo("belt-slip").decompose();
    let Cause::Slip { by, rate, from_ns, until_ns: Some(until) } = main_cause(&found) else {
        panic!("{found}")
    };
    assert!((by.value - 6.0).abs() < 0.02 && by.holds(6.0), "{found}");
    assert!((rate - 20.0).abs() < 0.2, "{found}");
    assert!(
        (from_ns - 2_000_000_000).abs() <= 2_000_000 && (until - 2_300_000_000).abs() <= 3_000_000,
        "{found}"
    );
}

#[test]
fn the_motor_encoder_that_sticks_is_found_frozen() {
    let found = demo("motor-encoder-sticks").decompose();
    let Cause::Frozen { side: Side::A, since_ns, readings, travel } = main_cause(&found) else {
        panic!("{found}")
    };
    assert!((since_ns - 2_000_000_000).abs() <= 1_000_000, "{found}");
    assert!(*readings >= 20 && *travel > 15.0, "{found}");
}

/// What came of a set of nuisance trips.
#[derive(Default)]
struct Tally {
    trips: u32,
    right: u32,
    held: u32,
    intervals: u32,
    large: u32,
    table: BTreeMap<(Main, String), u32>,
}

fn tally(seeds: std::ops::Range<u64>) -> Tally {
    let mut tally = Tally::default();
    let verbose = std::env::var_os("CAUSES_VERBOSE").is_some();
    let only = std::env::var("CAUSES_ONLY").ok();
    for main in Main::ALL {
        if only.as_ref().is_some_and(|only| !only.contains(&format!("{main:?}"))) {
            continue;
        }
        for seed in seeds.clone() {
            let planted = Nuisance::new(main, seed);
            let run = run(SETUP, &planted.scenario);
            assert!(run.has_tripped, "{main:?} {seed} does not trip:\n{}", planted.scenario);
            let found = run.decompose();
            let named = found.main().map(|term| &term.cause);
            let is_right = named.is_some_and(|cause| {
                cause.kind() == main.kind() && (planted.side.is_none() || cause.side() == planted.side)
            });
            tally.trips += 1;
            tally.right += u32::from(is_right);
            let text = named.map_or_else(|| "nothing".to_owned(), |cause| cause.kind().name().to_owned());
            *tally.table.entry((main, text)).or_default() += 1;
            let is_large = |term: &&Term| term.share.value.abs() > 0.1 * found.apart.abs();
            tally.large += u32::try_from(found.terms.iter().filter(is_large).count()).expect("a few");
            let mut misses = Vec::new();
            for (place, term) in found.terms.iter().enumerate() {
                // A second change of the kind that was planted is none that was.
                let is_other = place > 0 && term.cause.kind() == main.kind();
                if is_other {
                    continue;
                }
                if let Some((estimate, truth)) = planted.truth(&term.cause) {
                    tally.intervals += 1;
                    tally.held += u32::from(estimate.holds(truth));
                    if !estimate.holds(truth) {
                        let off = (estimate.value - truth) / estimate.standard_error;
                        misses.push(format!(
                            "{:?} {:.6} truth {truth:.6} off {off:.1}",
                            term.cause.kind(),
                            estimate.value
                        ));
                    }
                }
            }
            if !is_right || verbose {
                println!("{main:?} {seed} side {:?}\n{found}", planted.side);
                for c in &found.coefficients {
                    println!("     {:?} {:.6} {:.6}", c.column, c.value, c.standard_error);
                }
            }
            for miss in misses {
                println!("   {main:?} {seed}: {miss}");
            }
        }
    }
    tally
}

fn print(tally: &Tally) {
    for ((main, named), count) in &tally.table {
        println!("{main:?}: {named} {count}");
    }
    println!("main cause right in {} of {} trips", tally.right, tally.trips);
    println!("95 % intervals that hold the truth: {} of {}", tally.held, tally.intervals);
    println!("causes with a tenth of the difference or more: {} in {} trips", tally.large, tally.trips);
}

#[test]
fn the_main_cause_of_nuisance_trips_is_named_and_the_intervals_hold_the_truth() {
    let tally = tally(0..6);
    print(&tally);
    assert!(tally.trips >= 60 && tally.intervals >= 200, "too few");
    assert!(f64::from(tally.right) >= 0.95 * f64::from(tally.trips), "too many wrong causes");
    let held = f64::from(tally.held) / f64::from(tally.intervals);
    assert!((0.90..=0.99).contains(&held), "{:.1} % of the intervals hold the truth", 100.0 * held);
    // One cause is not explained by five.
    assert!(f64::from(tally.large) <= 1.5 * f64::from(tally.trips), "too many causes");
}

#[test]
fn other_trips_can_be_looked_at() {
    // `CAUSES_SEEDS=100..110 CAUSES_ONLY=Creep cargo test --test causes other -- --nocapture`
    let Ok(range) = std::env::var("CAUSES_SEEDS") else { return };
    let (low, high) = range.split_once("..").expect("a range");
    print(&tally(low.parse().expect("a number")..high.parse().expect("a number")));
}
