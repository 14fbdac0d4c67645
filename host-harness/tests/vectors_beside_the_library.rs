//! The C header of the vectors and that of the library in one program: what one says means the same in the other.

use std::path::Path;
use std::process::Command;

const LIBRARY: &str = "../monitor-core/c/include";

/// What each of both headers calls the same thing.
const SAME: [(&str, &str); 18] = [
    ("COWITNESS_NOTHING", "CW_SAMPLE_NONE"),
    ("COWITNESS_READING", "CW_SAMPLE_COUNT"),
    ("COWITNESS_INVALID", "CW_SAMPLE_INVALID"),
    ("COWITNESS_FAULT_NONE", "CW_FAULT_NONE"),
    ("COWITNESS_FAULT_INVALID", "CW_FAULT_INVALID"),
    ("COWITNESS_FAULT_OUT_OF_ORDER", "CW_FAULT_OUT_OF_ORDER"),
    ("COWITNESS_FAULT_STALE", "CW_FAULT_STALE"),
    ("COWITNESS_FAULT_IMPLAUSIBLE", "CW_FAULT_IMPLAUSIBLE"),
    ("COWITNESS_FAULT_RANGE", "CW_FAULT_RANGE"),
    ("COWITNESS_RESET_NONE", "CW_RESET_NONE"),
    ("COWITNESS_RESET_ACCEPTED", "CW_RESET_ACCEPTED"),
    ("COWITNESS_RESET_REFUSED_CHANNEL", "CW_RESET_CHANNEL_FAULTED"),
    ("COWITNESS_RESET_REFUSED_WARMING_UP", "CW_RESET_WARMING_UP"),
    ("COWITNESS_RESET_REFUSED_VIOLATION", "CW_RESET_VIOLATED"),
    ("COWITNESS_RESET_REFUSED_INPUT", "CW_RESET_INPUT_FAULTED"),
    ("COWITNESS_RESET_REFUSED_REFERENCE", "CW_RESET_UNREFERENCED"),
    ("COWITNESS_RESET_REFUSED_ANALOGUE", "CW_RESET_ANALOGUE_FAULTED"),
    ("COWITNESS_RESET_REFUSED_STOP", "CW_RESET_STOPPING"),
];

/// Hands every stimulus to a frame of the library as a careless program does, number by number, and looks at what arrived.
const COPIES: &str = r#"
static int met[4];

static int arrives(const cowitness_source *from)
{
    cw_reading to;
    to.kind = from->kind;
    if (to.kind < CW_SAMPLE_NONE || to.kind > CW_SAMPLE_INVALID) {
        return 0;
    }
    met[to.kind] += 1;
    return to.kind == CW_SAMPLE_COUNT || from->raw == 0;
}

int main(void)
{
    uint32_t frame;
    for (frame = 0; frame < COWITNESS_FRAMES; frame++) {
        const cowitness_stimulus *shown = &cowitness_frames[frame].stimulus;
        if (!arrives(&shown->a) || !arrives(&shown->b)) {
            return 1;
        }
    }
    /* Nothing new is a reading without a time, so most of what arrives is a count. */
    return met[CW_SAMPLE_NONE] > 0 && met[CW_SAMPLE_INVALID] > 0 && met[CW_SAMPLE_COUNT] > met[CW_SAMPLE_NONE] ? 0 : 2;
}
"#;

/// The names of the library's header that begin so.
fn defined(prefixes: &[&str]) -> Vec<String> {
    let header = std::fs::read_to_string(Path::new(LIBRARY).join("cowitness.h")).unwrap();
    let names = header.lines().filter_map(|line| line.strip_prefix("#define ")?.split(' ').next());
    names.filter(|name| prefixes.iter().any(|prefix| name.starts_with(prefix))).map(str::to_owned).collect()
}

#[test]
fn kinds_faults_and_resets_have_the_same_numbers_in_both_headers_and_a_copied_kind_stays_what_it_was() {
    let mut library = defined(&["CW_SAMPLE_", "CW_FAULT_", "CW_RESET_"]);
    // Of analogue readings, which vectors do not carry.
    library.retain(|name| name != "CW_SAMPLE_VALUE");
    let named: Vec<_> = SAME.iter().map(|(_, name)| (*name).to_owned()).collect();
    assert_eq!(library, named, "every one of the library has its equal");
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("vectors-beside-the-library");
    std::fs::create_dir_all(&folder).unwrap();
    let written = Command::new(env!("CARGO_BIN_EXE_cowitness"))
        .args(["vectors", "--c", "vectors.h"])
        .current_dir(&folder)
        .output()
        .unwrap();
    assert_eq!(written.status.code(), Some(0), "{}", String::from_utf8_lossy(&written.stderr));
    let vectors = std::fs::read_to_string(folder.join("vectors.h")).unwrap();
    let mut source = "#include \"cowitness.h\"\n#include \"vectors.h\"\n".to_owned();
    for (place, (ours, theirs)) in SAME.iter().enumerate() {
        // C99 has no assertion at compile time; an array of a size below zero is none.
        source += &format!("typedef char same_{place}[(int){ours} == (int){theirs} ? 1 : -1];\n");
    }
    // Values, and not where comments name the enumeration.
    let enumerated = vectors.split("\nenum cowitness_").skip(1).filter_map(|rest| rest.split("};").next());
    let count: usize = enumerated.map(|values| values.matches(" = ").count()).sum();
    assert_eq!(count, SAME.len(), "every one of the vectors has its equal");
    std::fs::write(folder.join("copies.c"), source + COPIES).unwrap();
    let include = Path::new(env!("CARGO_MANIFEST_DIR")).join(LIBRARY);
    let compiled = Command::new("cc")
        .args(["-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Werror", "copies.c", "-o", "copies", "-I"])
        .arg(include)
        .current_dir(&folder)
        .output()
        .unwrap_or_else(|error| panic!("no C compiler `cc` ({error}); install the package gcc"));
    assert!(compiled.status.success(), "{}", String::from_utf8_lossy(&compiled.stderr));
    assert_eq!(Command::new(folder.join("copies")).status().unwrap().code(), Some(0));
}
