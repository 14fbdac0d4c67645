//! Replays a trace the way the program does.

use std::path::Path;

use host_harness::replay::{ReplayAxis, axis, layout, replay};
use host_harness::report::Report;
use host_harness::setup::Setup;
use host_harness::trace::{Options, Reader};
use monitor_core::{Frame, Outcome};

use super::fetched::folder;

/// A setup of this folder in which some text, which must be there once, is replaced.
pub fn setup_with(name: &str, replaced: &[(&str, &str)]) -> Setup {
    let path = folder().join(name);
    let mut text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{name}: {error}"));
    for (old, new) in replaced {
        assert_eq!(text.matches(old).count(), 1, "`{old}` in {name}");
        text = text.replace(old, new);
    }
    Setup::parse(&text, &path).unwrap_or_else(|error| panic!("{}", error.render(false)))
}

/// A setup of this folder.
pub fn setup(name: &str) -> Setup {
    setup_with(name, &[])
}

fn open(setup: &Setup, trace: &Path) -> Reader {
    let layout = layout(setup).expect("the layout of a setup that was accepted");
    Reader::open(trace, &layout, Options { skip_bad: false }).unwrap_or_else(|error| panic!("{error}"))
}

/// The report on a trace.
pub fn report(setup: &Setup, trace: &Path) -> Report {
    let outcome = replay(setup, &mut open(setup, trace), &mut |_| {});
    let outcome = outcome.unwrap_or_else(|error| panic!("{error}"));
    Report::new(setup, &outcome, &trace.display().to_string(), 0)
}

/// Shows every frame of a trace with what the monitors made of it.
pub fn each_frame(setup: &Setup, trace: &Path, mut show: impl FnMut(&Frame, &Outcome, &ReplayAxis)) {
    let mut axis = axis(setup).expect("the axis of a setup that was accepted");
    let mut reader = open(setup, trace);
    let mut batch = Vec::new();
    while reader.next_batch(&mut batch).unwrap_or_else(|error| panic!("{error}")) {
        for frame in &batch {
            let outcome = axis.step(frame);
            show(frame, &outcome, &axis);
        }
    }
}
