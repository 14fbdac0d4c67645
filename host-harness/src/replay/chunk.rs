//! The newest frames of a replay, with the axis as it was before them, so that they can be evaluated again.

use std::collections::VecDeque;
use std::sync::Arc;

use monitor_core::{AnalogueReading, Channel, Frame, Instant};

use super::axis::ReplayAxis;
use crate::trace::Offered;

/// One batch of frames, and the axis before them.
#[derive(Debug)]
pub(crate) struct Chunk {
    /// The axis before the first of the frames.
    pub(crate) axis: ReplayAxis,
    pub(crate) frames: Vec<Frame>,
    /// The readings of analogue values that come with them.
    pub(crate) offered: Vec<Offered>,
}

/// A reading of an analogue value: of which one, on which line.
pub(crate) type Line = (usize, Channel, AnalogueReading);

impl Chunk {
    pub(crate) fn first(&self) -> Option<Instant> {
        self.frames.first().map(|frame| frame.now)
    }

    pub(crate) fn last(&self) -> Option<Instant> {
        self.frames.last().map(|frame| frame.now)
    }

    /// Goes through the frames, with the readings of analogue values to be handed in before each.
    pub(crate) fn each_frame(&self, mut then: impl FnMut(&Frame, &[Line])) {
        let mut offered = self.offered.iter().peekable();
        let mut lines: Vec<Line> = Vec::new();
        for (place, frame) in self.frames.iter().enumerate() {
            lines.clear();
            while let Some(one) = offered.next_if(|one| one.frame <= place) {
                lines.push((one.of, one.channel, one.reading));
            }
            then(frame, &lines);
        }
    }
}

/// The newest chunks. Memory goes round: nothing is copied but the axis.
#[derive(Debug)]
pub(crate) struct Chunks {
    most: usize,
    ring: VecDeque<Arc<Chunk>>,
    next: Option<Chunk>,
}

impl Chunks {
    /// Keeps so many, one at least.
    pub(crate) const fn new(most: usize) -> Self {
        Self { most, ring: VecDeque::new(), next: None }
    }

    /// The axis before the next frames.
    pub(crate) fn before(&mut self, axis: &ReplayAxis) {
        // A chunk that nothing else holds is filled anew: no memory has to be found for it.
        let oldest = if self.ring.len() < self.most { None } else { self.ring.pop_front() };
        let mut chunk = oldest.and_then(|chunk| Arc::try_unwrap(chunk).ok()).unwrap_or_else(|| Chunk {
            axis: axis.clone(),
            frames: Vec::new(),
            offered: Vec::new(),
        });
        chunk.axis.clone_from(axis);
        self.next = Some(chunk);
    }

    /// The frames once they were evaluated; they are taken away.
    pub(crate) fn after(&mut self, frames: &mut Vec<Frame>, offered: &[Offered]) {
        let Some(mut chunk) = self.next.take() else { return };
        std::mem::swap(&mut chunk.frames, frames);
        chunk.offered.clear();
        chunk.offered.extend_from_slice(offered);
        self.ring.push_back(Arc::new(chunk));
    }

    /// Those that are kept, the oldest first.
    pub(crate) fn iter(&self) -> impl DoubleEndedIterator<Item = &Arc<Chunk>> {
        self.ring.iter()
    }

    /// The last one.
    pub(crate) fn newest(&self) -> Option<&Arc<Chunk>> {
        self.ring.back()
    }
}
