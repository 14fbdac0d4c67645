//! The columns of a vectors file, of a log, and of the C header: one place says what each is called and how it is written.
//!
//! | column | what |
//! | --- | --- |
//! | `case`, `frame` | number of the case, and of the frame in it, from 0 |
//! | `now_ns` | the evaluation instant in ns |
//! | `a`, `b` | `none`: nothing new of that source; `reading`; `invalid`: a reading that its source marked as invalid |
//! | `a_captured_ns`, `b_captured_ns` | when the reading was captured, in ns; empty without one |
//! | `a_raw`, `b_raw` | the counter as read, in its width (a source of positions: 64 bits of 2⁻²⁴ of the axis unit); empty without one |
//! | `levels` | the level of each line, line 0 in the lowest bit |
//! | `permit`, `clock_fault`, `warming_up` | 1 or 0 |
//! | `a_fault`, `b_fault` | `none`, `invalid`, `out-of-order`, `stale`, `implausible` or `range` |
//! | `demanding`, `input_faults` | inputs that demand, and those that became faulted at this frame, one bit each |
//! | `active` | active monitors, one bit each |
//! | `outputs` | outputs that are true, one bit each |
//! | `a_unreferenced`, `b_unreferenced` | active monitors that need a referenced position, on the channels that have none |
//! | `a_violated`, `b_violated`, `a_tripped`, `b_tripped` | monitors that are violated at this frame, and those that tripped at it |
//! | `position_discrepancy_tripped`, `speed_discrepancy_tripped` | 1 at the frame of such a trip, else 0 |
//! | `reset` | `none`, `accepted`, or `refused-` and the reason: `channel`, `warming-up`, `violation`, `input`, `reference`, `analogue` |
//!
//! At a frame that is a clock fault all columns but `clock_fault` are 0 or `none`: nothing was evaluated.
//! Sets are hexadecimal (`0x5`); a log may write any number in decimal too, and words as their place in the list above, from 0.

use monitor_core::{Frame, Instant, Levels, Outcome, Reading, Reset, Sample, SourceFault};

/// The first columns: which frame, and what the axis is shown.
pub const STIMULUS: [&str; 10] =
    ["case", "frame", "now_ns", "a", "a_captured_ns", "a_raw", "b", "b_captured_ns", "b_raw", "levels"];

/// How many columns an outcome has.
pub const OUTCOMES: usize = 18;

/// The words for a fault; their places are the numbers.
pub const FAULTS: [&str; 6] = ["none", "invalid", "out-of-order", "stale", "implausible", "range"];

/// The words for a reset; their places are the numbers.
pub const RESETS: [&str; 9] = [
    "none",
    "accepted",
    "refused-channel",
    "refused-warming-up",
    "refused-violation",
    "refused-input",
    "refused-reference",
    "refused-analogue",
    "refused-stop",
];

/// What a column of an outcome holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// 1 or 0.
    Flag,
    /// One of [`FAULTS`].
    Fault,
    /// One of [`RESETS`].
    Reset,
    /// One bit for each monitor.
    Monitors,
    /// One bit for each input.
    Inputs,
}

/// One column of an outcome.
#[derive(Clone, Copy, Debug)]
pub struct Column {
    /// Its name.
    pub name: &'static str,
    /// What it holds.
    pub kind: Kind,
    /// Its value, as a number.
    pub of: fn(&Outcome) -> u32,
}

const fn column(name: &'static str, kind: Kind, of: fn(&Outcome) -> u32) -> Column {
    Column { name, kind, of }
}

