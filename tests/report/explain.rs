//! The JSON of `cowitness explain` against its schema, and the schemas in the repository against the program.

use boon::{Compiler, Schemas};
use host_harness::explain::{Asked, explain, json_schema};
use host_harness::plot::{self, Data, replay_plotted};
use host_harness::replay::layout;
use host_harness::trace::{Options, Reader};
use host_harness::vary::Base;
use serde_json::Value;

/// A command, the schema of its JSON as it is kept, and as it is now.
type Kept = (&'static str, &'static str, fn() -> Value);

/// The schemas in the repository, and the command whose JSON each is of.
const KEPT: [Kept; 6] = [
    ("explain", include_str!("../../host-harness/explain.schema.json"), || json_schema().to_value()),
    ("margins", include_str!("../../host-harness/margins.schema.json"), || {
        host_harness::margins::json_schema().to_value()
    }),
    ("sweep", include_str!("../../host-harness/sweep.schema.json"), || {
        host_harness::sweep::json_schema().to_value()
    }),
    ("columns", include_str!("../../host-harness/columns.schema.json"), || {
        host_harness::columns::json_schema().to_value()
    }),
    ("accept", include_str!("../../host-harness/accept.schema.json"), || {
        host_harness::accept::json_schema().to_value()
    }),
    ("plot", include_str!("../../host-harness/plot.schema.json"), || {
        host_harness::plot::json_schema().to_value()
    }),
];

#[test]
fn each_schema_in_the_repository_is_that_of_the_program() {
    for (command, kept, now) in KEPT {
        let kept: Value = serde_json::from_str(kept).expect("JSON");
        let now = now();
        let anew =
            format!("cargo run --bin cowitness -- schema {command} > host-harness/{command}.schema.json");
        assert_eq!(kept, now, "write it anew: {anew}");
    }
}

#[test]
fn the_explanation_of_every_demo_is_valid_and_one_with_a_field_more_is_not() {
    let (mut schemas, mut compiler) = (Schemas::new(), Compiler::new());
    let schema = json_schema().to_value();
    compiler.add_resource("explain.json", schema).expect("a resource");
    let index = compiler.compile("explain.json", &mut schemas).expect("a schema");
    let mut verdicts = std::collections::BTreeSet::new();
    for demo in traces_demo::scenarios().expect("demos").iter().filter(|demo| demo.trace.exists()) {
        let base = Base::load(&demo.setup).expect("a setup");
        let layout = layout(base.setup()).expect("a layout");
        let mut reader = Reader::open(&demo.trace, &layout, Options::default()).expect("a trace");
        let explanation = explain(&base, &mut reader, &demo.name, Asked::First, &mut |_| {}, None);
        let explanation = explanation.unwrap_or_else(|error| panic!("{}: {error}", demo.name));
        let value = serde_json::to_value(&explanation).expect("JSON");
        schemas.validate(&value, index).unwrap_or_else(|error| panic!("{}: {error}", demo.name));
        verdicts.insert(value["verdict"]["verdict"].as_str().expect("a verdict").to_owned());
        let mut more = value;
        more["colour"] = Value::from("red");
        assert!(schemas.validate(&more, index).is_err(), "{}", demo.name);
    }
    for verdict in ["motion", "apart", "source", "planned", "clear", "lines"] {
        assert!(verdicts.contains(verdict), "{verdict} is in none of the demos: {verdicts:?}");
    }
}

#[test]
fn the_plot_of_every_demo_is_valid_and_one_with_a_field_more_is_not() {
    let (mut schemas, mut compiler) = (Schemas::new(), Compiler::new());
    compiler.add_resource("plot.json", plot::json_schema().to_value()).expect("a resource");
    let index = compiler.compile("plot.json", &mut schemas).expect("a schema");
    let mut decided = 0;
    for demo in traces_demo::scenarios().expect("demos").iter().filter(|demo| demo.trace.exists()) {
        let base = Base::load(&demo.setup).expect("a setup");
        let layout = layout(base.setup()).expect("a layout");
        let mut reader = Reader::open(&demo.trace, &layout, Options::default()).expect("a trace");
        let (outcome, plot) = replay_plotted(base.setup(), &mut reader, &mut |_| {}).expect("a replay");
        let data = Data::new(base.setup(), &outcome, &plot, &demo.name);
        let mut value = serde_json::to_value(&data).expect("JSON");
        schemas.validate(&value, index).unwrap_or_else(|error| panic!("{}: {error}", demo.name));
        decided += data.decided.len();
        value["colour"] = Value::from("red");
        assert!(schemas.validate(&value, index).is_err(), "{}", demo.name);
    }
    assert!(decided > 10, "{decided}");
}
