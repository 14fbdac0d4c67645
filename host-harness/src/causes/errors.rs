//! What the standard errors of the causes allow for beyond the scatter of the residuals.

use super::basis::dot;
use super::columns::{Piece, values};
use super::found::Column;
use super::series::Series;
use super::solve::{Fit, solve};

/// See [`with_patches`]: what swings less than this part of d up to the trip is one, and what of its square counts.
const PATCH: f64 = 0.1;
const PATCH_WEIGHT: f64 = 0.25;
/// See [`with_omissions`]: a part of d that may be left out without a trace.
const OMITTED: f64 = 0.02;
/// And what part of what a model may leave; with it the intervals of `tests/causes` hold about as often as they should.
const FLOOR_PART: f64 = 0.5;
/// See [`with_model_error`].
const STRETCHES: f64 = 3.0;

/// The covariance with what the model itself may be wrong by. Its residuals hold traces of all that was left out or is only nearly so, and nothing says
/// that these are independent from one stretch of the motion to the next: they may go along with a column like `STRETCHES` independent values.
pub(super) fn with_model_error(
    series: &Series<'_>,
    mut covariance: Vec<Vec<f64>>,
    fit: &Fit,
) -> Vec<Vec<f64>> {
    let rows = fit.residuals.len() as f64;
    let counts = series.samples.count;
    let rounding = (counts[0] * counts[0] + counts[1] * counts[1]) / 12.0;
    let variance = (fit.rss / rows).max(rounding) * rows / STRETCHES;
    for (row, inverse) in covariance.iter_mut().zip(&fit.inverse) {
        for (value, inverse) in row.iter_mut().zip(inverse) {
            *value += variance * inverse;
        }
    }
    covariance
}

/// The covariance with what small changes that begin at an instant may be wrong by: they are where the model does not fit, and may as well not be
/// there. Each estimate is as uncertain as it changes without one of them.
pub(super) fn with_patches(
    series: &Series<'_>,
    pieces: &[Piece],
    (values, fit): (&[Vec<f64>], &Fit),
    covariance: &mut [Vec<f64>],
) {
    let apart = series.samples.points[series.trip].d().abs();
    let mut place = 1;
    for piece in pieces {
        let (own, columns) = (place, piece.columns.len());
        place += columns;
        if columns != 1 || !Piece::is_onset(piece.column()) {
            continue;
        }
        let (low, high) = values[own][..=series.trip]
            .iter()
            .fold((f64::MAX, f64::MIN), |(low, high), &value| (low.min(value), high.max(value)));
        let b = fit.coefficients[own];
        let size = b.abs() * (high - low);
        if size == 0.0 || size > PATCH * apart {
            continue;
        }
        let change: Vec<f64> = fit.inverse.iter().map(|row| b * row[own] / fit.inverse[own][own]).collect();
        for (i, row) in covariance.iter_mut().enumerate() {
            for (j, value) in row.iter_mut().enumerate() {
                if i != own && j != own {
                    *value += PATCH_WEIGHT * change[i] * change[j];
                }
            }
        }
    }
}

/// The covariance with what was not found but may be there: a little of each cause that is always there and is not in the model, as much as the
/// residual allows and at most a small part of d. On a short trace it looks like something else.
pub(super) fn with_omissions(
    series: &Series<'_>,
    pieces: &[Piece],
    (columns, fit): (&[Vec<f64>], &Fit),
    covariance: &mut [Vec<f64>],
) {
    let most = OMITTED * series.samples.points[series.trip].d().abs();
    let kinds =
        [Column::Travel, Column::Speed, Column::Acceleration, Column::Time, Column::Play { width: most }];
    let slices: Vec<&[f64]> = columns.iter().map(Vec::as_slice).collect();
    for kind in kinds {
        let is_same =
            |piece: &Piece| std::mem::discriminant(&piece.column()) == std::mem::discriminant(&kind);
        if most <= 0.0 || pieces.iter().any(is_same) {
            continue;
        }
        let z = values(series, kind);
        let (low, high) = z[..=series.trip]
            .iter()
            .fold((f64::MAX, f64::MIN), |(low, high), &value| (low.min(value), high.max(value)));
        let Some(other) = solve(&slices, &z).filter(|_| high > low) else { continue };
        let allowed = most / (high - low);
        let left = dot(&other.residuals, &other.residuals);
        // As much as the model was allowed to leave, too.
        let fitted =
            dot(&other.residuals, &fit.residuals).abs() + FLOOR_PART * (left * series.floor()).sqrt();
        let size = if fitted < allowed * left { fitted / left } else { allowed };
        for (i, row) in covariance.iter_mut().enumerate() {
            for (j, value) in row.iter_mut().enumerate() {
                *value += size * size * other.coefficients[i] * other.coefficients[j];
            }
        }
    }
}

/// The covariance with what a part of the travel that is not counted may be wrong by. Whole counts are lost: of each reading a part of a count more or
/// less. And where a channel has failed, what else it had until then may have stopped or turned round with it.
pub(super) fn with_failures(
    series: &Series<'_>,
    pieces: &[Piece],
    (columns, fit): (&[Vec<f64>], &Fit),
    covariance: &mut [Vec<f64>],
) {
    let last = series.len() - 1;
    let mut place = 1;
    for piece in pieces {
        let own = place;
        place += piece.columns.len();
        let Column::TravelSince { from, .. } = piece.column() else { continue };
        let travel = columns[own].iter().fold(0.0_f64, |most, value| most.max(value.abs()));
        if travel == 0.0 {
            continue;
        }
        let apart = series.t[series.trip] - series.t[series.trip.saturating_sub(1)];
        let readings = (series.t[last] - series.t[from]) / apart;
        let mut square = 0.25 * readings.max(1.0) * series.coarsest().powi(2);
        if series.trusted.is_some_and(|trusted| trusted.from == from) {
            let others = (1..columns.len()).filter(|k| !(own..place).contains(k));
            square += others
                .map(|k| {
                    let (low, high) = columns[k][from - 1..]
                        .iter()
                        .fold((f64::MAX, f64::MIN), |(low, high), &value| (low.min(value), high.max(value)));
                    (fit.coefficients[k] * (high - low)).powi(2)
                })
                .sum::<f64>();
        }
        covariance[own][own] += square / (travel * travel);
    }
}
