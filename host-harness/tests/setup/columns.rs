//! Columns that the setup asks for and a trace does not have.

use std::io::Cursor;

use host_harness::replay::layout;
use host_harness::setup::Setup;
use host_harness::trace::{Options, Reader};

use crate::support::EXAMPLE;

/// What is said of a trace with these columns.
fn said(setup: &str, columns: &str) -> String {
    let setup = Setup::parse(setup, "s.toml").unwrap();
    let stream = Cursor::new(format!("{columns}\n").into_bytes());
    let reader = Reader::from_read("t.csv", stream, &layout(&setup).unwrap(), Options::default());
    reader.map(|_| ()).unwrap_err().to_string()
}

#[test]
fn of_a_level_that_no_column_provides_it_is_said_what_in_the_setup_asks_for_it() {
    let columns = "time,motor_count,rail_count,door_1,door_2,at_loading,reset";
    let line = EXAMPLE.lines().take_while(|line| !line.contains("hold at the")).count();
    let reset = EXAMPLE.replace(
        "[[monitor]]\nname     = \"slow",
        "[reset]\ncolumn = \"reset\"\n\n[[monitor]]\nname     = \"slow",
    );
    let by_monitor = format!(
        "t.csv:1: there is no column `at_loading` that the demand of monitor \"hold at the loading place\" on line {line} of the setup \
         asks for, did you mean `at_load`?; "
    );
    let error = said(EXAMPLE, &columns.replace("at_loading", "at_load"));
    assert!(error.starts_with(&by_monitor), "{error}");
    let error = said(EXAMPLE, &columns.replace("door_2,", ""));
    assert!(
        error.starts_with(
            "t.csv:1: there is no column `door_2` that `[input.door]` asks for, did you mean `door_1`?; "
        ),
        "{error}"
    );
    let error = said(&reset, &columns.replace(",reset", ""));
    assert!(
        error.starts_with("t.csv:1: there is no column `reset` that `[reset]` asks for; the columns are "),
        "{error}"
    );
}
