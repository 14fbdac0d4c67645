//! The Rust source and the C header of an image: their names and their comments. That it compiles and steps is proved elsewhere, by doing it.

use std::path::Path;

use host_harness::seal::{CHeader, Review, RustSource, c_header, rust_source, seal};

use super::{FULL, full, parsed, sealed};

fn source(text: &str) -> RustSource {
    let image = sealed(&parsed(text));
    rust_source(&Review::of(&image).expect("an image"), &image)
}

#[test]
fn every_monitor_input_and_line_has_its_place_by_name() {
    let RustSource { text, notes } = source(FULL);
    assert!(notes.is_empty(), "{notes:?}");
    for constant in [
        "HOLD: u8 = 0;",
        "STAND: u8 = 1;",
        "SLOW: u8 = 2;",
        "STOP: u8 = 3;",
        "STOP_IN_TIME: u8 = 4;",
        "DOOR: u8 = 0;",
        "OFF: u8 = 1;",
        "DOOR_1: u8 = 0;",
        "DOOR_2: u8 = 1;",
        "OFF: u8 = 2;",
        "RESET: u8 = 3;",
    ] {
        assert!(text.contains(&format!("    pub const {constant}\n")), "{constant}\n{text}");
    }
    assert!(
        text.contains("pub const POINTS: usize = 129;\n")
            && text.contains("pub const MONITORS: usize = 5;\n")
    );
}

#[test]
fn names_that_clash_or_have_no_letter_get_their_number_and_are_told() {
    let text = FULL
        .replace("\"hold\"", "\"slow!\"")
        .replace("\"stand\"", "\"速度\"")
        .replace("\"stop\"\nkind", "\"Slow\"\nkind");
    let RustSource { text, notes } = source(&text);
    for constant in ["SLOW: u8 = 0;", "MONITOR_1: u8 = 1;", "SLOW_2: u8 = 2;", "SLOW_3: u8 = 3;"] {
        assert!(text.contains(&format!("    pub const {constant}\n")), "{constant}\n{text}");
    }
    assert_eq!(
        notes,
        [
            "the name \"速度\" has no letter or digit of ASCII: it is monitor::MONITOR_1 in the source",
            "the name \"slow\" is like another: it is monitor::SLOW_2 in the source",
            "the name \"Slow\" is like another: it is monitor::SLOW_3 in the source",
        ]
    );
}

#[test]
fn a_name_that_looks_like_a_numbered_one_keeps_a_place_of_its_own() {
    let text =
        FULL.replace("\"hold\"", "\"a 2\"").replace("\"stand\"", "\"a\"").replace("\"slow\"", "\"a!\"");
    let RustSource { text, .. } = source(&text);
    for constant in ["A_2: u8 = 0;", "A: u8 = 1;", "A_2_2: u8 = 2;"] {
        assert!(text.contains(&format!("    pub const {constant}\n")), "{constant}\n{text}");
    }
}

#[test]
fn a_name_that_begins_with_a_digit_becomes_an_identifier() {
    let RustSource { text, .. } = source(&FULL.replace("\"slow\"", "\"2 slow\""));
    assert!(text.contains("    pub const N_2_SLOW: u8 = 2;\n"), "{text}");
}

#[test]
fn no_name_breaks_out_of_its_comment() {
    let name = "x\\n#[cfg(any())]\\r\\u2028mod a{}\\u202e ```";
    let RustSource { text, .. } =
        source(&FULL.replace("\"slow\"", &format!("\"{name}\"")).replace("Every part", name));
    assert!(!text.chars().any(|character| character != '\n' && character.is_control()), "{text}");
    for line in text.lines().filter(|line| line.contains("cfg(any())")) {
        assert!(line.trim_start().starts_with("//"), "{line}");
    }
    assert!(!text.contains(['\u{2028}', '\u{202e}']), "{text}");
}

