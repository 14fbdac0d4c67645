//! Makes sure that a dataset is there.

use std::fs::{File, create_dir_all};
use std::io;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

use cowitness_tests::not_run;

/// The exit status of `fetch.py` when pip or the network is missing.
pub const NOT_AVAILABLE: i32 = 3;

/// The folder of these tests.
pub fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("recordings")
}

/// Where packages and traces are kept.
fn cache() -> PathBuf {
    match std::env::var_os("COWITNESS_CACHE") {
        Some(path) if !path.is_empty() => path.into(),
        _ => Path::new(env!("CARGO_MANIFEST_DIR")).with_file_name("target").join("recordings"),
    }
}

/// Python 3 in the folder of these tests.
pub fn python() -> Command {
    let mut python = Command::new("python3");
    python.current_dir(folder()).arg("-B");
    python
}

/// What a command printed and how it ended, or `None` when there is no Python.
pub fn output(command: &mut Command) -> Option<Output> {
    match command.output() {
        Ok(output) => Some(output),
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            not_run("there is no python3");
            None
        }
        Err(error) => panic!("python3 cannot be started: {error}"),
    }
}

/// The folder with the traces of a dataset; `None` when they cannot be had on this machine at present.
fn prepare(dataset: &str) -> Result<PathBuf, String> {
    let cache = cache();
    create_dir_all(&cache).unwrap_or_else(|error| panic!("{}: {error}", cache.display()));
    // Another process of these tests may be fetching: it is waited for, and then everything is there.
    let lock = File::create(cache.join(".lock")).expect("a lock file in the cache");
    lock.lock().expect("the lock of the cache");
    let mut command = python();
    let command = command.arg("fetch.py").arg(dataset).arg("--cache").arg(&cache);
    let output = match command.output() {
        Ok(output) => output,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Err("there is no python3".to_owned()),
        Err(error) => panic!("python3 cannot be started: {error}"),
    };
    let said = String::from_utf8_lossy(&output.stderr).trim().to_owned();
    match output.status.code() {
        Some(0) => Ok(cache),
        Some(NOT_AVAILABLE) => Err(said),
        status => panic!("fetch.py {dataset} ended with {status:?}:\n{said}"),
    }
}

fn once(dataset: &str, place: &'static OnceLock<Result<PathBuf, String>>) -> Option<PathBuf> {
    match place.get_or_init(|| prepare(dataset)) {
        Ok(folder) => Some(folder.clone()),
        Err(why) => {
            not_run(why);
            None
        }
    }
}

/// The folder with `wheel.csv` and `wheel-movements.csv`.
pub fn wheel() -> Option<PathBuf> {
    static WHEEL: OnceLock<Result<PathBuf, String>> = OnceLock::new();
    once("wheel", &WHEEL)
}

/// The folder with `camera-x.csv`, `camera-y.csv`, `camera-z.csv` and `camera-expected.json`.
pub fn camera() -> Option<PathBuf> {
    static CAMERA: OnceLock<Result<PathBuf, String>> = OnceLock::new();
    once("camera", &CAMERA)
}
