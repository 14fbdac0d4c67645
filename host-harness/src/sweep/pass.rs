//! One reading of a trace for many points.

use monitor_core::Span;
use rayon::prelude::*;

use super::grid::Group;
use super::identity::{Identity, Watched};
use super::{Found, Step, Sweep, SweepError};
use crate::replay::{Borrowed, Cycled, FrameSource, Nobody, ReplayError, Run, axis};
use crate::setup::Setup;
use crate::trace::{Prefetch, Reader, TraceError};

pub(super) struct Pass {
    /// By its place in the sweep.
    pub(super) trace: usize,
    pub(super) group: Group,
}

/// One point while the trace goes by.
struct Lane<'s> {
    point: usize,
    setup: &'s Setup,
    run: Run,
}

impl Pass {
    /// What each point of the group comes to, and what the bytes of the trace were.
    pub(super) fn run(
        &self,
        sweep: &Sweep,
        progress: &(dyn Fn(Step) + Sync),
    ) -> Result<(Identity, Vec<(usize, Found)>), SweepError> {
        let trace = &sweep.traces[self.trace];
        let bytes = Watched::default();
        let reader = Reader::open_seen(&trace.path, &self.group.layout, sweep.options, bytes.shown())?;
        let mut lanes = self.lanes(sweep)?;
        let mut source = Prefetch::start(reader).map_err(SweepError::Thread)?;
        match self.group.cycle {
            Some(cycle) => {
                // A gap is told by a timeout, which may be what is varied; no result of a sweep tells of gaps.
                let mut cycled = Cycled::new(Borrowed(&mut source), cycle, Span::from_nanos(u64::MAX));
                show(&mut lanes, &mut cycled, progress)?;
            }
            None => show(&mut lanes, &mut source, progress)?,
        }
        let skipped = source.reader().map_or(0, |reader| reader.skipped().total());
        let origin = source.origin_ns();
        // The reader lets go of the file, which it has read to its end.
        drop(source);
        let found = lanes.into_par_iter().map(|Lane { point, setup, run }| {
            let outcome = run.finish(setup, origin, None)?;
            Ok::<_, ReplayError>((point, Found::of(sweep, setup, trace, &outcome, skipped)))
        });
        let found = found.collect::<Result<_, _>>()?;
        Ok((bytes.identity(), found))
    }

    fn lanes<'s>(&self, sweep: &'s Sweep) -> Result<Vec<Lane<'s>>, ReplayError> {
        let points = self.group.points.iter().filter_map(|&point| {
            let setup = sweep.grid.points()[point].setup.as_ref().ok()?;
            Some((point, setup))
        });
        points.map(|(point, setup)| Ok(Lane { point, setup, run: Run::new(setup, axis(setup)?) })).collect()
    }
}

/// Shows all frames to all points, a batch at a time.
fn show(
    lanes: &mut [Lane<'_>],
    source: &mut impl FrameSource,
    progress: &(dyn Fn(Step) + Sync),
) -> Result<(), TraceError> {
    let mut batch = Vec::new();
    while source.next_batch(&mut batch)? {
        let offered = source.offered();
        lanes.par_iter_mut().for_each(|lane| lane.run.batch(&batch, offered, &mut Nobody));
        progress(Step::Frames((batch.len() * lanes.len()) as u64));
    }
    Ok(())
}