#[test]
fn the_source_has_the_bytes_of_the_image() {
    for names in [true, false] {
        let image = seal(&full(), 33, names).expect("sealed");
        let text = rust_source(&Review::of(&image).expect("an image"), &image).text;
        let (_, bytes) = text.split_once("= &[\n").expect("bytes");
        let (bytes, _) = bytes.split_once("];").expect("an end");
        let bytes = bytes.split(',').map(str::trim).filter(|byte| !byte.is_empty());
        let bytes: Vec<_> = bytes.map(|byte| u8::from_str_radix(&byte[2..], 16).expect("a byte")).collect();
        assert_eq!(bytes, image);
    }
}

#[test]
fn an_image_that_takes_long_to_compile_is_told_of() {
    let long = "n".repeat(1 << 16);
    let RustSource { notes, .. } = source(&FULL.replace("\"slow\"", &format!("\"{long}\"")));
    let [note] = &notes[..] else { panic!("{notes:?}") };
    assert!(note.contains("bytes of image take a compiler long to check; --no-labels"), "{note}");
}

/// Two analogue values, to stand below the example.
const MEASURED: &str = r#"
[analogue.torque]
columns          = ["torque_1", "torque_2"]
unit             = "Nm"
low              = "-120 Nm"
high             = "150 Nm"
timeout          = "5 ms"
tolerance        = "4 Nm"
discrepancy_time = "20 ms"
[analogue."motor winding"]
columns          = ["winding_1", "winding_2"]
unit             = "degC"
low              = "-40 degC"
high             = "200 degC"
timeout          = "5 s"
tolerance        = "8 degC"
discrepancy_time = "1 s"
"#;

fn measured() -> String {
    FULL.to_owned() + MEASURED
}

#[test]
fn every_analogue_value_has_its_place_by_name_beside_what_its_lines_are() {
    let RustSource { text, notes } = source(&measured());
    assert!(notes.is_empty(), "{notes:?}");
    let (_, module) = text.split_once("\npub mod analogue {\n").expect("the module");
    let (module, _) = module.split_once("\n}\n").expect("its end");
    for constant in ["TORQUE: u8 = 0;", "MOTOR_WINDING: u8 = 1;"] {
        assert!(
            format!("{module}\n").contains(&format!("    pub const {constant}\n")),
            "{constant}\n{module}"
        );
    }
    for said in [
        "    /// Analogue value 1: \"motor winding\"\n",
        "    ///   tolerance = 4 Nm (67108864 ULP, 0x0000000004000000)\n",
        "    ///   channel A is the line \"winding_1\", channel B the line \"winding_2\"\n",
    ] {
        assert!(module.contains(said), "{said}\n{module}");
    }
    assert_eq!(text.matches("tolerance = 4 Nm").count(), 1, "not among what belongs to the whole axis");
    // Without any, nothing is named.
    let RustSource { text, .. } = source(FULL);
    assert!(text.contains("\npub mod analogue {}\n"), "{text}");
}

#[test]
fn analogue_values_that_clash_or_are_not_named_in_the_image_get_their_number() {
    let text = measured().replace("analogue.torque", "analogue.\"motor-winding\"");
    let RustSource { text, notes } = source(&text);
    for constant in ["MOTOR_WINDING: u8 = 0;", "MOTOR_WINDING_1: u8 = 1;"] {
        assert!(text.contains(&format!("    pub const {constant}\n")), "{constant}\n{text}");
    }
    assert_eq!(
        notes,
        ["the name \"motor winding\" is like another: it is analogue::MOTOR_WINDING_1 in the source"]
    );
    let image = seal(&parsed(&measured()), 33, false).expect("sealed");
    let review = Review::of(&image).expect("an image");
    let text = rust_source(&review, &image).text;
    assert!(text.contains("    pub const ANALOGUE_1: u8 = 1;\n") && !text.contains("is the line"), "{text}");
    let text = c_header(&review, &image, Path::new("a.h")).text;
    assert!(text.contains("#define A_ANALOGUE_ANALOGUE_1 1u\n"), "{text}");
}

#[test]
fn in_c_every_analogue_value_has_its_place_by_name_too() {
    let CHeader { text, .. } = header_in(&measured(), "kiln.h");
    for constant in ["KILN_ANALOGUE_TORQUE 0u", "KILN_ANALOGUE_MOTOR_WINDING 1u"] {
        assert!(text.contains(&format!("#define {constant}\n")), "{constant}\n{text}");
    }
    let said = " *   channel A is the line \"torque_1\", channel B the line \"torque_2\"\n";
    assert!(text.contains(said), "{text}");
}

