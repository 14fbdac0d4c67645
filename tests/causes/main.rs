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

#[test]
fn dump() {
    let run = demo("late-rail-channel");
    for p in
        run.samples.points.iter().filter(|p| (6.175..6.225).contains(&(p.t)) && (p.now_ns / 125_000) % 8 == 0)
    {
        println!(
            "{:.5} d {:.4} v {:.2} {:.2} a {:.0} {:.0} ea {:.1} {:.1}",
            p.t,
            p.d(),
            p.v[0],
            p.v[1],
            p.a[0],
            p.a[1],
            p.a_error[0],
            p.a_error[1]
        );
    }
}
