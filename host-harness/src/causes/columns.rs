//! The columns of the regression, made from a series.

use std::f64::consts::TAU;

use super::cause::Side;
use super::found::Column;
use super::series::Series;

/// Terms that come and go together: the columns of one cause.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Piece {
    pub(super) columns: Vec<Column>,
    /// Numbers that were fitted: coefficients, instants, widths, periods.
    pub(super) fitted: f64,
    /// Whose turns, for an eccentricity with a period that is known.
    pub(super) side: Option<Side>,
    /// All of it from one row to the next.
    pub(super) is_sudden: bool,
}

/// An instant was sought among all rows, and what begins for no reason is less likely than what is always there: it counts as so many numbers.
pub(super) const INSTANT: f64 = 2.0;

/// Travels that begin within so many windows of the speed are of the same instant.
const ALIKE_WINDOWS: f64 = 4.0;

impl Piece {
    pub(super) fn new(column: Column) -> Self {
        let fitted = match column {
            Column::Play { .. } => 2.0,
            Column::TravelSince { .. } => 1.0 + INSTANT,
            Column::Rise { .. } | Column::Box { .. } | Column::SpeedSince { .. } => 1.0 + 2.0 * INSTANT,
            _ => 1.0,
        };
        Self { columns: vec![column], fitted, side: None, is_sudden: false }
    }

    /// What begins from one reading to the next has one instant.
    pub(super) fn sudden(column: Column) -> Self {
        Self { fitted: 1.0 + INSTANT, is_sudden: true, ..Self::new(column) }
    }

    pub(super) fn turning(period: f64, by: Side, side: Option<Side>) -> Self {
        let fitted = if side.is_some() { 2.0 } else { 3.0 };
        Self {
            columns: vec![Column::Sine { period, by }, Column::Cosine { period, by }],
            fitted,
            side,
            is_sudden: false,
        }
    }

    /// A channel that fails between two rows: what the other one travels from there on, and what it is off at once.
    pub(super) fn failure(side: Side, from: usize, t: &[f64]) -> Self {
        let step = Column::Rise { from: t[from.saturating_sub(1)], until: t[from] };
        Self {
            columns: vec![Column::TravelSince { side, from }, step],
            fitted: 3.0,
            side: None,
            is_sudden: false,
        }
    }

    pub(super) fn column(&self) -> Column {
        self.columns.first().copied().unwrap_or(Column::One)
    }

    /// Whether it is there all the time, or begins at an instant.
    pub(super) const fn is_onset(column: Column) -> bool {
        matches!(
            column,
            Column::Rise { .. } | Column::Box { .. } | Column::SpeedSince { .. } | Column::TravelSince { .. }
        )
    }

    /// Its first row.
    pub(super) fn begins(&self, series: &Series<'_>) -> usize {
        match self.column() {
            Column::Rise { from, .. } | Column::SpeedSince { from, .. } => row_after(&series.t, from),
            Column::Box { from, .. } | Column::TravelSince { from, .. } => from,
            _ => 0,
        }
    }

    /// Whether there is no use in having both: of what is always there one of a kind is enough, of turns of unknown period too, as many of them
    /// would explain anything. The whole travel and the travel of one channel from the beginning together are d itself, and so are the travels of both
    /// from about the same instant on.
    pub(super) fn excludes(&self, other: &Self, series: &Series<'_>) -> bool {
        let is_free = |piece: &Self| matches!(piece.column(), Column::Sine { .. }) && piece.side.is_none();
        let is_early = |column| matches!(column, Column::TravelSince { from, .. } if from < series.moved());
        let is_whole = match (self.column(), other.column()) {
            (Column::TravelSince { side, from }, Column::TravelSince { side: beside, from: then }) => {
                side != beside
                    && (series.t[from] - series.t[then]).abs() < ALIKE_WINDOWS * series.samples.window
            }
            _ => false,
        };
        match (self.column(), other.column()) {
            (Column::Travel, column) | (column, Column::Travel) if is_early(column) => true,
            (Column::Travel, Column::Travel)
            | (Column::Speed, Column::Speed)
            | (Column::Acceleration, Column::Acceleration)
            | (Column::Time, Column::Time)
            | (Column::Play { .. }, Column::Play { .. }) => true,
            _ => is_free(self) && is_free(other) || is_whole || self == other,
        }
    }
}

/// The values of a column at every row.
pub(super) fn values(series: &Series<'_>, column: Column) -> Vec<f64> {
    let n = series.len();
    match column {
        Column::One => vec![1.0; n],
        Column::Travel => series.x.clone(),
        Column::Speed => series.v.clone(),
        Column::Acceleration => series.a.clone(),
        Column::Time => series.t.clone(),
        Column::Play { width } => play(&series.x, width),
        Column::Sine { period, by } => {
            (0..n).map(|row| (TAU * series.travel(by, row) / period).sin()).collect()
        }
        Column::Cosine { period, by } => {
            (0..n).map(|row| (TAU * series.travel(by, row) / period).cos()).collect()
        }
        Column::Rise { from, until } => rise(&series.t, from, until),
        Column::Box { from, until } => {
            (0..n).map(|row| if row >= from && row < until { 1.0 } else { 0.0 }).collect()
        }
        Column::SpeedSince { from, until } => {
            rise(&series.t, from, until).into_iter().zip(&series.v).map(|(part, v)| part * v).collect()
        }
        Column::TravelSince { side, from } => {
            let base = series.travel_now(side, from.saturating_sub(1));
            (0..n).map(|row| if row >= from { series.travel_now(side, row) - base } else { 0.0 }).collect()
        }
    }
}

/// The play operator: p stays until x is half the width away, then follows.
fn play(x: &[f64], width: f64) -> Vec<f64> {
    let mut p = x.first().copied().unwrap_or(0.0);
    x.iter()
        .map(|&x| {
            p = p.clamp(x - 0.5 * width, x + 0.5 * width);
            (x - p) / width
        })
        .collect()
}

fn rise(t: &[f64], from: f64, until: f64) -> Vec<f64> {
    let span = (until - from).max(f64::MIN_POSITIVE);
    t.iter().map(|t| ((t - from) / span).clamp(0.0, 1.0)).collect()
}

/// The first row after an instant.
pub(super) fn row_after(t: &[f64], instant: f64) -> usize {
    t.partition_point(|&t| t <= instant).min(t.len() - 1)
}
