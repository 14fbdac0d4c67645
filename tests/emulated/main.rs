//! The core on emulated targets: the same answers as on the host, what they cost, and what is not in the image.
//!
//! Needs a toolchain for the targets and emulators; what is missing is said with the command that installs it, and the test is not
//! run. In CI that is a failure.

mod cost;
mod emulator;
mod image;
mod log;
mod profile;
mod proof;
mod script;
mod table;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use cowitness_tests::not_run;
use cowitness_tests::on_target::{Missing, board};

use emulator::{Image, Target};
use script::Script;

/// An empty folder for one test.
fn scratch() -> PathBuf {
    let test = std::thread::current().name().unwrap_or("test").replace("::", "-");
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("target").join(test);
    if folder.exists() {
        fs::remove_dir_all(&folder).expect("an old scratch folder can be removed");
    }
    fs::create_dir_all(&folder).expect("a scratch folder");
    folder
}

/// The target with everything it needs; says what is missing otherwise.
fn target(triple: &str) -> Option<Target> {
    match Target::of(board(triple)) {
        Ok(target) => Some(target),
        Err(missing) => {
            not_run(&missing.to_string());
            None
        }
    }
}

/// What the target answers to a script.
fn answers(target: &Target, script: &[u8]) -> Vec<u8> {
    let image = target.image(&Image { name: "answers", profile: "release", features: "host" });
    let folder = scratch();
    fs::write(folder.join("script"), script).expect("a script");
    target.run(&image, &folder, &[]);
    fs::read(folder.join("answers")).expect("answers")
}

/// Random cases, and their length.
const CASES: u64 = 400;
const FRAMES: usize = 150;

fn answers_are_the_same<const MONITORS: usize, const INPUTS: usize>(triple: &str) {
    let Some(target) = target(triple) else { return };
    let mut script = Script::<MONITORS, INPUTS>::new();
    for demo in traces_demo::scenarios().unwrap_or_else(|error| panic!("{error}")) {
        let fits = script.demo(&demo);
        // Sixteen monitors are more than the small axis holds; whatever else is left out would be a mistake.
        let is_large = demo.name.starts_with("every-function");
        assert_eq!(fits, !is_large || MONITORS == wire::MANY.0, "{}", demo.name);
    }
    let demos = script.frames.len();
    (0..CASES).for_each(|seed| script.random(seed, FRAMES));
    let trips = script.frames.iter().filter(|(outcome, _)| outcome.has_trip()).count();
    let random = script.frames.len() - demos;
    assert!(demos > 150_000 && random > 20_000 && trips > 500, "{demos}, {random}, {trips}");
    let theirs = answers(&target, &script.bytes);
    if let Some(difference) = script.difference(&theirs) {
        panic!("{triple}: {difference}");
    }
}

#[test]
fn a_cortex_m0_answers_as_the_host_does() {
    answers_are_the_same::<{ wire::FEW.0 }, { wire::FEW.1 }>("thumbv6m-none-eabi");
}

#[test]
fn a_cortex_m3_answers_as_the_host_does() {
    answers_are_the_same::<{ wire::MANY.0 }, { wire::MANY.1 }>("thumbv7m-none-eabi");
}

#[test]
fn a_cortex_m4f_answers_as_the_host_does() {
    answers_are_the_same::<{ wire::MANY.0 }, { wire::MANY.1 }>("thumbv7em-none-eabihf");
}

#[test]
fn a_cortex_m33_answers_as_the_host_does() {
    answers_are_the_same::<{ wire::MANY.0 }, { wire::MANY.1 }>("thumbv8m.main-none-eabihf");
}

#[test]
fn an_rv32imac_answers_as_the_host_does() {
    answers_are_the_same::<{ wire::MANY.0 }, { wire::MANY.1 }>("riscv32imac-unknown-none-elf");
}

#[test]
fn what_is_missing_is_said_with_the_command_that_installs_it_and_fails_in_ci_only() {
    // One test of this program, run by itself where nothing is to be found.
    let run = |ci: &str| {
        let mut tests = Command::new(std::env::current_exe().expect("this program"));
        tests.args(["--exact", "an_rv32imac_answers_as_the_host_does"]);
        tests.env("PATH", "").env("CI", ci).output().expect("this program once more")
    };
    let (by_hand, in_ci) = (run(""), run("true"));
    let said = String::from_utf8_lossy(&by_hand.stderr);
    let install = "rustup target add riscv32imac-unknown-none-elf";
    assert!(
        said.contains("NOT RUN: an_rv32imac") && said.contains(install) && said.contains("lld-15"),
        "{said}"
    );
    assert!(by_hand.status.success() && !in_ci.status.success());
    let no_emulator = Missing::Emulator(board("riscv32imac-unknown-none-elf")).to_string();
    assert!(no_emulator.contains("apt-get install qemu-system-misc"), "{no_emulator}");
}
