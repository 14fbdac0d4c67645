//! The library and the example, built as a user builds them: for this machine, and for a Cortex-M with whichever toolchain is here.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use cowitness_tests::not_run;
use cowitness_tests::on_target::{Toolchain, board, is_there};

pub const TARGET: &str = "thumbv7m-none-eabi";
pub const WARNINGS: [&str; 5] = ["-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Werror"];

/// The package of the library.
pub fn package() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn output(command: &mut Command) -> Output {
    command.output().unwrap_or_else(|error| panic!("{command:?}: {error}"))
}

/// What it printed; fails with what it complained about.
pub fn run(command: &mut Command) -> String {
    let output = output(command);
    let complaint = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{command:?}: {}\n{complaint}", output.status);
    String::from_utf8(output.stdout).expect("it prints text")
}

/// Cargo with what the library is built by.
fn library(mut cargo: Command, into: &str, arguments: &[&str]) -> Command {
    cargo.current_dir(package()).env("CARGO_TARGET_DIR", Path::new(env!("CARGO_TARGET_TMPDIR")).join(into));
    cargo.args(["rustc", "--quiet", "--locked", "--lib", "--crate-type", "staticlib"]).args(arguments);
    cargo
}

fn archive(into: &str, path: &str) -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join(into).join(path).join("libmonitor_core_c.a")
}

/// The library for this machine, with these arguments of its own. Each has its folder: tests that want different ones run at one time.
pub fn for_host_with(arguments: &[&str]) -> PathBuf {
    let cargo = Toolchain::Rustup.cargo(board(TARGET));
    let into = format!("c-host{}", arguments.join(""));
    run(library(cargo, &into, &["--release"]).args(arguments));
    archive(&into, "release")
}

/// What a program of this machine with the library needs of the system.
pub const HOST_LIBRARIES: [&str; 3] = ["-lpthread", "-ldl", "-lm"];

/// The compiler of this machine for such a program.
pub fn host_compiler() -> Command {
    let mut compiler = Command::new("cc");
    compiler.args(WARNINGS).args(["-O2", "-I"]).arg(package().join("include"));
    compiler
}

/// How the library is built.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Profile {
    Release,
    Unoptimised,
}

/// The toolchain for the target, where everything is here that builds and runs a program for it. `None` where not, after saying so: only
/// continuous integration must have it.
pub fn tools_for_target() -> Option<Toolchain> {
    if !["arm-none-eabi-gcc", "qemu-system-arm"].into_iter().all(is_there) {
        not_run(
            "no arm-none-eabi-gcc or no qemu-system-arm; install them with\n  \
             apt-get install --no-install-recommends gcc-arm-none-eabi qemu-system-arm\nor from the packages of your system",
        );
        return None;
    }
    Toolchain::of(board(TARGET)).map_err(|missing| not_run(&missing.to_string())).ok()
}

/// The library for the target, such that it does not link where a panic can be reached. `None` as above.
pub fn for_target(profile: Profile) -> Option<PathBuf> {
    let toolchain = tools_for_target()?;
    let into = format!("c-{}", toolchain.folder());
    let mut build = library(toolchain.cargo(board(TARGET)), &into, toolchain.build_arguments());
    build.args(["--target", TARGET, "--features", "prove-no-panic"]);
    let directory = match profile {
        Profile::Release => {
            build.arg("--release");
            "release"
        }
        Profile::Unoptimised => "debug",
    };
    run(&mut build);
    Some(archive(&into, &format!("{TARGET}/{directory}")))
}

/// The emulated board; what the program says is its standard output.
pub fn emulator() -> Command {
    let mut emulator = Command::new("qemu-system-arm");
    emulator.args(["-machine", "mps2-an385", "-display", "none", "-monitor", "none", "-serial", "none"]);
    emulator.args(["-chardev", "stdio,id=said"]);
    emulator.args(["-semihosting-config", "enable=on,target=native,chardev=said"]);
    emulator
}

/// What came of a link.
#[derive(Debug, PartialEq, Eq)]
pub enum Link {
    Fine,
    Refused(String),
}

/// The functions of the library, from its header.
fn functions() -> Vec<String> {
    let header = fs::read_to_string(package().join("include/cowitness.h")).expect("the header is there");
    let words = header.split(|letter: char| !letter.is_ascii_alphanumeric() && !"_(".contains(letter));
    let mut functions: Vec<_> =
        words.filter_map(|word| word.split_once('(')).map(|(name, _)| name.to_owned()).collect();
    functions.retain(|name| name.starts_with("cw_"));
    functions.sort();
    functions.dedup();
    assert!(functions.len() > 15, "{functions:?}");
    functions
}

/// Links the example with the library for the target, with all functions of the library whether the example calls them or not.
pub fn link(archive: &Path, program: &Path) -> Link {
    let example = package().join("example");
    let mut compiler = Command::new("arm-none-eabi-gcc");
    compiler.args(["-mcpu=cortex-m3", "-mthumb", "-ffreestanding", "-nostdlib", "-Os"]).args(WARNINGS);
    compiler.args(["-ffunction-sections", "-Wl,--gc-sections", "-I"]).arg(package().join("include"));
    compiler.arg("-T").arg(example.join("board/mps2-an385.ld"));
    compiler.args(["main.c", "motion.c", "say.c", "board/startup.c"].map(|file| example.join(file)));
    compiler.args(functions().iter().map(|name| format!("-Wl,--undefined={name}")));
    let output = output(compiler.arg(archive).arg("-o").arg(program));
    if output.status.success() {
        Link::Fine
    } else {
        Link::Refused(String::from_utf8_lossy(&output.stderr).into_owned())
    }
}
