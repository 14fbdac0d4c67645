//! Images in the emulator.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

use cowitness_tests::on_target::{Board, Missing, Toolchain, is_there};

/// A target that has not ended after this time has stopped answering: a hundred times what the longest run takes.
const PATIENCE: Duration = Duration::from_secs(300);

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

/// A board with everything that is needed to run images on it.
pub struct Target {
    /// The board.
    pub board: &'static Board,
    /// What builds for it.
    pub toolchain: Toolchain,
}

impl Target {
    /// The board, if a toolchain and its emulator are there.
    pub fn of(board: &'static Board) -> Result<Self, Missing> {
        let toolchain = Toolchain::of(board)?;
        if !is_there(board.emulator.0) {
            return Err(Missing::Emulator(board));
        }
        Ok(Self { board, toolchain })
    }

    /// Builds an image; the message of the compiler when it does not build.
    pub fn build(&self, image: &Image<'_>) -> Result<PathBuf, String> {
        let package = Path::new(env!("CARGO_MANIFEST_DIR")).join("on-target/firmware");
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(self.toolchain.folder());
        let mut cargo = self.toolchain.cargo(self.board);
        let output = cargo
            .current_dir(package)
            .env("CARGO_TARGET_DIR", &folder)
            // What is below is left out of an image that logs.
            .env("DEFMT_LOG", "info")
            .arg("build")
            .args(self.toolchain.build_arguments())
            .args(["--locked", "--profile", image.profile, "--bin", image.name])
            .args(["--features", image.features, "--target", self.board.triple])
            .output()
            .map_err(|why| format!("cargo cannot be started: {why}"))?;
        if !output.status.success() {
            return Err(String::from_utf8_lossy(&output.stderr).into_owned());
        }
        Ok(folder.join(self.board.triple).join(image.profile).join(image.name))
    }

    /// Builds an image that builds.
    pub fn image(&self, image: &Image<'_>) -> PathBuf {
        let built = self.build(image);
        built.unwrap_or_else(|why| panic!("{} for {}:\n{why}", image.name, self.board.triple))
    }

    /// Runs an image with files in a folder of its own, until it ends; what it printed.
    pub fn run(&self, image: &Path, folder: &Path, more: &[&str]) -> String {
        self.run_for(image, folder, more, PATIENCE)
            .unwrap_or_else(|why| panic!("{}: {why}", self.board.triple))
    }

    /// As [`run`](Self::run), with what went wrong as a message.
    pub fn run_for(
        &self,
        image: &Path,
        folder: &Path,
        more: &[&str],
        patience: Duration,
    ) -> Result<String, String> {
        let printed = folder.join("printed");
        let file = fs::File::create(&printed).map_err(|why| format!("{}: {why}", printed.display()))?;
        let mut emulator = Command::new(self.board.emulator.0)
            .current_dir(folder)
            .args(self.board.machine)
            .args(["-nographic", "-monitor", "none", "-semihosting-config", "enable=on,target=native"])
            .args(more)
            .arg("-kernel")
            .arg(image)
            .stdin(Stdio::null())
            .stdout(file.try_clone().map_err(|why| why.to_string())?)
            .stderr(file)
            .spawn()
            .map_err(|why| format!("{}: {why}", self.board.emulator.0))?;
        let status = wait(&mut emulator, patience);
        let bytes = fs::read(&printed).map_err(|why| format!("{}: {why}", printed.display()))?;
        let text = String::from_utf8_lossy(&bytes).into_owned();
        match status {
            Some(status) if status.success() => Ok(text),
            Some(status) => Err(format!("the image ended with {status}:\n{text}")),
            None => Err(format!(
                "the target stopped answering: no end after {patience:?}, it was stopped; it had printed:\n{text}\n\
                 run it by hand to look: {} {} -nographic -semihosting-config enable=on,target=native -kernel {}",
                self.board.emulator.0,
                self.board.machine.join(" "),
                image.display()
            )),
        }
    }
}

/// The end of a process; `None` when it had to be stopped.
fn wait(process: &mut Child, patience: Duration) -> Option<ExitStatus> {
    let begin = Instant::now();
    loop {
        match process.try_wait().expect("a process can be asked") {
            Some(status) => return Some(status),
            None if begin.elapsed() > patience => {
                process.kill().expect("a process can be stopped");
                process.wait().expect("a stopped process ends");
                return None;
            }
            None => std::thread::sleep(Duration::from_millis(5)),
        }
    }
}
