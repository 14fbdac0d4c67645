//! The frames around what happened, kept while a trace goes by.
//!
//! Memory stays bounded whatever the length of the trace: the newest frames are kept in a ring of [chunks](Chunk), and of the first few
//! things that happen what came before and what comes after. The frames of a chunk go with the axis as it was before the first of them,
//! so that they can be evaluated again, with other settings too.

use std::sync::Arc;

use monitor_core::{Frame, Instant};

use crate::replay::{Chunk, Chunks, Observer, Outcome, ReplayAxis};
use crate::trace::Offered;

/// Chunks kept of what came before: 98 304 frames, 12 s at 8 kHz.
const BEFORE: usize = 24;

/// Chunks kept of what comes after: 6 s at 8 kHz.
const AFTER: usize = 12;

/// The most chunks of one excerpt.
const MOST_CHUNKS: usize = 64;

/// The most excerpts.
const MOST_EXCERPTS: usize = 4;

/// Frames that follow one another without a gap in what was evaluated.
#[derive(Clone, Debug, Default)]
pub(super) struct Excerpt {
    chunks: Vec<Arc<Chunk>>,
}

impl Excerpt {
    /// Whether a frame at this instant is among the frames.
    pub(super) fn holds(&self, at: Instant) -> bool {
        self.first().is_some_and(|first| first <= at) && self.last().is_some_and(|last| at <= last)
    }

    /// The first frame.
    pub(super) fn first(&self) -> Option<Instant> {
        self.chunks.first()?.first()
    }

    /// The last frame.
    pub(super) fn last(&self) -> Option<Instant> {
        self.chunks.last()?.last()
    }

    /// The chunks from the one on that holds this instant, or from the first one on where that is later.
    pub(super) fn from(&self, at: Instant) -> &[Arc<Chunk>] {
        let before = self.chunks.iter().take_while(|chunk| chunk.first().is_some_and(|first| first <= at));
        &self.chunks[before.count().saturating_sub(1)..]
    }
}

/// One that still grows.
#[derive(Debug)]
struct Open {
    excerpt: Excerpt,
    /// How many chunks more.
    more: usize,
}

/// How much of everything had been found.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Found {
    trips: usize,
    faults: usize,
    permit_losses: u64,
}

impl Found {
    fn of(outcome: &Outcome) -> Self {
        Self {
            trips: outcome.trips.kept.len(),
            faults: outcome.faults.kept.len(),
            permit_losses: outcome.permit_losses(),
        }
    }
}

/// Which of the things that happen an excerpt is kept of whatever happened before.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum From {
    /// The first that happens.
    Start,
    /// A trip, counted from 0: there is a place for it.
    Trip(usize),
    /// A fault, counted from 0.
    Fault(usize),
}

/// Keeps excerpts while a trace goes by.
#[derive(Debug)]
pub(super) struct Keeper {
    from: From,
    chunks: Chunks,
    done: Vec<Excerpt>,
    open: Option<Open>,
    before: Found,
}

impl Keeper {
    pub(super) fn new(from: From) -> Self {
        Self { from, chunks: Chunks::new(BEFORE), done: Vec::new(), open: None, before: Found::default() }
    }

    /// What was kept, in order of time; without anything that happened the end of the trace.
    pub(super) fn finish(mut self) -> Vec<Excerpt> {
        if let Some(open) = self.open.take() {
            self.done.push(open.excerpt);
        }
        if self.done.is_empty() {
            self.done.push(Excerpt { chunks: self.chunks.iter().map(Arc::clone).collect() });
        }
        self.done
    }

    /// The newest frames, with what came before them.
    pub(super) const fn chunks(&self) -> &Chunks {
        &self.chunks
    }

    fn is_wanted(&self, now: Found) -> bool {
        // What took the permit first is asked for most.
        let is_first_loss = now.permit_losses > 0 && self.before.permit_losses == 0;
        // The last place is for what is asked for; the others may hold what happened before.
        let has_room = self.done.len() + 1 < MOST_EXCERPTS;
        match self.from {
            From::Start => has_room || is_first_loss,
            From::Trip(trip) => has_room || now.trips > trip,
            From::Fault(fault) => has_room || now.faults > fault,
        }
    }
}

impl Observer for Keeper {
    fn before(&mut self, axis: &ReplayAxis) {
        self.chunks.before(axis);
    }

    fn after(&mut self, found: &Outcome, frames: &mut Vec<Frame>, offered: &[Offered]) {
        self.chunks.after(frames, offered);
        let now = Found::of(found);
        let has_happened = now != self.before;
        let happened = has_happened && (self.open.is_some() || self.is_wanted(now));
        self.before = now;
        let Some(newest) = self.chunks.newest() else { return };
        if let Some(open) = &mut self.open {
            open.excerpt.chunks.push(Arc::clone(newest));
            open.more = if happened { AFTER } else { open.more.saturating_sub(1) };
            if open.more == 0 || open.excerpt.chunks.len() >= MOST_CHUNKS {
                self.done.extend(self.open.take().map(|open| open.excerpt));
            }
        } else if happened && self.done.len() < MOST_EXCERPTS {
            let chunks = self.chunks.iter().map(Arc::clone).collect();
            self.open = Some(Open { excerpt: Excerpt { chunks }, more: AFTER });
        }
    }
}
