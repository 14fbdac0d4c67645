//! What is in an image.

use std::fs;
use std::path::Path;

use object::{Object, ObjectSection, ObjectSymbol, SectionKind, SymbolKind};

/// A function of an image, and how many bytes of code it has.
#[derive(Clone, Debug)]
pub struct Function {
    pub name: String,
    /// Where it begins.
    pub at: u64,
    pub size: u64,
}

/// What an image holds in flash.
#[derive(Clone, Debug)]
pub struct Contents {
    pub functions: Vec<Function>,
    /// Code, constants and the values that variables begin with: bytes of flash.
    pub flash: u64,
}

impl Contents {
    pub fn of(image: &Path) -> Self {
        let bytes = fs::read(image).unwrap_or_else(|why| panic!("{}: {why}", image.display()));
        let file = object::File::parse(&*bytes).unwrap_or_else(|why| panic!("{}: {why}", image.display()));
        let functions = file.symbols().filter(|symbol| symbol.kind() == SymbolKind::Text);
        let functions = functions.map(|symbol| Function {
            name: format!("{:#}", rustc_demangle::demangle(symbol.name().expect("a name"))),
            // On Arm the lowest bit tells the instruction set.
            at: symbol.address() & !1,
            size: symbol.size(),
        });
        let in_flash = [SectionKind::Text, SectionKind::ReadOnlyData, SectionKind::Data];
        let sections = file.sections().filter(|section| in_flash.contains(&section.kind()));
        Self { functions: functions.collect(), flash: sections.map(|section| section.size()).sum() }
    }

    /// The functions of a kind that a safety loop must not hold.
    pub fn forbidden(&self, kind: &Forbidden) -> Vec<&str> {
        let names = self.functions.iter().map(|function| function.name.as_str());
        names.filter(|name| kind.parts.iter().any(|part| name.contains(part))).collect()
    }
}

/// What must not be in an image, by what the names of such functions contain.
///
/// Names of the run-time ABI for the Arm architecture (its tables of floating-point and of division helpers) and of the routines
/// of the same purpose that compilers use elsewhere; from memory.
#[derive(Debug)]
pub struct Forbidden {
    pub what: &'static str,
    parts: &'static [&'static str],
}

pub const PANIC: Forbidden = Forbidden { what: "a panic", parts: &["core::panicking", "rust_begin_unwind"] };

pub const FLOAT: Forbidden = Forbidden {
    what: "a float routine",
    parts: &[
        "__aeabi_f",
        "__aeabi_d",
        "__aeabi_i2",
        "__aeabi_ui2",
        "__aeabi_l2",
        "__aeabi_ul2",
        "compiler_builtins::float",
        "sf3",
        "df3",
        "sf2",
        "df2",
        "__fixsf",
        "__fixdf",
        "__fixuns",
        "__floatsi",
        "__floatun",
        "__floatdi",
    ],
};

pub const DIVISION: Forbidden = Forbidden {
    what: "a 64-bit division",
    parts: &[
        "__aeabi_ldivmod",
        "__aeabi_uldivmod",
        "divdi3",
        "moddi3",
        "divmoddi4",
        "divti3",
        "modti3",
        "divmodti4",
        "specialized_div_rem",
        "u64_div_rem",
        "u128_div_rem",
    ],
};

pub const ALLOCATION: Forbidden = Forbidden { what: "an allocation", parts: &["alloc", "Alloc", "sbrk"] };

pub const ALL: [&Forbidden; 4] = [&PANIC, &FLOAT, &DIVISION, &ALLOCATION];
