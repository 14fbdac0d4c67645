//! The period of an eccentricity: least squares of a sine over the travel, for one frequency after the other.

use std::f64::consts::TAU;

use super::basis::{Basis, dot, gain};
use super::cause::Side;
use super::columns::values;
use super::found::Column;
use super::series::Series;

/// Bins of the travel, and the most frequencies.
const BINS: usize = 1024;
const FREQUENCIES: usize = 800;
/// Fewer turns than this in the whole travel are no evidence of a turn; where nothing else explains the samples, than this.
const LEAST_TURNS: f64 = 3.0;
const FEW_TURNS: f64 = 1.5;

/// The period that explains most of the residual, and its gain with both columns.
pub(super) fn best_period(series: &Series<'_>, basis: &Basis) -> Option<(f64, Side, f64)> {
    let (low, high) = series.x.iter().fold((f64::MAX, f64::MIN), |(low, high), &x| (low.min(x), high.max(x)));
    let range = high - low;
    let coarsest = series.samples.count[0].max(series.samples.count[1]);
    if range < 100.0 * coarsest {
        return None;
    }
    let bin = range / BINS as f64;
    let mut rests = vec![0.0; BINS + 1];
    let mut rows = vec![0.0; BINS + 1];
    for (x, rest) in series.x.iter().zip(&basis.rest) {
        let at = ((x - low) / bin) as usize;
        rests[at.min(BINS)] += rest;
        rows[at.min(BINS)] += 1.0;
    }
    // Four steps of frequency for a turn more in the whole travel.
    let step = 0.25 / range;
    let least = if series.few_turns { FEW_TURNS } else { LEAST_TURNS };
    let first = (least / range / step) as usize;
    let mut most = (0.0, 0.0);
    for k in first..first + FREQUENCIES {
        let frequency = k as f64 * step;
        let gain = binned_gain(&rests, &rows, TAU * frequency * bin);
        if gain > most.1 {
            most = (frequency, gain);
        }
    }
    if most.1 == 0.0 {
        return None;
    }
    // It is the turn of one channel, and goes by the travel of the other.
    Side::BOTH
        .map(|by| refine(series, basis, most.0, by, step))
        .into_iter()
        .max_by(|one, other| one.2.total_cmp(&other.2))
}

/// The gain of a sine of any phase, all in one bin at its middle.
fn binned_gain(rests: &[f64], rows: &[f64], angle: f64) -> f64 {
    let (turn_sin, turn_cos) = angle.sin_cos();
    let (mut sin, mut cos) = (0.0_f64, 1.0_f64);
    let (mut rs, mut rc) = (0.0, 0.0);
    let (mut ss, mut sc, mut cc) = (0.0, 0.0, 0.0);
    for (&rest, &rows) in rests.iter().zip(rows) {
        rs += rest * sin;
        rc += rest * cos;
        ss += rows * sin * sin;
        sc += rows * sin * cos;
        cc += rows * cos * cos;
        (sin, cos) = (sin * turn_cos + cos * turn_sin, cos * turn_cos - sin * turn_sin);
    }
    let determinant = ss * cc - sc * sc;
    if determinant <= 1e-6 * ss * cc {
        0.0
    } else {
        (cc * rs * rs - 2.0 * sc * rs * rc + ss * rc * rc) / determinant
    }
}

/// The exact gain of both columns of a period.
pub(super) fn gain_of(series: &Series<'_>, basis: &Basis, period: f64, by: Side) -> f64 {
    let part = |column| basis.perpendicular(values(series, column));
    let (Some(sine), Some(mut cosine)) =
        (part(Column::Sine { period, by }), part(Column::Cosine { period, by }))
    else {
        return 0.0;
    };
    let along = dot(&sine, &cosine);
    for (cosine, sine) in cosine.iter_mut().zip(&sine) {
        *cosine -= along * sine;
    }
    let left = dot(&cosine, &cosine);
    dot(&sine, &basis.rest).powi(2) + gain(dot(&cosine, &basis.rest), left, 1.0)
}

/// Closer from the best frequency, by halving steps: the period, whose travel, and the gain.
fn refine(series: &Series<'_>, basis: &Basis, frequency: f64, by: Side, step: f64) -> (f64, Side, f64) {
    let mut best = (frequency, gain_of(series, basis, 1.0 / frequency, by));
    let mut step = step / 2.0;
    for _ in 0..9 {
        for frequency in [best.0 - step, best.0 + step] {
            let gain = gain_of(series, basis, 1.0 / frequency, by);
            if gain > best.1 {
                best = (frequency, gain);
            }
        }
        step /= 2.0;
    }
    (1.0 / best.0, by, best.1)
}
