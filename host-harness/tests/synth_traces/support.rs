//! Scenarios in a few lines, and the trace read back by plain string splitting.

use host_harness::synth::{Scenario, Written};

/// A trace as cells.
pub struct Trace {
    pub scenario: Scenario,
    pub written: Written,
    pub header: Vec<String>,
    pub rows: Vec<Vec<String>>,
}

/// Steady motion at 100 mm/s from 0.2 s on; the acceleration takes 0.1 s at most.
pub const STEADY: &str = "
[motion]
acceleration = \"2 m/s^2\"
jerk = \"100 m/s^3\"
[[move]]
at = \"0.1 s\"
speed = \"100 mm/s\"
";

/// No motion.
pub const REST: &str = "[motion]\n";

/// Out to 50 mm and back to 10 mm, at rest there from about 2.4 s on.
pub const OUT_AND_BACK: &str = "
[motion]
speed = \"100 mm/s\"
acceleration = \"2 m/s^2\"
jerk = \"100 m/s^3\"
[[move]]
at = \"0.1 s\"
to = \"50 mm\"
[[move]]
at = \"1.5 s\"
to = \"10 mm\"
";

/// A position column with a resolution of 1 nm.
pub const FINE: &str = "column_unit = \"mm\"\ndecimals = 6\n";

/// A trace at 1 kHz in which source B is ideal; `a` are further lines of source A, `rest` further tables.
pub fn trace(motion: &str, duration: &str, a: &str, rest: &str) -> Trace {
    let text = scenario_text(motion, duration, a, rest);
    read(Scenario::from_toml(&text, "test.toml").unwrap_or_else(|error| panic!("{error}\n{text}")))
}

pub fn scenario_text(motion: &str, duration: &str, a: &str, rest: &str) -> String {
    format!(
        "title = \"test\"\nseed = 3\nunit = \"mm\"\nrate = \"1 kHz\"\nduration = \"{duration}\"\n{motion}\n\
         [encoder.a]\ncolumn = \"a\"\n{a}\n[encoder.b]\ncolumn = \"b\"\n{FINE}\n{rest}"
    )
}

pub fn read(scenario: Scenario) -> Trace {
    let mut bytes = Vec::new();
    let written = scenario.write(&mut bytes).expect("a trace");
    let text = String::from_utf8(bytes).expect("text");
    let mut lines = text.lines().skip_while(|line| line.starts_with('#'));
    let split = |line: &str| line.split(',').map(str::to_owned).collect::<Vec<_>>();
    let header = split(lines.next().expect("a header"));
    let rows: Vec<_> = lines.map(split).collect();
    assert!(rows.iter().all(|row| row.len() == header.len()));
    assert_eq!(rows.len() as u64, written.rows);
    Trace { scenario, written, header, rows }
}

impl Trace {
    fn place(&self, column: &str) -> usize {
        self.header.iter().position(|name| name == column).expect("a column of the trace")
    }

    pub fn text(&self, column: &str) -> Vec<&str> {
        let place = self.place(column);
        self.rows.iter().map(|row| row[place].as_str()).collect()
    }

    pub fn numbers(&self, column: &str) -> Vec<f64> {
        self.text(column).iter().map(|cell| cell.parse().expect("a number")).collect()
    }

    /// Nanoseconds from a time column in seconds with nine digits.
    pub fn nanoseconds(&self, column: &str) -> Vec<i64> {
        self.text(column).iter().map(|cell| cell.replace('.', "").parse().expect("nanoseconds")).collect()
    }

    pub fn true_position(&self, t_ns: i64) -> f64 {
        self.scenario.truth().at(t_ns).position
    }
}

/// Milliseconds in nanoseconds.
pub const fn ms(value: i64) -> i64 {
    value * 1_000_000
}
