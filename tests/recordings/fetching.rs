//! What was tampered with is never used.

use std::path::PathBuf;
use std::process::Command;

use super::fetched::{self, NOT_AVAILABLE, output, python};

/// An empty folder of this process.
fn scratch(name: &str) -> PathBuf {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a scratch folder");
    folder
}

#[test]
fn a_changed_trace_is_made_anew_from_the_package() {
    let Some(cache) = fetched::wheel() else { return };
    let out = scratch("changed-trace");
    let run = || {
        let mut command = python();
        let command = command.args(["fetch.py", "wheel", "--cache"]).arg(&cache).arg("--out").arg(&out);
        output(command).expect("python3, which has just made the trace")
    };
    assert!(run().status.success());
    let original = std::fs::read(out.join("wheel.csv")).expect("the trace");
    let mut changed = original.clone();
    // The last digit of some count.
    let digit = changed.iter().rposition(u8::is_ascii_digit).expect("a digit");
    changed[digit] ^= 1;
    std::fs::write(out.join("wheel.csv"), &changed).expect("the changed trace");
    let again = run();
    assert!(again.status.success());
    assert!(String::from_utf8_lossy(&again.stderr).contains("made anew"));
    assert!(std::fs::read(out.join("wheel.csv")).expect("the trace") == original);
    std::fs::remove_dir_all(&out).expect("the scratch folder");
}

#[test]
fn a_changed_package_is_not_used_even_when_no_other_can_be_had() {
    let cache = scratch("changed-package");
    let package = cache.join("ibllib-4.1.0-py3-none-any.whl");
    std::fs::write(&package, "something else").expect("the changed package");
    let mut command = python();
    let command = command.args(["fetch.py", "wheel", "--cache"]).arg(&cache);
    // Without an index and links pip finds nothing, whatever the network.
    let command = command.env("PIP_NO_INDEX", "1").env("PIP_FIND_LINKS", &cache);
    let Some(output) = output(command) else { return };
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(NOT_AVAILABLE), "{said}");
    assert!(said.contains("is not what was fetched"), "{said}");
    assert!(!cache.join("wheel.csv").exists());
    assert!(!package.exists());
    std::fs::remove_dir_all(&cache).expect("the scratch folder");
}

#[test]
fn a_pickle_that_names_a_function_is_refused() {
    let program = "import io, os, pickle, wheel\n\
        try:\n    wheel.Unpickler(io.BytesIO(pickle.dumps(os.getcwd))).load()\n\
        except pickle.UnpicklingError as why:\n    print(why)\n";
    let Some(output) = output(python().args(["-c", program])) else { return };
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(output.status.success() && said.contains("the pickle asks for"), "{output:?}");
}

#[test]
fn a_test_that_cannot_run_says_so_and_fails_in_ci_only() {
    // One test of this program, run by itself where there is no python3 to be found.
    let run = |ci: &str| {
        let mut tests = Command::new(std::env::current_exe().expect("this program"));
        tests.args(["--exact", "fetching::a_pickle_that_names_a_function_is_refused"]);
        tests.env("PATH", "").env("CI", ci).output().expect("this program once more")
    };
    let (by_hand, in_ci) = (run(""), run("true"));
    let said = String::from_utf8_lossy(&by_hand.stderr);
    assert!(said.contains("NOT RUN: fetching::a_pickle_that_names_a_function_is_refused"), "{said}");
    assert!(by_hand.status.success());
    assert!(!in_ci.status.success());
    assert!(String::from_utf8_lossy(&in_ci.stdout).contains("1 failed"));
}
