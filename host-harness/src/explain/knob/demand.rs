//! The settings that a demand hangs on: with another value it would have come later, or not at all.

use super::lens::Lens;
use super::rules::{LONGEST, key, quoted};
use super::{Knob, Since, Way};
use crate::setup::{DemandSource, InputLines, InputSetup, MonitorKind, OneSided, Setup};

/// Those of everything that demands a monitor by itself.
pub(super) fn of_demands(setup: &Setup, monitor: usize) -> Vec<Knob> {
    let of_source = |source: DemandSource| match source {
        DemandSource::Input(input) => of_input(setup, input),
        DemandSource::Output(output) => of_output(setup, output),
    };
    let sources = setup.monitors[monitor].demand.iter().map(|demand| demand.source);
    sources.flat_map(of_source).map(Knob::aside).collect()
}

/// Those of an input: when its levels count, and when it is a fault that they differ.
pub(super) fn of_input(setup: &Setup, input: usize) -> Vec<Knob> {
    let of = format!("input.{}", key(&setup.inputs[input].name));
    let knob = |key: &str, find: fn(&mut InputSetup) -> Option<Lens<'_>>| {
        Knob::new(format!("{of}.{key}"), Way::Up, move |s| find(s.inputs.get_mut(input)?))
            .since(Since::BeforeLines)
            .at_most(LONGEST)
    };
    let filter = knob("filter", |input| Some(Lens::Time(&mut input.filter)))
        .meaning("every demand of it takes effect that much later");
    let InputLines::Dual { dual, .. } = &setup.inputs[input].lines else { return vec![filter] };
    let discrepancy_time = knob("discrepancy_time", |input| match &mut input.lines {
        InputLines::Dual { dual, .. } => Some(Lens::Time(&mut dual.discrepancy_time)),
        InputLines::Single(_) => None,
    })
    .meaning("lines that do not agree are a fault that much later");
    let mut knobs = vec![discrepancy_time, filter];
    if dual.one_sided == OneSided::Fault {
        let one_sided = knob("one_sided", |input| match &mut input.lines {
            InputLines::Dual { dual, .. } => Some(Lens::OneSided(&mut dual.one_sided)),
            InputLines::Single(_) => None,
        });
        knobs.push(one_sided.at_most(1).aside().meaning("a line that no longer follows is not found"));
    }
    knobs
}

/// Those of an output that demands: where it changes, to either side.
fn of_output(setup: &Setup, output: usize) -> Vec<Knob> {
    const ELSEWHERE: &str = "everything that it demands is demanded elsewhere";
    let of = format!("monitor.{}", quoted(&setup.monitors[output].name));
    let both = |key: &str, rounds, find: fn(&mut MonitorKind) -> Option<Lens<'_>>| {
        let one = |looser| {
            Knob::new(format!("{of}.{key}"), looser, move |s| find(&mut s.monitors.get_mut(output)?.kind))
                .since(Since::Demand)
                .rounded(rounds)
                .meaning(ELSEWHERE)
        };
        [one(Way::Up), one(Way::Down).at_most(-(1 << 32))]
    };
    match setup.monitors[output].kind {
        MonitorKind::CamOutput { .. } => {
            let low = both("low", Way::Up, |kind| match kind {
                MonitorKind::CamOutput { range, .. } => Some(Lens::Position(&mut range.low)),
                _ => None,
            });
            let high = both("high", Way::Down, |kind| match kind {
                MonitorKind::CamOutput { range, .. } => Some(Lens::Position(&mut range.high)),
                _ => None,
            });
            low.into_iter().chain(high).collect()
        }
        MonitorKind::SpeedOutput { .. } => both("threshold", Way::Down, |kind| match kind {
            MonitorKind::SpeedOutput { threshold, .. } => Some(Lens::Speed(threshold)),
            _ => None,
        })
        .into_iter()
        .collect(),
        _ => Vec::new(),
    }
}
