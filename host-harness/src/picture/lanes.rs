//! Inputs, monitors and the permit over the time of a picture.

use crate::plot::{Lane, LaneKind, Plot, State};

/// What a bar shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Bar {
    /// On, demanding, active, true.
    On,
    /// Violated.
    Violated,
    /// A channel that cannot be seen.
    Fault,
}

/// From when to when, and whether at all frames of that.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Segment {
    pub(super) from: u64,
    pub(super) to: u64,
    pub(super) is_whole: bool,
    pub(super) bar: Bar,
}

/// One of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Row {
    pub(super) label: String,
    pub(super) segments: Vec<Segment>,
}

/// Those that are ever on in view. Lines are left out: their input says what they come to. A monitor and its violation share a row.
pub(super) fn rows(plot: &Plot, view: (u64, u64)) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    for lane in &plot.lanes {
        let (label, bar) = match lane.kind {
            LaneKind::Line => continue,
            LaneKind::Input => (format!("{} demands", lane.name), Bar::On),
            LaneKind::Monitor => (lane.name.clone(), Bar::On),
            LaneKind::Violated => (lane.name.clone(), Bar::Violated),
            LaneKind::Output => (format!("{} is true", lane.name), Bar::On),
            LaneKind::Fault => (format!("{} cannot be seen", lane.name), Bar::Fault),
            LaneKind::WarmingUp | LaneKind::Permit => (lane.name.clone(), Bar::On),
        };
        let segments = segments(plot, lane, view, bar);
        match rows.last_mut() {
            Some(row) if lane.kind == LaneKind::Violated && row.label == label => {
                row.segments.extend(segments);
            }
            _ if segments.is_empty() => {}
            _ => rows.push(Row { label, segments }),
        }
    }
    rows
}

fn segments(plot: &Plot, lane: &Lane, view: (u64, u64), bar: Bar) -> Vec<Segment> {
    let mut segments: Vec<Segment> = Vec::new();
    let mut before = State::Off;
    for (stretch, places) in plot.finest() {
        for bucket in &stretch.buckets()[places] {
            // A state lasts until the next frame.
            if let Some(open) = segments.last_mut().filter(|_| before != State::Off) {
                open.to = open.to.max(bucket.first);
            }
            if bucket.first > view.1 {
                break;
            }
            let state = lane.state(bucket);
            if state != State::Off {
                let is_whole = state == State::On;
                match segments.last_mut().filter(|_| before == state) {
                    Some(open) => open.to = open.to.max(bucket.last),
                    None => segments.push(Segment { from: bucket.first, to: bucket.last, is_whole, bar }),
                }
            }
            before = state;
        }
    }
    segments.retain(|segment| segment.from <= view.1 && segment.to >= view.0);
    for segment in &mut segments {
        segment.from = segment.from.max(view.0);
        segment.to = segment.to.min(view.1);
    }
    segments
}
