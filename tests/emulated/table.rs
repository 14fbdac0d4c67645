//! The table of costs: measured, and held against the one in the README.

use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};

use crate::cost::{Cost, adversarial, axes, cost, ordinary, seven};
use crate::emulator::{Image, Target};
use crate::image::Contents;
use crate::profile::{Share, profile};
use crate::script::Script;
use crate::{scratch, target};
use cowitness_tests::in_ci;
use cowitness_tests::on_target::{BOARDS, Board};
use monitor_core::Frame;

/// Ordinary frames of each axis; adversarial runs, and the frames of each.
const ORDINARY: usize = 4_000;
const RUNS: u64 = 8;
const ADVERSARIAL: usize = 1_000;

/// A measured axis.
struct Row {
    name: &'static str,
    ordinary: Cost,
    adversarial: Cost,
}

impl Row {
    /// The frame that took the most: it is the last of these, on an axis that has not been shown any.
    fn worst(&self) -> (u32, Vec<Frame>) {
        let mut frames = ordinary(ORDINARY);
        let (mut most, mut last) = self.ordinary.worst;
        if self.adversarial.worst.0 > most {
            let index;
            (most, index) = self.adversarial.worst;
            frames = adversarial((index / ADVERSARIAL) as u64, ADVERSARIAL);
            last = index % ADVERSARIAL;
        }
        frames.truncate(last + 1);
        (most, frames)
    }
}

/// What was measured on one target.
struct Measured {
    rows: Vec<Row>,
    /// Bytes of the state of the seven-rule axis, and how many more with one more stored reading on both channels, monitor and input.
    state: [u32; 4],
}

