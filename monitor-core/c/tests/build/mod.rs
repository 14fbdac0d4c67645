//! The library and the example, built as a user builds them: for this machine, and for a Cortex-M with whichever toolchain is here.

use std::env;
use std::ffi::OsString;
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

const TARGET: &str = "thumbv7m-none-eabi";
pub const WARNINGS: [&str; 5] = ["-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Werror"];
const DEBIAN_CARGO: &str = "/usr/bin/cargo";
const DEBIAN_RUSTC: &str = "/usr/bin/rustc";

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

/// Cargo as a user starts it: without what the one that runs this test has set for it.
fn cargo(program: impl Into<OsString>, into: &str) -> Command {
    let mut cargo = Command::new(program.into());
    for (name, _) in env::vars_os() {
        let is_set_here = name.to_str().is_some_and(|name| {
            name.starts_with("CARGO_PKG_")
                || ["RUSTC", "RUSTFLAGS", "CARGO_ENCODED_RUSTFLAGS", "LD_LIBRARY_PATH"].contains(&name)
        });
        if is_set_here {
            cargo.env_remove(name);
        }
    }
    let tmp = Path::new(env!("CARGO_TARGET_TMPDIR"));
    cargo.current_dir(package()).env("CARGO_TARGET_DIR", tmp.join(into));
    cargo.args(["rustc", "--quiet", "--locked", "--lib", "--crate-type", "staticlib"]);
    cargo
}

fn archive(into: &str, path: &str) -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join(into).join(path).join("libmonitor_core_c.a")
}

/// The library for this machine.
pub fn for_host() -> PathBuf {
    run(cargo(env!("CARGO"), "c-host").arg("--release"));
    archive("c-host", "release")
}

/// How the library is built.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Profile {
    Release,
    Unoptimised,
}

fn is_here(program: &str) -> bool {
    Command::new(program).arg("--version").output().is_ok_and(|output| output.status.success())
}

fn has_rustup_target() -> bool {
    let installed = Command::new("rustup").args(["target", "list", "--installed"]).output();
    installed.is_ok_and(|output| String::from_utf8_lossy(&output.stdout).lines().any(|line| line == TARGET))
}

fn has_debian_toolchain() -> bool {
    let root = Command::new(DEBIAN_RUSTC).args(["--print", "sysroot"]).output();
    let core = |root: &str| Path::new(root.trim()).join("lib/rustlib/src/rust/library/core").is_dir();
    root.is_ok_and(|output| core(&String::from_utf8_lossy(&output.stdout)))
        && Path::new(DEBIAN_CARGO).is_file()
}

/// The library for the target, such that it does not link where a panic can be reached. `None` where the tools are not here, after
/// saying so: only continuous integration must have them.
pub fn for_target(profile: Profile) -> Option<PathBuf> {
    let tools = ["arm-none-eabi-gcc", "qemu-system-arm"].into_iter().all(is_here);
    let mut build = match (tools, has_rustup_target(), has_debian_toolchain()) {
        (true, true, _) => cargo(env!("CARGO"), "c-target"),
        (true, false, true) => {
            let mut build = cargo(DEBIAN_CARGO, "c-target-debian");
            build.env("RUSTC_BOOTSTRAP", "1").env("RUSTC", DEBIAN_RUSTC).env_remove("RUSTUP_TOOLCHAIN");
            build.env("RUSTFLAGS", "-C linker=arm-none-eabi-ld -C linker-flavor=ld");
            build.args(["-Z", "build-std=core"]);
            build
        }
        _ => {
            leave_out();
            return None;
        }
    };
    build.args(["--target", TARGET, "--features", "prove-no-panic"]);
    let directory = match profile {
        Profile::Release => {
            build.arg("--release");
            "release"
        }
        Profile::Unoptimised => "debug",
    };
    run(&mut build);
    let into = if has_rustup_target() { "c-target" } else { "c-target-debian" };
    Some(archive(into, &format!("{TARGET}/{directory}")))
}

fn leave_out() {
    let message = format!(
        "monitor-core-c: nothing was built for or run on {TARGET}. For that:\n  \
         rustup target add {TARGET}, and a package manager's arm-none-eabi-gcc and qemu-system-arm; or on Debian\n  \
         apt-get install --no-install-recommends gcc-arm-none-eabi binutils-arm-none-eabi qemu-system-arm rustc-web \
         cargo-web rust-web-src\n"
    );
    let in_ci = env::var_os("CI").is_some_and(|value| !value.is_empty() && value != "false");
    assert!(!in_ci, "{message}");
    // Past the test harness, which shows nothing of a test that passes.
    let _ = std::io::stderr().write_all(message.as_bytes());
}

/// The emulated board; what the program says is its standard output.
pub fn board() -> Command {
    let mut board = Command::new("qemu-system-arm");
    board.args(["-machine", "mps2-an385", "-display", "none", "-monitor", "none", "-serial", "none"]);
    board.args(["-chardev", "stdio,id=said"]);
    board.args(["-semihosting-config", "enable=on,target=native,chardev=said"]);
    board
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
    compiler.arg("-T").arg(example.join("target/mps2-an385.ld"));
    compiler.args(["main.c", "motion.c", "say.c", "target/startup.c"].map(|file| example.join(file)));
    compiler.args(functions().iter().map(|name| format!("-Wl,--undefined={name}")));
    let output = output(compiler.arg(archive).arg("-o").arg(program));
    if output.status.success() {
        Link::Fine
    } else {
        Link::Refused(String::from_utf8_lossy(&output.stderr).into_owned())
    }
}
