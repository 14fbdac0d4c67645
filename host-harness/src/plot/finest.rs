//! The whole trace as finely as it is known.

use std::ops::Range;

use super::closeup::REACH;
use super::{Plot, Stretch};

impl Plot {
    /// The overview and the close-ups as one, in order of time: where close-ups have every frame of a bucket, those stand for it. No frame is
    /// in two of them, so the frames at either end of a close-up that are in a bucket which it does not have all of are left to that bucket.
    /// Only where a bucket has more frames than a close-up has on either side of what happened, in a trace of more than 33 million frames,
    /// all of the close-up stays, and buckets have frames in common with it.
    #[must_use]
    pub fn finest(&self) -> Vec<(&Stretch, Range<usize>)> {
        let all = self.overview.buckets();
        let may_trim = self.overview.per() <= REACH as u64;
        let mut parts = Vec::new();
        let mut next = 0;
        for closeup in &self.closeups {
            let frames = closeup.buckets();
            let (Some(first), Some(last)) = (frames.first(), frames.last()) else { continue };
            // Buckets of which it has every frame.
            let whole = all.partition_point(|bucket| bucket.first < first.first)
                ..all.partition_point(|bucket| bucket.last <= last.last);
            let mut shown = 0..frames.len();
            if let Some((from, to)) = all.get(whole.clone()).and_then(|whole| whole.first().zip(whole.last()))
                && may_trim
            {
                shown = frames.partition_point(|frame| frame.first < from.first)
                    ..frames.partition_point(|frame| frame.first <= to.last);
            }
            if next < whole.start {
                parts.push((&self.overview, next..whole.start));
            }
            parts.push((closeup, shown));
            next = next.max(whole.start).max(whole.end);
        }
        if next < all.len() {
            parts.push((&self.overview, next..all.len()));
        }
        parts
    }

    /// Everything there is of the plot, the overview first.
    pub(crate) fn stretches(&self) -> impl Iterator<Item = &Stretch> {
        std::iter::once(&self.overview).chain(&self.closeups)
    }
}
