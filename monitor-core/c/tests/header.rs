//! The header for C is what the source makes now, and compilers of C and C++ take it without a warning.
//!
//! `COWITNESS_WRITE=1 cargo test -p monitor-core-c --test header` writes it again.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use cbindgen::{Builder, Config, DocumentationStyle, Language, Style};
use cowitness_tests::not_run;
use cowitness_tests::on_target::is_there;

const CAUTION: &str = "\
/* Safety monitors for a servo axis that is watched by two independent position sources, for firmware in C.
 *
 * CAUTION. A reference and an analysis aid, not a certified safety component. Limits come from the machine's risk assessment;
 * local codes, the machine's own manuals and licensed practice decide.
 *
 * Made from the Rust source by monitor-core/c/tests/header.rs; what is changed here is lost. */";

const USE: &str = "
/* Once, at start: give it static storage and the sealed setup (made on a desk, see monitor_core::seal).
 *
 *     static cw_axis_storage storage;
 *     static cw_axis *axis;
 *     if (cw_interface_version() != CW_INTERFACE_VERSION || cw_axis_size() != CW_AXIS_SIZE ||
 *         cw_axis_load(&storage, sizeof storage, image, sizeof image, &axis) != CW_OK) { stay without torque }
 *
 * Then at every evaluation: fill in a cw_frame, call cw_axis_step, and let outcome.permit, nothing else, hold the torque. A
 * watchdog takes it away when the calls cease.
 *
 * Pointers: null and misaligned ones are refused. That any other points to what its type says, that sizes are true and that
 * storage lives as long as its axis is the caller's word; nothing here can find out. What is found out: storage never loaded,
 * loaded twice, copied, or overwritten at its beginning or end, also by a second axis in an overlapping piece of storage.
 * What is not: storage overwritten in between, and memory that was given up.
 *
 * Several axes are independent. Calls on one axis must not overlap in time: one from an interrupt within another is refused
 * with CW_STATUS_BUSY; on processors that cannot compare and swap, two threads or cores are not told apart.
 *
 * The library allocates nothing, calls nothing, keeps nothing outside the storage. */

#if defined(__GNUC__)
#define CW_MUST_USE __attribute__((warn_unused_result))
#else
#define CW_MUST_USE
#endif

/* What a position, distance or speed is set to when it is not known: never 0, which would look like standing still. */
#define CW_UNKNOWN INT64_MIN";

fn package() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn header() -> PathBuf {
    package().join("include/cowitness.h")
}

/// The header that the source makes.
fn made() -> String {
    let mut config = Config {
        language: Language::C,
        style: Style::Type,
        header: Some(CAUTION.to_owned()),
        include_guard: Some("COWITNESS_H".to_owned()),
        no_includes: true,
        sys_includes: ["stdbool.h", "stddef.h", "stdint.h"].map(str::to_owned).to_vec(),
        after_includes: Some(USE.to_owned()),
        cpp_compat: true,
        documentation_style: DocumentationStyle::Doxy,
        usize_is_size_t: true,
        line_length: 110,
        ..Config::default()
    };
    config.defines.insert("feature = small".to_owned(), "CW_SMALL".to_owned());
    config.function.must_use = Some("CW_MUST_USE".to_owned());
    config.export.exclude = vec!["CW_UNKNOWN".to_owned()];
    // No function names it: storage may be part of something larger.
    config.export.include = vec!["cw_axis_storage".to_owned()];
    let mut builder = Builder::new().with_config(config);
    for file in ["status", "capacity", "frame", "outcome", "trip", "load", "step", "ask"] {
        builder = builder.with_src(package().join("src").join(file).with_extension("rs"));
    }
    let mut text = Vec::new();
    builder.generate().expect("the source makes a header").write(&mut text);
    String::from_utf8(text).expect("a header is text")
}

/// The compiler takes a file that includes the header, under all these options.
fn assert_compiles(compiler: &str, options: &[&str], file: &str) {
    let source = Path::new(env!("CARGO_TARGET_TMPDIR")).join(file);
    fs::write(&source, "#include \"cowitness.h\"\nint includes(void);\nint includes(void) { return 0; }\n")
        .expect("the file can be written");
    let output = Command::new(compiler)
        .args(["-Wall", "-Wextra", "-Wpedantic", "-Werror", "-fsyntax-only", "-I"])
        .arg(package().join("include"))
        .args(options)
        .arg(&source)
        .output()
        .unwrap_or_else(|error| panic!("{compiler} (on Debian: apt-get install gcc): {error}"));
    assert!(output.status.success(), "{compiler}: {}", String::from_utf8_lossy(&output.stderr));
}

#[test]
fn the_header_is_what_the_source_makes() {
    let made = made();
    if std::env::var_os("COWITNESS_WRITE").is_some_and(|value| value == "1") {
        fs::write(header(), &made).expect("the header can be written");
    }
    let kept = fs::read_to_string(header()).unwrap_or_default();
    let line = made.lines().zip(kept.lines()).position(|(made, kept)| made != kept);
    assert!(
        made == kept,
        "include/cowitness.h differs from the source at line {}; COWITNESS_WRITE=1 writes it again",
        line.unwrap_or(made.lines().count().min(kept.lines().count())) + 1,
    );
}

#[test]
fn every_function_that_the_library_exports_is_in_the_header() {
    let mut exported = Vec::new();
    for file in fs::read_dir(package().join("src")).expect("the source is there") {
        let source = fs::read_to_string(file.expect("an entry").path()).expect("source is text");
        let declared = source.split("#[unsafe(no_mangle)]").skip(1);
        exported.extend(declared.map(|rest| {
            let name = rest.split("fn ").nth(1).and_then(|rest| rest.split('(').next());
            name.expect("a function follows").to_owned()
        }));
    }
    let header = made();
    assert!(exported.len() > 10, "{exported:?}");
    for name in exported {
        assert!(header.contains(&format!("{name}(")), "{name}");
    }
}

#[test]
fn a_compiler_of_c99_takes_the_header_without_a_warning() {
    assert_compiles("cc", &["-std=c99"], "header.c");
    assert_compiles("cc", &["-std=c99", "-DCW_SMALL"], "header-small.c");
}

#[test]
fn a_compiler_of_cpp_takes_the_header_without_a_warning() {
    if !is_there("g++") {
        return not_run(
            "no g++; install it with\n  apt-get install g++\nor from the packages of your system",
        );
    }
    assert_compiles("g++", &["-std=c++11"], "header.cpp");
    assert_compiles("g++", &["-std=c++17", "-DCW_SMALL"], "header-small.cpp");
}
