//! The setup that the README shows is one.

use host_harness::setup::Setup;

const README: &str = include_str!("../../README.md");

/// The blocks of TOML, in order.
fn blocks() -> Vec<&'static str> {
    let fenced = README.split("```toml\n").skip(1);
    fenced.map(|rest| rest.split_once("```").expect("the end of a block").0).collect()
}

fn parsed(text: &str) -> Setup {
    Setup::parse(text, "README.md").unwrap_or_else(|error| panic!("{}", error.render(false)))
}

#[test]
fn the_setup_of_the_readme_is_read_by_itself_and_with_the_analogue_value_below_it() {
    let blocks = blocks();
    // What follows is of a plan of trials.
    let [setup, analogue, ..] = blocks.as_slice() else { panic!("{} blocks", blocks.len()) };
    let plain = parsed(setup);
    assert_eq!((plain.monitors.len(), plain.analogues.len()), (2, 0));
    let whole = parsed(&format!("{setup}\n{analogue}"));
    let kinds: Vec<&str> = whole.monitors.iter().map(|monitor| monitor.kind.name()).collect();
    assert_eq!(kinds, ["speed-limit", "standstill", "torque-limit"]);
    assert_eq!(whole.analogues.len(), 1);
    assert!(Setup::parse(analogue, "README.md").is_err(), "it is no setup by itself");
}
