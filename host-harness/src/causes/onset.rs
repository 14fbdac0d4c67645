//! What begins at an instant: the change points of d.
//!
//! The gain of a column `z` in the sum of squares is `(z·r)² / (z·z − Σ (z·q)²)`, r the residual and q the orthonormal columns chosen so far. For a
//! column that is `f − g` from row i on, with a number g, all three are sums over the rows from i on, so that all instants together cost as
//! much as one.

use super::basis::{Basis, gain};
use super::cause::Side;
use super::columns::{row_after, values};
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
    // Up to as many rows as the basis has.
    let n = basis.rest.len();
    let mut found = Vec::new();
    for side in Side::BOTH {
        let x: Vec<f64> = (0..n).map(|row| series.travel_now(side, row)).collect();
        let base = |from: usize| x[from.saturating_sub(1)];
        // The other channel then makes this part of the travel, or the same backwards: nothing else that is against it.
        let is_sound = |c: f64| {
            let part = 1.0 - side.sign() * c;
            part > -0.1 || (-1.5..=-0.6).contains(&part)
        };
        found.push(best(&x, base, is_sound, basis, |from| Column::TravelSince { side, from }));
    }
    found.into_iter().flatten().collect()
}

/// The best `f − base(i)` from row i on.
fn best(
    f: &[f64],
    base: impl Fn(usize) -> f64,
    is_sound: impl Fn(f64) -> bool,
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
        let along = with_f[p] - g * with_one[p];
        if !is_sound(along / left) {
            continue;
        }
        let gain = onset_gain(along, left, whole);
        if most.is_none_or(|most| gain > most.gain) {
            most = Some(Onset { column: column(from), gain });
        }
    }
    most
}

/// What begins at an instant must be something else than what is chosen already: two that nearly are the same would cancel each other out.
fn onset_gain(along: f64, left: f64, whole: f64) -> f64 {
    if left > LEAST_LEFT * whole { gain(along, left, whole) } else { 0.0 }
}

/// The part of a column that must be left.
const LEAST_LEFT: f64 = 1e-3;

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

    fn gain(&self, shape: Shape, (from, until): (usize, usize)) -> f64 {
        match shape {
            Shape::Rise => self.rise(from, until),
            Shape::Box => self.spike(from, until),
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
        onset_gain(along(self.width - 1), left, whole)
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
        onset_gain(high[self.width - 1] - low[self.width - 1], left, whole)
    }

    /// The best that is all there from one row to the next.
    pub(super) fn best_step(&self) -> Place {
        self.step_near(0, self.t.len())
    }

    /// The same, among so many rows to either side of one.
    pub(super) fn step_near(&self, row: usize, reach: usize) -> Place {
        let rows = row.saturating_sub(reach).max(LEAST)..(row + reach).min(self.t.len());
        let none = Place { rows: (LEAST, LEAST), gain: 0.0 };
        rows.map(|from| self.at(Shape::Rise, (from, from)))
            .fold(none, |most, place| if place.gain > most.gain { place } else { most })
    }

    pub(super) fn at(&self, shape: Shape, rows: (usize, usize)) -> Place {
        Place { rows, gain: self.gain(shape, rows) }
    }

    /// The best of a shape: coarsely, then closer from the best.
    pub(super) fn best(&self, shape: Shape) -> Place {
        let n = self.t.len();
        let mut most = Place { rows: (LEAST, LEAST), gain: 0.0 };
        let mut length = 0;
        while length < n {
            let stride = (length / 8).max(1);
            for from in (LEAST..n.saturating_sub(length)).step_by(stride) {
                self.try_at(shape, (from, from + length), &mut most);
            }
            length = (length + 1).max(length * 8 / 5);
        }
        if shape == Shape::Rise {
            for from in (LEAST..n - LEAST.min(n)).step_by((n / 512).max(1)) {
                self.try_at(shape, (from, n), &mut most);
            }
        }
        self.closer(shape, most, (n / 16).max(1))
    }

    fn try_at(&self, shape: Shape, rows: (usize, usize), most: &mut Place) -> bool {
        let place = self.at(shape, rows);
        let is_better = place.gain > most.gain;
        if is_better {
            *most = place;
        }
        is_better
    }

    /// Moves either end, or both, as long as that is better, by steps that halve.
    pub(super) fn closer(&self, shape: Shape, mut most: Place, step: usize) -> Place {
        let n = self.t.len();
        let mut step = step;
        while step > 0 {
            let (from, until) = most.rows;
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
            for rows in moved {
                is_better |= self.try_at(shape, rows, &mut most);
            }
            if !is_better {
                step /= 2;
            }
        }
        most
    }

    /// The instants of a rise: it begins after the row before its first, and ends at its last.
    pub(super) fn instants(&self, (from, until): (usize, usize)) -> (f64, f64) {
        let n = self.t.len();
        (self.t[from.clamp(1, n) - 1], self.t[until.min(n - 1)])
    }
}

/// What a change looks like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Shape {
    /// It rises and stays.
    Rise,
    /// It is there for a while.
    Box,
}

/// Where a change was found, as its first row and the one with all of it, or after it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    pub(super) rows: (usize, usize),
    pub(super) gain: f64,
}

/// Moves the instants of a rise between the rows, by steps that halve, as long as that is better.
pub(super) fn between_rows(
    series: &Series<'_>,
    basis: &Basis,
    (from, until): (f64, f64),
    make: impl Fn(f64, f64) -> Column,
) -> Onset {
    let at = |from: f64, until: f64| {
        let column = make(from, until);
        Onset { column, gain: basis.gain(&values(series, column)) }
    };
    let mut most = at(from, until);
    let (mut from, mut until) = (from, until);
    let row = row_after(&series.t, until);
    let mut step = 0.5 * (series.t[row] - series.t[row.saturating_sub(1)]);
    for _ in 0..6 {
        for (a, b) in [(-step, 0.0), (step, 0.0), (0.0, -step), (0.0, step)] {
            if until + b - from - a > step {
                let other = at(from + a, until + b);
                if other.gain > most.gain {
                    (most, from, until) = (other, from + a, until + b);
                }
            }
        }
        step *= 0.5;
    }
    most
}
