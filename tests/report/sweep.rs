//! The JSON of a sweep against its schema.

use std::path::PathBuf;

use boon::{Compiler, Schemas};
use host_harness::expect::Expectations;
use host_harness::sweep::{Grid, Sweep, SweepReport, Trace, run};
use host_harness::trace::Options;
use host_harness::vary::Base;
use serde_json::Value;

const SCHEMA: &str = include_str!("../../host-harness/sweep.schema.json");

fn valid(document: &Value) -> Result<(), String> {
    let mut schemas = Schemas::new();
    let mut compiler = Compiler::new();
    compiler.add_resource("sweep.json", serde_json::from_str(SCHEMA).unwrap()).unwrap();
    let schema = compiler.compile("sweep.json", &mut schemas).unwrap();
    schemas.validate(document, schema).map_err(|error| error.to_string())
}

/// One refused point and one that trips, by expectations.
fn report(is_judged: bool) -> Value {
    let demo = |name: &str| PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../traces-demo").join(name);
    let base = Base::load(&demo("shuttle.toml")).unwrap();
    let expectations = Expectations::load(&demo("belt-slip.expected.toml"), base.setup()).unwrap();
    let variation = base.variation("speed.window=1 us, 8 ms").unwrap();
    let expectations = is_judged.then_some((expectations, 0));
    let sweep = Sweep {
        grid: Grid::new(base, vec![variation]).unwrap(),
        traces: vec![Trace { path: demo("belt-slip.csv.gz"), expectations }],
        options: Options::default(),
        slack_ns: 0,
    };
    let results = run(&sweep, None, &|_| {}).unwrap();
    let text = serde_json::to_string(&SweepReport::new(&sweep, &results)).unwrap();
    serde_json::from_str(&text).unwrap()
}

#[test]
fn the_json_of_a_sweep_validates_against_its_schema_with_and_without_expectations() {
    for is_judged in [true, false] {
        let report = report(is_judged);
        assert!(report["points"][0]["refused"].is_string() && report["points"][0]["all"].is_null());
        assert_eq!(report["points"][1]["all"]["trips"], 1);
        assert_eq!(report["points"][1]["all"]["counts"].is_object(), is_judged);
        valid(&report).unwrap();
    }
}

#[test]
fn the_schema_of_a_sweep_refuses_what_is_no_report_of_one() {
    let whole = report(true);
    for (place, wrong) in [
        ("/points/1/all/trips", Value::from(-1)),
        ("/points/0/values", Value::from("1 us")),
        ("/points/1/traces/0/verdict", Value::from("fine")),
        ("/settings/0/setting", Value::Null),
    ] {
        let mut changed = whole.clone();
        *changed.pointer_mut(place).unwrap() = wrong;
        assert!(valid(&changed).is_err(), "{place}");
    }
}
