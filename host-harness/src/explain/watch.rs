//! What goes along with a replay to explain it: the excerpts, and the samples of the positions.

use monitor_core::{Frame, Instant};

use super::excerpt::{Excerpt, From, Keeper};
use super::subject::{Asked, subject};
use crate::causes::{Sampler, Samples};
use crate::replay::{Chunks, Follower, Observer, Outcome, ReplayAxis};
use crate::setup::Setup;
use crate::trace::Offered;

/// Keeps what an explanation is made of.
pub(super) struct Watch {
    asked: Asked,
    keeper: Keeper,
    sampler: Sampler,
    /// The samples are of up to here.
    marked: Option<Instant>,
    seen: usize,
}

impl Watch {
    pub(super) fn new(setup: &Setup, asked: Asked) -> Self {
        let from = match asked {
            Asked::First => From::Start,
            Asked::Trip(number) => From::Trip(number.saturating_sub(1)),
            Asked::Fault(number) => From::Fault(number.saturating_sub(1)),
        };
        Self { asked, keeper: Keeper::new(from), sampler: Sampler::new(setup), marked: None, seen: 0 }
    }

    /// When what is asked for happened, if it did among the frames up to now.
    fn wanted(&self, found: &Outcome) -> Option<Instant> {
        if self.marked.is_some() || self.seen == happened(found) {
            return None;
        }
        // What happens first need not be what takes the permit.
        if self.asked == Asked::First && found.permit_lost_at.is_none() {
            return None;
        }
        subject(found, self.asked).ok().and_then(|subject| subject.at())
    }

    pub(super) const fn asked(&self) -> Asked {
        self.asked
    }

    /// The newest frames.
    pub(super) const fn chunks(&self) -> &Chunks {
        self.keeper.chunks()
    }

    pub(super) fn finish(self) -> (Vec<Excerpt>, Samples, Option<Instant>) {
        (self.keeper.finish(), self.sampler.samples(), self.marked)
    }
}

fn happened(found: &Outcome) -> usize {
    found.trips.kept.len() + found.faults.kept.len() + found.stops.kept.len()
}

impl Follower for Watch {}

impl Observer for Watch {
    fn before(&mut self, axis: &ReplayAxis) {
        self.keeper.before(axis);
    }

    fn after(&mut self, found: &Outcome, frames: &mut Vec<Frame>, offered: &[Offered]) {
        let wanted = self.wanted(found);
        self.seen = happened(found);
        if !self.sampler.is_complete() {
            for frame in frames.iter() {
                self.sampler.take(frame);
                if wanted == Some(frame.now) {
                    self.sampler.mark();
                    self.marked = wanted;
                }
            }
        }
        self.keeper.after(found, frames, offered);
    }
}
