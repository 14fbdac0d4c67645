//! What is done to chosen pieces as a whole: fewer of them, and in better places.

use super::basis::{axpy, dot};
use super::columns::Piece;
use super::found::{Column, Options};
use super::select::{backward, criterion, exchanges, fitted, forward};
use super::series::Series;
use super::together::whole;

/// Two with a correlation below the negative of this cancel each other in part.
const CANCEL: f64 = 0.3;
/// A change of less than this part of d at the trip may be a patch on something else.
const PATCH: f64 = 0.1;
/// The most that is always there and is looked for at a time.
pub(super) const MOST_STATIC: usize = 6;
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

/// The play is the coefficient of the operator. While one channel stands and the other one makes the way of the play, their mean makes half of it: that is
/// the width.
pub(super) fn refine_play(series: &Series<'_>, pieces: &mut Vec<Piece>) {
    for _ in 0..4 {
        let Some(place) = pieces.iter().position(|piece| matches!(piece.column(), Column::Play { .. }))
        else {
            return;
        };
        // Beside what is there all the time: a change patches a play of the wrong width, and keeps it so. Where a channel fails nothing is
        // known without that.
        let mut beside = pieces.clone();
        if series.trusted.is_none() {
            beside.retain(|piece| !Piece::is_onset(piece.column()));
        }
        let Some((_, fit)) = fitted(series, &mut beside) else { return };
        let before = beside.iter().take_while(|piece| !matches!(piece.column(), Column::Play { .. }));
        let first = 1 + before.map(|piece| piece.columns.len()).sum::<usize>();
        let Some(width) = fit.coefficients.get(first).map(|width| width.abs()) else { return };
        if width > series.reach() {
            // It never gets to its end: what grows with the travel is another cause.
            pieces.remove(place);
            return;
        }
        if width > 0.5 * series.coarsest() {
            pieces[place] = Piece::new(Column::Play { width: 0.5 * width });
        }
    }
}

/// Two that cancel each other are one: where one change alone explains as much, by the criterion, it takes the place of both.
pub(super) fn collapse(
    series: &Series<'_>,
    options: &Options,
    pieces: &mut Vec<Piece>,
    pinned: usize,
    samples: f64,
) {
    while let Some((first, second, instead)) = one_for_two(series, options, pieces, pinned, samples) {
        pieces[first] = instead;
        pieces.remove(second);
    }
}

/// The places of two that one can stand for, and that one.
fn one_for_two(
    series: &Series<'_>,
    options: &Options,
    pieces: &mut Vec<Piece>,
    pinned: usize,
    samples: f64,
) -> Option<(usize, usize, Piece)> {
    let (values, fit) = fitted(series, pieces)?;
    let mut first = 1;
    let adds: Vec<Vec<f64>> = pieces
        .iter()
        .map(|piece| {
            let places = first..first + piece.columns.len();
            first = places.end;
            let mut sum = vec![0.0; series.len()];
            for place in places {
                axpy(&mut sum, fit.coefficients[place], &values[place]);
            }
            let mean = sum.iter().sum::<f64>() / sum.len() as f64;
            sum.iter_mut().for_each(|value| *value -= mean);
            sum
        })
        .collect();
    let own = criterion(fit.rss + series.floor(), samples);
    for one in pinned..pieces.len() {
        for other in one + 1..pieces.len() {
            let along = dot(&adds[one], &adds[other]);
            let lengths = (dot(&adds[one], &adds[one]) * dot(&adds[other], &adds[other])).sqrt();
            let has_onset = [one, other].iter().any(|&place| Piece::is_onset(pieces[place].column()));
            if !has_onset || along > -CANCEL * lengths {
                continue;
            }
            let mut fewer = pieces.clone();
            fewer.remove(other);
            let both = own + (pieces[one].fitted + pieces[other].fitted) * samples.ln();
            let found = exchanges(series, options, &fewer, one, samples);
            let best = found.into_iter().min_by(|a, b| a.criterion.total_cmp(&b.criterion));
            if let Some(best) = best.filter(|best| best.criterion < both) {
                return Some((one, other, best.instead));
            }
        }
    }
    None
}

/// Small changes may stand for what is always there, as play is a step at every reversal: what is always there is sought without them, and what they
/// still explain then stays. That is taken where it is better.
pub(super) fn unpatch(
    series: &Series<'_>,
    options: &Options,
    pieces: &mut Vec<Piece>,
    pinned: usize,
    samples: f64,
) {
    let Some((values, fit)) = fitted(series, pieces) else { return };
    let apart = series.samples.points[series.trip].d().abs();
    let mut place = 1;
    let (mut kept, mut patches) = (Vec::new(), Vec::new());
    for (number, piece) in pieces.iter().enumerate() {
        let most = values[place].iter().fold(0.0_f64, |most, value| most.max(value.abs()));
        let is_small = fit.coefficients[place].abs() * most < PATCH * apart;
        let is_patch = number >= pinned && Piece::is_onset(piece.column()) && is_small;
        if is_patch {
            patches.push(piece.clone())
        } else {
            kept.push(piece.clone())
        }
        place += piece.columns.len();
    }
    if patches.is_empty() {
        return;
    }
    let mut other = forward(series, options, kept, Some(MOST_STATIC));
    other.extend(patches);
    backward(series, &mut other, pinned);
    if whole(series, &mut other, samples) < whole(series, pieces, samples) {
        *pieces = other;
    }
}
