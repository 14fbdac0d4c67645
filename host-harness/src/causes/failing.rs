//! A channel that has failed: its own count says so, whatever else is in d.

use super::basis::Basis;
use super::cause::Side;
use super::found::{Column, Trust};
use super::onset::travels;
use super::series::Series;

/// Windows of the speed before the trip in which the counts are compared.
const WINDOWS: f64 = 2.0;
/// Travel of the healthy one, in counts of the coarser channel: less says nothing.
const LEAST_COUNTS: f64 = 50.0;
/// Before it failed, the two made the same way but for this part.
const ALIKE: f64 = 0.3;
/// A channel that makes less than this part of the travel of the other has failed.
const LEAST_PART: f64 = 0.5;

/// The channel to be trusted, when shortly before the trip one of them makes less than half of the way of the other, or goes the other way.
pub(super) fn failing(series: &Series<'_>) -> Option<Trust> {
    let (t, trip) = (&series.t, series.trip);
    let reach = WINDOWS * series.samples.window;
    let before = t.partition_point(|&at| at < t[trip] - reach);
    let went = |side: Side, from: usize, to: usize| series.travel(side, to) - series.travel(side, from);
    let [a, b] = Side::BOTH.map(|side| went(side, before, trip));
    let is_far = a.abs().max(b.abs()) > LEAST_COUNTS * series.coarsest();
    // What has brought the two apart goes on: else it was a jump, after which both move alike.
    let apart = series.samples.points[trip].d();
    let is_it = (a - b).abs() > 0.2 * apart.abs();
    let part = if a.abs() > b.abs() { b / a } else { a / b };
    if !is_far || !is_it || part >= LEAST_PART {
        return None;
    }
    if let Some(trusted) = from_the_start(series) {
        return Some(trusted);
    }
    let basis = Basis::new(&series.y[..=trip]);
    let found = travels(series, &basis).into_iter().max_by(|one, other| one.gain.total_cmp(&other.gain))?;
    let Column::TravelSince { from, .. } = found.column else { return None };
    let start = t.partition_point(|&at| at < t[from - 1] - 2.0 * reach);
    // Play and compliance at the start of a motion look like it too; but there, neither moved before.
    let [a_before, b_before] = Side::BOTH.map(|side| went(side, start, from - 1));
    let least = LEAST_COUNTS * series.coarsest();
    let was_alike = a_before.abs().min(b_before.abs()) > least && (a_before / b_before - 1.0).abs() < ALIKE;
    if !was_alike {
        return None;
    }
    let turned = |side: Side| went(side, start, from - 1) * went(side, from - 1, trip) < 0.0;
    let slower = if a.abs() > b.abs() { Side::B } else { Side::A };
    // Where they go against each other, it is the one that turned round.
    let failed = match (part < 0.0, turned(Side::A), turned(Side::B)) {
        (true, true, false) => Side::A,
        (true, false, true) => Side::B,
        _ => slower,
    };
    Some(Trust { side: failed.other(), from })
}

/// Travel, in counts of the coarser channel, that an axis has made on its way to its speed.
const AHEAD_COUNTS: f64 = 20.0;

/// Of the way just before, the other one makes at least this part just after.
const GOES_ON: f64 = 0.2;

/// The channel to be trusted where the other one makes the same part of its way all the time, far from all of it: it was dead, turned round or of
/// another scale from the first motion on. Play, compliance and slip at a start are over sooner or later.
fn from_the_start(series: &Series<'_>) -> Option<Trust> {
    /// What a part may leave unexplained of the largest travel, root mean square, and how far from 1 it is.
    const REST: f64 = 0.02;
    const FAR_FROM_ALL: f64 = 0.2;
    let way = |side: Side| (0..series.len()).map(move |row| series.travel(side, row));
    let most = |side: Side| way(side).fold(0.0_f64, |most, x| most.max(x.abs()));
    let faster = if most(Side::A) > most(Side::B) { Side::A } else { Side::B };
    let square: f64 = way(faster).map(|x| x * x).sum();
    let part = way(faster).zip(way(faster.other())).map(|(x, y)| x * y).sum::<f64>() / square;
    let rest: f64 = way(faster).zip(way(faster.other())).map(|(x, y)| (y - part * x).powi(2)).sum();
    let rms = (rest / series.len() as f64).sqrt();
    let is_so = (part - 1.0).abs() > FAR_FROM_ALL && rms < (REST * most(faster)).max(2.0 * series.coarsest());
    let moves = way(faster).position(|x| x.abs() > 2.0 * series.coarsest())?;
    is_so.then_some(Trust { side: faster, from: moves.min(series.trip).max(1) })
}

/// Whether the failed channel was moving with the other one until then, and that one went on. Where both came to rest, the one that stands may as well
/// be right, and the other one creep or drift.
pub(super) fn moved_before(series: &Series<'_>, trusted: Trust) -> bool {
    let (t, last) = (&series.t, trusted.from - 1);
    let reach = 2.0 * WINDOWS * series.samples.window;
    let start = t.partition_point(|&at| at < t[last] - reach);
    let end = t.partition_point(|&at| at <= t[last] + reach).min(series.len() - 1);
    let went = |side: Side, from: usize, to: usize| series.travel(side, to) - series.travel(side, from);
    let [failed, healthy] = [trusted.side.other(), trusted.side].map(|side| went(side, start, last));
    let goes_on = went(trusted.side, last, end) / healthy > GOES_ON;
    failed.abs() > 0.1 * LEAST_COUNTS * series.coarsest() && (failed / healthy - 1.0).abs() < ALIKE && goes_on
}

/// Whether the trusted channel made most of its way from one reading to the next: no axis moves like that.
pub(super) fn is_jump(series: &Series<'_>, trusted: Trust) -> bool {
    const MOST: f64 = 0.7;
    let travel = |row: usize| series.travel(trusted.side, row);
    let rows = trusted.from..=series.trip.max(trusted.from);
    let steps = rows.map(|row| (travel(row) - travel(row - 1)).abs());
    let way = (travel(series.trip) - travel(trusted.from - 1)).abs();
    steps.fold(0.0, f64::max) > MOST * way
}

/// Whether the trusted channel goes on at one speed to the end, as a drift or a creep does and hardly any motion of an axis: but for a part of its way,
/// root mean square. A drive takes its time to its speed, and has made some way until then.
pub(super) fn is_steady(series: &Series<'_>, trusted: Trust) -> bool {
    const LEAST_UNSTEADY: f64 = 0.01;
    let travel = |row: usize| series.travel(trusted.side, row);
    // From when it moves at all.
    let (start, end) = (travel(trusted.from), travel(series.len() - 1));
    let least = (LEAST_UNSTEADY * (end - start).abs()).max(4.0 * series.coarsest());
    let Some(from) = (trusted.from..series.len()).find(|&row| (travel(row) - start).abs() > least) else {
        return true;
    };
    let (t, last) = (&series.t, series.len() - 1);
    let speed = (end - travel(from)) / (t[last] - t[from]);
    // Where it would have begun to move at that speed.
    let began = t.partition_point(|&at| at < t[from] - (travel(from) - start) / speed);
    let ahead = (travel(began.clamp(trusted.from, from)) - start).abs();
    if ahead > (AHEAD_COUNTS * series.coarsest()).max(speed.abs() * series.samples.window) {
        return false;
    }
    let rows = from..series.len();
    let x: Vec<f64> = rows.clone().map(travel).collect();
    let mut basis = Basis::new(&x);
    basis.add(series.t[rows].to_vec());
    let rms = (basis.rss / x.len() as f64).sqrt();
    rms < least
}
