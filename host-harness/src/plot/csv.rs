//! A plot as CSV, for people who draw it themselves.

use std::fmt::Write;

use super::{Extent, Lane, Plot, Series, State};
use crate::report::Seconds;

/// A plot as CSV: a row for each frame, or for each bucket of frames where the trace is thinned.
///
/// | column | what it has |
/// | --- | --- |
/// | `first_s`, `last_s` | the first and the last frame of the row, in seconds on the clock of the trace, exactly |
/// | `frames` | how many frames those are |
/// | `NAME_low`, `NAME_high` | the least and the greatest of a [series](Series) in them, in its unit; empty where it has no value |
/// | `KIND:NAME_low`, `KIND:NAME_high` | 0 or 1: the same of what is on or off, a [lane](Lane) |
///
/// Around what happened there is a row for every frame, in place of the buckets that lie there: [`Plot::finest`] says how the two meet. A
/// series that never has a value has no columns. Numbers are for the eye, as the module says; times are not: they never go
/// through floating point.
#[must_use]
pub fn csv(plot: &Plot) -> String {
    let series: Vec<Series> = (plot.series.iter().copied())
        .filter(|series| plot.stretches().any(|stretch| stretch.has(*series)))
        .collect();
    let mut out = String::from("first_s,last_s,frames");
    let names = series.iter().map(|series| series.name()).chain(plot.lanes.iter().map(lane_name));
    for name in names {
        for end in ["low", "high"] {
            out.push(',');
            out += &cell(&format!("{name}_{end}"));
        }
    }
    out.push('\n');
    for (stretch, places) in plot.finest() {
        let extents: Vec<Vec<Extent>> =
            series.iter().map(|series| stretch.extents(*series).collect()).collect();
        for place in places {
            let Some(bucket) = stretch.buckets().get(place) else { continue };
            let at = |now: u64| Seconds(i128::from(now) + plot.origin_ns);
            // Writing to a String does not fail.
            let _ = write!(out, "{},{},{}", at(bucket.first), at(bucket.last), stretch.frames(place));
            for of_all in &extents {
                match of_all.get(place).filter(|extent| extent.is_any()) {
                    Some(extent) => {
                        let _ = write!(out, ",{},{}", extent.low, extent.high);
                    }
                    None => out += ",,",
                }
            }
            for lane in &plot.lanes {
                out += match lane.state(bucket) {
                    State::Off => ",0,0",
                    State::On => ",1,1",
                    State::Both => ",0,1",
                };
            }
            out.push('\n');
        }
    }
    out
}

fn lane_name(lane: &Lane) -> String {
    format!("{}:{}", lane.kind.name(), lane.name)
}

/// Text as one cell, whatever is in it.
fn cell(text: &str) -> String {
    if text.contains(['"', ',', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}
