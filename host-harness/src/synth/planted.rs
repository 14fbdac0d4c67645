//! The list of what was planted into a trace: the facts an analysis of it should find.

use std::fmt;

/// What was planted; the names are those of the scenario file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum PlantedKind {
    /// `stuck`: the value of a source is held.
    Stuck,
    /// `jump`: a source reads by a distance more.
    Jump,
    /// `lost-counts`: a source loses counts while it moves.
    LostCounts,
    /// `reversed`: a source counts the other way.
    Reversed,
    /// `drift`: the reading of a source drifts away.
    Drift,
    /// `slip`: the coupling of a source slips.
    Slip,
    /// `offset`: the second line of an analogue value reads more by a distance.
    Offset,
    /// `dropped`: readings of a source do not arrive.
    Dropped,
    /// `latency`: readings of a source arrive with another latency.
    Latency,
    /// `invalid`: a source marks its readings invalid.
    Invalid,
    /// `gap`: rows are missing.
    Gap,
    /// `creep`: the axis itself moves without a command.
    Creep,
    /// `vibration`: the axis itself vibrates.
    Vibration,
    /// An input changes to this level.
    Level(u8),
    /// An input stays at its level from then on.
    InputStuck,
}

impl fmt::Display for PlantedKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = match self {
            Self::Stuck => "stuck",
            Self::Jump => "jump",
            Self::LostCounts => "lost-counts",
            Self::Reversed => "reversed",
            Self::Drift => "drift",
            Self::Slip => "slip",
            Self::Offset => "offset",
            Self::Dropped => "dropped",
            Self::Latency => "latency",
            Self::Invalid => "invalid",
            Self::Gap => "gap",
            Self::Creep => "creep",
            Self::Vibration => "vibration",
            Self::Level(level) => return write!(f, "level {level}"),
            Self::InputStuck => "input stuck",
        };
        f.write_str(name)
    }
}

/// One planted fact. Instants are in nanoseconds on the time axis of the trace, `start_time` included.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub struct Planted {
    /// What was planted.
    pub kind: PlantedKind,
    /// The column of the source, the analogue line or the input; `None` for what concerns the whole axis or whole rows.
    pub column: Option<String>,
    /// Exact instant of its begin.
    pub at_ns: i64,
    /// Exact instant of its end; `None` when it stays or happens at once.
    pub until_ns: Option<i64>,
    /// Time of the first row that shows it: of a source fault, the first row with a reading taken under it (or missing
    /// through it); of a gap, the first row after it; of anything else, the first row from `at_ns` on. `None` when no
    /// row shows it.
    pub first_row_ns: Option<i64>,
}

impl fmt::Display for Planted {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.kind)?;
        if let Some(column) = &self.column {
            write!(f, " of {column}")?;
        }
        write!(f, " at {} s", Seconds(self.at_ns))?;
        if let Some(until) = self.until_ns {
            write!(f, " until {} s", Seconds(until))?;
        }
        Ok(())
    }
}

/// Nanoseconds as seconds with nine digits.
struct Seconds(i64);

impl fmt::Display for Seconds {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{:09}", self.0.div_euclid(1_000_000_000), self.0.rem_euclid(1_000_000_000))
    }
}
