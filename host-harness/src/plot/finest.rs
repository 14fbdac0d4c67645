//! The whole trace as finely as it is known.

use std::ops::Range;

use super::{Plot, Stretch};

impl Plot {
    /// The overview and the close-ups as one, in order of time: a bucket of the overview is left out where close-ups have all of it. One at
    /// the edge of a close-up stays, and then has some of its frames in common with it.
    #[must_use]
    pub fn finest(&self) -> Vec<(&Stretch, Range<usize>)> {
        let all = self.overview.buckets();
        let mut parts = Vec::new();
        let mut next = 0;
        for closeup in &self.closeups {
            let (Some(first), Some(last)) = (closeup.buckets().first(), closeup.buckets().last()) else {
                continue;
            };
            let before = all.partition_point(|bucket| {
                bucket.first < first.first || (bucket.first == first.first && bucket.last > last.last)
            });
            if next < before {
                parts.push((&self.overview, next..before));
            }
            parts.push((closeup, 0..closeup.buckets().len()));
            // Those that are over by the end of it are in it.
            next = next.max(before).max(all.partition_point(|bucket| bucket.last <= last.last));
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
