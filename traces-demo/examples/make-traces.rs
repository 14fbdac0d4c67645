//! Writes the traces of all demos again, from their scenarios.
//!
//! `cargo run -p traces-demo --example make-traces`, from the repository root. A trace too large for the repository is
//! not kept.

use std::error::Error;
use std::fs;

use host_harness::synth::{Scenario, create};
use traces_demo::{MOST_TRACE_BYTES, scenarios};

fn main() -> Result<(), Box<dyn Error>> {
    for demo in scenarios()? {
        let text = fs::read_to_string(&demo.scenario)?;
        let scenario = Scenario::from_toml(&text, &demo.scenario.display().to_string())?;
        let mut sink = create(&demo.trace)?;
        let written = scenario.write(&mut sink)?;
        sink.finish()?;
        let bytes = fs::metadata(&demo.trace)?.len();
        let kept = bytes <= MOST_TRACE_BYTES;
        if !kept {
            fs::remove_file(&demo.trace)?;
        }
        let note = if kept { "" } else { ", too large to keep" };
        println!("{:<24} {:>6} rows {bytes:>7} bytes{note}", demo.name, written.rows);
    }
    Ok(())
}
