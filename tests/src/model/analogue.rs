//! Analogue values: two lines each, their faults, and the lines against each other.

use super::discrepancy::{DiscrepancySeen, timed};
use super::exact::Q;
use super::setup::Analogue;
use super::verdict::{Evidence, Hold, Limit, Tri};
use num_traits::Signed;

/// Why a line of an analogue value is faulted at a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AnalogueFault {
    /// The newest reading is marked invalid.
    Invalid,
    /// A reading from before the newest one, or another value at its instant, or the newest one is from the future.
    OutOfOrder,
    /// The newest reading is too old, or none ever came.
    Stale,
    /// The value is not plausible.
    Range,
}

/// What one line says at a frame.
#[derive(Clone, Debug, PartialEq)]
pub struct LineSeen {
    /// The fault of this frame.
    pub fault: Option<AnalogueFault>,
    /// The first fault since the last accepted reset, after the reset of this frame.
    pub latched: Option<AnalogueFault>,
    /// The value of the newest reading; `None` when there is none, or it is marked invalid.
    pub value: Option<Q>,
    /// No reading yet.
    pub warming_up: bool,
}

/// What an analogue value says at a frame.
#[derive(Clone, Debug, PartialEq)]
pub struct AnalogueSeen {
    /// Channel A, channel B.
    pub lines: [LineSeen; 2],
    /// The lines against each other.
    pub discrepancy: DiscrepancySeen,
}

/// A reading of a line: when it was captured, and the value, or `None` when it is marked invalid.
type Offered = (u64, Option<Q>);

#[derive(Clone, Debug)]
pub(super) struct LineState {
    setup: Analogue,
    first_frame: Option<u64>,
    newest: Option<Offered>,
    /// A reading since the frame before was not in order.
    disordered: bool,
    pub fault: Option<AnalogueFault>,
    pub latched: Option<AnalogueFault>,
}

impl LineState {
    fn new(setup: Analogue) -> Self {
        Self { setup, first_frame: None, newest: None, disordered: false, fault: None, latched: None }
    }

    fn offer(&mut self, reading: Offered) {
        let in_order = self.newest.as_ref().is_none_or(|newest| reading.0 > newest.0 || reading == *newest);
        if in_order {
            self.newest = Some(reading);
        } else {
            self.disordered = true;
        }
    }

    fn step(&mut self, now: u64) {
        let first_frame = *self.first_frame.get_or_insert(now);
        self.fault = self.judge(now, first_frame);
        self.disordered = false;
        if self.latched.is_none() {
            self.latched = self.fault;
        }
    }

    fn judge(&self, now: u64, first_frame: u64) -> Option<AnalogueFault> {
        let Some((at, value)) = &self.newest else {
            return (now - first_frame > self.setup.timeout_ns).then_some(AnalogueFault::Stale);
        };
        let Some(value) = value else { return Some(AnalogueFault::Invalid) };
        if self.disordered || *at > now {
            Some(AnalogueFault::OutOfOrder)
        } else if now - at > self.setup.timeout_ns {
            Some(AnalogueFault::Stale)
        } else {
            (*value < self.setup.low || *value > self.setup.high).then_some(AnalogueFault::Range)
        }
    }

    /// Whether a reading was ever handed in.
    pub fn has_begun(&self) -> bool {
        self.newest.is_some()
    }

    /// The value of the newest reading.
    pub fn value(&self) -> Option<&Q> {
        self.newest.as_ref()?.1.as_ref()
    }

    fn seen(&self) -> LineSeen {
        LineSeen {
            fault: self.fault,
            latched: self.latched,
            value: self.value().cloned(),
            warming_up: !self.has_begun(),
        }
    }
}

#[derive(Clone, Debug)]
pub(super) struct AnalogueState {
    setup: Analogue,
    pub lines: [LineState; 2],
    pub hold: Hold,
}

impl AnalogueState {
    pub fn new(setup: Analogue) -> Self {
        let lines = [(); 2].map(|()| LineState::new(setup.clone()));
        Self { setup, lines, hold: Hold::default() }
    }

    /// Takes a reading that is handed in before a frame.
    pub fn offer(&mut self, channel: usize, captured_at: u64, value: Option<Q>) {
        self.lines[channel].offer((captured_at, value));
    }

    pub fn step(&mut self, now: u64) {
        for line in &mut self.lines {
            line.step(now);
        }
    }

    /// Compares the lines.
    pub fn compare(&mut self, now: u64) -> AnalogueSeen {
        let seen = self.difference().unwrap_or_else(DiscrepancySeen::nothing);
        let time = self.setup.discrepancy_time_ns;
        let discrepancy = timed(seen, &mut self.hold, now, time, Evidence::Value);
        AnalogueSeen { lines: [0, 1].map(|channel| self.lines[channel].seen()), discrepancy }
    }

    /// Nothing is rounded.
    fn difference(&self) -> Option<DiscrepancySeen> {
        if self.lines.iter().any(|line| line.fault.is_some()) {
            return None;
        }
        let difference = self.lines[0].value()? - self.lines[1].value()?;
        let violated = difference.abs() > self.setup.tolerance;
        Some(DiscrepancySeen {
            difference: Some(difference.clone()),
            difference_held: Some(difference),
            limit: Some(Limit::setting(&self.setup.tolerance)),
            verdict: if violated { Tri::Yes } else { Tri::No },
            violated,
            ..DiscrepancySeen::nothing()
        })
    }

    pub fn clear(&mut self) {
        self.hold.latched = false;
        for line in &mut self.lines {
            line.latched = None;
        }
    }
}
