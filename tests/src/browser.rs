//! Pages in a headless browser.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Mutex;

use serde_json::Value;

use crate::not_run;

/// The browser of the Debian package `chromium`.
const CHROMIUM: &str = "/usr/bin/chromium";

/// Has a headless Chromium carry out tasks and reads what it says, a JSON value for each: see `browser/look.mjs`. `None`, and a line that
/// says so, where that cannot be done: without Chromium, node or npm, or where npm cannot fetch.
///
/// # Panics
///
/// When the browser, or a page, does not get through.
#[must_use]
pub fn look(tasks: &Value) -> Option<Vec<Value>> {
    let libraries = libraries()?;
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).with_file_name("target").join("browser");
    let thread = std::thread::current().name().unwrap_or("test").replace("::", "-");
    let file = file.join(format!("{thread}-{}.json", std::process::id()));
    std::fs::write(&file, tasks.to_string()).expect("a scratch file");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("browser").join("look.mjs");
    let output =
        Command::new("node").arg(script).arg(libraries).arg(&file).output().expect("node, which was there");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "the browser did not get through:\n{said}");
    let text = String::from_utf8(output.stdout).expect("text");
    Some(text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect())
}

/// The folder with the libraries from the npm registry, pinned with their hashes; fetched once.
fn libraries() -> Option<PathBuf> {
    // One test fetches, the others wait for it.
    static FETCH: Mutex<()> = Mutex::new(());
    let _guard = FETCH.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
    if !Path::new(CHROMIUM).exists() {
        not_run("there is no /usr/bin/chromium (Debian package chromium)");
        return None;
    }
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("browser");
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).with_file_name("target").join("browser");
    std::fs::create_dir_all(&folder).expect("a scratch folder");
    let lock = std::fs::read(from.join("package-lock.json")).expect("the list of libraries");
    let fetched = folder.join("fetched.json");
    if std::fs::read(&fetched).is_ok_and(|before| before == lock) {
        return Some(folder);
    }
    for name in ["package.json", "package-lock.json"] {
        std::fs::copy(from.join(name), folder.join(name)).expect("a copy of the list");
    }
    let npm = Command::new("npm")
        .args(["ci", "--ignore-scripts", "--no-audit", "--no-fund"])
        .current_dir(&folder)
        .output();
    match npm {
        Ok(output) if output.status.success() => {
            std::fs::write(&fetched, lock).expect("a note of what was fetched");
            Some(folder)
        }
        Ok(output) => {
            not_run(&format!("npm cannot fetch: {}", String::from_utf8_lossy(&output.stderr).trim()));
            None
        }
        Err(error) => {
            not_run(&format!("npm: {error}"));
            None
        }
    }
}
