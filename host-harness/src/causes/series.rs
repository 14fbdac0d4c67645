//! d and what it may depend on, row by row.

use super::cause::Side;
use super::found::{Options, Trust};
use super::samples::Samples;

/// The columns that regressors are made of.
#[derive(Clone, Debug)]
pub(super) struct Series<'a> {
    pub(super) samples: &'a Samples,
    pub(super) t: Vec<f64>,
    /// d less what the known ages explain.
    pub(super) y: Vec<f64>,
    /// What the known ages explain of d.
    pub(super) known: Vec<f64>,
    /// Travel, speed and acceleration of the axis, from both channels or the one that is trusted.
    pub(super) x: Vec<f64>,
    pub(super) v: Vec<f64>,
    pub(super) a: Vec<f64>,
    pub(super) trip: usize,
    /// An eccentricity may be one of less than a few turns.
    pub(super) few_turns: bool,
    /// Where a channel has failed: its trusted fellow, and from which row on.
    pub(super) trusted: Option<Trust>,
    /// A part of the travel that one channel does not count is no explanation here.
    pub(super) is_steady: bool,
    /// The axis stood: what depends on its motion is no explanation. What changes from one reading to the next is no motion.
    pub(super) stands: bool,
}

/// Fewer rows are no series.
pub(super) const LEAST_ROWS: usize = 40;
/// More changes of a count than these are motion.
const JUMPS: usize = 4;

impl<'a> Series<'a> {
    /// The acceleration is that of the channel which is calmer over all, which is the one without an error that moves. Where both channels agree, travel and
    /// speed are the mean of both: `x(t − age_A) − x(t − age_B)` then is the mean
    /// speed times the difference of the ages but for terms of the third order. Where they do not, because one of them jumps or stands still, they
    /// are those of the channel with the smaller acceleration around there, or at like accelerations with the larger speed.
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
            few_turns: false,
            trusted,
            is_steady: false,
            stands: trusted.is_none() && Side::BOTH.iter().all(|side| jumps_only(samples, *side)),
        };
        let ratio = trusted.map_or(1.0, |trusted| part_of_travel(samples, trusted));
        let sides = sides(samples, trusted);
        let calmer = calmer(samples);
        // What one channel jumps the axis does not travel: there it goes on with the other one, and from a failure on too.
        let mut off = 0.0;
        let jumps = jumps(samples);
        for (row, (point, side)) in samples.points.iter().zip(sides).enumerate() {
            let failed = trusted.filter(|trusted| row >= trusted.from).map(|trusted| trusted.side.index());
            if let Some(side) = failed.or(jumps[row]) {
                let before = &samples.points[row.saturating_sub(1)];
                let [a, b] = [0, 1].map(|side| point.x[side] - before.x[side]);
                off += if side == 0 { 0.5 * (a - b) } else { 0.5 * (b - a) };
            }
            let of = |pair: [f64; 2]| side.map_or(0.5 * (pair[0] + pair[1]), |side| pair[side]);
            // A channel that has failed does not move on with the speed of the other.
            let parts =
                failed.map_or([1.0, 1.0], |healthy| if healthy == 0 { [1.0, ratio] } else { [ratio, 1.0] });
            let known = of(point.v) * (parts[1] * point.age[1] - parts[0] * point.age[0]);
            series.t.push(point.t);
            // With `align` the core has made good most of what the ages explain.
            let unexplained = point.x[0] - point.x[1] - known;
            series.known.push(point.d() - unexplained);
            series.y.push(unexplained);
            series.x.push(0.5 * (point.x[0] + point.x[1]) + off);
            series.v.push(of(point.v));
            series.a.push(point.a[side.unwrap_or(calmer)]);
        }
        series
    }

    pub(super) fn len(&self) -> usize {
        self.t.len()
    }

    /// Travel of one channel.
    pub(super) fn travel(&self, side: Side, row: usize) -> f64 {
        self.samples.points[row].x[side.index()]
    }

    /// The same, moved to the instant of the frame by the speed of the axis.
    pub(super) fn travel_now(&self, side: Side, row: usize) -> f64 {
        self.travel(side, row) + self.v[row] * self.samples.points[row].age[side.index()]
    }

    /// What a model may leave unexplained for the sake of being simple, as a sum of squares over all rows: root mean square a third of a count of the
    /// coarser channel, as rounding leaves, and 0.05 % of d at the trip; before a channel fails, of what brought the two apart until then.
    pub(super) fn floor(&self) -> f64 {
        let failed = self.trusted.map_or(0, |trusted| trusted.from.saturating_sub(1));
        let before = self.samples.points[..failed].iter().map(|point| point.d().abs()).fold(0.0, f64::max);
        let square = |apart: f64| (0.3 * self.coarsest()).powi(2) + (0.0005 * apart).powi(2);
        let apart = self.samples.points[self.trip].d();
        failed as f64 * square(before.min(apart.abs())) + (self.len() - failed) as f64 * square(apart)
    }

    /// The rows before a channel failed, with the last of them as the trip: what comes after tears the two apart, and tells nothing of what was before.
    pub(super) fn before_failure(&self) -> Option<Self> {
        let rows = self.trusted?.from;
        let mut series = Self { trip: rows.saturating_sub(1), trusted: None, ..self.clone() };
        for column in
            [&mut series.t, &mut series.y, &mut series.known, &mut series.x, &mut series.v, &mut series.a]
        {
            column.truncate(rows);
        }
        (rows > LEAST_ROWS).then_some(series)
    }

    /// What d is at the trip beside what a failed channel makes of it.
    pub(super) fn apart_beside(&self, failure: Option<f64>) -> f64 {
        let apart = self.samples.points[self.trip].d();
        failure.map_or(apart, |failure| apart - failure).abs()
    }

    /// The first row by which a part of the whole travel, a twentieth, has been made.
    pub(super) fn moved(&self) -> usize {
        let far = self.x.iter().fold(0.0_f64, |most, x| most.max(x.abs()));
        self.x.iter().position(|x| x.abs() > 0.05 * far).unwrap_or(self.len())
    }

    /// From the smallest to the largest travel.
    pub(super) fn reach(&self) -> f64 {
        let (low, high) =
            self.x.iter().fold((f64::MAX, f64::MIN), |(low, high), &x| (low.min(x), high.max(x)));
        high - low
    }

    /// One count of the coarser channel.
    pub(super) fn coarsest(&self) -> f64 {
        self.samples.count[0].max(self.samples.count[1])
    }
}

