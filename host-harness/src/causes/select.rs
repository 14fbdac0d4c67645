//! Which terms: forward by what each explains, then backward and in exchange, by the Bayesian information criterion.
//!
//! The criterion of Schwarz (1978) is `m ln(RSS) + k ln(m)`, k the numbers fitted and m the effective number of samples. Residuals are correlated,
//! so that m is the number of rows over the integrated autocorrelation time of the residuals of the largest model.

use crate::setup::AxisUnit;

use super::basis::Basis;
use super::columns::{INSTANT, Piece, row_after, values};
use super::found::{Column, Options};
use super::onset::{Changes, Shape, between_rows, travels};
use super::series::Series;
use super::solve::{Fit, solve};
use super::turning::{best_period, gain_of};

/// A scale that is wrong by more than this, or readings that are later by more seconds, are not so all the time: nobody would have begun to drive.
const MOST_SCALE: f64 = 0.2;
const MOST_SKEW: f64 = 0.5;
/// Rows over which the readings may become later, to begin with.
const LATE_ROWS: usize = 64;
/// What is there all the time is preferred to what begins at an instant while it explains this part of the same.
const PREFERRED: f64 = 0.9;
/// What begins at an instant is not looked for while only so many times the floor is left: such small things are not sudden.
const ENOUGH: f64 = 4.0;
/// More effective samples than this are not believed: what a model leaves is never noise alone.
const MOST_SAMPLES: f64 = 1000.0;
/// More causes than this at a time are no explanation.
const MOST_PIECES: usize = 10;

/// A candidate and by how much it lowers the sum of squares.
#[derive(Clone, Debug)]
pub(super) struct Candidate {
    pub(super) piece: Piece,
    pub(super) gain: f64,
}

/// The best candidate of every kind.
pub(super) fn candidates(series: &Series<'_>, options: &Options, basis: &Basis) -> Vec<Candidate> {
    let mut found = static_candidates(series, options, basis);
    found.extend(onset_candidates(series, basis));
    found
}

/// Of what is there all the time.
fn static_candidates(series: &Series<'_>, options: &Options, basis: &Basis) -> Vec<Candidate> {
    let mut found = Vec::new();
    if series.stands {
        let gain = basis.gain(&values(series, Column::Time));
        found.push(Candidate { piece: Piece::new(Column::Time), gain });
        found.retain(|candidate| candidate.gain > 0.0);
        return found;
    }
    let infinite = f64::INFINITY;
    let each = [
        (Column::Travel, MOST_SCALE),
        (Column::Speed, MOST_SKEW),
        (Column::Acceleration, infinite),
        (Column::Time, infinite),
    ];
    for (column, most) in each {
        let gain = basis.gain_within(&values(series, column), most);
        found.push(Candidate { piece: Piece::new(column), gain });
    }
    found.push(best_play(series, basis));
    let given = super::cause::Side::BOTH.map(|side| (side, options.period[side.index()]));
    for (side, period) in given {
        if let Some(period) = period.filter(|period| *period > 0.0) {
            let by = side.other();
            let gain = gain_of(series, basis, period, by);
            found.push(Candidate { piece: Piece::turning(period, by, Some(side)), gain });
        }
    }
    if given == super::cause::Side::BOTH.map(|side| (side, None)) && series.samples.unit == AxisUnit::Degree {
        // A rotary axis may turn less than once; whose centre is off does not show.
        let (period, by) = (360.0, super::cause::Side::A);
        let gain = gain_of(series, basis, period, by);
        found.push(Candidate { piece: Piece { fitted: 2.0, ..Piece::turning(period, by, None) }, gain });
    }
    if options.period == [None; 2]
        && let Some((period, by, gain)) = best_period(series, basis)
    {
        found.push(Candidate { piece: Piece::turning(period, by, None), gain });
    }
    found.retain(|candidate| candidate.gain > 0.0);
    found
}