/// The columns of an outcome, in their order.
pub const COLUMNS: [Column; OUTCOMES] = [
    column("permit", Kind::Flag, |o| o.permit.into()),
    column("clock_fault", Kind::Flag, |o| o.clock_fault.into()),
    column("warming_up", Kind::Flag, |o| o.warming_up.into()),
    column("a_fault", Kind::Fault, |o| fault(o.faults.a)),
    column("b_fault", Kind::Fault, |o| fault(o.faults.b)),
    column("demanding", Kind::Inputs, |o| o.demanding.to_bits()),
    column("input_faults", Kind::Inputs, |o| o.input_faults.to_bits()),
    column("active", Kind::Monitors, |o| o.active.to_bits()),
    column("outputs", Kind::Monitors, |o| o.outputs.to_bits()),
    column("a_unreferenced", Kind::Monitors, |o| o.unreferenced.a.to_bits()),
    column("b_unreferenced", Kind::Monitors, |o| o.unreferenced.b.to_bits()),
    column("a_violated", Kind::Monitors, |o| o.violated.a.to_bits()),
    column("b_violated", Kind::Monitors, |o| o.violated.b.to_bits()),
    column("a_tripped", Kind::Monitors, |o| o.tripped.a.to_bits()),
    column("b_tripped", Kind::Monitors, |o| o.tripped.b.to_bits()),
    column("position_discrepancy_tripped", Kind::Flag, |o| o.position_discrepancy_tripped.into()),
    column("speed_discrepancy_tripped", Kind::Flag, |o| o.speed_discrepancy_tripped.into()),
    column("reset", Kind::Reset, |o| reset(o.reset)),
];

/// An outcome as the numbers of its columns.
#[must_use]
pub fn numbers(outcome: &Outcome) -> [u32; OUTCOMES] {
    COLUMNS.map(|column| (column.of)(outcome))
}

const fn fault(fault: Option<SourceFault>) -> u32 {
    match fault {
        None => 0,
        Some(SourceFault::Invalid) => 1,
        Some(SourceFault::OutOfOrder) => 2,
        Some(SourceFault::Stale) => 3,
        Some(SourceFault::Implausible) => 4,
        Some(SourceFault::Range) => 5,
    }
}

const fn reset(reset: Option<Reset>) -> u32 {
    match reset {
        None => 0,
        Some(Reset::Accepted) => 1,
        Some(Reset::ChannelFaulted) => 2,
        Some(Reset::WarmingUp) => 3,
        Some(Reset::Violated) => 4,
        Some(Reset::InputFaulted) => 5,
        Some(Reset::Unreferenced) => 6,
        Some(Reset::AnalogueFaulted) => 7,
        Some(Reset::Stopping) => 8,
    }
}

impl Kind {
    /// A value as a file has it. A number that no word has is written as a number.
    #[must_use]
    pub fn text(self, value: u32) -> String {
        let word =
            |words: &[&str]| words.get(value as usize).map_or(value.to_string(), |word| (*word).to_owned());
        match self {
            Self::Flag => value.to_string(),
            Self::Fault => word(&FAULTS),
            Self::Reset => word(&RESETS),
            Self::Monitors | Self::Inputs => format!("{value:#x}"),
        }
    }

    /// A cell of a file as a value; `None` when it is none.
    #[must_use]
    pub fn parse(self, cell: &str) -> Option<u32> {
        let word = |words: &[&str]| {
            let place = words.iter().position(|word| word.eq_ignore_ascii_case(cell));
            let number = || number(cell).filter(|&number| number < words.len() as u64);
            place.map(|place| place as u64).or_else(number)
        };
        let value = match self {
            Self::Flag if cell.eq_ignore_ascii_case("true") => Some(1),
            Self::Flag if cell.eq_ignore_ascii_case("false") => Some(0),
            Self::Flag => number(cell).filter(|&number| number <= 1),
            Self::Fault => word(&FAULTS),
            Self::Reset => word(&RESETS),
            Self::Monitors | Self::Inputs => number(cell),
        };
        value.and_then(|value| u32::try_from(value).ok())
    }

    /// What can stand in such a column.
    #[must_use]
    pub fn expected(self) -> String {
        match self {
            Self::Flag => "1 or 0".to_owned(),
            Self::Fault => FAULTS.join(", "),
            Self::Reset => RESETS.join(", "),
            Self::Monitors => "one bit for each monitor, such as 0x5 or 5".to_owned(),
            Self::Inputs => "one bit for each input, such as 0x5 or 5".to_owned(),
        }
    }
}

/// A number in decimal, or in hexadecimal after `0x`.
#[must_use]
pub fn number(cell: &str) -> Option<u64> {
    match cell.strip_prefix("0x").or_else(|| cell.strip_prefix("0X")) {
        Some(digits) if digits.bytes().all(|digit| digit.is_ascii_hexdigit()) => {
            u64::from_str_radix(digits, 16).ok()
        }
        None if cell.bytes().all(|digit| digit.is_ascii_digit()) => cell.parse().ok(),
        _ => None,
    }
}

