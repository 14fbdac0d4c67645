//! The vectors as a CSV file.

use std::fmt::Write;

use monitor_core::seal::crc32;

use super::Vectors;
use super::columns::{COLUMNS, STIMULUS, numbers, stimulus};

/// How a vectors file begins.
pub(super) const FIRST: &str = "# cowitness vectors 1";

/// What comes before a checksum of everything after its line.
pub(super) const CHECKSUM: &str = "# checksum of the lines below: ";

/// What comes before the checksum of the setup.
pub(super) const SETUP: &str = "# setup checksum: ";

/// What comes before the number of stored readings.
pub(super) const POINTS: &str = "# stored readings per channel: ";

/// What comes before each line of the setup.
pub(super) const SETUP_LINE: &str = "# setup| ";

/// What comes before the number of a case and what it is about.
pub(super) const CASE: &str = "# case ";

/// The checksum of text, however its lines end.
pub(super) fn checksum(text: &str) -> u32 {
    crc32(text.replace("\r\n", "\n").as_bytes())
}

impl Vectors {
    /// The file: comment lines (checksums, bits, cases, the setup), a header line, one row for each frame.
    #[must_use]
    pub fn to_csv(&self) -> String {
        let body = self.body();
        format!("{FIRST}\n{CHECKSUM}{:08x}\n{body}", checksum(&body))
    }

    fn body(&self) -> String {
        let mut out = format!("{SETUP}{:08x}\n{POINTS}{}\n", self.setup.checksum(), self.points);
        // Writing to a String does not fail.
        for line in self.legend() {
            let _ = writeln!(out, "# {line}");
        }
        for line in self.setup_text.lines() {
            let _ = writeln!(out, "{SETUP_LINE}{line}");
        }
        for (number, case) in self.cases.iter().enumerate() {
            let _ = writeln!(out, "{CASE}{number}: {}", case.about);
        }
        let names = STIMULUS.into_iter().chain(COLUMNS.map(|column| column.name));
        let _ = writeln!(out, "{}", names.collect::<Vec<_>>().join(","));
        for (number, case) in self.cases.iter().enumerate() {
            for (frame, row) in case.rows.iter().enumerate() {
                let _ = write!(out, "{number},{frame},{}", stimulus(&row.frame));
                for (column, value) in COLUMNS.iter().zip(numbers(&row.outcome)) {
                    let _ = write!(out, ",{}", column.kind.text(value));
                }
                out.push('\n');
            }
        }
        out
    }

    /// What the file is, and what each bit means; one line each.
    pub(super) fn legend(&self) -> Vec<String> {
        let one_line = |text: &str| text.replace(['\r', '\n'], " ");
        let mut lines = vec![
            format!("title: {}", one_line(&self.setup.title)),
            format!("unit: {}", self.setup.unit.symbol()),
            "Stimulus, and what the reference comes to, frame by frame. Each case starts from an axis that has not been".to_owned(),
            "shown a frame. Not a certified safety component; limits come from the machine's risk assessment.".to_owned(),
        ];
        for (bit, monitor) in self.setup.monitors.iter().enumerate() {
            lines.push(format!("monitor bit {bit}: {} ({})", one_line(&monitor.name), monitor.kind.name()));
        }
        for (bit, input) in self.setup.inputs.iter().enumerate() {
            lines.push(format!("input bit {bit}: {}", one_line(&input.name)));
        }
        for (bit, line) in self.setup.levels.iter().enumerate() {
            lines.push(format!("level bit {bit}: {}", one_line(line)));
        }
        lines
    }
}