/// Of what begins at an instant.
pub(super) fn onset_candidates(series: &Series<'_>, basis: &Basis) -> Vec<Candidate> {
    let mut found = Vec::new();
    let travels = if series.is_steady || series.stands { Vec::new() } else { travels(series, basis) };
    for onset in travels {
        found.push(Candidate { piece: Piece::new(onset.column), gain: onset.gain });
    }
    let rising = |from, until| Column::Rise { from, until };
    let later = |from, until| Column::SpeedSince { from, until };
    let changes = Changes::new(series, basis, None);
    let step = changes.best_step();
    let (from, until) = changes.instants(step.rows);
    let jump = Piece::sudden(rising(from, until));
    found.push(Candidate { piece: jump, gain: step.gain });
    let rise = changes.instants(changes.best(Shape::Rise).rows);
    let spike = changes.best(Shape::Box);
    let (from, until) = spike.rows;
    found.push(Candidate { piece: Piece::new(Column::Box { from, until }), gain: spike.gain });
    let changes = Changes::new(series, basis, Some(&series.v));
    let sudden = changes.best_step();
    if !series.stands {
        // From one reading to the next, as a jump, it has as many numbers.
        let (from, until) = changes.instants(sudden.rows);
        let piece = Piece::sudden(later(from, until));
        found.push(Candidate { piece, gain: sudden.gain });
    }
    let late = changes.closer(Shape::Rise, sudden, LATE_ROWS);
    let late = changes.instants(late.rows);
    let slow = [between_rows(series, basis, rise, rising), between_rows(series, basis, late, later)];
    let over = series.trusted.map_or(series.len() - 1, |trusted| trusted.from.saturating_sub(1));
    for onset in slow.into_iter().take(if series.stands { 1 } else { 2 }) {
        let mut piece = Piece::new(onset.column);
        if matches!(onset.column, Column::Rise { until, .. } if until >= series.t[over]) {
            // Its end is not seen.
            piece.fitted -= INSTANT;
        }
        found.push(Candidate { piece, gain: onset.gain });
    }
    // A failure is explanation enough of all that begins with it or later.
    let failure = series.trusted.map(|trusted| series.t[trusted.from] - 2.0 * series.samples.window);
    let is_before = |piece: &Piece| failure.is_none_or(|failure| series.t[piece.begins(series)] < failure);
    // And nothing is seen to be over only as it comes.
    let is_over = |piece: &Piece| {
        let Column::Box { until, .. } = piece.column() else { return true };
        failure.is_none_or(|failure| series.t[until] < failure)
    };
    found
        .retain(|candidate| candidate.gain > 0.0 && is_before(&candidate.piece) && is_over(&candidate.piece));
    found
}

/// The play that explains most, of widths that double.
fn best_play(series: &Series<'_>, basis: &Basis) -> Candidate {
    let (low, high) = series.y.iter().fold((f64::MAX, f64::MIN), |(low, high), &y| (low.min(y), high.max(y)));
    let mut width = 4.0 * series.coarsest();
    let mut most = Candidate { piece: Piece::new(Column::Play { width }), gain: 0.0 };
    // One that is wider than all travel never gets to its end, and is no play that could be seen.
    while width < (high - low).max(5.0 * series.coarsest()).min(series.reach()) {
        let column = Column::Play { width };
        let gain = basis.gain(&values(series, column));
        if gain > most.gain {
            most = Candidate { piece: Piece::new(column), gain };
        }
        width *= 2.0;
    }
    most
}

/// How much better the criterion is with the candidate, for so many effective samples.
fn score(rss: f64, candidate: &Candidate, floor: f64, samples: f64) -> f64 {
    let left = (rss - candidate.gain).max(0.0);
    samples * ((rss + floor) / (left + floor)).ln() - candidate.piece.fitted * samples.ln()
}

/// Adds one after the other as long as the criterion is better for it; with `most_static` only what is there all the time, and at most so many
/// of them.
pub(super) fn forward(
    series: &Series<'_>,
    options: &Options,
    mut chosen: Vec<Piece>,
    most_static: Option<usize>,
) -> Vec<Piece> {
    let mut basis = Basis::new(&series.y);
    for column in chosen.iter().flat_map(|piece| &piece.columns) {
        basis.add(values(series, *column));
    }
    // What is not explained yet looks like noise that is correlated without end: a number of samples must be assumed here.
    let samples = (series.len() as f64 / 20.0).clamp(20.0, 400.0);
    let floor = series.floor();
    let most = most_static.map_or(MOST_PIECES, |most| chosen.len() + most).min(MOST_PIECES);
    let is_enough = |rss: f64| most_static.is_none() && rss < ENOUGH * floor;
    while chosen.len() < most && !is_enough(basis.rss) {
        let mut found = static_candidates(series, options, &basis);
        if most_static.is_none() {
            found.extend(onset_candidates(series, &basis));
        }
        found.retain(|candidate| !chosen.iter().any(|piece| piece.excludes(&candidate.piece, series)));
        let most = found.iter().map(|candidate| candidate.gain).fold(0.0, f64::max);
        let best = found
            .into_iter()
            .map(|candidate| {
                let is_onset = Piece::is_onset(candidate.piece.column());
                let is_preferred = !is_onset && candidate.gain > PREFERRED * most;
                (is_preferred, score(basis.rss, &candidate, floor, samples), candidate)
            })
            .max_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        let Some((_, _, best)) = best.filter(|(_, score, _)| *score > 0.0) else { break };
        for column in &best.piece.columns {
            basis.add(values(series, *column));
        }
        chosen.push(best.piece);
    }
    chosen
}

