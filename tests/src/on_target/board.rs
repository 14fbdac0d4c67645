//! The emulated boards.

/// An emulated board and what runs on it.
#[derive(Clone, Copy, Debug)]
pub struct Board {
    /// The target of the compiler.
    pub triple: &'static str,
    /// Its core.
    pub core: &'static str,
    /// The emulator and the Debian package it comes in.
    pub emulator: (&'static str, &'static str),
    /// What tells it which board to be.
    pub machine: &'static [&'static str],
    /// What makes it count instructions.
    pub counting: &'static [&'static str],
    /// A linker for the target, and the Debian package it comes in; for the toolchain that brings none.
    pub linker: (&'static str, &'static str),
}

const ARM: (&str, &str) = ("qemu-system-arm", "qemu-system-arm");
const ARM_LINKER: (&str, &str) = ("arm-none-eabi-ld", "binutils-arm-none-eabi");

/// Every board that is tested.
pub const BOARDS: [Board; 5] = [
    Board {
        triple: "thumbv6m-none-eabi",
        core: "Cortex-M0",
        emulator: ARM,
        machine: &["-machine", "microbit"],
        counting: &["-icount", "shift=8"],
        linker: ARM_LINKER,
    },
    Board {
        triple: "thumbv7m-none-eabi",
        core: "Cortex-M3",
        emulator: ARM,
        machine: &["-machine", "mps2-an385"],
        counting: &["-icount", "shift=8"],
        linker: ARM_LINKER,
    },
    Board {
        triple: "thumbv7em-none-eabihf",
        core: "Cortex-M4F",
        emulator: ARM,
        machine: &["-machine", "mps2-an386"],
        counting: &["-icount", "shift=8"],
        linker: ARM_LINKER,
    },
    Board {
        triple: "thumbv8m.main-none-eabihf",
        core: "Cortex-M33",
        emulator: ARM,
        machine: &["-machine", "mps2-an505"],
        counting: &["-icount", "shift=8"],
        linker: ARM_LINKER,
    },
    Board {
        triple: "riscv32imac-unknown-none-elf",
        core: "RV32IMAC",
        emulator: ("qemu-system-riscv32", "qemu-system-misc"),
        machine: &["-machine", "virt", "-bios", "none"],
        counting: &["-icount", "shift=0"],
        linker: ("ld.lld-15", "lld-15"),
    },
];

/// The board of a target.
///
/// # Panics
///
/// When there is none.
#[must_use]
pub fn board(triple: &str) -> &'static Board {
    BOARDS.iter().find(|board| board.triple == triple).expect("a target with a board")
}
