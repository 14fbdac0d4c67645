//! Scripts that ask another library, from PyPI.

use std::io;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use crate::not_run;

/// Runs a script of this crate on some files or folders and reads what it prints: a JSON value a line. The script gets its library
/// itself, into the folder that is its first argument. `None`, and a line that says so, where it cannot be had: without python3, or when the
/// script ends with 3.
///
/// # Panics
///
/// When the script ends otherwise than with 0 or 3, or prints anything else.
#[must_use]
pub fn python(script: &str, on: &[PathBuf]) -> Option<Vec<Value>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"));
    let cache = match std::env::var_os("COWITNESS_CACHE") {
        Some(path) if !path.is_empty() => path.into(),
        _ => folder.with_file_name("target").join("recordings"),
    };
    let output = match Command::new("python3").arg("-B").arg(folder.join(script)).arg(cache).args(on).output()
    {
        Ok(output) => output,
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            not_run("there is no python3");
            return None;
        }
        Err(error) => panic!("python3 cannot be started: {error}"),
    };
    let said = String::from_utf8_lossy(&output.stderr);
    match output.status.code() {
        Some(0) => {}
        Some(3) => {
            not_run(said.trim());
            return None;
        }
        status => panic!("{script} ended with {status:?}:\n{said}"),
    }
    let text = String::from_utf8(output.stdout).expect("text");
    Some(text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect())
}
