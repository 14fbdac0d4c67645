//! The example in C, on this machine and on an emulated Cortex-M: it prints what the core itself comes to on the same frames.
//!
//! The README says how to build and run it; here its lines are run as they are printed.
//!
//! `COWITNESS_WRITE=1 cargo test -p monitor-core-c --test example` seals its setup into `example/axis_image.h` again.

// The image is one for the usual size.
#![cfg(not(feature = "small"))]

mod build;

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use build::{Link, Profile, package, run};
use cowitness_tests::on_target::{Toolchain, board};
use monitor_core::seal::Image;
use monitor_core::{
    Acceleration, Axis, AxisConfig, Channel, Demand, Evidence, Frame, InputConfig, InputSet, Instant, Levels,
    OneSided, Pairing, Position, PositionDiscrepancy, Ramp, Reading, Reset, Rule, Sample, Scale,
    SourceConfig, Span, Speed, SpeedLimit, Trip, Tripped, WarmUp,
};
use monitor_core_c::{CW_INPUTS, CW_MONITORS, CW_POINTS};

type Config = AxisConfig<CW_POINTS, CW_MONITORS, CW_INPUTS>;
type Failure = Box<dyn std::error::Error>;

/// The setup of the example: slow while the door is open, and the two sensors agree.
fn config() -> Result<Config, Failure> {
    let ms = |n| Span::from_millis(n).ok_or("out of range");
    let mm_per_s = |v| Speed::from_int(v).ok_or("out of range");
    let motor = SourceConfig::try_new(32, Scale::from_ratio(1, 2000)?, mm_per_s(3000)?, ms(4)?)?;
    let rail = SourceConfig::try_new(24, Scale::from_ratio(1, 1000)?, mm_per_s(3000)?, ms(4)?)?;
    let mut config = Config::try_new(motor, rail, ms(8)?, WarmUp::Withhold)?;
    let one_sided = OneSided::Fault;
    let door = InputConfig::dual([0, 1], Pairing::Equivalent, false, ms(3)?, ms(500)?, one_sided)?;
    let door = config.add_input(door)?;
    let deceleration = Acceleration::from_int(2000).ok_or("out of range")?;
    let ramp = Ramp::try_new(ms(20)?, deceleration, mm_per_s(10)?).ok_or("negative")?;
    let slow = SpeedLimit::try_new(mm_per_s(250)?, Some(ramp)).ok_or("negative")?;
    config.add_monitor(Rule::SpeedLimit(slow), Demand::AnyOf(InputSet::NONE.with(door)), ms(4)?)?;
    let tolerance = Position::from_int(2).ok_or("out of range")?;
    let apart = PositionDiscrepancy::try_new(tolerance, ms(1)?, ms(20)?, false).ok_or("negative")?;
    config.set_position_discrepancy(apart);
    config.set_reset(InputConfig::single(2, true, ms(3)?)?);
    Ok(config)
}

/// What the whole example may use of the stack on the target, in bytes; the README says so.
const MOST_STACK: u32 = 16_384;

/// The checksum of the text above, as a sealing program would give it.
const SETUP: u32 = 0x0d00_50ed;

fn image() -> Vec<u8> {
    let mut bytes = [0; 1024];
    let config = config().expect("the setup of the example");
    let length = config.seal(SETUP, b"", &mut bytes).expect("the image fits");
    bytes[..length].to_vec()
}

/// The image as C includes it.
fn image_header() -> String {
    let mut text = String::from(
        "/* The sealed setup of the example. Made by monitor-core/c/tests/example.rs; what is changed here is lost. */\n\
         #ifndef AXIS_IMAGE_H\n#define AXIS_IMAGE_H\n\n#include <stdint.h>\n\nstatic const uint8_t axis_image[] = {\n",
    );
    for row in image().chunks(16) {
        let row: Vec<String> = row.iter().map(|byte| format!("0x{byte:02x},")).collect();
        writeln!(text, "    {}", row.join(" ")).expect("text takes text");
    }
    text + "};\n\n#endif\n"
}

