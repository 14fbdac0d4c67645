//! Planted causes of a disagreement of two channels are found, with their size.

mod machine;

use traces_demo::scenarios;

use machine::{Run, run};

fn demo(name: &str) -> Run {
    let demos = scenarios().unwrap_or_else(|error| panic!("{error}"));
    let demo = demos.iter().find(|demo| demo.name == name).unwrap_or_else(|| panic!("no demo `{name}`"));
    let setup = std::fs::read_to_string(&demo.setup).expect("a setup");
    let scenario = std::fs::read_to_string(&demo.scenario).expect("a scenario");
    run(&setup, &scenario)
}

#[test]
fn the_demos() {
    for name in ["late-rail-channel", "belt-slip", "motor-encoder-sticks"] {
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