/// The channel whose acceleration goes up and down less. One that turns out of centre does so at constant speed too, by far more than the other one: then
/// that counts, as the other one may give way where the acceleration changes.
fn calmer(samples: &Samples) -> usize {
    const UNQUIET: f64 = 0.02;
    const BY_FAR: f64 = 5.0;
    let points = &samples.points;
    let hardest = points.iter().map(|point| point.a[0].abs().min(point.a[1].abs())).fold(0.0, f64::max);
    // Rows without an acceleration nearby.
    let reach = 2.0 * samples.window;
    let mut calm = vec![true; points.len()];
    for point in points.iter().filter(|point| point.a[0].abs().max(point.a[1].abs()) > 0.5 * hardest) {
        let first = points.partition_point(|other| other.t < point.t - reach);
        let last = points.partition_point(|other| other.t <= point.t + reach);
        calm[first..last].fill(false);
    }
    let quiet = [0, 1].map(|side| {
        median(points.iter().zip(&calm).filter(|(_, calm)| **calm).map(|(point, _)| point.a[side].abs()))
    });
    for side in [0, 1] {
        let other = quiet[1 - side];
        if other > UNQUIET * hardest && other > BY_FAR * quiet[side] {
            return side;
        }
    }
    let restless = [0, 1]
        .map(|side| points.windows(2).map(|pair| (pair[1].a[side] - pair[0].a[side]).abs()).sum::<f64>());
    usize::from(restless[1] < restless[0])
}

/// A fit with an error so many times what is far from usual holds a jump.
const MISFIT: f64 = 4.0;

/// The channel that did not jump, at the rows at which d changes at a rate far from that of the rows around it.
fn jumps(samples: &Samples) -> Vec<Option<usize>> {
    const AROUND: usize = 3;
    const FAR: f64 = 8.0;
    let points = &samples.points;
    let least = 8.0 * samples.count[0].max(samples.count[1]);
    let rate = |row: usize, of: &dyn Fn(&super::Point) -> f64| {
        (of(&points[row]) - of(&points[row - 1])) / (points[row].t - points[row - 1].t)
    };
    let mut found = vec![None; points.len()];
    for row in 1 + AROUND..points.len().saturating_sub(AROUND) {
        let around = || (row - AROUND..=row + AROUND).filter(|other| *other != row);
        let apart = |row: usize| rate(row, &|point| point.x[0] - point.x[1]);
        let usual = median(around().map(apart));
        let most = around().map(|row| (apart(row) - usual).abs()).fold(0.0, f64::max);
        let step = (apart(row) - usual).abs();
        if step > FAR * most && step * (points[row].t - points[row - 1].t) > least {
            let off = [0, 1].map(|side| {
                let own = |row: usize| rate(row, &|point| point.x[side]);
                (own(row) - median(around().map(own))).abs()
            });
            found[row] = Some(usize::from(off[1] < off[0]));
        }
    }
    found
}

