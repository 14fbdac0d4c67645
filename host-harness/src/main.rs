//! The program `cowitness`: a thin shell around the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    host_harness::cli::main()
}
