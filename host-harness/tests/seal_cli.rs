//! `cowitness seal` and `cowitness inspect` as a user meets them: exit status, messages, files.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

const SETUP: &str = r#"
title = "Shuttle, invented"
unit  = "mm"
[time]
column = "time"
unit   = "s"
[channel.a]
column         = "motor"
counter_bits   = 32
unit_per_count = "0.0005 mm"
max_speed      = "3 m/s"
timeout        = "4 ms"
[channel.b]
column         = "rail"
counter_bits   = 24
unit_per_count = "0.001 mm"
latency        = "0.25 ms"
max_speed      = "3 m/s"
timeout        = "4 ms"
[speed]
window = "8 ms"
[[monitor]]
name     = "slow while the door is open"
kind     = "speed-limit"
demand   = ["door_open"]
limit    = "250 mm/s"
on_delay = "4 ms"
"#;

/// A folder of its own for one test.
struct Bench(PathBuf);

impl Bench {
    fn new(name: &str) -> Self {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("seal").join(name);
        let _ = std::fs::remove_dir_all(&folder);
        std::fs::create_dir_all(&folder).unwrap();
        let bench = Self(folder);
        bench.write("axis.toml", SETUP);
        bench
    }

    fn write(&self, name: &str, content: impl AsRef<[u8]>) {
        std::fs::write(self.0.join(name), content).unwrap();
    }

    fn read(&self, name: &str) -> Vec<u8> {
        std::fs::read(self.0.join(name)).unwrap()
    }

    fn has(&self, name: &str) -> bool {
        self.0.join(name).exists()
    }

    fn run(&self, args: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_cowitness")).args(args).current_dir(&self.0).output().unwrap()
    }

    fn seal(&self) -> Vec<u8> {
        let output = self.run(&["seal", "axis.toml", "--out", "axis.sealed"]);
        assert_eq!(output.status.code(), Some(0), "{}", err(&output));
        self.read("axis.sealed")
    }
}

