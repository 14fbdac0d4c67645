//! One number over the time of a picture.

use crate::plot::{Decided, Plot, Series, Stretch};

/// How it is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Style {
    /// Channel a: a line.
    A,
    /// Channel b: dashes.
    B,
    /// A limit: dots.
    Limit,
}

/// A frame, or a bucket of them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Piece {
    pub(super) first: u64,
    pub(super) last: u64,
    pub(super) low: f64,
    pub(super) high: f64,
}

/// See the module.
#[derive(Clone, Debug)]
pub(super) struct Curve {
    pub(super) style: Style,
    /// Unbroken runs: a line across a gap would show a motion that nobody saw.
    pub(super) runs: Vec<Vec<Piece>>,
}

/// So many usual periods without a frame are a gap.
const GAP: u64 = 20;

/// Puts pieces together.
struct Runs {
    runs: Vec<Vec<Piece>>,
    is_open: bool,
}

impl Runs {
    const fn new() -> Self {
        Self { runs: Vec::new(), is_open: false }
    }

    fn put(&mut self, piece: Option<Piece>, usual: u64) {
        let Some(piece) = piece else {
            self.is_open = false;
            return;
        };
        let is_near = |run: &&mut Vec<Piece>| {
            run.last().is_some_and(|last| piece.first.saturating_sub(last.last) <= usual.saturating_mul(GAP))
        };
        match self.runs.last_mut().filter(|_| self.is_open).filter(is_near) {
            Some(run) => run.push(piece),
            None => self.runs.push(vec![piece]),
        }
        self.is_open = true;
    }
}

/// How far the frames of a stretch are from each other, as a rule.
fn usual(stretch: &Stretch) -> u64 {
    let buckets = stretch.buckets();
    let (Some(first), Some(last)) = (buckets.first(), buckets.last()) else { return 0 };
    let frames = stretch.per().saturating_mul(buckets.len() as u64);
    last.last.saturating_sub(first.first) / frames.max(1) + 1
}

impl Curve {
    /// A number of the plot; `factor` −1 mirrors it.
    pub(super) fn of(plot: &Plot, view: (u64, u64), series: Series, style: Style, factor: f64) -> Self {
        let mut runs = Runs::new();
        for (stretch, places) in plot.finest() {
            let buckets = &stretch.buckets()[places.clone()];
            let from = buckets.partition_point(|bucket| bucket.last < view.0).saturating_sub(1);
            let to = (buckets.partition_point(|bucket| bucket.first <= view.1) + 1).min(buckets.len());
            let usual = usual(stretch);
            let extents = stretch.extents(series).skip(places.start);
            for (bucket, extent) in buckets.iter().zip(extents).take(to).skip(from) {
                let piece = extent.is_any().then(|| {
                    let (one, other) = (factor * extent.low, factor * extent.high);
                    Piece {
                        first: bucket.first,
                        last: bucket.last,
                        low: one.min(other),
                        high: one.max(other),
                    }
                });
                runs.put(piece, usual);
            }
        }
        Self { style, runs: runs.runs }
    }

    /// What a rule observed on one side.
    pub(super) fn observed(decided: &Decided, view: (u64, u64), side: usize, style: Style) -> Self {
        let values = decided.frames.iter().map(|frame| Some(frame.of.get(side).copied().flatten()?.observed));
        Self::of_decided(decided, view, &values.collect::<Vec<_>>(), style)
    }

    /// What it allowed there: from above, from below, or both.
    pub(super) fn allowed(decided: &Decided, view: (u64, u64), side: usize) -> Vec<Self> {
        let of = |below| Self::of_decided(decided, view, &decided.limits(side, below), Style::Limit);
        [of(false), of(true)].into_iter().filter(|curve| !curve.runs.is_empty()).collect()
    }

    fn of_decided(decided: &Decided, view: (u64, u64), values: &[Option<f64>], style: Style) -> Self {
        let frames = &decided.frames;
        let from = frames.partition_point(|frame| frame.at < view.0).saturating_sub(1);
        let to = (frames.partition_point(|frame| frame.at <= view.1) + 1).min(frames.len());
        let span = match (frames.first(), frames.last()) {
            (Some(first), Some(last)) => last.at - first.at,
            _ => 0,
        };
        let usual = span / frames.len().max(1) as u64 + 1;
        let mut runs = Runs::new();
        for (frame, value) in frames.iter().zip(values).take(to).skip(from) {
            let piece = value.map(|value| Piece { first: frame.at, last: frame.at, low: value, high: value });
            runs.put(piece, usual);
        }
        Self { style, runs: runs.runs }
    }

    /// Its least and its greatest in view.
    pub(super) fn extent(&self, view: (u64, u64)) -> Option<(f64, f64)> {
        let pieces = self.runs.iter().flatten();
        let shown = pieces.filter(|piece| piece.last >= view.0 && piece.first <= view.1);
        shown.map(|piece| (piece.low, piece.high)).reduce(|all, one| (all.0.min(one.0), all.1.max(one.1)))
    }
}
