//! From columns and coefficients to causes.

use super::cause::{Cause, Estimate, Side};
use super::columns::{Piece, row_after};
use super::found::{Column, Options, Term, Trust};
use super::series::{Series, instant};
use super::solve::Fit;

/// A fitted model.
pub(super) struct Model<'a> {
    pub(super) series: &'a Series<'a>,
    pub(super) options: &'a Options,
    pub(super) pieces: &'a [Piece],
    pub(super) values: &'a [Vec<f64>],
    pub(super) fit: &'a Fit,
    pub(super) covariance: &'a [Vec<f64>],
}

/// A channel that counts less than this part of the travel of the other is not to be asked for travel, speed and acceleration.
const LEAST_TRUSTED: f64 = 0.5;
/// And with less than this it stands still.
const STILL: f64 = 0.03;
/// Within this of −1, a channel counts the travel of the other backwards.
const REVERSED: f64 = 0.3;
/// Less travel than so many counts of the coarser channel is not motion.
const FAR_COUNTS: f64 = 50.0;
/// A way of less than this part of what comes after it is the beginning of that.
const MOVED: f64 = 0.1;
/// An end among so many last rows is not seen.
const LAST_ROWS: usize = 4;
/// A change within so many rows is a jump: no machine slips as fast.
const JUMP_ROWS: usize = 2;

