//! From when to when something was so.

use monitor_core::{Channel, Instant};

use super::plan::Rule;
use crate::replay::{Limited, ReplayAxis, Shown, analogue_id};
use crate::setup::Setup;

/// A stretch of a trace in which something was so.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Lasting {
    /// The first frame at which it was.
    pub from: Instant,
    /// The first at which it no longer was; `None`: it lasted to the end of the trace.
    pub until: Option<Instant>,
}

impl Lasting {
    /// Whether it was so just before a frame.
    #[must_use]
    pub fn before(&self, frame: Instant) -> bool {
        self.from < frame && self.until.is_none_or(|until| frame <= until)
    }
}

/// Follows whether something is so.
#[derive(Default)]
pub(super) struct Following {
    all: Limited<Lasting>,
    is_so: bool,
}

impl Following {
    /// Takes in a frame.
    pub(super) fn see(&mut self, now: Instant, is_so: bool) {
        if is_so == self.is_so {
            return;
        }
        self.is_so = is_so;
        if is_so {
            self.all.push(Lasting { from: now, until: None });
        } else if self.all.left_out == 0
            && let Some(last) = self.all.kept.last_mut()
        {
            last.until = Some(now);
        }
    }

    /// All stretches, once the trace is at its end.
    pub(super) fn end(self) -> Limited<Lasting> {
        self.all
    }
}

/// Whether a rule is active and has what it compares, on both channels.
pub(super) fn is_at_work(setup: &Setup, rule: Rule, axis: &ReplayAxis, shown: &Shown<'_>) -> bool {
    let outcome = shown.outcome;
    let has_lines = |of: usize| {
        let id = analogue_id(of);
        Channel::BOTH.iter().all(|&line| {
            id.is_some_and(|id| {
                let reading = axis.state().analogue_reading(id, line).and_then(|reading| reading.value);
                reading.is_some() && axis.state().analogue_fault(id, line).is_none()
            })
        })
    };
    match rule {
        Rule::Position => axis.apart().is_some(),
        Rule::Speed => axis.speeds_apart().is_some(),
        Rule::Analogue(of) => has_lines(of),
        Rule::Monitor(place) => {
            let is_in = |set: monitor_core::MonitorSet| set.iter().any(|id| usize::from(id.index()) == place);
            let has_motion = |channel: Channel| {
                outcome.faults.of(channel).is_none()
                    && axis.position(channel).is_some()
                    && !is_in(*outcome.unreferenced.of(channel))
            };
            let sees = match setup.monitors[place].kind.analogue() {
                Some(of) => has_lines(of),
                None => Channel::BOTH.into_iter().all(has_motion),
            };
            is_in(outcome.active) && !outcome.warming_up && sees
        }
    }
}
