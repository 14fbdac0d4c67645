//! The JSON of `cowitness columns` against its schema.

use std::fs;
use std::path::{Path, PathBuf};

use boon::{Compiler, Schemas};
use host_harness::columns::{json_schema, survey};
use serde_json::Value;

#[test]
fn what_files_hold_is_valid_and_a_field_more_or_less_is_not() {
    let schema = serde_json::to_value(json_schema()).expect("the schema");
    let (mut schemas, mut compiler) = (Schemas::new(), Compiler::new());
    compiler.add_resource("columns.json", schema).expect("a resource");
    let index = compiler.compile("columns.json", &mut schemas).expect("a schema");
    // Everything that can be null is so in one of them, and is there in another.
    let odd = Path::new(env!("CARGO_TARGET_TMPDIR")).join("odd.csv");
    fs::write(&odd, "time [s],note,n\n0,x,nan\n1,,2\n1,y,true\n9,z,3\n9,z\n").expect("a file");
    let empty = odd.with_file_name("empty.csv");
    fs::write(&empty, "p,q\n").expect("a file");
    let demo = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../traces-demo/overspeed-door-open.csv.gz");
    for path in [odd, empty, demo] {
        let report = survey(&path, None).unwrap_or_else(|error| panic!("{error}"));
        let report = serde_json::to_value(&report).expect("JSON");
        schemas.validate(&report, index).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        let mut more = report.clone();
        more["groups"][0]["colour"] = Value::from("red");
        assert!(schemas.validate(&more, index).is_err());
        let mut less = report;
        less["groups"][0].as_object_mut().expect("an object").remove("rows");
        assert!(schemas.validate(&less, index).is_err());
    }
}