impl Model<'_> {
    /// The places of the coefficients of a piece.
    fn places(&self, piece: usize) -> std::ops::Range<usize> {
        let first = 1 + self.pieces[..piece].iter().map(|piece| piece.columns.len()).sum::<usize>();
        first..first + self.pieces[piece].columns.len()
    }

    fn estimate(&self, place: usize) -> Estimate {
        let error = self.covariance[place][place].max(0.0).sqrt();
        Estimate { value: self.fit.coefficients[place], standard_error: error }
    }

    /// What a piece adds at a row.
    pub(super) fn adds(&self, piece: usize, row: usize) -> f64 {
        self.places(piece).map(|place| self.fit.coefficients[place] * self.values[place][row]).sum()
    }

    fn share(&self, piece: usize) -> Estimate {
        let trip = self.series.trip;
        let places: Vec<_> = self.places(piece).collect();
        let change = |place: usize| self.values[place][trip] - self.values[place][0];
        let mut variance = 0.0;
        for &i in &places {
            for &j in &places {
                variance += change(i) * self.covariance[i][j] * change(j);
            }
        }
        let value = self.adds(piece, trip) - self.adds(piece, 0);
        Estimate { value, standard_error: variance.max(0.0).sqrt() }
    }

    fn swing(&self, piece: usize) -> f64 {
        let (low, high) = (0..=self.series.trip)
            .map(|row| self.adds(piece, row))
            .fold((f64::MAX, f64::MIN), |(low, high), value| (low.min(value), high.max(value)));
        high - low
    }

    fn at(&self, row: usize) -> i64 {
        instant(self.series.samples, self.options, row)
    }

    /// A piece as a cause with its share.
    pub(super) fn term(&self, piece: usize) -> Term {
        Term { cause: self.cause(piece), share: self.share(piece), swing: self.swing(piece) }
    }

    fn cause(&self, piece: usize) -> Cause {
        let place = self.places(piece).start;
        let estimate = self.estimate(place);
        let late = if estimate.value < 0.0 { Side::A } else { Side::B };
        let size = estimate.times(estimate.value.signum());
        match self.pieces[piece].column() {
            Column::One => Cause::Reference,
            Column::Travel => {
                // d = s (x_A + x_B) / 2: what a counts more is s / (1 + s / 2) of the travel of a.
                let half = 1.0 + 0.5 * estimate.value;
                let standard_error = 1e6 * estimate.standard_error / (half * half);
                Cause::Scale { ppm: Estimate { value: 1e6 * estimate.value / half, standard_error } }
            }
            Column::Speed => Cause::TimeSkew { late, by: size, since_ns: None },
            Column::SpeedSince { from, .. } => {
                let row = row_after(&self.series.t, from);
                Cause::TimeSkew { late, by: size, since_ns: Some(self.at(row)) }
            }
            Column::Acceleration => Cause::Compliance { per_acceleration: estimate },
            Column::Time => Cause::Drift { rate: estimate },
            Column::Play { .. } => Cause::Backlash { lags: late, width: size },
            Column::Sine { period, by } | Column::Cosine { period, by } => {
                let amplitude = self.amplitude(place);
                // Which travel it goes by shows in its second harmonic only.
                let harmonic = std::f64::consts::PI * amplitude.value * amplitude.value / period;
                let told = (harmonic > 2.0 * self.series.coarsest()).then_some(by.other());
                Cause::Eccentricity { side: self.pieces[piece].side.or(told), amplitude, period }
            }
            Column::Rise { from, until } => self.change(from, until, estimate),
            Column::Box { from, until } => {
                let side = jumped(self.series, from, from, estimate.value);
                Cause::Spike { side, by: estimate, at_ns: self.at(from), until_ns: self.at(until) }
            }
            Column::TravelSince { side, from } => self.travel_since(side, from, estimate),
        }
    }

    /// Of a sine and a cosine.
    fn amplitude(&self, sine: usize) -> Estimate {
        let [s, c] = [sine, sine + 1].map(|place| self.fit.coefficients[place]);
        let value = s.hypot(c);
        let v = &self.covariance;
        let variance =
            s * s * v[sine][sine] + 2.0 * s * c * v[sine][sine + 1] + c * c * v[sine + 1][sine + 1];
        Estimate { value, standard_error: variance.max(0.0).sqrt() / value.max(f64::MIN_POSITIVE) }
    }

    fn change(&self, from: f64, until: f64, by: Estimate) -> Cause {
        let (points, t) = (&self.series.samples.points, &self.series.t);
        let first = row_after(t, from);
        let last = t.partition_point(|&t| t < until).min(t.len() - 1);
        if last.saturating_sub(first) < JUMP_ROWS && points[first].is_full_rate {
            let side = jumped(self.series, first, last, by.value);
            return Cause::Jump { side, by, at_ns: self.at(first) };
        }
        // Its end among the last rows is none that was seen.
        let until_ns = (until < t[t.len() - 1 - LAST_ROWS.min(t.len() - 1)]).then(|| self.at(last));
        Cause::Slip { by, rate: by.value / (until - from), from_ns: self.at(first), until_ns }
    }

    /// What the travel says of the scale, as a part.
    fn scale(&self) -> f64 {
        let place = self.pieces.iter().position(|piece| piece.column() == Column::Travel);
        place.map_or(0.0, |piece| self.fit.coefficients[self.places(piece).start])
    }

    fn travel_since(&self, side: Side, from: usize, estimate: Estimate) -> Cause {
        let (failed, ratio) = self.failed(side, from, estimate);
        // Of what it counted before, which is not quite what the other one does; the travel is that of both, or of the one that is trusted.
        let mean = if self.series.trusted.is_some() { 1.0 } else { 0.5 };
        let before = 1.0 - failed.sign() * mean * self.scale();
        let ratio = Estimate { value: 1.0 - (1.0 - ratio.value) * before, ..ratio };
        let since_ns = self.at(from);
        if is_reversed(ratio.value) {
            return Cause::Reversed { side: failed, since_ns, ratio };
        }
        if ratio.value.abs() < STILL {
            let trip = self.series.trip.max(from);
            let healthy = failed.other();
            let rows = (from..=trip)
                .filter(|&row| self.series.travel(healthy, row) != self.series.travel(healthy, row - 1));
            let readings = u32::try_from(rows.count()).unwrap_or(u32::MAX);
            let travel = (self.series.travel(healthy, trip) - self.series.travel(healthy, from - 1)).abs();
            return Cause::Frozen { side: failed, since_ns, readings, travel };
        }
        if !moved_until(self.series, from) {
            // It never counted otherwise: x_failed = ratio x_other, so of the travel of channel a the two differ by 1 - 1 / ratio or 1 - ratio.
            let value = if failed == Side::A { 1.0 - 1.0 / ratio.value } else { 1.0 - ratio.value };
            let slope = if failed == Side::A { ratio.value.powi(-2) } else { 1.0 };
            let ppm = Estimate { value: 1e6 * value, standard_error: 1e6 * slope * ratio.standard_error };
            return Cause::Scale { ppm };
        }
        let part = Estimate { value: 1.0 - ratio.value, standard_error: ratio.standard_error };
        Cause::LostCounts { side: failed, part, since_ns }
    }

    /// Which channel counts less of the travel, and what part of that of the other; where they move against each other, the one that turned round.
    fn failed(&self, side: Side, from: usize, estimate: Estimate) -> (Side, Estimate) {
        let (failed, ratio) = failed(side, estimate);
        if !is_reversed(ratio.value) {
            return (failed, ratio);
        }
        let t = &self.series.t;
        let reach = t[from - 1] - 4.0 * self.series.samples.window;
        let before = t.partition_point(|&t| t < reach);
        let after = self.series.trip.max(from);
        let turned = |side: Side| {
            let [x0, x1, x2] = [before, from - 1, after].map(|row| self.series.travel(side, row));
            let least = FAR_COUNTS * self.series.coarsest();
            (x1 - x0).abs() > least && (x2 - x1).abs() > least && (x1 - x0) * (x2 - x1) < 0.0
        };
        if turned(failed.other()) && !turned(failed) {
            let value = 1.0 / ratio.value;
            let standard_error = ratio.standard_error * value * value;
            return (failed.other(), Estimate { value, standard_error });
        }
        (failed, ratio)
    }

    /// The channel to be trusted, where the other one has failed up to the trip: where its own count says so too.
    pub(super) fn trust(&self) -> Option<Trust> {
        let trip = self.series.trip;
        (0..self.pieces.len()).find_map(|piece| {
            let Column::TravelSince { side, from } = self.pieces[piece].column() else { return None };
            let (failed, ratio) = self.failed(side, from, self.estimate(self.places(piece).start));
            if ratio.value >= LEAST_TRUSTED || from >= trip {
                return None;
            }
            let went = |side: Side| self.series.travel(side, trip) - self.series.travel(side, from - 1);
            let (failed_went, other_went) = (went(failed), went(failed.other()));
            let is_sound = ratio.value > -REVERSED || is_reversed(ratio.value);
            let is_far = other_went.abs() > FAR_COUNTS * self.series.coarsest();
            let is_real = is_sound && is_far && failed_went / other_went < LEAST_TRUSTED;
            is_real.then_some(Trust { side: failed.other(), from })
        })
    }
}

