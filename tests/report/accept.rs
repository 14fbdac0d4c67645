//! The JSON of an acceptance against its schema.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use boon::{Compiler, Schemas};
use host_harness::accept::{AcceptReport, Plan, Recording, Trial, record};
use serde_json::Value;

const SCHEMA: &str = include_str!("../../host-harness/accept.schema.json");

fn valid(document: &Value) -> Result<(), String> {
    let mut schemas = Schemas::new();
    let mut compiler = Compiler::new();
    compiler.add_resource("accept.json", serde_json::from_str(SCHEMA).unwrap()).unwrap();
    let schema = compiler.compile("accept.json", &mut schemas).unwrap();
    schemas.validate(document, schema).map_err(|error| error.to_string())
}

/// The acceptance of the demo: trips, a stop, faults, what must not trip, and a trial that was not carried out.
fn report() -> Value {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../traces-demo/shuttle.accept.toml");
    let plan = Plan::load(&path).unwrap();
    let mut trials: BTreeMap<&Path, Vec<&Trial>> = BTreeMap::new();
    for trial in &plan.trials {
        if let Some(recorded) = &trial.recorded {
            trials.entry(&recorded.path).or_default().push(trial);
        }
    }
    let recordings: BTreeMap<&Path, Recording> = trials
        .into_iter()
        .map(|(path, of)| (path, record(&plan.setup, path, &of, &mut |_| {}).unwrap()))
        .collect();
    let text = serde_json::to_string(&AcceptReport::new(&plan, &recordings)).unwrap();
    serde_json::from_str(&text).unwrap()
}

#[test]
fn the_json_of_an_acceptance_validates_against_its_schema_and_a_changed_one_does_not() {
    let whole = report();
    valid(&whole).unwrap();
    assert_eq!(whole["result"], "incomplete");
    for (place, wrong) in [
        ("/result", Value::from("accepted")),
        ("/trials/0/result", Value::from("fine")),
        ("/trials/0/checks/0/met", Value::from("yes")),
        ("/trials/0/checks/2/measured/value", Value::from("5 ms")),
        ("/functions/0/trials", Value::Null),
        ("/traces/0/file/crc32", Value::from(1)),
    ] {
        let mut changed = whole.clone();
        *changed.pointer_mut(place).unwrap() = wrong;
        assert!(valid(&changed).is_err(), "{place}");
    }
    let mut more = whole;
    more["signed"] = Value::from(true);
    assert!(valid(&more).is_err(), "an unknown field");
}