#[test]
fn the_image_of_the_example_is_what_its_setup_is_sealed_into() {
    let (path, made) = (package().join("example/axis_image.h"), image_header());
    if std::env::var_os("COWITNESS_WRITE").is_some_and(|value| value == "1") {
        fs::write(&path, &made).expect("the image can be written");
    }
    let kept = fs::read_to_string(&path).unwrap_or_default();
    assert!(
        made == kept,
        "example/axis_image.h is not what its setup is sealed into; COWITNESS_WRITE=1 writes it again"
    );
}

/// The motion of the example, by the rules of `example/motion.c`.
#[derive(Default)]
struct Moving {
    frame: u64,
    speed: u64,
    motor: u64,
    rail: u64,
}

impl Moving {
    fn show(&self) -> Frame {
        let now = Instant::from_nanos(self.frame * 1_000_000);
        let closed = !(250..700).contains(&self.frame);
        let pressed = (800..820).contains(&self.frame);
        let reading = |count| Some(Reading { captured_at: now, sample: Sample::Count(count) });
        let levels = Levels::from_bits(if closed { 3 } else { 0 } | if pressed { 4 } else { 0 });
        Frame { now, a: reading(self.motor), b: reading(self.rail), levels }
    }

    fn go_on(&mut self, permit: bool) {
        if (20..700).contains(&self.frame) {
            let wanted = if self.frame < 300 { 200 } else { 400 };
            if !permit {
                self.speed = self.speed.saturating_sub(2);
            } else if self.speed < wanted {
                self.speed += 1;
            }
        }
        self.motor += self.speed * 2;
        self.rail += self.speed;
        self.frame += 1;
    }
}

/// Six decimals, cut off, of a number of 2⁻²⁴ that is not negative; and the number.
fn quantity(raw: i64) -> String {
    let millionths = (i128::from(raw) * 1_000_000) >> 24;
    format!("{}.{:06} (raw {raw})", millionths / 1_000_000, millionths % 1_000_000)
}

fn told_trip(trip: &Trip) -> String {
    let (rule, monitor, channel) = match trip.rule {
        Tripped::Monitor(id, channel) => (0, id.index(), channel),
        Tripped::PositionDiscrepancy => (1, 0, Channel::A),
        Tripped::SpeedDiscrepancy => (2, 0, Channel::A),
        Tripped::AnalogueDiscrepancy(id) => (3, id.index(), Channel::A),
    };
    // The setup has no other kind of limit.
    let (kind, observed, limit) = match trip.evidence {
        Evidence::Speed(bound) => ("speed", bound.observed.to_bits(), bound.limit.to_bits()),
        Evidence::Position(bound) => ("travel", bound.observed.to_bits(), bound.limit.to_bits()),
        other => panic!("{other}"),
    };
    format!(
        "  rule {rule} monitor {monitor} channel {channel:?}: demanded at {} ns, violated since {} ns, tripped at {} ns, \
         {kind} {} above {} by {}\n",
        trip.demanded_at.as_nanos(),
        trip.violated_since.as_nanos(),
        trip.tripped_at.as_nanos(),
        quantity(observed),
        quantity(limit),
        quantity(observed - limit),
    )
}

fn told_motion(axis: &Axis<CW_POINTS, CW_MONITORS, CW_INPUTS>) -> Option<String> {
    let speed = quantity(axis.speed(Channel::A)?.signed().to_bits());
    let position = quantity(axis.position(Channel::B)?.to_bits());
    let distance = quantity(axis.config().distance(axis.state())?.to_bits());
    Some(format!("  speed of A {speed}, position of B {position}, apart {distance}\n"))
}