/// The columns of all pieces behind a constant, and which piece each belongs to.
pub(super) fn design(series: &Series<'_>, pieces: &[Piece]) -> (Vec<Column>, Vec<Vec<f64>>) {
    let columns: Vec<Column> =
        std::iter::once(Column::One).chain(pieces.iter().flat_map(|piece| piece.columns.clone())).collect();
    let values = columns.iter().map(|column| values(series, *column)).collect();
    (columns, values)
}

/// Ordinary least squares of all pieces; a piece that depends on those before it is taken out.
pub(super) fn fitted(series: &Series<'_>, pieces: &mut Vec<Piece>) -> Option<(Vec<Vec<f64>>, Fit)> {
    loop {
        let (_, values) = design(series, pieces);
        let columns: Vec<&[f64]> = values.iter().map(Vec::as_slice).collect();
        if let Some(fit) = solve(&columns, &series.y) {
            return Some((values, fit));
        }
        pieces.pop()?;
    }
}

/// Takes away, one after the other, what the criterion does not want; returns the effective number of samples. The first
/// `pinned` stay.
pub(super) fn backward(series: &Series<'_>, pieces: &mut Vec<Piece>, pinned: usize) -> f64 {
    let Some((_, fit)) = fitted(series, pieces) else { return 0.0 };
    let samples = effective(&fit.residuals).min(MOST_SAMPLES);
    let floor = series.floor();
    while let Some((_, fit)) = fitted(series, pieces) {
        let least = (pinned..pieces.len())
            .map(|place| {
                let loss = loss_without(pieces, place, &fit);
                (samples * (loss / (fit.rss + floor)).ln_1p() - pieces[place].fitted * samples.ln(), place)
            })
            .min_by(|a, b| a.0.total_cmp(&b.0));
        match least {
            Some((worse, place)) if worse < 0.0 => drop(pieces.remove(place)),
            _ => break,
        }
    }
    samples
}

/// By how much the sum of squares grows without a piece: `bᵀ C⁻¹ b` for its coefficients and their part of `(XᵀX)⁻¹`.
fn loss_without(pieces: &[Piece], place: usize, fit: &Fit) -> f64 {
    let first = 1 + pieces[..place].iter().map(|piece| piece.columns.len()).sum::<usize>();
    let (b, c) = (&fit.coefficients, &fit.inverse);
    match pieces[place].columns.len() {
        1 => b[first] * b[first] / c[first][first],
        _ => {
            let next = first + 1;
            let determinant = c[first][first] * c[next][next] - c[first][next] * c[next][first];
            let cross = 2.0 * c[first][next] * b[first] * b[next];
            (c[next][next] * b[first] * b[first] - cross + c[first][first] * b[next] * b[next]) / determinant
        }
    }
}

/// The lags over which residuals are correlated, by the rule of Andrews (1991) for a Bartlett kernel and residuals that are autoregressive of
/// the first order: `1.1447 (4ρ² n / (1 − ρ²)²)^(1/3)`, at most a quarter of the rows.
pub(super) fn lags(residuals: &[f64]) -> usize {
    let n = residuals.len();
    let square: f64 = residuals.iter().map(|rest| rest * rest).sum();
    let next: f64 = residuals.windows(2).map(|pair| pair[0] * pair[1]).sum();
    let rho = if square > 0.0 { (next / square).clamp(-0.999, 0.999) } else { 0.0 };
    let alpha = 4.0 * rho * rho / (1.0 - rho * rho).powi(2);
    let lags = 1.1447 * (alpha * n as f64).cbrt();
    (lags.ceil() as usize).clamp(1, (n / 4).max(1))
}