/// Whether either channel had moved before a row, by more than a small part of its way from there to the trip. Where neither had, what is so from
/// there on is so from the start.
pub(super) fn moved_until(series: &Series<'_>, from: usize) -> bool {
    let trip = series.trip.max(from);
    let far = |side: Side| {
        let travels = (0..from).map(|row| series.travel(side, row).abs());
        let since = (series.travel(side, trip) - series.travel(side, from.saturating_sub(1))).abs();
        travels.fold(0.0, f64::max) > (FAR_COUNTS * series.coarsest()).max(MOVED * since)
    };
    Side::BOTH.into_iter().any(far)
}

/// Whether a part of the travel of the other is that of a channel that counts backwards.
fn is_reversed(ratio: f64) -> bool {
    (ratio + 1.0).abs() < REVERSED
}

/// Which channel counts less of the travel, and what part of that of the other: d changes by `estimate` of the travel of `side`.
fn failed(side: Side, estimate: Estimate) -> (Side, Estimate) {
    // x_A = x_B + d: the other one travels 1 − c or 1 + c of it.
    let ratio = 1.0 - side.sign() * estimate.value;
    if ratio <= 1.0 {
        return (side.other(), Estimate { value: ratio, standard_error: estimate.standard_error });
    }
    (side, Estimate { value: 1.0 / ratio, standard_error: estimate.standard_error / (ratio * ratio) })
}

/// Which channel jumped by `by` (as d has it) from the row before `from` to row `until`: the one that is not where its own motion before would have
/// brought it. `None` where the rows around it were not kept at full rate, or neither or both did.
fn jumped(series: &Series<'_>, from: usize, until: usize, by: f64) -> Option<Side> {
    const BEFORE: usize = 8;
    let points = &series.samples.points;
    let (last, first) = (from.checked_sub(1)?, from.checked_sub(1 + BEFORE)?);
    if !points[first].is_full_rate {
        return None;
    }
    let until = until.min(points.len() - 1);
    let is_off = Side::BOTH.map(|side| {
        let [first_x, last_x, then] = [first, last, until].map(|row| series.travel(side, row));
        let slope = (last_x - first_x) / (series.t[last] - series.t[first]);
        let expected = last_x + slope * (series.t[until] - series.t[last]);
        ((then - expected) * side.sign() - by).abs() < 0.5 * by.abs()
    });
    match is_off {
        [true, false] => Some(Side::A),
        [false, true] => Some(Side::B),
        _ => None,
    }
}
