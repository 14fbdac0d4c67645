//! What is done to chosen pieces as a whole: fewer of them, and in better places.

use super::columns::Piece;
use super::found::{Column, Options};
use super::select::{exchanges, fitted};
use super::series::Series;

/// Changes of a kind that begin within so many windows of the speed may be one.
const MERGED_WINDOWS: f64 = 4.0;

/// Keeps the pieces with the largest swing: a quarter of the largest or more.
pub(super) fn keep_largest(series: &Series<'_>, pieces: &mut Vec<Piece>) {
    let Some((values, fit)) = fitted(series, pieces) else { return };
    let mut first = 1;
    let mut swings = Vec::new();
    for piece in pieces.iter() {
        let places = first..first + piece.columns.len();
        first = places.end;
        let adds = |row: usize| places.clone().map(|k| fit.coefficients[k] * values[k][row]).sum::<f64>();
        let (low, high) =
            (0..series.len()).map(adds).fold((f64::MAX, f64::MIN), |(l, h), x| (l.min(x), h.max(x)));
        swings.push(high - low);
    }
    let largest = swings.iter().copied().fold(0.0, f64::max);
    let mut swings = swings.into_iter();
    pieces.retain(|_| swings.next().is_some_and(|swing| swing > 0.25 * largest));
}

/// Seeks the instants of each onset and the period of an eccentricity anew, beside what else was found meanwhile.
pub(super) fn closer(series: &Series<'_>, options: &Options, pieces: &mut [Piece], pinned: usize) {
    for place in pinned..pieces.len() {
        let column = pieces[place].column();
        if Piece::is_onset(column) || matches!(column, Column::Sine { .. }) {
            let kind = std::mem::discriminant(&column);
            let found = exchanges(series, options, pieces, place, 100.0);
            let same =
                found.into_iter().filter(|other| std::mem::discriminant(&other.instead.column()) == kind);
            if let Some(best) = same.min_by(|a, b| a.worse_by.total_cmp(&b.worse_by))
                && best.worse_by < 0.0
            {
                pieces[place] = best.instead;
            }
        }
    }
}

/// One change that was found in steps becomes one again: of two of a kind that begin close to each other the smaller goes where the larger, sought
/// anew, explains nearly as much as both.
pub(super) fn merge(series: &Series<'_>, options: &Options, pieces: &mut Vec<Piece>, pinned: usize) {
    let mut place = 0;
    while place < pieces.len() {
        let kind = std::mem::discriminant(&pieces[place].column());
        let start = series.t[pieces[place].begins(series)];
        let is_close = |other: &Piece| {
            let apart = (series.t[other.begins(series)] - start).abs();
            Piece::is_onset(other.column())
                && std::mem::discriminant(&other.column()) == kind
                && apart < MERGED_WINDOWS * series.samples.window
        };
        let others: Vec<usize> =
            (0..pieces.len()).filter(|&other| other != place && is_close(&pieces[other])).collect();
        if Piece::is_onset(pieces[place].column()) && !others.is_empty() {
            let mut fewer = pieces.clone();
            for &other in others.iter().rev() {
                fewer.remove(other);
            }
            let own = place - others.iter().filter(|&&other| other < place).count();
            let found = exchanges(series, options, &fewer, own, 100.0);
            let same = found
                .into_iter()
                .filter(|found| std::mem::discriminant(&found.instead.column()) == kind)
                .min_by(|a, b| a.worse_by.total_cmp(&b.worse_by));
            if let Some(same) = same
                && place >= pinned
            {
                fewer[own] = same.instead;
                let floor = series.floor();
                let rss =
                    |pieces: &mut Vec<Piece>| fitted(series, pieces).map_or(f64::MAX, |(_, fit)| fit.rss);
                if rss(&mut fewer) + floor < 1.5 * (rss(pieces) + floor) {
                    *pieces = fewer;
                    place = 0;
                    continue;
                }
            }
        }
        place += 1;
    }
}

/// The width of the operator is that of its coefficient.
pub(super) fn refine_play(series: &Series<'_>, pieces: &mut Vec<Piece>) {
    for _ in 0..4 {
        let Some(place) = pieces.iter().position(|piece| matches!(piece.column(), Column::Play { .. }))
        else {
            return;
        };
        let Some((_, fit)) = fitted(series, pieces) else { return };
        let first = 1 + pieces[..place].iter().map(|piece| piece.columns.len()).sum::<usize>();
        let Some(width) = fit.coefficients.get(first).map(|width| width.abs()) else { return };
        if width > 0.5 * series.coarsest() && place < pieces.len() {
            pieces[place] = Piece::new(Column::Play { width });
        }
    }
}
