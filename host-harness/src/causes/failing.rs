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

/// Whether the failed channel had moved before, and with the other one. Where it had not, it may as well be right, and the other one creep or drift.
pub(super) fn moved_before(series: &Series<'_>, trusted: Trust) -> bool {
    let range = |side: Side| {
        let travels = (0..trusted.from).map(|row| series.travel(side, row));
        let (low, high) = travels.fold((f64::MAX, f64::MIN), |(low, high), x| (low.min(x), high.max(x)));
        high - low
    };
    let [failed, healthy] = [range(trusted.side.other()), range(trusted.side)];
    failed > LEAST_COUNTS * series.coarsest() && (failed / healthy - 1.0).abs() < ALIKE
}

/// Whether the trusted channel goes on at one speed to the end, as a drift or a creep does and hardly any motion of an axis: but for a part of its way,
/// root mean square.
pub(super) fn is_steady(series: &Series<'_>, trusted: Trust) -> bool {
    const LEAST_UNSTEADY: f64 = 0.01;
    let travel = |row: usize| series.travel(trusted.side, row);
    // From when it moves at all.
    let (start, end) = (travel(trusted.from), travel(series.len() - 1));
    let least = (LEAST_UNSTEADY * (end - start).abs()).max(4.0 * series.coarsest());
    let Some(from) = (trusted.from..series.len()).find(|&row| (travel(row) - start).abs() > least) else {
        return true;
    };
    let rows = from..series.len();
    let x: Vec<f64> = rows.clone().map(travel).collect();
    let mut basis = Basis::new(&x);
    basis.add(series.t[rows].to_vec());
    let rms = (basis.rss / x.len() as f64).sqrt();
    rms < least
}
