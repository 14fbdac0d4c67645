//! Images for a target: built with whichever toolchain is there.

use std::fmt;
use std::path::{Path, PathBuf};
use std::process::Command;

use crate::board::Board;

/// The compiler of Debian's second toolchain, which can build `core` from its sources.
const DEBIAN_RUSTC: &str = "/usr/bin/rustc";

/// What is not there, and how to get it.
#[derive(Clone, Debug)]
pub enum Missing {
    /// A toolchain for the target.
    Toolchain(&'static Board),
    /// The emulator of the board.
    Emulator(&'static Board),
}

impl fmt::Display for Missing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Toolchain(board) => write!(
                f,
                "no toolchain for {triple}; install it with\n  rustup target add {triple}\nor on Debian with\n  \
                 apt-get install rustc-web cargo-web rust-web-src {linker}",
                triple = board.triple,
                linker = board.linker.1,
            ),
            Self::Emulator(board) => write!(
                f,
                "no {}; install it with\n  apt-get install {}\nor from the packages of your system",
                board.emulator.0, board.emulator.1,
            ),
        }
    }
}

/// A way to build for a target.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Toolchain {
    /// The one that runs the tests: the target is installed.
    Rustup,
    /// Debian's: `core` is built from its sources.
    Debian,
}

fn output_of(program: &str, arguments: &[&str]) -> Option<String> {
    let output = Command::new(program).args(arguments).output().ok()?;
    output.status.success().then(|| String::from_utf8_lossy(&output.stdout).trim().to_owned())
}

/// Whether a program can be started.
pub fn is_there(program: &str) -> bool {
    Command::new(program).arg("--version").output().is_ok()
}

impl Toolchain {
    /// The toolchain for a board: the target of rustup where it is installed, else Debian's.
    pub fn of(board: &'static Board) -> Result<Self, Missing> {
        let libraries = output_of("rustc", &["--print", "target-libdir", "--target", board.triple]);
        if libraries.is_some_and(|folder| Path::new(&folder).is_dir()) {
            return Ok(Self::Rustup);
        }
        let sources = output_of(DEBIAN_RUSTC, &["--print", "sysroot"])
            .map(|root| Path::new(&root).join("lib/rustlib/src/rust/library/core"));
        if sources.is_some_and(|folder| folder.is_dir()) && is_there(board.linker.0) {
            return Ok(Self::Debian);
        }
        Err(Missing::Toolchain(board))
    }

    /// What its compiler calls itself.
    pub fn version(&self) -> String {
        let compiler = if *self == Self::Debian { DEBIAN_RUSTC } else { "rustc" };
        output_of(compiler, &["--version"]).expect("the compiler was there a moment ago")
    }

    fn cargo(&self, board: &Board) -> Command {
        if *self == Self::Rustup {
            return Command::new("cargo");
        }
        let mut cargo = Command::new("/usr/bin/cargo");
        let flavor = if board.linker.0.contains("lld") { "ld.lld" } else { "ld" };
        cargo
            .env_remove("RUSTUP_TOOLCHAIN")
            // Building `core` needs what only a nightly compiler may do otherwise.
            .env("RUSTC_BOOTSTRAP", "1")
            .env("RUSTC", DEBIAN_RUSTC)
            .env("RUSTFLAGS", format!("-C linker={} -C linker-flavor={flavor}", board.linker.0))
            .args(["-Z", "build-std=core,alloc"]);
        cargo
    }

    /// Where its images are.
    fn folder(&self) -> PathBuf {
        Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("on-target-{self:?}").to_lowercase())
    }

    /// Builds one image; the message of the compiler when it does not build.
    pub fn build(&self, board: &Board, image: &Image<'_>) -> Result<PathBuf, String> {
        let package = Path::new(env!("CARGO_MANIFEST_DIR")).join("on-target/firmware");
        let mut cargo = self.cargo(board);
        let output = cargo
            .current_dir(package)
            .env("CARGO_TARGET_DIR", self.folder())
            .env("CARGO_TERM_COLOR", "never")
            // What is below is left out of an image that logs.
            .env("DEFMT_LOG", "info")
            .arg("build")
            .args(["--locked", "--profile", image.profile, "--bin", image.name])
            .args(["--features", image.features, "--target", board.triple])
            .output()
            .expect("cargo can be started");
        if !output.status.success() {
            return Err(String::from_utf8_lossy(&output.stderr).into_owned());
        }
        Ok(self.folder().join(board.triple).join(image.profile).join(image.name))
    }
}

/// An image of the firmware package.
#[derive(Clone, Copy, Debug)]
pub struct Image<'a> {
    /// The binary.
    pub name: &'a str,
    /// `release` or `small`.
    pub profile: &'a str,
    /// What it is built with.
    pub features: &'a str,
}
