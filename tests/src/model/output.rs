//! Outputs: their two states on a channel, and the brake.

use super::exact::Q;
use super::monitor::Lane;
use super::rule::{self, Finding};
use super::source::Tracker;
use num_traits::Signed;

/// The two states of an output, of one channel or of both together.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct States {
    /// What it tells is surely so.
    pub on: bool,
    /// What it tells may be so.
    pub near: bool,
}

impl States {
    /// Of something that is not known.
    const UNKNOWN: Self = Self { on: false, near: true };

    /// The output as a whole: on at both channels, near on either.
    pub fn together([a, b]: [Self; 2]) -> Self {
        Self { on: a.on && b.on, near: a.near || b.near }
    }
}

/// A state that becomes true where `begins` and false where `ends`.
fn moved(state: &mut bool, begins: bool, ends: bool) {
    *state = begins || *state && !ends;
}

/// The states of a cam. Its ends are whole ULPs, so the rounded position is on the same side of them as the exact one.
pub(super) fn cam(lane: &mut Lane, tracker: &Tracker, [low, high]: [&Q; 2], hysteresis: &Q) -> Finding {
    let position = tracker.referenced();
    match position.as_ref().filter(|_| tracker.fault.is_none()) {
        None => lane.states = States::UNKNOWN,
        Some(x) => {
            let is_within = |margin: &Q| *x >= low - margin && *x <= high + margin;
            let inside = is_within(&Q::default());
            moved(&mut lane.states.on, is_within(&-hysteresis), !inside);
            moved(&mut lane.states.near, inside, !is_within(hysteresis));
        }
    }
    if position.is_some() { Finding::nothing() } else { rule::without_reference(tracker) }
}

/// The states of a speed output, by the exact speed: rounded up, it would reach its threshold before it does.
pub(super) fn slow(lane: &mut Lane, tracker: &Tracker, threshold: &Q, hysteresis: &Q) -> Finding {
    let speed = tracker.speed().map(Q::abs);
    match speed.as_ref().filter(|_| tracker.fault.is_none()) {
        None => lane.states = States::UNKNOWN,
        Some(v) => {
            moved(&mut lane.states.on, *v < threshold - hysteresis, v >= threshold);
            moved(&mut lane.states.near, v < threshold, *v >= threshold + hysteresis);
        }
    }
    if speed.is_some() { Finding::nothing() } else { Finding::warming_up() }
}

/// Whether the brake may be released.
#[derive(Clone, Debug, Default)]
pub(super) struct Brake {
    open: bool,
    /// The first frame without the permit.
    gone: Option<u64>,
}

impl Brake {
    /// Moves to the frame at `now`, which comes `elapsed_ns` after the one before.
    pub fn step(&mut self, now: u64, elapsed_ns: u64, permit: bool, delay_ns: u64) -> bool {
        if permit {
            self.gone = None;
            self.open = true;
        } else {
            let gone = *self.gone.get_or_insert(now);
            self.open &= now - gone + elapsed_ns <= delay_ns;
        }
        self.open
    }

    /// A clock fault closes it at once.
    pub fn close(&mut self) {
        self.open = false;
    }
}