/// Shows every axis its frames on a target and tells what they cost.
fn measure(target: &Target) -> Measured {
    let mut script = Script::<4, 1>::new();
    for (_, config) in axes() {
        script.axis(&config);
        ordinary(ORDINARY).iter().for_each(|frame| script.frame(frame));
        for seed in 0..RUNS {
            script.axis(&config);
            adversarial(seed, ADVERSARIAL).iter().for_each(|frame| script.frame(frame));
        }
    }
    let image = target.image(&Image { name: "costs", profile: "release", features: "host" });
    let folder = scratch();
    fs::write(folder.join("script"), &script.bytes).expect("a script");
    let printed = target.run(&image, &folder, target.board.counting);
    let sizes: Vec<u32> = printed.split_whitespace().filter_map(|size| size.parse().ok()).collect();
    let state = sizes.try_into().unwrap_or_else(|_| panic!("sizes of a state: {printed}"));
    let costs = fs::read(folder.join("costs")).expect("costs");
    let runs = usize::try_from(RUNS).expect("few");
    let each = 8 * (ORDINARY + runs * ADVERSARIAL);
    assert_eq!(costs.len(), each * axes().len(), "a cost for every frame");
    let row = |((name, _), costs): ((&'static str, _), &[u8])| {
        let (easy, hard) = costs.split_at(8 * ORDINARY);
        Row { name, ordinary: cost(easy), adversarial: cost(hard) }
    };
    Measured { rows: axes().into_iter().zip(costs.chunks_exact(each)).map(row).collect(), state }
}

/// Bytes of flash: what an image with the core has more than one without.
fn flash(target: &Target, profile: &str, features: &str) -> u64 {
    let size = |features| Contents::of(&target.image(&Image { name: "flash", profile, features })).flash;
    size(features).saturating_sub(size(""))
}

/// Bytes of code of the core by the part of the source it comes from, the largest first.
fn parts(target: &Target) -> Vec<(String, u64)> {
    let contents = Contents::of(&target.image(&Image { name: "flash", profile: "small", features: "step" }));
    let mut parts: Vec<(String, u64)> = Vec::new();
    for function in contents.functions.iter().filter(|function| function.size > 0) {
        let inner = function.name.split_once("monitor_core::").map_or("", |(_, inner)| inner);
        let part = match inner
            .split("::")
            .next()
            .unwrap_or_default()
            .trim_end_matches(|c: char| !c.is_alphanumeric())
        {
            "" if function.name.contains("compiler_builtins") || function.name.starts_with("__aeabi") => {
                "helpers of the compiler"
            }
            "" => continue,
            part => part,
        };
        match parts.iter_mut().find(|(name, _)| name == part) {
            Some((_, size)) => *size += function.size,
            None => parts.push((part.to_owned(), function.size)),
        }
    }
    parts.sort_by_key(|(_, size)| std::cmp::Reverse(*size));
    parts
}

fn header(text: &mut String, first: &str, boards: &[Target]) {
    let cores: Vec<&str> = boards.iter().map(|target| target.board.core).collect();
    let _ = writeln!(text, "| {first} | {} |\n| --- |{}", cores.join(" | "), " ---: |".repeat(cores.len()));
}

fn line<T: std::fmt::Display>(text: &mut String, name: &str, values: impl IntoIterator<Item = T>) {
    let values: Vec<String> = values.into_iter().map(|value| value.to_string()).collect();
    let _ = writeln!(text, "| {name} | {} |", values.join(" | "));
}

/// The table, as it stands in the README.
fn table(boards: &[Target], measured: &[Measured]) -> String {
    let mut compilers: Vec<String> = boards.iter().map(|target| target.toolchain.version()).collect();
    compilers.dedup();
    let mut text = format!(
        "Executed instructions of one `step` under an emulator, not cycles: ordinary frames, mean / adversarial frames, \
         mean / the most of any of them.\nBuilt by {} at `opt-level = 3`.\n\n",
        compilers.join(", ")
    );
    header(&mut text, "axis of two sources with", boards);
    for (i, row) in measured[0].rows.iter().enumerate() {
        let cell = |measured: &Measured| {
            let Row { ordinary, adversarial, .. } = &measured.rows[i];
            let worst = ordinary.worst.0.max(adversarial.worst.0);
            format!("{} / {} / {worst}", ordinary.mean, adversarial.mean)
        };
        line(&mut text, row.name, measured.iter().map(cell));
    }
    text += "\nBytes; the seven-rule axis has 17 stored readings a channel and room for 4 monitors and 1 input.\n\n";
    header(&mut text, "memory", boards);
    let stack = |measured: &Measured| {
        measured.rows.iter().map(|row| row.ordinary.stack.max(row.adversarial.stack)).max()
    };
    line(
        &mut text,
        "stack of `step`, the most that was used",
        measured.iter().map(|measured| stack(measured).unwrap_or(0)),
    );
    line(
        &mut text,
        "RAM of the axis (its state; the setup can be in flash)",
        measured.iter().map(|measured| measured.state[0]),
    );
    for (i, part) in [(1, "stored reading, on both channels"), (2, "monitor"), (3, "input")] {
        let name = format!("of that each {part}");
        line(&mut text, &name, measured.iter().map(|measured| measured.state[i]));
    }
    for (profile, level) in [("small", "s"), ("release", "3")] {
        let name = format!("flash of the core with the four designed monitors, `opt-level` {level}");
        line(&mut text, &name, boards.iter().map(|target| flash(target, profile, "step")));
        let name = format!("the same with the loader of sealed setups, `opt-level` {level}");
        line(&mut text, &name, boards.iter().map(|target| flash(target, profile, "step,load")));
    }
    let m3 = &boards[m3(boards)];
    text += "\nCode of the core on the Cortex-M3 at `opt-level` s, by the part of the source:";
    for (part, size) in parts(m3) {
        let _ = write!(text, " {part} {size},");
    }
    text.pop();
    text + ".\n"
}

fn m3(boards: &[Target]) -> usize {
    boards.iter().position(|target| target.board.core == "Cortex-M3").expect("one of the boards")
}

/// Functions with less are summed up, in thousandths of the whole.
const LITTLE: u32 = 15;

/// Where the instructions of the worst frame of the seven-rule axis go, as it stands in the guide.
fn worst_frame(target: &Target, row: &Row) -> String {
    let (most, frames) = row.worst();
    let shares = profile(target, &seven(), &frames);
    let sum: u32 = shares.iter().map(|share| share.instructions).sum();
    assert!(sum.abs_diff(most) <= 30, "{sum} were logged, {most} counted");
    let mut text = format!(
        "The worst frame of the seven-rule axis on the {}: {sum} instructions, by the function they are in.\n\n\
         | function | calls | instructions |\n| --- | ---: | ---: |\n",
        target.board.core
    );
    let mut little = 0;
    for Share { name, instructions, calls } in shares {
        if 1000 * instructions < LITTLE * sum {
            little += instructions;
            continue;
        }
        let _ = writeln!(text, "| `{name}` | {calls} | {instructions} |");
    }
    let _ = writeln!(text, "| all others | | {little} |");
    text
}

fn file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).with_file_name(name)
}

