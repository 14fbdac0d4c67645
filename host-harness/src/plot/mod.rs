//! What of a replay is drawn: motion, limits, inputs and monitors over time, in bounded memory.
//!
//! A [`Plot`] has the whole trace as an [overview](Plot::overview), thinned so that no extreme is lost: every bucket of frames keeps the
//! least and the greatest of each number, and which lanes were on and which were off. Around what happened it has every frame
//! ([`Plot::closeups`]), and what each trip was decided by ([`Plot::decided`]). A trace of up to 16 384 frames is not thinned at all.
//!
//! All numbers are for the eye: 53 bits, not rounded as the core rounds. What decided is in the report.

mod buckets;
mod closeup;
mod collect;
mod csv;
mod finest;
mod json;
mod lane;
mod series;
#[cfg(test)]
mod tests;

use monitor_core::Frame;

pub use buckets::{Bucket, Extent, Lanes};
pub(crate) use closeup::Closeups;
pub(crate) use closeup::MOST_TRIPS;
pub use closeup::{Against, Compared, Decided};
pub use csv::csv;
pub use json::{Data, json_schema};
pub use lane::{Lane, LaneKind, State};
pub use series::Series;

use crate::explain::Asked;
use crate::replay::{Chunks, FrameSource, Observer, Outcome, ReplayAxis, ReplayError, replay_observed};
use crate::setup::Setup;
use crate::trace::Offered;
use buckets::Finished;
pub(crate) use collect::Collector;

/// Frames one after the other, each bucket of as many but for the last one.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    per: u64,
    of_last: u64,
    buckets: Vec<Bucket>,
    series: Vec<Series>,
    extents: Vec<Extent>,
}

impl Stretch {
    fn new(setup: &Setup, collector: Collector) -> Self {
        let Finished { per, of_last, buckets, extents } = collector.finish();
        Self { per, of_last, buckets, series: Series::of(setup), extents }
    }

    /// How many frames a bucket has; 1: nothing is thinned.
    #[must_use]
    pub const fn per(&self) -> u64 {
        self.per
    }

    /// How many frames the bucket at a place has.
    #[must_use]
    pub const fn frames(&self, place: usize) -> u64 {
        if place + 1 == self.buckets.len() { self.of_last } else { self.per }
    }

    /// The buckets, in order of time.
    #[must_use]
    pub fn buckets(&self) -> &[Bucket] {
        &self.buckets
    }

    /// The extents of one number, one for each bucket; nothing for one that the setup does not have.
    pub fn extents(&self, series: Series) -> impl Iterator<Item = Extent> + '_ {
        let used = self.series.len().max(1);
        let place = self.series.iter().position(|of| *of == series);
        let all = place.map(|place| self.extents.iter().skip(place).step_by(used).copied());
        all.into_iter().flatten()
    }

    /// Whether a number ever had a value.
    #[must_use]
    pub fn has(&self, series: Series) -> bool {
        self.extents(series).any(Extent::is_any)
    }
}

/// See the module.
#[derive(Clone, Debug, PartialEq)]
pub struct Plot {
    /// What to add to the instants of frames to get the time that stands in the trace, in ns.
    pub origin_ns: i128,
    /// The numbers that it holds.
    pub series: Vec<Series>,
    /// The lanes that it holds.
    pub lanes: Vec<Lane>,
    /// The whole trace.
    pub overview: Stretch,
    /// Every frame around what happened, in order of time, where the overview is thinned.
    pub closeups: Vec<Stretch>,
    /// What each of the first trips was decided by, around it, and the one that is asked for.
    pub decided: Vec<Decided>,
}

/// Replays a trace and keeps what is drawn of it.
///
/// # Errors
///
/// As [`replay`](crate::replay::replay).
pub fn replay_plotted(
    setup: &Setup,
    source: &mut impl FrameSource,
    progress: &mut dyn FnMut(u64),
) -> Result<(Outcome, Plot), ReplayError> {
    let mut around = Around { chunks: Chunks::new(2), closeups: Closeups::new(Asked::First) };
    let mut collector = Collector::new(setup);
    let outcome = replay_observed(setup, source, progress, &mut around, &mut collector)?;
    let plot = Plot::new(setup, &outcome, collector, around.closeups);
    Ok((outcome, plot))
}

impl Plot {
    /// What a trip was decided by, by its place in the list, where that is kept.
    #[must_use]
    pub fn decided_of(&self, trip: usize) -> Option<&Decided> {
        self.decided.iter().find(|decided| decided.trip == trip && !decided.frames.is_empty())
    }

    pub(crate) fn new(setup: &Setup, outcome: &Outcome, collector: Collector, closeups: Closeups) -> Self {
        let overview = Stretch::new(setup, collector);
        let (mut closeups, decided) = closeups.finish(setup, outcome);
        if overview.per() == 1 {
            closeups.clear();
        }
        Self {
            origin_ns: outcome.origin_ns,
            series: Series::of(setup),
            lanes: Lane::of(setup),
            overview,
            closeups,
            decided,
        }
    }
}

/// Keeps the frames around what happens.
struct Around {
    chunks: Chunks,
    closeups: Closeups,
}

impl Observer for Around {
    fn before(&mut self, axis: &ReplayAxis) {
        self.chunks.before(axis);
    }

    fn after(&mut self, found: &Outcome, frames: &mut Vec<Frame>, offered: &[Offered]) {
        self.chunks.after(frames, offered);
        self.closeups.after(&self.chunks, found);
    }
}
