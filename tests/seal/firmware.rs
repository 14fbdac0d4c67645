//! The Rust source of an image in a firmware: it compiles without `std` and without a warning, and what it loads steps as the setup.

use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use host_harness::replay::axis;
use host_harness::seal::{Review, rust_source, seal};
use host_harness::setup::Setup;
use monitor_core::{AnalogueId, AnalogueReading, Channel, Frame, Instant, Levels, Reading, Sample};

use super::demos::{demos, frames, setup};
use super::measured;

const MANIFEST: &str = r#"[package]
name = "sealed-firmware-NAME"
version = "0.0.0"
edition = "2024"
publish = false

[workspace]

# Firmwares share what is compiled, and tests run beside each other: without a name of its own, one takes the library of another.
[lib]
name = "sealed_firmware"

[[bin]]
name = "NAME"
path = "src/main.rs"

[dependencies]
monitor-core = { path = "CORE" }
"#;

const LIBRARY: &str = "//! A firmware, but for the hardware.\n#![no_std]\n#![forbid(unsafe_code)]\n\
    #![deny(warnings, unused, missing_docs)]\npub mod axis;\nmod twice;\n";

/// Reads frames from standard input, prints what each comes to.
const PROGRAM: &str = r#"//! The axis of the firmware on frames from standard input.
#![deny(warnings)]
use monitor_core::{Axis, Frame, Instant, Levels, Reading, Sample};
use sealed_firmware::axis::{self, SealedAxis};

fn reading(text: &str) -> Option<Reading> {
    let (at, count) = text.split_once(':')?;
    let captured_at = Instant::from_nanos(at.parse().expect("a time"));
    let sample = count.parse().map_or(Sample::Invalid, Sample::Count);
    Some(Reading { captured_at, sample })
}

fn main() {
    let mut axis: SealedAxis = Axis::new(axis::sealed_config().expect("the image loads"));
    println!("{:?}", axis.config());
    for line in std::io::stdin().lines() {
        let line = line.expect("a line");
        let parts: Vec<_> = line.split(' ').collect();
        let now = Instant::from_nanos(parts[0].parse().expect("a time"));
        let levels = Levels::from_bits(parts[3].parse().expect("levels"));
        let frame = Frame { now, a: reading(parts[1]), b: reading(parts[2]), levels };
        println!("{:?}", axis.step(&frame));
    }
}
"#;

/// A faulted line of the second analogue value, and what the axis comes to with it.
const OFFERS: &str = r#"//! The axis of the firmware with a reading of an analogue value.
#![deny(warnings)]
use monitor_core::{AnalogueId, AnalogueReading, Axis, Channel, Frame, Instant, Levels};
use sealed_firmware::axis::{self, SealedAxis};

const WINDING: Option<AnalogueId> = AnalogueId::from_index(axis::analogue::MOTOR_WINDING);

fn main() {
    let mut axis: SealedAxis = Axis::new(axis::sealed_config().expect("the image loads"));
    let now = Instant::from_nanos(1_000_000);
    let reading = AnalogueReading { captured_at: now, value: None };
    axis.offer(WINDING.expect("a place"), Channel::B, reading);
    println!("{:?}", axis.step(&Frame { now, a: None, b: None, levels: Levels::from_bits(0) }));
}
"#;

fn shown(reading: Option<Reading>) -> String {
    let Some(reading) = reading else { return "-".to_owned() };
    let at = reading.captured_at.as_nanos();
    match reading.sample {
        Sample::Count(count) => format!("{at}:{count}"),
        Sample::Invalid => format!("{at}:invalid"),
    }
}

fn as_lines(frames: &[Frame]) -> String {
    let mut text = String::new();
    for frame in frames {
        let (now, levels) = (frame.now.as_nanos(), frame.levels.to_bits());
        writeln!(text, "{now} {} {} {levels}", shown(frame.a), shown(frame.b)).expect("a string");
    }
    text
}

/// A crate of its own, with the versions that the workspace has locked.
fn firmware(name: &str, source: &str) -> PathBuf {
    firmware_with(name, source, PROGRAM)
}

