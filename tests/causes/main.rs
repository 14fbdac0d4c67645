//! Planted causes of a disagreement of two channels are found, with their size.

mod machine;
mod nuisance;

use std::collections::BTreeMap;

use traces_demo::scenarios;

use machine::{Run, run};
use nuisance::{Main, Nuisance, SETUP};

fn demo(name: &str) -> Run {
    let demos = scenarios().unwrap_or_else(|error| panic!("{error}"));
    let demo = demos.iter().find(|demo| demo.name == name).unwrap_or_else(|| panic!("no demo `{name}`"));
    let setup = std::fs::read_to_string(&demo.setup).expect("a setup");
    let scenario = std::fs::read_to_string(&demo.scenario).expect("a scenario");
    run(&setup, &scenario)
}

#[test]
fn the_demos() {
    for name in std::env::var("DEMO")
        .as_deref()
        .unwrap_or("late-rail-channel belt-slip motor-encoder-sticks")
        .split(' ')
    {
        let start = std::time::Instant::now();
        let run = demo(name);
        println!("{name} sampled {:?}", start.elapsed());
        let start = std::time::Instant::now();
        let found = run.decompose();
        println!(
            "{name} {:?} {} rows\n{found}\n{:#?}",
            start.elapsed(),
            run.samples.points.len(),
            found.coefficients
        );
    }
}

/// What came of a set of nuisance trips.
#[derive(Default)]
struct Tally {
    trips: u32,
    right: u32,
    held: u32,
    intervals: u32,
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

#[test]
fn explore() {
    let range = std::env::var("SEEDS").unwrap_or_else(|_| "100..103".to_owned());
    let (low, high) = range.split_once("..").expect("a range");
    let tally = tally(low.parse().expect("a number")..high.parse().expect("a number"));
    for ((main, named), count) in &tally.table {
        println!("{main:?}: {named} {count}");
    }
    println!("right {} of {}, held {} of {}", tally.right, tally.trips, tally.held, tally.intervals);
}
