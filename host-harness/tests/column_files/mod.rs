//! Files to list.

#[path = "../../src/trace/table/mdf/made.rs"]
#[allow(dead_code, reason = "not everything that can be made is needed here")]
mod made;

use std::fs;
use std::path::{Path, PathBuf};

use made::{Channel, Group, Made};

pub fn scratch(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("columns");
    fs::create_dir_all(&folder).expect("a scratch folder");
    folder.join(name)
}

/// Two groups of an MDF file: counters with a time in us, and a slow voltage; both times are called `t`.
pub fn mdf() -> Vec<u8> {
    let mut made = Made::new();
    let mut bytes = Vec::new();
    for row in 0..500_u32 {
        bytes.extend((250 * row).to_le_bytes());
        bytes.extend((7 * row).to_le_bytes());
        bytes.extend((14 * row).to_be_bytes());
        bytes.push(u8::from(row > 250));
    }
    let data = made.block(b"##DT", &[], &bytes);
    let micros = made.linear(0.0, 1e-6);
    let door = made.channel(0, "door", "", Channel { byte: 12, bits: 1, ..Channel::default() });
    let rail = made.channel(door, "rail", "", Channel { data: 1, byte: 8, bits: 32, ..Channel::default() });
    let motor = made.channel(rail, "motor", "", Channel { byte: 4, bits: 32, ..Channel::default() });
    let time = made.channel(
        motor,
        "t",
        "s",
        Channel { kind: 2, bits: 32, conversion: micros, ..Channel::default() },
    );
    let slow = made.block(b"##DT", &[], &[0, 0, 0, 0, 0x40, 0x9c, 0, 0]);
    let text = made.channel(0, "note", "", Channel { data: 7, bits: 8, ..Channel::default() });
    let other =
        made.channel(text, "t", "s", Channel { kind: 2, bits: 32, conversion: micros, ..Channel::default() });
    let second = made.group(
        0,
        "slow",
        Group { records: 2, bytes: 4, channels: other, data: slow, ..Group::default() },
    );
    let first = made.group(
        second,
        "fast",
        Group { records: 500, bytes: 13, channels: time, data, ..Group::default() },
    );
    made.file(first)
}