/// What the axis is shown, as cells from `now_ns` on.
#[must_use]
pub fn stimulus(frame: &Frame) -> String {
    let source = |reading: Option<Reading>| match reading {
        None => "none,,".to_owned(),
        Some(Reading { captured_at, sample: Sample::Invalid }) => {
            format!("invalid,{},", captured_at.as_nanos())
        }
        Some(Reading { captured_at, sample: Sample::Count(raw) }) => {
            format!("reading,{},{raw}", captured_at.as_nanos())
        }
    };
    format!("{},{},{},{:#x}", frame.now.as_nanos(), source(frame.a), source(frame.b), frame.levels.to_bits())
}

/// The cells of [`stimulus`] as a frame; the place and the column of the one that is wrong otherwise.
///
/// # Errors
///
/// The place of the cell among `cells`, from 0.
pub fn frame(cells: &[&str]) -> Result<Frame, usize> {
    let cell = |place: usize| cells.get(place).copied().ok_or(place);
    let whole = |place: usize| number(cell(place)?).ok_or(place);
    let source = |place: usize| -> Result<Option<Reading>, usize> {
        let kind = cell(place)?;
        if kind == "none" {
            return Ok(None);
        }
        let captured_at = Instant::from_nanos(whole(place + 1)?);
        let sample = match kind {
            "invalid" => Sample::Invalid,
            "reading" => Sample::Count(whole(place + 2)?),
            _ => return Err(place),
        };
        Ok(Some(Reading { captured_at, sample }))
    };
    let levels = u32::try_from(whole(7)?).map_err(|_| 7_usize)?;
    Ok(Frame {
        now: Instant::from_nanos(whole(0)?),
        a: source(1)?,
        b: source(4)?,
        levels: Levels::from_bits(levels),
    })
}

/// The cells of a line of a CSV file, without blanks around them; a cell in double quotes may hold a comma.
#[must_use]
pub fn cells(line: &str) -> Vec<&str> {
    let mut cells = Vec::new();
    let (mut begin, mut quoted) = (0, false);
    for (place, letter) in line.char_indices() {
        match letter {
            '"' => quoted = !quoted,
            ',' if !quoted => {
                cells.push(&line[begin..place]);
                begin = place + 1;
            }
            _ => {}
        }
    }
    cells.push(&line[begin..]);
    cells.into_iter().map(|cell| cell.trim().trim_matches('"').trim()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_of_a_column_reads_back_as_itself() {
        for kind in [Kind::Flag, Kind::Fault, Kind::Reset, Kind::Monitors, Kind::Inputs] {
            let values = match kind {
                Kind::Flag => 0..2,
                Kind::Fault => 0..6,
                Kind::Reset => 0..8,
                Kind::Monitors | Kind::Inputs => 0..70_000,
            };
            for value in values {
                assert_eq!(kind.parse(&kind.text(value)), Some(value));
                assert_eq!(kind.parse(&value.to_string()), Some(value), "{kind:?}");
            }
        }
        assert_eq!(Kind::Fault.parse("6"), None);
        assert_eq!(Kind::Flag.parse("2"), None);
        assert_eq!(Kind::Flag.parse(""), Some(0).filter(|_| false));
        assert_eq!(Kind::Monitors.parse("-1"), None);
    }

    #[test]
    fn a_frame_reads_back_as_itself() {
        let reading = |sample| Some(Reading { captured_at: Instant::from_nanos(u64::MAX), sample });
        for a in [None, reading(Sample::Invalid), reading(Sample::Count(u64::MAX))] {
            let shown = Frame { now: Instant::from_nanos(7), a, b: None, levels: Levels::from_bits(5) };
            let text = stimulus(&shown);
            assert_eq!(frame(&cells(&text)), Ok(shown), "{text}");
        }
    }

    #[test]
    fn a_comma_in_quotes_parts_no_cells() {
        assert_eq!(cells(r#" 1 ,"a, b", c"#), ["1", "a, b", "c"]);
    }
}