/// The numbers in the lines that begin so, in their order.
fn numbers(text: &str, begin: &str) -> Vec<f64> {
    let lines = text.lines().filter(|line| line.starts_with(begin));
    lines
        .flat_map(|line| line.split(|c: char| !c.is_ascii_digit()).filter_map(|digits| digits.parse().ok()))
        .collect()
}

fn compiler(table: &str) -> Option<&str> {
    table.lines().find(|line| line.starts_with("Built by "))
}

/// Another compiler makes other code: then the figures need only be about the same.
const ABOUT: f64 = 0.15;

/// Holds what is measured against what stands in a document between two marks.
///
/// Of another compiler only the lines with this beginning are compared: it makes other functions as well.
fn hold(name: &str, mark: &str, measured: &str, begin_of_lines: &str, same_compiler: &mut Option<bool>) {
    let (begin, end) = (format!("<!-- {mark}: begin -->\n"), format!("<!-- {mark}: end -->\n"));
    let text = fs::read_to_string(file(name)).expect("a document");
    let (before, rest) = text.split_once(&begin).expect("the beginning of the figures");
    let (written, after) = rest.split_once(&end).expect("the end of the figures");
    if std::env::var_os("COWITNESS_WRITE").is_some_and(|value| value == "1") && !in_ci() {
        fs::write(file(name), format!("{before}{begin}{measured}{end}{after}")).expect("it can be written");
        return;
    }
    let advice = "write the measured ones with COWITNESS_WRITE=1 in the environment of this test";
    if *same_compiler.get_or_insert_with(|| compiler(written) == compiler(measured)) {
        assert!(written == measured, "written:\n{written}\nmeasured:\n{measured}\n{advice}");
        return;
    }
    let (ours, theirs) = (numbers(written, begin_of_lines), numbers(measured, begin_of_lines));
    assert!(!ours.is_empty(), "figures in {name}");
    assert_eq!(ours.len(), theirs.len(), "written:\n{written}\nmeasured:\n{measured}\n{advice}");
    for (ours, theirs) in ours.iter().zip(&theirs) {
        let near = (ours - theirs).abs() <= ABOUT * ours.max(*theirs);
        assert!(near, "{ours} and {theirs} in\n{written}\nmeasured:\n{measured}\n{advice}");
    }
}

#[test]
fn the_costs_in_the_readme_and_the_guide_are_those_that_are_measured() {
    let boards: Option<Vec<Target>> = BOARDS.iter().map(|board: &Board| target(board.triple)).collect();
    let Some(boards) = boards else { return };
    let measured: Vec<Measured> = boards.iter().map(measure).collect();
    let mut same_compiler = None;
    hold("README.md", "costs", &table(&boards, &measured), "|", &mut same_compiler);
    let m3 = m3(&boards);
    let row = measured[m3].rows.last().expect("the seven-rule axis");
    hold(
        "DEVELOPERS.md",
        "worst frame",
        &worst_frame(&boards[m3], row),
        "The worst frame",
        &mut same_compiler,
    );
}