fn firmware_with(name: &str, source: &str, program: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("firmware").join(name);
    fs::create_dir_all(folder.join("src")).expect("a folder");
    let workspace = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let core = workspace.join("monitor-core").canonicalize().expect("the core");
    let core = core.display().to_string().replace('\\', "/");
    let manifest = MANIFEST.replace("CORE", &core).replace("NAME", name);
    let write = |path: &str, text: &str| fs::write(folder.join(path), text).expect("a file of the firmware");
    write("Cargo.toml", &manifest);
    write("src/lib.rs", LIBRARY);
    write("src/axis.rs", source);
    // Not public and not used: nothing in it may be told of.
    write("src/twice.rs", source);
    write("src/main.rs", program);
    fs::copy(workspace.join("Cargo.lock"), folder.join("Cargo.lock")).expect("the lock file");
    folder
}

fn cargo(folder: &Path, args: &[&str], input: &str) -> Output {
    let stdin = folder.join("frames.txt");
    fs::write(&stdin, input).expect("the frames");
    Command::new(env!("CARGO"))
        .args(args)
        .current_dir(folder)
        .env("CARGO_TARGET_DIR", Path::new(env!("CARGO_TARGET_TMPDIR")).join("firmware-target"))
        .env_remove("RUSTFLAGS")
        .stdin(fs::File::open(stdin).expect("the frames"))
        .output()
        .expect("cargo runs")
}

fn source(setup: &Setup, points: u16) -> String {
    let image = seal(setup, points, true).unwrap_or_else(|error| panic!("{error}"));
    rust_source(&Review::of(&image).expect("an image"), &image).text
}

#[test]
fn the_source_compiles_without_std_or_warnings_and_its_axis_steps_as_the_setup_does() {
    let demo = demos().into_iter().find(|demo| demo.name == "overspeed-door-open").expect("the demo");
    let setup = setup(&demo);
    let folder = firmware("steps", &source(&setup, 129));
    // Until after the trip, and no more than that takes.
    let frames: Vec<_> = frames(&demo, &setup).into_iter().take(60_000).collect();
    let output = cargo(&folder, &["run", "--offline", "--quiet"], &as_lines(&frames));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && said.is_empty(), "{said}");
    let text = String::from_utf8(output.stdout).expect("text");
    let mut lines = text.lines();
    let mut ours = axis(&setup).expect("an axis");
    assert_eq!(lines.next().map(str::to_owned), Some(format!("{:?}", ours.config())));
    let mut trips = 0;
    for frame in &frames {
        let outcome = ours.step(frame);
        assert_eq!(lines.next().map(str::to_owned), Some(format!("{outcome:?}")), "{:?}", frame.now);
        trips += usize::from(outcome.has_trip());
    }
    assert!(lines.next().is_none() && trips > 0, "{trips} frames with a trip");
}

#[test]
fn an_analogue_value_goes_by_its_place_in_the_source() {
    let setup = measured();
    let folder = firmware_with("offers", &source(&setup, 129), OFFERS);
    let output = cargo(&folder, &["run", "--offline", "--quiet"], "");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && said.is_empty(), "{said}");
    let mut ours = axis(&setup).expect("an axis");
    let now = Instant::from_nanos(1_000_000);
    let winding = AnalogueId::from_index(1).expect("a place");
    ours.offer(winding, Channel::B, AnalogueReading { captured_at: now, value: None });
    let outcome = ours.step(&Frame { now, a: None, b: None, levels: Levels::from_bits(0) });
    assert!(outcome.analogue_faults.b.contains(winding), "{outcome:?}");
    assert_eq!(String::from_utf8_lossy(&output.stdout), format!("{outcome:?}\n"));
}

#[test]
fn a_source_with_one_byte_of_the_image_altered_does_not_compile() {
    let demo = demos().into_iter().next().expect("a demo");
    let source = source(&setup(&demo), 33);
    let altered = source.replacen("0x43, 0x57, 0x41, 0x58,", "0x43, 0x57, 0x41, 0x59,", 1);
    assert_ne!(altered, source);
    let output = cargo(&firmware("altered", &altered), &["check", "--offline", "--quiet"], "");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(!output.status.success() && said.contains("the image was altered"), "{said}");
}

#[test]
fn the_source_is_formatted_as_rustfmt_would() {
    let setups = demos().into_iter().map(|demo| (demo.name.clone(), setup(&demo)));
    for (name, setup) in setups.chain([("measured".to_owned(), measured())]) {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("firmware");
        fs::create_dir_all(&folder).expect("a folder");
        let path = folder.join(format!("{name}.rs"));
        fs::write(&path, source(&setup, 129)).expect("a file");
        let output = Command::new("rustfmt").args(["--edition", "2024", "--check"]).arg(&path).output();
        let output =
            output.expect("rustfmt runs; it comes with the toolchain (rustup component add rustfmt)");
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stdout));
    }
}
