//! The cases: what is shown to the axis, derived from its setup.

mod acceleration;
mod apart;
mod braking;
mod clock;
mod input;
mod mixed;
mod output;
mod overrun;
mod place;
mod ramp;
mod reaction;
mod reference;
mod sharpen;
mod source;
mod speed;
mod stop;
mod template;

use super::Case;
use super::edge;
use super::play::{Play, Sensor, Side};
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
    acceleration::cases(&mut book);
    braking::cases(&mut book);
    overrun::cases(&mut book);
    reference::cases(&mut book);
    output::cases(&mut book);
    reaction::cases(&mut book);
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

/// Whether a case is found in which what such a rule observes on a channel comes out exactly at one of its limits.
pub(super) fn hits_exactly(setup: &Setup, monitor: usize, side: Side) -> bool {
    let nano = Sensor::of([&setup.a, &setup.b][side]).nano;
    let kind = &setup.monitors[monitor].kind;
    let window = setup.speed.window.value.as_nanos();
    let longest = window * 5 / 4;
    [1, -1].into_iter().any(|sign| {
        if let Some(limit) = acceleration::limit_of(kind, sign) {
            return edge::close_rise(limit, nano, window, longest).at.is_some();
        }
        if let Some(limit) = braking::limit_of(kind) {
            let speed = template::entry_speed(setup, monitor);
            return edge::close_fall(limit, speed, nano, window, longest).at.is_some();
        }
        if let Some(distance) = place::distance(setup, monitor, side, sign) {
            let counts = distance * 1_000_000_000 / nano;
            return (counts * nano + 999_999_999) / 1_000_000_000 == distance;
        }
        let limit = speed::limit_of(kind, sign);
        limit.is_some_and(|limit| edge::close(limit, nano, window, longest).at.is_some())
    })
}

/// Comes to rest and waits until a reset can be accepted: until the stop that a trip of the monitor demands, if it does, is complete.
fn calm(play: &mut Play<'_>, monitor: usize) {
    play.settle();
    if let Some(stop) = play.setup.monitors[monitor].reaction {
        stop::rest_until_complete(play, stop);
        play.settle();
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
