//! What begins at an instant: the change points of d.
//!
//! The gain of a column `z` in the sum of squares is `(z·r)² / (z·z − Σ (z·q)²)`, r the residual and q the orthonormal columns chosen so far. For a
//! column that is `f − g` from row i on, with a number g, all three are sums over the rows from i on, so that all instants together cost as
//! much as one.

use super::basis::{Basis, gain};
use super::cause::Side;
use super::found::Column;
use super::series::Series;

/// The best of its kind.
#[derive(Clone, Copy, Debug)]
pub(super) struct Onset {
    pub(super) column: Column,
    pub(super) gain: f64,
}

/// The best onset of a travel counted differently, by one side or the other.
pub(super) fn travels(series: &Series<'_>, basis: &Basis) -> Vec<Onset> {
    let n = series.len();
    let mut found = Vec::new();
    for side in Side::BOTH {
        let x: Vec<f64> = (0..n).map(|row| series.travel(side, row)).collect();
        let base = |from: usize| x[from.saturating_sub(1)];
        found.push(best(&x, base, basis, |from| Column::TravelSince { side, from }));
    }
    found.into_iter().flatten().collect()
}

/// The best `f − base(i)` from row i on.
fn best(
    f: &[f64],
    base: impl Fn(usize) -> f64,
    basis: &Basis,
    column: impl Fn(usize) -> Column,
) -> Option<Onset> {
    let p = basis.q.len();
    // Sums from row i on: of f and 1 with each of q, then with the residual, then of f² and f.
    let mut with_f = vec![0.0; p + 1];
    let mut with_one = vec![0.0; p + 1];
    let (mut squares, mut sum) = (0.0, 0.0);
    let mut most: Option<Onset> = None;
    for from in (LEAST..f.len()).rev() {
        let value = f[from];
        for (k, q) in basis.q.iter().chain([&basis.rest]).enumerate() {
            with_f[k] += value * q[from];
            with_one[k] += q[from];
        }
        squares += value * value;
        sum += value;
        let rows = (f.len() - from) as f64;
        if rows < LEAST as f64 {
            continue;
        }
        let g = base(from);
        let whole = squares - 2.0 * g * sum + g * g * rows;
        let mut left = whole;
        for k in 0..p {
            left -= (with_f[k] - g * with_one[k]).powi(2);
        }
        // What is summed loses digits where `f` is large and its change is small.
        if whole < 1e-9 * squares {
            continue;
        }
        let gain = gain(with_f[p] - g * with_one[p], left, whole);
        if most.is_none_or(|most| gain > most.gain) {
            most = Some(Onset { column: column(from), gain });
        }
    }
    most
}

/// The fewest rows before and after an instant.
const LEAST: usize = 4;

/// The best change of `weight` times what rises over so many rows, or stays for so many: slips, jumps, spikes, and with the speed as weight
/// readings that begin to come later.
pub(super) struct Changes<'a> {
    t: &'a [f64],
    width: usize,
    /// Sums up to each row of the weight times each q and the residual; the same times t.
    with_one: Vec<f64>,
    with_t: Vec<f64>,
    /// Sums up to each row of the weight squared, times 1, t and t².
    squares: Vec<[f64; 3]>,
}

impl<'a> Changes<'a> {
    pub(super) fn new(series: &'a Series<'_>, basis: &Basis, weight: Option<&[f64]>) -> Self {
        let t = &series.t;
        let width = basis.q.len() + 1;
        let weight = |row: usize| weight.map_or(1.0, |weight| weight[row]);
        let mut with_one = vec![0.0; width * (t.len() + 1)];
        let mut with_t = with_one.clone();
        for (k, q) in basis.q.iter().chain([&basis.rest]).enumerate() {
            for (row, (&q, &t)) in q.iter().zip(t).enumerate() {
                let (at, q) = (row * width + k, weight(row) * q);
                with_one[at + width] = with_one[at] + q;
                with_t[at + width] = with_t[at] + t * q;
            }
        }
        let mut squares = vec![[0.0; 3]];
        let mut sum = [0.0; 3];
        for (row, &t) in t.iter().enumerate() {
            let square = weight(row).powi(2);
            sum = [sum[0] + square, sum[1] + square * t, sum[2] + square * t * t];
            squares.push(sum);
        }
        Self { t, width, with_one, with_t, squares }
    }