/// What the example has to print: what the core comes to on the same frames.
fn expected() -> String {
    let bytes = image();
    let image = Image::open(&bytes).expect("an image");
    let mut axis = Axis::new(config().expect("the setup of the example"));
    let mut text = format!("image {:08x}, setup {SETUP:08x}, monitors 1, inputs 1\n", image.checksum());
    let (mut at, mut permit) = (Moving::default(), false);
    while at.frame < 900 {
        let outcome = axis.step(&at.show());
        if outcome.permit != permit {
            text += &format!("frame {}: {}permit\n", at.frame, if outcome.permit { "" } else { "no " });
        }
        if let Some(reset) = outcome.reset {
            assert_eq!(reset, Reset::Accepted);
            text += &format!("frame {}: reset accepted\n", at.frame);
        }
        if !outcome.tripped.a.is_empty() || !outcome.tripped.b.is_empty() {
            text += &format!("frame {}: trip\n", at.frame);
            text.extend(axis.state().trips().map(|trip| told_trip(&trip)));
            text += &told_motion(&axis).expect("the motion is known");
        }
        permit = outcome.permit;
        at.go_on(permit);
    }
    text
}

#[test]
fn the_motion_of_the_example_trips_on_both_channels_and_is_reset() {
    let text = expected();
    println!("{text}");
    let seen = ["channel A: demanded", "channel B: demanded", "above 250.000000 (raw ", ": no permit\n"];
    assert!(seen.iter().all(|part| text.contains(part)), "{text}");
    assert!(text.ends_with(": permit\nframe 823: reset accepted\n"), "{text}");
}

/// What the example is made of on this machine.
const HOST: [&str; 4] = ["main.c", "motion.c", "say.c", "host.c"];

fn example(files: [&str; 4]) -> [PathBuf; 4] {
    files.map(|file| package().join("example").join(file))
}

#[test]
fn on_this_machine_the_example_prints_what_the_core_comes_to() {
    let archive = build::for_host_with(&[]);
    let program = Path::new(env!("CARGO_TARGET_TMPDIR")).join("example-host");
    run(build::host_compiler()
        .args(example(HOST))
        .arg(archive)
        .args(build::HOST_LIBRARIES)
        .arg("-o")
        .arg(&program));
    assert_eq!(run(&mut Command::new(&program)), expected());
}

#[test]
fn a_program_whose_header_and_library_are_not_both_for_a_small_axis_says_so_and_stays_without_torque() {
    for (library, options) in [(&["--features", "small"][..], &[][..]), (&[], &["-DCW_SMALL"])] {
        let archive = build::for_host_with(library);
        let program = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("example-mixed-{}", options.len()));
        run(build::host_compiler()
            .args(options)
            .args(example(HOST))
            .arg(archive)
            .args(build::HOST_LIBRARIES)
            .arg("-o")
            .arg(&program));
        let ran = Command::new(&program).output().expect("it runs");
        assert_eq!(String::from_utf8_lossy(&ran.stdout), "header and library are not of one kind\n");
        assert_eq!(ran.status.code(), Some(1));
    }
}

#[test]
fn on_a_cortex_m_the_example_prints_what_the_core_comes_to_and_no_panic_is_linked() {
    let Some(archive) = build::for_target(Profile::Release) else { return };
    let program = Path::new(env!("CARGO_TARGET_TMPDIR")).join("example.elf");
    // The library was built so that it does not link where a panic can be reached.
    assert_eq!(build::link(&archive, &program), Link::Fine);
    let said = run(build::emulator().arg("-kernel").arg(&program));
    let printed = said.strip_prefix(&expected());
    let stack = printed.and_then(|last| last.strip_prefix("stack ")?.strip_suffix(" bytes\n")?.parse().ok());
    let stack: u32 = stack.unwrap_or_else(|| panic!("{said}\nbut expected\n{}", expected()));
    println!("stack {stack} bytes");
    assert!((1000..MOST_STACK).contains(&stack), "{stack} bytes of stack");
}

