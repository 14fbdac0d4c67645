//! The C header of an image in a program: compilers of C99 and C++ take it without a warning, and it has the bytes of the image.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use cowitness_tests::not_run;
use cowitness_tests::on_target::is_there;
use host_harness::seal::{CHeader, Review, c_header, seal};
use host_harness::setup::Setup;

use super::demos::{demos, setup};
use super::{measured, written};

/// Prints what the header says.
const PROGRAM: &str = r#"#include "cowitness.h"
#include "axis 1.h"
#include "again.h"
#include <stdio.h>

int main(void)
{
    size_t at;
    printf("%lx %lx %d %d %d %u\n", AXIS_1_IMAGE_CRC, AXIS_1_SETUP_CHECKSUM, AXIS_1_IMAGE_POINTS, AXIS_1_IMAGE_MONITORS,
           AXIS_1_IMAGE_INPUTS, AXIS_1_LINE_DOOR_1);
    for (at = 0; at < sizeof axis_1_image; at++) {
        printf("%02x", axis_1_image[at]);
    }
    return again_image[0] == 0x43 ? 0 : 1;
}
"#;

fn shuttle() -> Setup {
    let demo = demos().into_iter().find(|demo| demo.name == "overspeed-door-open").expect("the demo");
    setup(&demo)
}

fn header(setup: &Setup, points: u16, file: &str) -> (Vec<u8>, CHeader) {
    let image = seal(setup, points, true).unwrap_or_else(|error| panic!("{error}"));
    let header = c_header(&Review::of(&image).expect("an image"), &image, Path::new(file));
    (image, header)
}

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("sealed-c").join(name);
    fs::create_dir_all(&folder).expect("a folder");
    folder
}

