//! The JSON of `cowitness margins` against its schema.

use boon::{Compiler, Schemas};
use host_harness::margins::{Margins, MarginsReport, json_schema};
use host_harness::setup::Setup;
use serde_json::Value;

/// A setup that says everything of its machine, one that says nothing, one with outputs and places, and one with analogue values.
const SETUPS: [(&str, &str); 4] = [
    ("shuttle", include_str!("../../traces-demo/shuttle.toml")),
    ("asynchronous-readings", include_str!("../../traces-demo/asynchronous-readings.setup.toml")),
    ("every-function", include_str!("../../traces-demo/every-function.setup.toml")),
    ("stack-clamp", include_str!("../../traces-demo/stack-clamp.setup.toml")),
];

#[test]
fn the_margins_of_the_demos_are_valid_and_a_field_more_or_less_is_not() {
    let schema = serde_json::to_value(json_schema()).expect("the schema");
    let (mut schemas, mut compiler) = (Schemas::new(), Compiler::new());
    compiler.add_resource("margins.json", schema).expect("a resource");
    let index = compiler.compile("margins.json", &mut schemas).expect("a schema");
    for (name, text) in SETUPS {
        let setup = Setup::parse(text, name).unwrap_or_else(|error| panic!("{error}"));
        let report = MarginsReport::new(&setup, &Margins::of(&setup, None));
        let report: Value = serde_json::to_value(&report).expect("JSON");
        schemas.validate(&report, index).unwrap_or_else(|error| panic!("{name}: {error}"));
        for rule in report["rules"].as_array().expect("rules") {
            assert!(!rule["paths"].as_array().expect("paths").is_empty(), "{name}: {rule}");
        }
        let mut more = report.clone();
        more["rules"][0]["colour"] = Value::from("red");
        assert!(schemas.validate(&more, index).is_err());
        let mut less = report;
        less["approach"] = Value::from("near");
        assert!(schemas.validate(&less, index).is_err());
    }
}
