//! d and what it may depend on, row by row.

use super::cause::{Cause, Estimate, Side};
use super::found::{Decomposition, Inconclusive, Options, Term, Trust};
use super::samples::Samples;

/// The columns that regressors are made of.
#[derive(Clone, Debug)]
pub(super) struct Series<'a> {
    pub(super) samples: &'a Samples,
    pub(super) t: Vec<f64>,
    /// d less what the known ages explain.
    pub(super) y: Vec<f64>,
    /// What the known ages explain.
    pub(super) known: Vec<f64>,
    /// Travel, speed and acceleration of the axis, from both channels or the one that is trusted.
    pub(super) x: Vec<f64>,
    pub(super) v: Vec<f64>,
    pub(super) a: Vec<f64>,
    pub(super) trip: usize,
}

impl<'a> Series<'a> {
    /// Where both channels agree, speed and acceleration are the mean of both: `x(t − age_A) − x(t − age_B)` then is the mean
    /// speed times the difference of the ages but for terms of the third order. Where they do not, because one of them jumps or stands still,
    /// the acceleration is the smaller one and the speed that of the same channel or, at like accelerations, the larger one.
    pub(super) fn new(samples: &'a Samples, trusted: Option<Trust>) -> Self {
        let n = samples.points.len();
        let column = || Vec::with_capacity(n);
        let mut series = Self {
            samples,
            t: column(),
            y: column(),
            known: column(),
            x: column(),
            v: column(),
            a: column(),
            trip: samples.trip,
        };
        let most = |of: fn(f64) -> f64, pick: fn(&super::Point) -> [f64; 2]| {
            let smaller = samples.points.iter().map(|point| pick(point).map(f64::abs)).map(|[a, b]| a.min(b));
            of(smaller.fold(0.0, f64::max))
        };
        let fastest = most(|v| 0.25 * v, |point| point.v);
        let hardest = most(|a| a, |point| point.a);
        for (row, point) in samples.points.iter().enumerate() {
            let trusted = trusted.filter(|trusted| row >= trusted.from).map(|trusted| trusted.side.index());
            let [error, bend_error] = [point.v_error, point.a_error].map(|[a, b]| 8.0 * a.hypot(b));
            let calmer = usize::from(point.a[1].abs() < point.a[0].abs());
            let faster = usize::from(point.v[1].abs() > point.v[0].abs());
            let is_torn = (point.a[0] - point.a[1]).abs() > bend_error.max(hardest);
            let is_apart = (point.v[0] - point.v[1]).abs() > error.max(fastest);
            let side = trusted.or(match (is_torn, is_apart) {
                (true, _) => Some(calmer),
                (false, true) => Some(faster),
                (false, false) => None,
            });
            let of = |pair: [f64; 2]| side.map_or(0.5 * (pair[0] + pair[1]), |side| pair[side]);
            let known = of(point.v) * (point.age[1] - point.age[0]);
            series.t.push(point.t);
            series.known.push(known);
            series.y.push(point.d() - known);
            series.x.push(trusted.map_or(0.5 * (point.x[0] + point.x[1]), |side| point.x[side]));
            series.v.push(of(point.v));
            series.a.push(of(point.a));
        }
        series
    }

    pub(super) fn len(&self) -> usize {
        self.t.len()
    }
}

/// Rows of the trace clock.
pub(super) fn instant(samples: &Samples, options: &Options, row: usize) -> i64 {
    let now = samples.points.get(row).map_or(samples.reference_ns, |point| point.now_ns);
    clock(options, now)
}

/// An instant of the frames on the clock of the trace.
pub(super) fn clock(options: &Options, now: u64) -> i64 {
    i64::try_from(i128::from(now) + options.origin_ns).unwrap_or(i64::MAX)
}

pub(super) fn decompose(samples: &Samples, options: &Options) -> Decomposition {
    let apart = samples.points.get(samples.trip).map_or(0.0, super::Point::d);
    let mut inconclusive = Vec::new();
    for side in Side::BOTH {
        if samples.points.is_empty() && samples.unusable.frames[side.index()] > 0 {
            inconclusive.push(Inconclusive::NoReadings { side });
        }
    }
    let series = Series::new(samples, None);
    let mut terms = Vec::new();
    if let (Some(first), Some(trip)) = (series.known.first(), series.known.get(series.trip)) {
        let difference = series.samples.points[series.trip].age;
        terms.push(Term {
            cause: Cause::KnownAges { difference: difference[1] - difference[0] },
            share: Estimate::known(trip - first),
            swing: 0.0,
        });
    }
    let rest = apart - terms.iter().map(|term| term.share.value).sum::<f64>();
    Decomposition {
        unit: samples.unit.symbol(),
        reference_ns: clock(options, samples.reference_ns),
        trip_ns: instant(samples, options, samples.trip),
        apart,
        terms,
        rest,
        noise: 0.0,
        samples: samples.points.len() as u64,
        effective_samples: 0.0,
        coefficients: Vec::new(),
        lags: 0,
        trusted: None,
        collinear: Vec::new(),
        alternatives: Vec::new(),
        inconclusive,
    }
}
