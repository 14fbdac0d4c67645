//! Where the instructions of one frame go: the emulator logs every instruction that it executes.

use std::fs::{self, File};
use std::io::{BufRead, BufReader};
use std::path::Path;

use crate::cost::Config;
use crate::emulator::{Image, Target};
use crate::image::{Contents, Function};
use crate::scratch;
use crate::script::Script;
use cowitness_tests::on_target::output_of;
use monitor_core::Frame;

/// What a function did during one frame.
pub struct Share {
    /// The function, without its type parameters.
    pub name: String,
    /// Its own instructions.
    pub instructions: u32,
    pub calls: u32,
}

/// What makes an emulator log instruction by instruction; newer ones have another name for it.
fn one_by_one(emulator: &str) -> &'static [&'static str] {
    let help = output_of(emulator, &["--help"]).unwrap_or_default();
    if help.contains("-singlestep") { &["-singlestep"] } else { &["-accel", "tcg,one-insn-per-tb=on"] }
}

/// The type and the function of a name that begins with a type in brackets.
fn of_a_type(name: &str) -> Option<(&str, &str)> {
    let inner = name.strip_prefix('<')?;
    let mut open = 1_u32;
    let end = inner.find(|c| {
        open = match c {
            '<' => open + 1,
            '>' => open - 1,
            _ => open,
        };
        open == 0
    })?;
    Some((&inner[..end], inner[end..].strip_prefix(">::")?))
}

/// The part of the source and the function, of a name like `<core::axis::AxisConfig<17, 4, 1>>::step::<core::step::Unwatched>`.
fn short(name: &str) -> String {
    // Not a bracket: the arrow of a function that is a parameter.
    let name = name.replace("->", "");
    let mut depth = 0_u32;
    let outside = |c: &char| {
        match c {
            '<' => depth += 1,
            '>' => depth -= 1,
            _ => {}
        }
        depth == 0 && !"<>".contains(*c)
    };
    let name = match of_a_type(&name) {
        // An inherent or a trait function: the type is worth telling.
        Some((of, function)) => format!("{}::{function}", of.split(['<', ' ']).next().unwrap_or(of)),
        None => name,
    };
    let bare: String = name.chars().filter(outside).collect();
    let mut parts: Vec<&str> = bare.split("::").filter(|part| !part.is_empty()).collect();
    let keep = parts.len().saturating_sub(2);
    parts.drain(..keep);
    parts.join("::")
}

/// What the last of `frames` takes on an axis, the function with the most instructions first.
pub fn profile(target: &Target, config: &Config, frames: &[Frame]) -> Vec<Share> {
    let mut script = Script::<4, 1>::new();
    script.axis(config);
    frames.iter().for_each(|frame| script.frame(frame));
    let folder = scratch();
    fs::write(folder.join("script"), &script.bytes).expect("a script");
    let image = target.image(&Image { name: "costs", profile: "release", features: "host" });
    let functions = Contents::of(&image).functions;
    let watched: Vec<&Function> = functions.iter().filter(|function| is_of_a_step(function)).collect();
    let ranges: Vec<String> =
        watched.iter().map(|function| format!("{:#x}+{:#x}", function.at, function.size.max(2))).collect();
    let ranges = ranges.join(",");
    let mut more = target.board.counting.to_vec();
    more.extend(one_by_one(target.board.emulator.0));
    more.extend(["-d", "exec,nochain", "-D", "executed", "-dfilter", &ranges]);
    target.run(&image, &folder, &more);
    let shares = read(&folder.join("executed"), &watched);
    fs::remove_file(folder.join("executed")).expect("a log can be removed");
    shares
}

fn is_of_a_step(function: &Function) -> bool {
    let name = &function.name;
    let is_helper =
        name.contains("compiler_builtins") || name.starts_with("__aeabi") || name.starts_with("mem");
    let is_core = name.contains("monitor_core::") && !name.contains("::seal::");
    name == STEP || (function.size > 0 && (is_core || is_helper))
}

/// What makes the one call that is counted.
const STEP: &str = "costs::step";

/// From the log: since `STEP` was entered the last time.
fn read(log: &Path, functions: &[&Function]) -> Vec<Share> {
    let file = BufReader::new(File::open(log).expect("the log of the emulator"));
    let mut counts = vec![(0_u32, 0_u32); functions.len()];
    // What comes after the last instruction of the call itself is no longer part of it.
    let mut within = counts.clone();
    for line in file.split(b'\n') {
        let line = line.expect("the log can be read");
        let line = String::from_utf8_lossy(&line);
        // Trace 0: address of the translation [.../program counter/...] name
        let Some(at) = line.strip_prefix("Trace ").and_then(|rest| rest.split('/').nth(1)) else { continue };
        let at = u64::from_str_radix(at, 16).unwrap_or_else(|_| panic!("an address in {line}"));
        let Some(i) = functions.iter().position(|f| (f.at..f.at + f.size).contains(&at)) else { continue };
        let begins = at == functions[i].at;
        if begins && functions[i].name == STEP {
            counts.fill((0, 0));
        }
        counts[i].0 += 1;
        counts[i].1 += u32::from(begins);
        if functions[i].name == STEP {
            within.clone_from(&counts);
        }
    }
    let share = |(function, &(instructions, calls)): (&&Function, &(u32, u32))| Share {
        name: short(&function.name),
        instructions,
        calls,
    };
    let mut shares: Vec<Share> = functions.iter().zip(&within).map(share).collect();
    shares.retain(|share| share.instructions > 0);
    shares.sort_by_key(|share| std::cmp::Reverse(share.instructions));
    shares
}

#[test]
fn a_function_is_told_by_its_type_or_the_part_of_the_source_whatever_its_parameters_are() {
    for (name, told) in [
        ("<core::axis::AxisConfig<17, 4, 1>>::step::<core::step::Unwatched>", "AxisConfig::step"),
        ("monitor_core::wide::quotient_74", "wide::quotient_74"),
        (
            "<core::iter::Zip<core::slice::Iter<u8>, core::iter::Map<u8, fn(u8) -> u8>> as core::iter::Iterator>::any::<F>",
            "Zip::any",
        ),
        ("<core::iter::Zip<<u8 as Of>::Item, u8>>::any", "Zip::any"),
    ] {
        assert_eq!(short(name), told, "{name}");
    }
}