/// The commands of the README that build and run the example: those of the block with this one.
fn printed(block_with: &str) -> Vec<String> {
    let readme = fs::read_to_string(package().join("../README.md")).expect("the README is there");
    let blocks = readme.split("```console\n").skip(1).filter_map(|rest| rest.split_once("```"));
    let block =
        blocks.map(|(block, _)| block).find(|block| block.contains(block_with)).expect("such a block");
    let lines = block.replace("\\\n", "");
    let commands = lines.lines().map(|line| line.strip_prefix("$ ").expect("a command and nothing else"));
    commands.map(|command| command.split_whitespace().collect::<Vec<_>>().join(" ")).collect()
}

/// Runs a printed command where its paths are those of the repository, but for `target`, and returns what it says.
fn run_printed(root: &Path, mut program: Command, command: &str, more: &[&str]) -> String {
    program.args(command.split(' ').skip(1)).args(more);
    run(program.current_dir(root).env_remove("CARGO_TARGET_DIR"))
}

/// The repository as its commands see it, with a `target` of its own.
#[cfg(unix)]
fn repository(name: &str) -> PathBuf {
    let root = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    fs::create_dir_all(&root).expect("a folder");
    let from = package().join("../..").canonicalize().expect("the repository");
    for part in ["Cargo.toml", "Cargo.lock", "monitor-core", "host-harness", "tests", "traces-demo"] {
        let _ = fs::remove_file(root.join(part));
        std::os::unix::fs::symlink(from.join(part), root.join(part)).expect("a link");
    }
    root
}

#[cfg(unix)]
#[test]
fn the_lines_of_the_readme_build_and_run_the_example_on_this_machine() {
    let root = repository("readme-host");
    let commands = printed("-o target/example\n");
    let [library, program, example] = &commands[..] else { panic!("{commands:?}") };
    run_printed(&root, Toolchain::Rustup.cargo(board(build::TARGET)), library, &["--quiet"]);
    run_printed(&root, Command::new("cc"), program, &[]);
    assert!(program.starts_with("cc ") && library.starts_with("cargo "));
    assert_eq!(run_printed(&root, Command::new(root.join(example)), example, &[]), expected());
}

#[cfg(unix)]
#[test]
fn the_lines_of_the_readme_build_and_run_the_example_on_a_cortex_m() {
    let Some(toolchain) = build::tools_for_target() else { return };
    let root = repository("readme-target");
    let commands = printed("-o target/example.elf");
    let [target, library, program, board_line] = &commands[..] else { panic!("{commands:?}") };
    // Debian's toolchain takes the place of the target that this line installs, and builds `core` from its sources.
    assert_eq!(*target, format!("rustup target add {}", build::TARGET));
    let more = [&["--quiet"], toolchain.build_arguments()].concat();
    assert!(library.starts_with("cargo rustc ") && program.starts_with("arm-none-eabi-gcc "));
    run_printed(&root, toolchain.cargo(board(build::TARGET)), library, &more);
    run_printed(&root, Command::new("arm-none-eabi-gcc"), program, &[]);
    assert!(board_line.starts_with("qemu-system-arm "));
    let said = run_printed(&root, Command::new("qemu-system-arm"), board_line, &[]);
    assert!(said.strip_prefix(&expected()).is_some_and(|rest| rest.starts_with("stack ")), "{said}");
}

#[test]
fn a_library_in_which_a_panic_can_be_reached_does_not_link() {
    // Without optimisation the checks of the arithmetic are there, and each of them can panic.
    let Some(archive) = build::for_target(Profile::Unoptimised) else { return };
    let program = Path::new(env!("CARGO_TARGET_TMPDIR")).join("example-unoptimised.elf");
    match build::link(&archive, &program) {
        Link::Refused(why) => assert!(why.contains("cw_panic_is_reachable"), "{why}"),
        Link::Fine => panic!("it links"),
    }
}
