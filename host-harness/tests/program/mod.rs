//! The program, run from the root of the repository.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().expect("the root of the repository").to_owned()
}

pub fn program(args: &[&str]) -> Command {
    let mut program = Command::new(env!("CARGO_BIN_EXE_cowitness"));
    program.args(args).current_dir(root());
    program
}

pub fn cowitness(args: &[&str]) -> Output {
    program(args).output().expect("the program")
}

#[allow(dead_code, reason = "not every test reads it")]
pub fn out(output: &Output) -> &str {
    std::str::from_utf8(&output.stdout).expect("text")
}

pub fn err(output: &Output) -> &str {
    std::str::from_utf8(&output.stderr).expect("text")
}
