//! Images for a target: built with whichever toolchain is there.

use std::fmt;
use std::path::Path;
use std::process::Command;

use super::Board;

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

/// What a program prints; `None` when it is not there or fails.
#[must_use]
pub fn output_of(program: &str, arguments: &[&str]) -> Option<String> {
    let output = Command::new(program).args(arguments).output().ok()?;
    output.status.success().then(|| String::from_utf8_lossy(&output.stdout).trim().to_owned())
}

/// Whether a program can be started.
#[must_use]
pub fn is_there(program: &str) -> bool {
    Command::new(program).arg("--version").output().is_ok()
}

impl Toolchain {
    /// The toolchain for a board: Debian's where it is complete, for that is the one the written figures were made with; else the
    /// target of rustup.
    ///
    /// # Errors
    ///
    /// [`Missing::Toolchain`] when there is neither.
    pub fn of(board: &'static Board) -> Result<Self, Missing> {
        let sources = output_of(DEBIAN_RUSTC, &["--print", "sysroot"])
            .map(|root| Path::new(&root).join("lib/rustlib/src/rust/library/core"));
        if sources.is_some_and(|folder| folder.is_dir()) && is_there(board.linker.0) {
            return Ok(Self::Debian);
        }
        let libraries = output_of("rustc", &["--print", "target-libdir", "--target", board.triple]);
        if libraries.is_some_and(|folder| Path::new(&folder).is_dir()) {
            return Ok(Self::Rustup);
        }
        Err(Missing::Toolchain(board))
    }

    /// What its compiler calls itself.
    ///
    /// # Panics
    ///
    /// When the compiler has gone since it was found.
    #[must_use]
    pub fn version(&self) -> String {
        let compiler = if *self == Self::Debian { DEBIAN_RUSTC } else { "rustc" };
        output_of(compiler, &["--version"]).expect("the compiler was there a moment ago")
    }

    /// Cargo for a board, without a subcommand and as if it was started by hand; `--target` is still to be given.
    #[must_use]
    pub fn cargo(&self, board: &Board) -> Command {
        let mut cargo = Command::new(if *self == Self::Debian { "/usr/bin/cargo" } else { "cargo" });
        for (name, _) in std::env::vars_os() {
            // What the cargo that runs the tests has set is not meant for another package.
            if name.to_str().is_some_and(is_set_by_cargo) {
                cargo.env_remove(name);
            }
        }
        cargo.env("CARGO_TERM_COLOR", "never");
        if *self == Self::Debian {
            let flavor = if board.linker.0.contains("lld") { "ld.lld" } else { "ld" };
            cargo
                .env_remove("RUSTUP_TOOLCHAIN")
                // Building `core` needs what only a nightly compiler may do otherwise.
                .env("RUSTC_BOOTSTRAP", "1")
                .env("RUSTC", DEBIAN_RUSTC)
                .env("RUSTFLAGS", format!("-C linker={} -C linker-flavor={flavor}", board.linker.0));
        }
        cargo
    }

    /// What `cargo build` and `cargo rustc` need besides: `core` is built where none is installed.
    #[must_use]
    pub const fn build_arguments(&self) -> &'static [&'static str] {
        match self {
            Self::Rustup => &[],
            Self::Debian => &["-Z", "build-std=core,alloc"],
        }
    }

    /// The name of a folder for what it builds.
    #[must_use]
    pub const fn folder(&self) -> &'static str {
        match self {
            Self::Rustup => "on-target-rustup",
            Self::Debian => "on-target-debian",
        }
    }
}

fn is_set_by_cargo(name: &str) -> bool {
    name.starts_with("CARGO_PKG_")
        || ["RUSTC", "RUSTFLAGS", "CARGO_ENCODED_RUSTFLAGS", "LD_LIBRARY_PATH"].contains(&name)
}
