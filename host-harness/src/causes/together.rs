//! Changes that are sought together: the best one by itself may be a compromise between two.
//!
//! Where one begins shortly before another, a single rise that explains most lies between both, and what is then added to it patches it. So where
//! many changes were found, they are sought anew from none on: at each step with several that do best, each put in a better place beside the
//! others, and the earlier ones of another kind where that is better.

use super::basis::Basis;
use super::columns::{Piece, values};
use super::found::{Column, Options};
use super::onset::{Changes, Shape, travels};
use super::polish::{MOST_STATIC, closer, refine_play};
use super::select::{backward, criterion, fitted, forward, onset_candidates};
use super::series::Series;

/// From so many changes on they may be patches.
const MANY: usize = 3;
/// Sets of changes that are kept at a time, and the most of one set.
const WIDTH: usize = 4;
const DEPTH: usize = 3;
/// How often each change is put in a better place beside the others.
const SWEEPS: usize = 2;
/// A turn is long where the whole travel makes fewer of them.
const LONG_TURNS: f64 = 3.5;
/// How much better the criterion must be with one more.
const WORTH_IT: f64 = 2.0;

/// Pieces, and the criterion of the whole with them.
type State = (f64, Vec<Piece>);

/// Seeks the changes anew; they are taken where the whole is better with them.
pub(super) fn together(
    series: &Series<'_>,
    options: &Options,
    pieces: &mut Vec<Piece>,
    pinned: usize,
    samples: f64,
) {
    let is_change = |piece: &Piece| Piece::is_onset(piece.column());
    let changes = pieces[pinned..].iter().filter(|piece| is_change(piece));
    // A spike beside another change may be a jump, whose end that one hides.
    let has_spike = changes.clone().any(|piece| matches!(piece.column(), Column::Box { .. }));
    if changes.count() < if has_spike { MANY - 1 } else { MANY } {
        return;
    }
    let mut kept = pieces.clone();
    let mut place = 0;
    kept.retain(|piece| {
        place += 1;
        place <= pinned || !is_change(piece)
    });
    refine_play(series, &mut kept);
    let mut found = vec![sought(series, options, kept.clone(), pinned, samples)];
    // A turn as long as the longest that is looked for may be a longer one.
    let is_long = |piece: &Piece| matches!(piece.column(), Column::Sine { period, .. } if series.reach() < LONG_TURNS * period);
    if kept.iter().any(is_long) {
        let few = &Series { few_turns: true, ..series.clone() };
        let fresh = forward(few, options, kept[..pinned].to_vec(), Some(MOST_STATIC));
        found.push(sought(series, options, fresh, pinned, samples));
    }
    for mut other in found {
        if whole(series, &mut other, samples) < whole(series, pieces, samples) {
            *pieces = other;
        }
    }
}

/// The best changes beside what is there all the time.
fn sought(
    series: &Series<'_>,
    options: &Options,
    mut kept: Vec<Piece>,
    pinned: usize,
    samples: f64,
) -> Vec<Piece> {
    let mut best = (whole(series, &mut kept, samples), kept);
    let mut states = vec![best.clone()];
    for _ in 0..DEPTH {
        let mut next: Vec<State> =
            states.iter().flat_map(|(_, pieces)| with_one_more(series, pieces, pinned, samples)).collect();
        next.sort_by(|one, other| one.0.total_cmp(&other.0));
        next.truncate(WIDTH);
        for state in &mut next {
            reconsider(series, state, pinned, samples);
        }
        next.sort_by(|one, other| one.0.total_cmp(&other.0));
        match next.first() {
            Some(first) if first.0 < best.0 - WORTH_IT => best = first.clone(),
            _ => break,
        }
        states = next;
    }
    let mut pieces = forward(series, options, best.1, None);
    closer(series, options, &mut pieces, pinned);
    backward(series, &mut pieces, pinned);
    pieces
}

/// The criterion of all pieces.
pub(super) fn whole(series: &Series<'_>, pieces: &mut Vec<Piece>, samples: f64) -> f64 {
    let rss = fitted(series, pieces).map_or(f64::MAX, |(_, fit)| fit.rss);
    let numbers: f64 = pieces.iter().map(|piece| piece.fitted).sum();
    criterion(rss + series.floor(), samples) + numbers * samples.ln()
}

/// All pieces but one.
fn without(series: &Series<'_>, pieces: &[Piece], left_out: Option<usize>) -> Basis {
    let mut basis = Basis::new(&series.y);
    let others = pieces.iter().enumerate().filter(|(place, _)| Some(*place) != left_out);
    for column in others.flat_map(|(_, piece)| &piece.columns) {
        basis.add(values(series, *column));
    }
    basis
}

