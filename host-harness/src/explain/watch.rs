//! What goes along with a replay to explain it: the excerpts, and the samples of the positions.

use std::io;

use monitor_core::{Frame, Instant};

use super::excerpt::{Excerpt, From, Keeper};
use super::sampling::{Sampled, Sampling};
use super::subject::{Asked, subject};
use crate::replay::{Chunks, Observer, Outcome, ReplayAxis};
use crate::setup::Setup;
use crate::trace::Offered;

/// Keeps what an explanation is made of.
pub(super) struct Watch {
    asked: Asked,
    keeper: Keeper,
    sampling: Sampling,
    /// When what is asked for happened.
    wanted: Option<Instant>,
    seen: usize,
}

impl Watch {
    /// Fails when the system gives no thread.
    pub(super) fn new(setup: &Setup, asked: Asked) -> io::Result<Self> {
        let from = match asked {
            Asked::First => From::Start,
            Asked::Trip(number) => From::Trip(number.saturating_sub(1)),
            Asked::Fault(number) => From::Fault(number.saturating_sub(1)),
        };
        let (keeper, sampling) = (Keeper::new(from), Sampling::start(setup)?);
        Ok(Self { asked, keeper, sampling, wanted: None, seen: 0 })
    }

    /// When what is asked for happened, if it did among the frames up to now.
    fn wanted(&self, found: &Outcome) -> Option<Instant> {
        if self.wanted.is_some() || self.seen == happened(found) {
            return None;
        }
        // What happens first need not be what takes the permit.
        if self.asked == Asked::First && found.permit_lost_at().is_none() {
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

    pub(super) fn finish(self) -> (Vec<Excerpt>, Sampled) {
        (self.keeper.finish(), self.sampling.finish())
    }
}

fn happened(found: &Outcome) -> usize {
    found.trips.kept.len() + found.faults.kept.len() + found.stops.kept.len()
}

impl Observer for Watch {
    fn before(&mut self, axis: &ReplayAxis) {
        self.keeper.before(axis);
    }

    fn after(&mut self, found: &Outcome, frames: &mut Vec<Frame>, offered: &[Offered]) {
        let wanted = self.wanted(found);
        self.wanted = self.wanted.or(wanted);
        self.seen = happened(found);
        self.keeper.after(found, frames, offered);
        if let Some(newest) = self.keeper.chunks().newest() {
            self.sampling.take(newest, wanted);
        }
    }
}
