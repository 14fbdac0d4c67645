//! A picture of one trip for a document, or of the terminal: the speed against its limits, what the trip was decided by, and what was on.
//!
//! [`Picture::svg`] writes it as SVG with its texts as texts, [`png`] turns that into pixels, and [`Picture::in_text`] draws the speed in
//! characters. Nothing is thinned away: where several frames fall into one column of pixels, or were one bucket before, all between the
//! least and the greatest of them is filled.

mod curve;
mod elements;
mod lanes;
mod moment;
mod panel;
mod paths;
mod png;
mod svg;
#[cfg(test)]
mod tests;
mod text;
mod ticks;

pub use moment::Moment;
pub(crate) use moment::{before, view_of_trip};
pub use png::{PngError, SCALE, png};

use lanes::Row;
use panel::Panel;

use crate::plot::Plot;
use crate::replay::Outcome;
use crate::setup::Setup;

/// A vertical line with its name.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Mark {
    at: u64,
    kind: MarkKind,
    name: String,
}

/// What a vertical line is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum MarkKind {
    Demand,
    Crossed,
    Tripped,
    /// Another trip than the one that the picture is of.
    Other,
}

/// What is drawn of a replay around one moment.
#[derive(Clone, Debug)]
pub struct Picture {
    /// That of the setup.
    title: String,
    trace: String,
    /// What happened, in lines.
    said: Vec<String>,
    /// From when to when, on the clock of the frames.
    view: (u64, u64),
    origin_ns: i128,
    panels: Vec<Panel>,
    rows: Vec<Row>,
    marks: Vec<Mark>,
    /// Where nothing was seen: faults, and gaps in the trace.
    unseen: Vec<(u64, u64)>,
}

impl Picture {
    /// `trace` names the trace.
    #[must_use]
    pub fn new(setup: &Setup, outcome: &Outcome, plot: &Plot, trace: &str, moment: Moment) -> Self {
        let view = moment.view(setup, outcome);
        let faults = outcome.faults.kept.iter().map(|fault| (fault.from.as_nanos(), fault.to.as_nanos()));
        let gaps = outcome.gaps.kept.iter().map(|gap| (gap.from.as_nanos(), gap.to.as_nanos()));
        let in_view = |&(from, to): &(u64, u64)| from <= view.1 && view.0 <= to;
        let mut unseen: Vec<(u64, u64)> = faults.chain(gaps).filter(in_view).collect();
        unseen.sort_unstable();
        unseen.dedup_by(|next, before| {
            let touches = next.0 <= before.1;
            if touches {
                before.1 = before.1.max(next.1);
            }
            touches
        });
        let mut said = moment.said(setup, outcome);
        said.extend(panel::missing(setup, outcome, plot, moment));
        Self {
            title: setup.title.clone(),
            trace: trace.to_owned(),
            said,
            view,
            origin_ns: outcome.origin_ns,
            panels: panel::panels(setup, outcome, plot, moment, view),
            rows: lanes::rows(plot, view),
            marks: moment.marks(outcome, view),
            unseen,
        }
    }
}