/// With the best change of every kind more.
fn with_one_more(series: &Series<'_>, pieces: &[Piece], pinned: usize, samples: f64) -> Vec<State> {
    changes(series, pieces, None)
        .into_iter()
        .map(|change| {
            let mut more = pieces.to_vec();
            more.push(change);
            settle(series, &mut more, pinned);
            (whole(series, &mut more, samples), more)
        })
        .collect()
}

/// What may begin beside the pieces; a spike may be two jumps as well.
fn changes(series: &Series<'_>, pieces: &[Piece], left_out: Option<usize>) -> Vec<Piece> {
    let basis = without(series, pieces, left_out);
    let mut found: Vec<Piece> =
        onset_candidates(series, &basis).into_iter().map(|candidate| candidate.piece).collect();
    let jump = |row: usize| {
        let [from, until] = [row.saturating_sub(1), row].map(|row| series.t[row.min(series.len() - 1)]);
        Piece::sudden(Column::Rise { from, until })
    };
    let ends: Vec<Piece> = found
        .iter()
        .filter_map(|piece| match piece.column() {
            Column::Box { from, until } => Some([jump(from), jump(until)]),
            _ => None,
        })
        .flatten()
        .collect();
    found.extend(ends);
    let others = pieces.iter().enumerate().filter(|(place, _)| Some(*place) != left_out);
    let others: Vec<&Piece> = others.map(|(_, piece)| piece).collect();
    found.retain(|piece| !others.iter().any(|other| other.excludes(piece, series)));
    found
}

/// Each of the earlier changes as the best of any kind beside the others.
fn reconsider(series: &Series<'_>, state: &mut State, pinned: usize, samples: f64) {
    let last = state.1.len().saturating_sub(1);
    for place in pinned..last {
        if !Piece::is_onset(state.1[place].column()) {
            continue;
        }
        for change in changes(series, &state.1, Some(place)) {
            let mut pieces = state.1.clone();
            pieces[place] = change;
            let mut other = (whole(series, &mut pieces, samples), pieces);
            if other.0 < state.0 {
                settle(series, &mut other.1, pinned);
                other.0 = whole(series, &mut other.1, samples);
                *state = other;
            }
        }
    }
}

/// Puts each change in a better place beside the others.
fn settle(series: &Series<'_>, pieces: &mut [Piece], pinned: usize) {
    for _ in 0..SWEEPS {
        let mut is_moved = false;
        for place in pinned..pieces.len() {
            let column = pieces[place].column();
            if !Piece::is_onset(column) {
                continue;
            }
            let basis = without(series, pieces, Some(place));
            let is_free = |column: &Column| {
                let moved = Piece::new(*column);
                pieces
                    .iter()
                    .enumerate()
                    .all(|(other, piece)| other == place || !piece.excludes(&moved, series))
            };
            if let Some(better) = nearby(series, &basis, &pieces[place]).filter(is_free)
                && basis.gain(&values(series, better)) > basis.gain(&values(series, column))
            {
                pieces[place].columns = vec![better];
                is_moved = true;
            }
        }
        if !is_moved {
            break;
        }
    }
}

/// The best place of a change, from where it is.
fn nearby(series: &Series<'_>, basis: &Basis, piece: &Piece) -> Option<Column> {
    let (n, t) = (series.len(), &series.t);
    let rows = |from: f64, until: f64| {
        let end = if until >= t[n - 1] { n } else { t.partition_point(|&t| t < until) };
        let from = t.partition_point(|&t| t <= from);
        (from.min(end), end)
    };
    let sought = |shape: Shape, rows: (usize, usize), weight: Option<&[f64]>| {
        let changes = Changes::new(series, basis, weight);
        let found = changes.closer(shape, changes.at(shape, rows), (n / 64).max(1));
        (found.rows, changes.instants(found.rows))
    };
    let is_sudden = piece.is_sudden;
    match piece.column() {
        Column::Rise { from, until } => {
            let (rows, (from, until)) = if is_sudden {
                let changes = Changes::new(series, basis, None);
                let place = changes.step_near(rows(from, until).0, n / 16);
                (place.rows, changes.instants(place.rows))
            } else {
                sought(Shape::Rise, rows(from, until), None)
            };
            (rows.1 > 0).then_some(Column::Rise { from, until })
        }
        Column::SpeedSince { from, until } => {
            let weight = Some(series.v.as_slice());
            let (from, until) = if is_sudden {
                let changes = Changes::new(series, basis, weight);
                changes.instants(changes.step_near(rows(from, until).0, n / 16).rows)
            } else {
                sought(Shape::Rise, rows(from, until), weight).1
            };
            Some(Column::SpeedSince { from, until })
        }
        Column::Box { from, until } => {
            let ((from, until), _) = sought(Shape::Box, (from, until), None);
            Some(Column::Box { from, until })
        }
        Column::TravelSince { side, .. } => travels(series, basis)
            .into_iter()
            .map(|onset| onset.column)
            .find(|column| matches!(column, Column::TravelSince { side: other, .. } if *other == side)),
        _ => None,
    }
}
