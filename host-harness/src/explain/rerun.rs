//! The frames of an excerpt evaluated again by the core with other settings.

use monitor_core::{AxisConfig, AxisState, Channel, Frame, Instant, MonitorSet, Outcome as Seen, Reset};

use super::excerpt::Excerpt;
use crate::replay::{FaultKind, Line, TripRule, analogue_id, axis};
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

/// What a rerun came to.
#[derive(Clone, Debug, Default)]
pub(super) struct Course {
    /// The first frame at which the event happens.
    pub(super) event: Option<Instant>,
    /// The first frame without the permit after one with it, and what was seen there.
    pub(super) permit_lost: Option<(Instant, Seen)>,
}

impl Rerun {
    /// The frames from `start` to `until`, with what the axis of the replay knew then. `None` where the excerpt begins later.
    pub(super) fn at(excerpt: &Excerpt, start: Instant, until: Instant) -> Option<Self> {
        if excerpt.first()? > start {
            return None;
        }
        let chunks = excerpt.from(start);
        let axis = &chunks.first()?.axis;
        let config = axis.config();
        let mut rerun = Self { state: axis.state().clone(), frames: Vec::new(), offered: Vec::new() };
        for chunk in
            chunks.iter().take_while(|chunk| chunk.frames.first().is_some_and(|frame| frame.now <= until))
        {
            chunk.each_frame(|frame, lines| {
                if frame.now >= start {
                    rerun.push(frame, lines, until);
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
    pub(super) fn anew(excerpt: &Excerpt, until: Instant) -> Option<Self> {
        let mut rerun = Self { state: State::new(), frames: Vec::new(), offered: Vec::new() };
        for chunk in excerpt.from(excerpt.first()?) {
            chunk.each_frame(|frame, lines| rerun.push(frame, lines, until));
        }
        Some(rerun)
    }

    fn push(&mut self, frame: &Frame, lines: &[Line], until: Instant) {
        if frame.now > until {
            return;
        }
        let place = self.frames.len();
        self.offered.extend(lines.iter().map(|line| (place, *line)));
        self.frames.push(*frame);
    }

    /// The first frame at which it happens with this setup, up to an instant or the next accepted reset; `None` where it does not.
    ///
    /// # Errors
    ///
    /// When the core refuses the setup.
    pub(super) fn first(
        &self,
        setup: &Setup,
        event: Event,
        until: Instant,
    ) -> Result<Option<Instant>, crate::replay::Refused> {
        Ok(self.course(setup, event, until, false)?.event)
    }

    /// What happens with this setup, up to the event, an instant, or the next accepted reset, unless it shall go through those.
    ///
    /// # Errors
    ///
    /// When the core refuses the setup.
    pub(super) fn course(
        &self,
        setup: &Setup,
        event: Event,
        until: Instant,
        through_resets: bool,
    ) -> Result<Course, crate::replay::Refused> {
        let (axis, mut state) = (axis(setup)?, self.state.clone());
        let config = axis.config();
        let mut offered = self.offered.iter().peekable();
        let mut course = Course::default();
        let mut permit = false;
        let frames = self.frames.iter().take_while(|frame| frame.now <= until);
        for (place, frame) in frames.enumerate() {
            while let Some((_, line)) = offered.next_if(|(at, _)| *at <= place) {
                hand_in(config, &mut state, line);
            }
            // What the state holds to pass frames at a glance is of the old settings: the first one is looked at closely.
            let seen = if place == 0 {
                config.step_watched(&mut state, frame, &mut |_, _, _| {})
            } else {
                config.step(&mut state, frame)
            };
            if permit && !seen.permit {
                course.permit_lost.get_or_insert((frame.now, seen));
            }
            permit = seen.permit;
            if event.happens(&seen, &state) {
                course.event = Some(frame.now);
                break;
            }
            if seen.reset == Some(Reset::Accepted) && !through_resets {
                break;
            }
        }
        Ok(course)
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
