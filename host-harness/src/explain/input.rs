//! The lines of an input: which of them moved.

use monitor_core::Instant;

use super::track::Point;
use crate::setup::{InputLines, Setup};

/// The lines of an input, one bit each.
pub(super) fn mask(setup: &Setup, input: usize) -> u32 {
    match setup.inputs[input].lines {
        InputLines::Single(line) => bit(line),
        InputLines::Dual { first, second, .. } => bit(first) | bit(second),
    }
}

fn bit(line: u8) -> u32 {
    1_u32.checked_shl(line.into()).unwrap_or(0)
}

/// One line before a fault of its input.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct LineBefore {
    /// Its column.
    pub(super) column: String,
    /// Its level at the fault.
    pub(super) is_high: bool,
    /// The last frame at which it changed, if it did in the frames that were kept.
    pub(super) changed_at: Option<Instant>,
    /// How often it changed.
    pub(super) changes: usize,
}

/// Both lines of an input up to an instant.
pub(super) fn lines(setup: &Setup, points: &[Point], input: usize, at: Instant) -> Vec<LineBefore> {
    let lines = match setup.inputs[input].lines {
        InputLines::Single(line) => vec![line],
        InputLines::Dual { first, second, .. } => vec![first, second],
    };
    let before = &points[..points.partition_point(|point| point.now <= at)];
    let of = |line: u8| {
        let level = |point: &Point| point.levels.to_bits() & bit(line) != 0;
        let changed = || before.windows(2).filter(|pair| level(&pair[0]) != level(&pair[1]));
        LineBefore {
            column: setup.levels.get(usize::from(line)).cloned().unwrap_or_default(),
            is_high: before.last().is_some_and(level),
            changed_at: changed().next_back().map(|pair| pair[1].now),
            changes: changed().count(),
        }
    };
    lines.into_iter().map(of).collect()
}