    fn row<'b>(&self, of: &'b [f64], row: usize) -> &'b [f64] {
        &of[row * self.width..(row + 1) * self.width]
    }

    fn gain(&self, column: Column) -> f64 {
        match column {
            Column::Rise { from, until } | Column::SpeedSince { from, until } => self.rise(from, until),
            Column::Box { from, until } => self.spike(from, until),
            _ => 0.0,
        }
    }

    fn rise(&self, from: usize, until: usize) -> f64 {
        let n = self.t.len();
        if from < LEAST || until < from || from + LEAST > n || until > n {
            return 0.0;
        }
        let start = self.t[from - 1];
        let span = self.t[until.min(n - 1)] - start;
        let one = [from, until, n].map(|row| self.row(&self.with_one, row));
        let with_t = [from, until].map(|row| self.row(&self.with_t, row));
        let along = |k: usize| {
            let rising = with_t[1][k] - with_t[0][k] - start * (one[1][k] - one[0][k]);
            rising / span + one[2][k] - one[1][k]
        };
        let [s0, s1, s2] = [0, 1, 2].map(|power| self.squares[until][power] - self.squares[from][power]);
        let rising = s2 - 2.0 * start * s1 + start * start * s0;
        let whole = rising.max(0.0) / (span * span) + self.squares[n][0] - self.squares[until][0];
        let mut left = whole;
        for k in 0..self.width - 1 {
            left -= along(k).powi(2);
        }
        gain(along(self.width - 1), left, whole)
    }

    fn spike(&self, from: usize, until: usize) -> f64 {
        if from < LEAST || until <= from || until + LEAST > self.t.len() {
            return 0.0;
        }
        let [low, high] = [from, until].map(|row| self.row(&self.with_one, row));
        let whole = self.squares[until][0] - self.squares[from][0];
        let mut left = whole;
        for k in 0..self.width - 1 {
            left -= (high[k] - low[k]).powi(2);
        }
        gain(high[self.width - 1] - low[self.width - 1], left, whole)
    }

    /// The best that is all there from one row to the next.
    pub(super) fn best_step(&self, make: impl Fn(usize, usize) -> Column) -> Onset {
        let found = (LEAST..self.t.len()).map(|from| make(from, from));
        let found = found.map(|column| Onset { column, gain: self.gain(column) });
        let none = Onset { column: make(LEAST, LEAST), gain: 0.0 };
        found.fold(none, |most, onset| if onset.gain > most.gain { onset } else { most })
    }

    /// The best of one kind: coarsely, then closer from the best. With `is_open` also those that never end.
    pub(super) fn best(&self, make: impl Fn(usize, usize) -> Column, is_open: bool) -> Onset {
        let n = self.t.len();
        let mut most = Onset { column: make(LEAST, LEAST), gain: 0.0 };
        let mut length = 0;
        while length < n {
            let stride = (length / 8).max(1);
            for from in (LEAST..n.saturating_sub(length)).step_by(stride) {
                self.try_at(make(from, from + length), &mut most);
            }
            length = (length + 1).max(length * 8 / 5);
        }
        if is_open {
            for from in (LEAST..n - LEAST.min(n)).step_by((n / 512).max(1)) {
                self.try_at(make(from, n), &mut most);
            }
        }
        self.closer(make, most, (n / 16).max(1))
    }

    fn try_at(&self, column: Column, most: &mut Onset) -> bool {
        let gain = self.gain(column);
        let is_better = gain > most.gain;
        if is_better {
            *most = Onset { column, gain };
        }
        is_better
    }

    /// Moves either end, or both, as long as that is better, by steps that halve.
    pub(super) fn closer(
        &self,
        make: impl Fn(usize, usize) -> Column,
        mut most: Onset,
        step: usize,
    ) -> Onset {
        let n = self.t.len();
        let mut step = step;
        while step > 0 {
            let (from, until) = place_of(most.column);
            let moved = [
                (from.saturating_sub(step), until),
                (from + step, until),
                (from, until.saturating_sub(step)),
                (from, (until + step).min(n)),
                (from + step, (until + step).min(n)),
                (from.saturating_sub(step), until.saturating_sub(step)),
                (from.saturating_sub(step), (until + step).min(n)),
                (from + step, until.saturating_sub(step)),
            ];
            let mut is_better = false;
            for (from, until) in moved {
                is_better |= self.try_at(make(from, until), &mut most);
            }
            if !is_better {
                step /= 2;
            }
        }
        most
    }
}

fn place_of(column: Column) -> (usize, usize) {
    match column {
        Column::Rise { from, until } | Column::Box { from, until } | Column::SpeedSince { from, until } => {
            (from, until)
        }
        _ => (LEAST, LEAST),
    }
}