/// The channel whose speed and acceleration count at each row; `None`: the mean of both.
fn sides(samples: &Samples, trusted: Option<Trust>) -> Vec<Option<usize>> {
    let points = &samples.points;
    let smaller = |[a, b]: [f64; 2]| a.abs().min(b.abs());
    let fastest = 0.25 * points.iter().map(|point| smaller(point.v)).fold(0.0, f64::max);
    let hardest = points.iter().map(|point| smaller(point.a)).fold(0.0, f64::max);
    // The errors around a jump are as wild as the jump: what is usual counts.
    let error = 8.0 * median(points.iter().map(|point| point.v_error[0].hypot(point.v_error[1])));
    let bend_error = 8.0 * median(points.iter().map(|point| point.a_error[0].hypot(point.a_error[1])));
    let mut sides: Vec<Option<usize>> = Vec::with_capacity(points.len());
    let mut torn: Vec<usize> = Vec::new();
    for (row, point) in points.iter().enumerate() {
        let faster = usize::from(point.v[1].abs() > point.v[0].abs());
        let is_apart = (point.v[0] - point.v[1]).abs() > error.max(fastest);
        // A jump does not fit the parabola, however small the acceleration that it looks like.
        let misfit = point.a_error[0].max(point.a_error[1]);
        let least = if misfit > MISFIT * bend_error { bend_error } else { bend_error.max(hardest) };
        if (point.a[0] - point.a[1]).abs() > least {
            torn.push(row);
        }
        sides.push(is_apart.then_some(faster));
    }
    // The fits around a jump are torn as far as they reach; a group of such rows is one jump, and a parabola fits the side that jumped badly.
    let reach = 2.0 * samples.window;
    for group in torn.chunk_by(|&a, &b| points[b].t - points[a].t < reach) {
        let (Some(&first), Some(&last)) = (group.first(), group.last()) else { continue };
        let restless = [0, 1].map(|side| group.iter().map(|&row| points[row].a_error[side]).sum::<f64>());
        let calmer = usize::from(restless[1] < restless[0]);
        let first = points.partition_point(|point| point.t < points[first].t - 0.5 * reach);
        let last = points.partition_point(|point| point.t <= points[last].t + 0.5 * reach);
        for side in &mut sides[first..last] {
            *side = Some(calmer);
        }
    }
    if let Some(trusted) = trusted {
        // The fits of the failed one look ahead.
        let start = points[trusted.from].t - 2.0 * samples.window;
        let from = points.partition_point(|point| point.t < start);
        for side in sides.iter_mut().skip(from) {
            *side = Some(trusted.side.index());
        }
    }
    sides
}

/// Whether one channel changed by more than its resolution at no more than a few rows.
fn jumps_only(samples: &Samples, side: Side) -> bool {
    let coarse = 2.5 * samples.count[0].max(samples.count[1]);
    let place = |row: usize| samples.points[row].x[side.index()];
    // Over several rows, so that a slow motion is one, too.
    let mut last = place(0);
    let mut changes = 0;
    for row in 1..samples.points.len() {
        if (place(row) - last).abs() > coarse {
            changes += 1;
            last = place(row);
        }
    }
    changes <= JUMPS
}

/// What the failed channel makes of the travel of the other up to the trip: 0 where it stands still, −1 where it goes backwards.
fn part_of_travel(samples: &Samples, trusted: Trust) -> f64 {
    let (before, trip) = (trusted.from.saturating_sub(1), samples.trip.max(trusted.from));
    let went = |side: Side| samples.points[trip].x[side.index()] - samples.points[before].x[side.index()];
    let part = went(trusted.side.other()) / went(trusted.side);
    if part.is_finite() { part.clamp(-1.0, 1.0) } else { 1.0 }
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    let middle = values.len() / 2;
    if values.is_empty() { 0.0 } else { *values.select_nth_unstable_by(middle, f64::total_cmp).1 }
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