fn compile(compiler: &str, options: &[&str], folder: &Path, arguments: &[&str]) -> Output {
    let include = Path::new(env!("CARGO_MANIFEST_DIR")).join("../monitor-core/c/include");
    Command::new(compiler)
        .args(options)
        .args(["-Wall", "-Wextra", "-pedantic", "-Werror", "-I"])
        .arg(include)
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap_or_else(|error| panic!("{compiler} (on Debian: apt-get install gcc): {error}"))
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// Compiles the program and holds what it prints against the image.
fn assert_prints_the_image(compiler: &str, options: &[&str], source: &str) {
    let setup = shuttle();
    let folder = folder(source);
    let (image, CHeader { text, notes }) = header(&setup, 33, "some folder/axis 1.h");
    assert!(notes.is_empty(), "{notes:?}");
    fs::write(folder.join("axis 1.h"), text).expect("a header");
    fs::write(folder.join("again.h"), header(&setup, 33, "again.h").1.text).expect("a header");
    fs::write(folder.join(source), PROGRAM).expect("a program");
    let output = compile(compiler, options, &folder, &[source, "-o", "program"]);
    assert!(output.status.success() && said(&output).is_empty(), "{compiler}: {}", said(&output));
    let output = Command::new(folder.join("program")).output().expect("it runs");
    assert!(output.status.success());
    let review = Review::of(&image).expect("an image");
    let facts = &review.image;
    let bytes: String = image.iter().map(|byte| format!("{byte:02x}")).collect();
    let checksum = |text: &str| u32::from_str_radix(text, 16).expect("a checksum");
    let expected = format!(
        "{:x} {:x} 33 {} {} 0\n{bytes}",
        checksum(&facts.crc32),
        checksum(&facts.setup_checksum),
        facts.monitors,
        facts.inputs
    );
    assert_eq!(String::from_utf8_lossy(&output.stdout), expected);
}

#[test]
fn a_program_in_c99_has_the_bytes_of_the_image_without_a_warning() {
    assert_prints_the_image("cc", &["-std=c99"], "program.c");
}

#[test]
fn a_program_in_cpp_has_the_bytes_of_the_image_without_a_warning() {
    if !is_there("g++") {
        return not_run(
            "no g++; install it with\n  apt-get install g++\nor from the packages of your system",
        );
    }
    assert_prints_the_image("g++", &["-std=c++11"], "program.cpp");
}

#[test]
fn a_program_in_c_finds_an_analogue_value_by_its_name() {
    let folder = folder("measured");
    let setup = measured();
    fs::write(folder.join("axis.h"), header(&setup, 33, "axis.h").1.text).expect("a header");
    let program = "#include \"cowitness.h\"\n#include \"axis.h\"\n#include <stdio.h>\n\nint main(void)\n{\n    \
                   printf(\"%u %u %u\", AXIS_ANALOGUE_TORQUE, AXIS_ANALOGUE_MOTOR_WINDING, (unsigned)axis_image[0]);\n    \
                   return 0;\n}\n";
    fs::write(folder.join("a.c"), program).expect("a program");
    let output = compile("cc", &["-std=c99"], &folder, &["a.c", "-o", "program"]);
    assert!(output.status.success() && said(&output).is_empty(), "{}", said(&output));
    let output = Command::new(folder.join("program")).output().expect("it runs");
    let place = |name: &str| setup.analogues.iter().position(|analogue| analogue.name == name).expect(name);
    let expected = format!("{} {} 67", place("torque"), place("motor winding"));
    assert_eq!(String::from_utf8_lossy(&output.stdout), expected);
}

/// An axis that a small library has room for.
const SMALL: &str = r#"
[[monitor]]
name   = "slow"
kind   = "speed-limit"
demand = ["door_open"]
limit  = "250 mm/s"
"#;

#[test]
fn an_image_that_the_library_could_not_load_does_not_compile_behind_its_header_and_is_told_when_it_is_sealed()
{
    let folder = folder("refused");
    let small = written("One monitor", SMALL);
    for (setup, points, options, refusal) in [
        (&shuttle(), 33, &[][..], None),
        (&shuttle(), 17, &[], Some("sealed for 17 stored readings")),
        (&shuttle(), 129, &[], Some("sealed for 129 stored readings")),
        (&shuttle(), 17, &["-DCW_SMALL"], Some("more monitors or inputs than the library has room for")),
        (&small, 17, &["-DCW_SMALL"], None),
        (&small, 33, &["-DCW_SMALL"], Some("sealed for 33 stored readings")),
    ] {
        let (_, CHeader { text, notes }) = header(setup, points, "axis.h");
        fs::write(folder.join("axis.h"), text).expect("a header");
        // By itself it belongs to no library.
        let alone = "#include \"axis.h\"\nint first(void);\nint first(void) { return axis_image[0]; }\n";
        let behind = format!("#include \"cowitness.h\"\n{alone}");
        for (source, refusal) in [(alone, None), (behind.as_str(), refusal)] {
            fs::write(folder.join("a.c"), source).expect("a program");
            let options = [&["-std=c99"], options].concat();
            let output = compile("cc", &options, &folder, &["-fsyntax-only", "a.c"]);
            let said = said(&output);
            assert_eq!(output.status.success(), refusal.is_none(), "{points} {options:?}: {said}");
            assert!(said.contains(refusal.unwrap_or_default()), "{said}");
        }
        assert_eq!(notes.len(), usize::from(points == 129), "{notes:?}");
    }
}

/// The numbers that the header file of the library has, as a note tells them.
#[test]
fn the_points_that_a_note_advises_are_those_of_the_library() {
    let library = include_str!("../../monitor-core/c/include/cowitness.h");
    let points: Vec<_> = library.lines().filter_map(|line| line.strip_prefix("#define CW_POINTS ")).collect();
    let [usual, small] = points[..] else { panic!("{points:?}") };
    let (_, CHeader { notes, .. }) = header(&shuttle(), 129, "axis.h");
    let [note] = &notes[..] else { panic!("{notes:?}") };
    assert!(note.contains(&format!("seal with --points {usual} or --points {small}")), "{note}");
}

#[test]
fn the_lines_in_c_of_the_readme_compile_with_the_header_that_its_command_writes() {
    let readme = include_str!("../../monitor-core/README.md");
    let (_, section) = readme.split_once("## From C\n").expect("the section");
    let (_, lines) = section.split_once("```c\n").expect("lines in C");
    let (lines, _) = lines.split_once("```").expect("their end");
    assert!(section.contains(
        "seal traces-demo/shuttle.toml --points 33 --out target/shuttle.sealed --c target/shuttle.h\n"
    ));
    let folder = folder("readme");
    fs::write(folder.join("shuttle.h"), header(&shuttle(), 33, "target/shuttle.h").1.text).expect("a header");
    fs::write(folder.join("readme.c"), lines).expect("a program");
    let output = compile("cc", &["-std=c99"], &folder, &["-fsyntax-only", "readme.c"]);
    assert!(output.status.success(), "{}", said(&output));
}