/// The program with this on its standard input.
fn fed(bench: &Bench, args: &[&str], input: &[u8]) -> Output {
    bench.write("input", input);
    let input = std::fs::File::open(bench.0.join("input")).unwrap();
    let mut program = Command::new(env!("CARGO_BIN_EXE_cowitness"));
    program.args(args).current_dir(&bench.0).stdin(input).output().unwrap()
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

#[test]
fn a_setup_is_sealed_and_its_sheet_is_printed_with_status_0() {
    let bench = Bench::new("seals");
    let output = bench.run(&["seal", "axis.toml", "--out", "axis.sealed"]);
    assert_eq!((output.status.code(), out(&output)), (Some(0), String::new()));
    let said = err(&output);
    assert!(
        said.contains("for 129 stored readings per channel: window 8 ms, effective at most 8.125 ms"),
        "{said}"
    );
    for args in [&["inspect", "axis.sealed"][..], &["inspect", "axis.sealed", "--setup", "axis.toml"]] {
        let output = bench.run(args);
        assert_eq!((output.status.code(), err(&output)), (Some(0), String::new()));
        let sheet = out(&output);
        assert!(sheet.starts_with("REVIEW OF A SEALED SETUP"), "{sheet}");
        assert!(sheet.contains("[ ] limit               250 mm/s\n"), "{sheet}");
        assert_eq!(sheet.contains("THE SAME"), args.len() > 2);
    }
}

#[test]
fn the_same_setup_is_sealed_into_the_same_bytes() {
    let bench = Bench::new("again");
    let first = bench.seal();
    assert_eq!(bench.seal(), first);
    let output = bench.run(&["seal", "axis.toml", "--out", "-", "--quiet"]);
    assert_eq!((output.status.code(), output.stdout), (Some(0), first));
}

#[test]
fn an_image_of_another_setup_exits_with_1_and_lists_what_differs() {
    let bench = Bench::new("differs");
    bench.seal();
    bench.write("other.toml", SETUP.replace("250 mm/s", "240 mm/s"));
    let output = bench.run(&["inspect", "axis.sealed", "--setup", "other.toml"]);
    assert_eq!(output.status.code(), Some(1), "{}", err(&output));
    assert!(
        err(&output).contains("axis.sealed: not the image of other.toml, 3 differences"),
        "{}",
        err(&output)
    );
    let sheet = out(&output);
    assert!(sheet.contains("  monitor.0.limit\n      image  250 mm/s (0x00000000fa000000)\n"), "{sheet}");
}

#[test]
fn an_image_whose_value_is_not_that_of_its_own_text_exits_with_1() {
    let bench = Bench::new("misfit");
    let mut image = bench.seal();
    // Another text for the limit, under a right checksum.
    let at = image.windows(8).position(|bytes| bytes == b"250 mm/s").unwrap();
    image[at + 1] = b'4';
    let content = image.len() - 4;
    let crc = monitor_core::seal::crc32(&image[..content]).to_le_bytes();
    image[content..].copy_from_slice(&crc);
    bench.write("axis.sealed", image);
    let output = bench.run(&["inspect", "axis.sealed"]);
    assert_eq!(output.status.code(), Some(1), "{}", err(&output));
    assert!(
        err(&output).contains("monitor.0.limit is not what its own text is rounded to"),
        "{}",
        err(&output)
    );
    assert!(out(&output).contains("asked 240 mm/s: NOT WHAT IS HELD"), "{}", out(&output));
}

#[test]
fn an_altered_cut_or_foreign_image_is_refused_with_2_and_prints_no_sheet() {
    let bench = Bench::new("refuses");
    let image = bench.seal();
    let mut altered = image.clone();
    altered[100] ^= 1;
    let mut version = image.clone();
    version[4] = 9;
    let mut damaged = image.clone();
    damaged[5] ^= 1;
    for (bytes, cause) in [
        (altered, "altered: sealed with checksum"),
        (version, "sealed in version 9 of the format; this program reads version 2"),
        (
            damaged,
            "sealed in version 258 of the format; this program reads version 2; either it is damaged, then fetch it again",
        ),
        (image[..image.len() - 1].to_vec(), "bytes long, but sealed with"),
        (Vec::new(), "cut: 0 bytes are less than any sealed setup has"),
        (SETUP.as_bytes().to_vec(), "not a sealed setup"),
    ] {
        bench.write("bad.sealed", bytes);
        for args in [&["inspect", "bad.sealed"][..], &["inspect", "bad.sealed", "--setup", "axis.toml"]] {
            let output = bench.run(args);
            assert_eq!((output.status.code(), out(&output)), (Some(2), String::new()));
            assert!(
                err(&output).starts_with("error: bad.sealed: ") && err(&output).contains(cause),
                "{}",
                err(&output)
            );
        }
    }
}

#[test]
fn an_image_is_read_from_standard_input() {
    let bench = Bench::new("stdin");
    let image = bench.seal();
    let from_file = bench.run(&["inspect", "axis.sealed", "--setup", "axis.toml"]);
    let from_input = fed(&bench, &["inspect", "-", "--setup", "axis.toml"], &image);
    assert_eq!((from_input.status.code(), err(&from_input)), (Some(0), String::new()));
    assert_eq!(out(&from_input), out(&from_file));
    let cut = fed(&bench, &["inspect", "-"], &image[..9]);
    assert_eq!(cut.status.code(), Some(2));
    assert!(err(&cut).starts_with("error: standard input: cut: 9 bytes"), "{}", err(&cut));
}

#[test]
fn where_the_settings_of_the_host_are_listed_is_told_as_it_is() {
    let bench = Bench::new("host-settings");
    let listed = |sheet: &str| sheet.contains("channel.b.latency         0.25 ms (250000 ns)\n");
    let said = err(&bench.run(&["seal", "axis.toml", "--out", "named.sealed"]));
    assert!(said.ends_with("of the target; the review sheet lists them\n"), "{said}");
    assert!(listed(&out(&bench.run(&["inspect", "named.sealed"]))));
    let said = err(&bench.run(&["seal", "axis.toml", "--out", "bare.sealed", "--no-labels"]));
    let told =
        "sealed without names and texts, the image does not list them: `cowitness inspect --setup` does\n";
    assert!(said.ends_with(told), "{said}");
    assert!(!listed(&out(&bench.run(&["inspect", "bare.sealed"]))));
    assert!(listed(&out(&bench.run(&["inspect", "bare.sealed", "--setup", "axis.toml"]))));
}

#[test]
fn what_cannot_be_read_or_sealed_exits_with_2_and_says_why() {
    let bench = Bench::new("cannot");
    bench.seal();
    bench.write("bad.toml", SETUP.replace("250 mm/s", "250 mm"));
    for (args, message) in [
        (&["inspect", "no.sealed"][..], "no.sealed: cannot be read"),
        (&["inspect", "axis.sealed", "--setup", "no.toml"], "no.toml"),
        (&["seal", "no.toml", "--out", "x.sealed"], "no.toml"),
        (&["seal", "bad.toml", "--out", "x.sealed"], "bad.toml:26:17"),
        (&["seal", "axis.toml", "--out", "no/x.sealed"], "no/x.sealed: cannot be written"),
        (
            &["seal", "axis.toml", "--out", "x.sealed", "--points", "4"],
            "no axis has 4 stored readings per channel",
        ),
        (&["seal", "axis.toml", "--out", "x.sealed", "--points", "many"], "--points"),
        (&["seal", "axis.toml"], "--out"),
    ] {
        let output = bench.run(args);
        assert_eq!(output.status.code(), Some(2), "{args:?}: {}", err(&output));
        assert!(err(&output).contains(message), "{args:?}: {}", err(&output));
    }
    assert!(!bench.has("x.sealed"));
}

#[test]
fn no_file_that_is_read_is_overwritten_and_no_two_outputs_share_one() {
    let bench = Bench::new("keeps");
    let image = bench.seal();
    for args in [
        &["seal", "axis.toml", "--out", "axis.toml"][..],
        &["seal", "axis.toml", "--out", "x.sealed", "--rust", "./axis.toml"],
        &["seal", "axis.toml", "--out", "x.sealed", "--rust", "./x.sealed"],
        &["seal", "axis.toml", "--out", "x.sealed", "--c", "axis.toml"],
        &["seal", "axis.toml", "--out", "x.sealed", "--c", "./x.sealed"],
        &["seal", "axis.toml", "--out", "x.sealed", "--rust", "x.h", "--c", "x.h"],
        &["inspect", "axis.sealed", "--json", "axis.sealed"],
        &["inspect", "axis.sealed", "--setup", "axis.toml", "--json", "axis.toml"],
    ] {
        let output = bench.run(args);
        assert_eq!((output.status.code(), out(&output)), (Some(2), String::new()), "{args:?}");
    }
    assert_eq!((bench.read("axis.toml"), bench.read("axis.sealed")), (SETUP.as_bytes().to_vec(), image));
    assert!(!bench.has("x.sealed"));
}

#[test]
fn the_review_is_written_as_data_to_a_file_or_instead_of_the_sheet() {
    let bench = Bench::new("json");
    bench.seal();
    let output = bench.run(&["inspect", "axis.sealed", "--setup", "axis.toml", "--json", "review.json"]);
    assert!(out(&output).starts_with("REVIEW OF A SEALED SETUP"));
    let output = bench.run(&["inspect", "axis.sealed", "--setup", "axis.toml", "--json", "-"]);
    assert_eq!(output.stdout, bench.read("review.json"));
    let json: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!((&json["schema"], &json["setup"]["same"]), (&1.into(), &true.into()));
}

#[test]
fn names_are_left_out_on_request_and_the_points_are_those_that_were_asked_for() {
    let bench = Bench::new("options");
    let whole = bench.seal();
    let args = [
        "seal",
        "axis.toml",
        "--out",
        "bare.sealed",
        "--no-labels",
        "--points",
        "33",
        "--rust",
        "axis.rs",
        "-q",
    ];
    let output = bench.run(&args);
    assert_eq!((output.status.code(), err(&output)), (Some(0), String::new()));
    let bare = bench.read("bare.sealed");
    assert!(bare.len() < whole.len() && !bare.windows(4).any(|bytes| bytes == b"door"));
    let sheet = out(&bench.run(&["inspect", "bare.sealed"]));
    assert!(sheet.contains("points 33\n") && sheet.contains("Monitor 0\n"), "{sheet}");
    let source = String::from_utf8(bench.read("axis.rs")).unwrap();
    assert!(source.contains("pub const POINTS: usize = 33;"), "{source}");
    assert!(source.contains("pub const SLOW_WHILE_THE_DOOR_IS_OPEN: u8 = 0;"), "{source}");
}

#[test]
fn the_header_for_c_is_written_beside_the_image_and_told_when_the_library_has_other_points() {
    let bench = Bench::new("c");
    let args = ["seal", "axis.toml", "--out", "axis.sealed", "--c", "axis.h", "--points", "33"];
    let output = bench.run(&args);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert!(!err(&output).contains("note: "), "{}", err(&output));
    let header = String::from_utf8(bench.read("axis.h")).unwrap();
    assert!(header.contains("#define AXIS_MONITOR_SLOW_WHILE_THE_DOOR_IS_OPEN 0u\n"), "{header}");
    let output = bench.run(&args[..6]);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert!(
        err(&output).contains("note: sealed for 129 stored readings per channel; the library for C has 33"),
        "{}",
        err(&output)
    );
}

#[test]
fn the_commands_of_the_readme_run_as_they_are_printed() {
    let bench = Bench::new("readme");
    let workspace = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    for folder in ["traces-demo", "target"] {
        std::fs::create_dir_all(bench.0.join(folder)).unwrap();
    }
    bench.write(
        "traces-demo/shuttle.toml",
        std::fs::read(workspace.join("traces-demo/shuttle.toml")).unwrap(),
    );
    let readme: String = ["README.md", "monitor-core/README.md"]
        .iter()
        .map(|file| std::fs::read_to_string(workspace.join(file)).unwrap())
        .collect();
    let commands =
        readme.lines().filter_map(|line| line.strip_prefix("$ cargo run --release --bin cowitness -- "));
    let mut run = 0;
    for command in commands.filter(|command| command.starts_with("seal ") || command.starts_with("inspect "))
    {
        let output = bench.run(&command.split(' ').collect::<Vec<_>>());
        assert_eq!(output.status.code(), Some(0), "{command}: {}", err(&output));
        run += 1;
    }
    assert!(run >= 3 && bench.has("target/shuttle.rs") && bench.has("target/shuttle.h"), "{run} commands");
}