fn header_in(text: &str, file: &str) -> CHeader {
    let image = sealed(&parsed(text));
    c_header(&Review::of(&image).expect("an image"), &image, Path::new(file))
}

#[test]
fn in_c_every_monitor_input_and_line_has_its_place_by_name_behind_the_name_of_the_file() {
    let CHeader { text, .. } = header_in(FULL, "out/kiln-2.h");
    for constant in [
        "KILN_2_MONITOR_HOLD 0u",
        "KILN_2_MONITOR_SLOW 2u",
        "KILN_2_MONITOR_STOP_IN_TIME 4u",
        "KILN_2_INPUT_DOOR 0u",
        "KILN_2_INPUT_OFF 1u",
        "KILN_2_LINE_DOOR_2 1u",
        "KILN_2_LINE_RESET 3u",
        "KILN_2_IMAGE_POINTS 129",
        "KILN_2_IMAGE_MONITORS 5",
        "KILN_2_SEALED_H",
    ] {
        assert!(text.contains(&format!("#define {constant}\n")), "{constant}\n{text}");
    }
    assert!(text.contains(" * Monitor 2: \"slow\"\n") || text.contains("/* Monitor 2: \"slow\"\n"), "{text}");
    assert!(
        text.contains("limit = 250.099999964237213134765625 mm/s (4195981721 ULP, 0x00000000fa199999)"),
        "{text}"
    );
    assert!(text.contains(" *   channel.b.latency = \"0.25 ms (250000 ns)\"\n"), "{text}");
    let CHeader { text, .. } = header_in(FULL, "-");
    assert!(text.contains("static const unsigned char axis_image["), "{text}");
    let CHeader { text, .. } = header_in(FULL, "2 速度.h");
    assert!(text.contains("static const unsigned char n_2_image["), "{text}");
}

#[test]
fn in_c_names_that_clash_or_have_no_letter_get_their_number_and_are_told() {
    let text = FULL.replace("\"hold\"", "\"slow!\"").replace("\"stand\"", "\"速度\"");
    let CHeader { text, notes } = header_in(&text, "a.h");
    for constant in ["A_MONITOR_SLOW 0u", "A_MONITOR_MONITOR_1 1u", "A_MONITOR_SLOW_2 2u"] {
        assert!(text.contains(&format!("#define {constant}\n")), "{constant}\n{text}");
    }
    assert_eq!(
        notes,
        [
            "the name \"速度\" has no letter or digit of ASCII: it is A_MONITOR_MONITOR_1 in the header",
            "the name \"slow\" is like another: it is A_MONITOR_SLOW_2 in the header",
            "sealed for 129 stored readings per channel; the library for C has 33, or 17 as `small`: seal with --points 33 or \
             --points 17",
        ]
    );
}

#[test]
fn in_c_no_name_breaks_out_of_its_comment_or_makes_a_compiler_warn() {
    let name = "x */ int evil; /* \\n#error \\r\\u2028\\u202e ??/";
    let image = seal(
        &parsed(&FULL.replace("\"slow\"", &format!("\"{name}\"")).replace("Every part", name)),
        33,
        true,
    );
    let image = image.expect("sealed");
    let CHeader { text, .. } = c_header(&Review::of(&image).expect("an image"), &image, Path::new("evil.h"));
    assert!(!text.contains(['\u{2028}', '\u{202e}']), "{text}");
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("evil");
    std::fs::create_dir_all(&folder).expect("a folder");
    std::fs::write(folder.join("evil.h"), text).expect("a header");
    let source = "#include \"evil.h\"\nint first(void);\nint first(void) { return evil_image[0]; }\n";
    std::fs::write(folder.join("evil.c"), source).expect("a program");
    let args = ["-std=c99", "-Wall", "-Wextra", "-pedantic", "-Werror", "-fsyntax-only", "evil.c"];
    let output = std::process::Command::new("cc").args(args).current_dir(&folder).output();
    let output =
        output.unwrap_or_else(|error| panic!("no C compiler `cc` ({error}); install the package gcc"));
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}
