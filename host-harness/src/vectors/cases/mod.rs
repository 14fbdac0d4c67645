//! The cases: what is shown to the axis, derived from its setup.

mod apart;
mod clock;
mod input;
mod mixed;
mod place;
mod ramp;
mod sharpen;
mod source;
mod speed;
mod stop;
mod template;

use super::Case;
use super::play::{Play, Side};
use crate::replay::ReplayAxis;
use crate::setup::{By, MonitorKind, RampSetup, Setup, StandstillSetup, Until};

/// All cases of a setup, in the order of its parts.
pub(super) fn all(setup: &Setup, points: u16, axis: &ReplayAxis) -> Vec<Case> {
    let mut book = Book { setup, points, axis, cases: Vec::new() };
    clock::cases(&mut book);
    source::cases(&mut book);
    input::cases(&mut book);
    speed::cases(&mut book);
    place::cases(&mut book);
    ramp::cases(&mut book);
    stop::cases(&mut book);
    apart::cases(&mut book);
    mixed::cases(&mut book);
    sharpen::cases(&mut book);
    book.cases
}

/// The cases so far.
struct Book<'a> {
    setup: &'a Setup,
    points: u16,
    axis: &'a ReplayAxis,
    cases: Vec<Case>,
}

/// How messages call a channel, and a direction.
const CHANNELS: [&str; 2] = ["A", "B"];

fn towards(sign: i128) -> &'static str {
    if sign < 0 { "backwards" } else { "forwards" }
}

/// Both channels, both directions.
fn every_way() -> impl Iterator<Item = (Side, i128)> {
    [0, 1].into_iter().flat_map(|side| [1, -1].map(|sign| (side, sign)))
}

impl<'a> Book<'a> {
    fn play(&self) -> Play<'a> {
        Play::new(self.setup, self.axis)
    }

    fn keep(&mut self, about: impl Into<String>, play: Play<'_>) {
        self.cases.push(play.into_case(about.into()));
    }

    fn window(&self) -> u64 {
        self.setup.speed.window.value.as_nanos()
    }

    fn name(&self, monitor: usize) -> &'a str {
        &self.setup.monitors[monitor].name
    }
}

/// The ramp of a monitor, if it has one.
pub(super) fn ramp_of(kind: &MonitorKind) -> Option<&RampSetup> {
    match kind {
        MonitorKind::SpeedLimit { ramp, .. } => ramp.as_ref(),
        MonitorKind::Stop { by: By::Ramp { ramp, .. }, .. } => Some(ramp),
        _ => None,
    }
}

/// The windows of a standstill, also of one that follows a stop.
pub(super) fn windows_of(kind: &MonitorKind) -> Option<&StandstillSetup> {
    match kind {
        MonitorKind::Standstill(windows) | MonitorKind::Stop { until: Until::Standstill(windows), .. } => {
            Some(windows)
        }
        _ => None,
    }
}

/// Stays in violation until the on-delay of a monitor is over: a frame 1 ns before its end, and one at it. `speeds` keep it in
/// violation where that takes longer than a reading lasts.
fn hold(play: &mut Play<'_>, on_delay: u64, speeds: [i128; 2]) {
    let begin = play.now;
    if on_delay >= play.timeout() {
        play.glide(speeds, begin + on_delay - 1);
    } else if on_delay > 1 {
        play.bare(begin + on_delay - 1);
    }
    if on_delay > 0 {
        play.bare(begin + on_delay);
    }
}