/// Rows over their integrated autocorrelation time.
pub(super) fn effective(residuals: &[f64]) -> f64 {
    let n = residuals.len() as f64;
    let lags = lags(residuals);
    let square: f64 = residuals.iter().map(|rest| rest * rest).sum();
    if square == 0.0 {
        return n;
    }
    // As in the covariance: the squares of moving sums are the sum of all lags with their weights.
    let mut moving = 0.0;
    let mut sum = 0.0;
    for end in 0..residuals.len() + lags {
        moving += residuals.get(end).copied().unwrap_or(0.0);
        if let Some(start) = end.checked_sub(lags + 1) {
            moving -= residuals[start];
        }
        sum += moving * moving;
    }
    let time = (sum / (lags + 1) as f64 / square).max(1.0);
    (n / time).clamp(10.0, n)
}

/// What the residual has in the criterion.
pub(super) fn criterion(rss: f64, samples: f64) -> f64 {
    samples * rss.ln()
}

/// A piece in place of another one, and by how much worse the criterion is with it.
#[derive(Clone, Debug)]
pub(super) struct Exchange {
    pub(super) instead: Piece,
    pub(super) worse_by: f64,
    /// The criterion of the whole with it, without what the other pieces were fitted with.
    pub(super) criterion: f64,
}

/// The best of every other kind in place of a piece.
pub(super) fn exchanges(
    series: &Series<'_>,
    options: &Options,
    pieces: &[Piece],
    place: usize,
    samples: f64,
) -> Vec<Exchange> {
    let mut basis = Basis::new(&series.y);
    for (other, piece) in pieces.iter().enumerate() {
        if other != place {
            for column in &piece.columns {
                basis.add(values(series, *column));
            }
        }
    }
    let mut found = candidates(series, options, &basis);
    let mut others = pieces.iter().enumerate().filter(|(other, _)| *other != place).map(|(_, piece)| piece);
    let others: Vec<&Piece> = others.by_ref().collect();
    found.retain(|candidate| !others.iter().any(|piece| piece.excludes(&candidate.piece, series)));
    let mut with = basis.clone();
    for column in &pieces[place].columns {
        with.add(values(series, *column));
    }
    let floor = series.floor();
    let own = samples * (with.rss + floor).ln() + pieces[place].fitted * samples.ln();
    found
        .into_iter()
        .map(|candidate| {
            let left = (basis.rss - candidate.gain).max(0.0) + floor;
            let criterion = criterion(left, samples) + candidate.piece.fitted * samples.ln();
            Exchange { instead: candidate.piece, worse_by: criterion - own, criterion }
        })
        .filter(|exchange| exchange.worse_by.is_finite())
        .collect()
}

/// In place of a rise: counts lost while it lasted, of one channel or the other, and by how much worse the criterion is with them.
pub(super) fn lost_meanwhile(
    series: &Series<'_>,
    pieces: &[Piece],
    place: usize,
    samples: f64,
) -> Option<(Piece, f64)> {
    let Column::Rise { from, until } = pieces[place].column() else { return None };
    let mut basis = Basis::new(&series.y);
    let others = pieces.iter().enumerate().filter(|(other, _)| *other != place);
    for column in others.flat_map(|(_, piece)| &piece.columns) {
        basis.add(values(series, *column));
    }
    let own = basis.gain(&values(series, pieces[place].column()));
    let left = |gain: f64| criterion((basis.rss - gain).max(0.0) + series.floor(), samples);
    let found = super::cause::Side::BOTH.map(|side| {
        // The instants lie between rows.
        let travel = |at: f64| {
            let row = row_after(&series.t, at).max(1);
            let [t0, t1] = [row - 1, row].map(|row| series.t[row]);
            let [x0, x1] = [row - 1, row].map(|row| series.travel_now(side, row));
            x0 + (x1 - x0) * ((at - t0) / (t1 - t0)).clamp(0.0, 1.0)
        };
        let lost: Vec<f64> = series.t.iter().map(|t| travel(t.clamp(from, until)) - travel(from)).collect();
        let piece = Piece::new(Column::TravelSince { side, from: row_after(&series.t, from).max(1) });
        (piece, left(basis.gain_within(&lost, 1.0)) - left(own))
    });
    found.into_iter().min_by(|one, other| one.1.total_cmp(&other.1))
}
