//! The frames of an excerpt evaluated again by the core with other settings.

use monitor_core::{AxisConfig, AxisState, Channel, Frame, Instant, MonitorSet, Outcome as Seen, Reset};

use super::excerpt::Excerpt;
use super::track::{Line, each_frame};
use crate::replay::{FaultKind, TripRule, analogue_id, axis};
use crate::setup::{HISTORY_POINTS, MAX_INPUTS, MAX_MONITORS, Setup};

type State = AxisState<HISTORY_POINTS, MAX_MONITORS, MAX_INPUTS>;
type Config = AxisConfig<HISTORY_POINTS, MAX_MONITORS, MAX_INPUTS>;

/// What shall not happen again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Event {
    /// A trip of this rule; of a monitor on either channel.
    Trip(TripRule),
    /// A fault of this kind.
    Fault(FaultKind),
}

impl Event {
    fn happens(self, seen: &Seen, state: &State) -> bool {
        match self {
            Self::Trip(TripRule::Monitor(monitor, _)) => {
                holds(seen.tripped.a, monitor) || holds(seen.tripped.b, monitor)
            }
            Self::Trip(TripRule::PositionDiscrepancy) => seen.position_discrepancy_tripped,
            Self::Trip(TripRule::SpeedDiscrepancy) => seen.speed_discrepancy_tripped,
            Self::Trip(TripRule::Analogue(of)) => {
                analogue_id(of).is_some_and(|id| seen.analogue_tripped.iter().any(|tripped| tripped == id))
            }
            Self::Fault(FaultKind::Channel(channel, fault, _)) => *seen.faults.of(channel) == Some(fault),
            Self::Fault(FaultKind::Input(input)) => {
                seen.input_faults.iter().any(|faulted| usize::from(faulted.index()) == input)
            }
            Self::Fault(FaultKind::Analogue(of, channel, fault, _)) => {
                analogue_id(of).and_then(|id| state.analogue_fault(id, channel)) == Some(fault)
            }
            Self::Fault(FaultKind::Unreferenced(monitor, channel)) => {
                holds(state.unreferenced(channel), monitor)
            }
            Self::Fault(FaultKind::Clock) => seen.clock_fault,
        }
    }
}

fn holds(set: MonitorSet, monitor: usize) -> bool {
    set.to_bits() & (1 << monitor) != 0
}

/// Frames, and the state of the axis before them.
pub(super) struct Rerun {
    state: State,
    frames: Vec<Frame>,
    /// Readings of analogue values, each to be handed in before the frame of this place.
    offered: Vec<(usize, Line)>,
}

impl Rerun {
    /// From the frame at `start` on, with what the axis of the replay knew then. `None` where the excerpt begins later.
    pub(super) fn at(excerpt: &Excerpt, start: Instant) -> Option<Self> {
        if excerpt.first()? > start {
            return None;
        }
        let chunks = excerpt.from(start);
        let axis = &chunks.first()?.axis;
        let config = axis.config();
        let mut rerun = Self { state: axis.state().clone(), frames: Vec::new(), offered: Vec::new() };
        for chunk in chunks {
            each_frame(chunk, |frame, lines| {
                if frame.now >= start {
                    rerun.push(frame, lines);
                    return;
                }
                for line in lines {
                    hand_in(config, &mut rerun.state, line);
                }
                let _ = config.step(&mut rerun.state, frame);
            });
        }
        Some(rerun)
    }

    /// From the first frame of the excerpt on, as if the axis had been switched on there.
    pub(super) fn anew(excerpt: &Excerpt) -> Option<Self> {
        let mut rerun = Self { state: State::new(), frames: Vec::new(), offered: Vec::new() };
        for chunk in excerpt.from(excerpt.first()?) {
            each_frame(chunk, |frame, lines| rerun.push(frame, lines));
        }
        Some(rerun)
    }

    fn push(&mut self, frame: &Frame, lines: &[Line]) {
        let place = self.frames.len();
        self.offered.extend(lines.iter().map(|line| (place, *line)));
        self.frames.push(*frame);
    }

    /// The first frame at which it happens with this setup, up to the next accepted reset; `None` where it does not.
    ///
    /// # Errors
    ///
    /// When the core refuses the setup.
    pub(super) fn first(
        &self,
        setup: &Setup,
        event: Event,
    ) -> Result<Option<Instant>, crate::replay::Refused> {
        let (axis, mut state) = (axis(setup)?, self.state.clone());
        let config = axis.config();
        let mut offered = self.offered.iter().peekable();
        for (place, frame) in self.frames.iter().enumerate() {
            while let Some((_, line)) = offered.next_if(|(at, _)| *at <= place) {
                hand_in(config, &mut state, line);
            }
            // What the state holds to pass frames at a glance is of the old settings: the first one is looked at closely.
            let seen = if place == 0 {
                config.step_watched(&mut state, frame, &mut |_, _, _| {})
            } else {
                config.step(&mut state, frame)
            };
            if event.happens(&seen, &state) {
                return Ok(Some(frame.now));
            }
            if seen.reset == Some(Reset::Accepted) {
                break;
            }
        }
        Ok(None)
    }
}

fn hand_in(config: &Config, state: &mut State, (of, channel, reading): &Line) {
    if let Some(id) = analogue_id(*of) {
        config.offer(state, id, *channel, *reading);
    }
}

/// Both channels, A first: an index into what is held for each.
pub(super) const fn index(channel: Channel) -> usize {
    match channel {
        Channel::A => 0,
        Channel::B => 1,
    }
}
