//! Input lines: filter, pairing, disagreement, one-sided cycle, latched fault.

use super::setup::{Input, Lines, OneSided, Pairing};
use monitor_core::Levels;

/// What one input says at a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct InputSeen {
    /// Whether it demands, as the monitors of this frame were told.
    pub demanding: bool,
    /// Whether its fault is latched, after the reset of this frame.
    pub faulted: bool,
    /// Whether its fault became latched at this frame.
    pub became_faulted: bool,
}

/// The level of a line of a frame.
fn level(levels: Levels, line: u8) -> bool {
    levels.to_bits() >> line & 1 == 1
}

/// One line with its filter.
#[derive(Clone, Copy, Debug)]
struct Line {
    read: bool,
    read_since: u64,
    effective: bool,
}

impl Line {
    fn step(state: &mut Option<Self>, now: u64, read: bool, filter_ns: u64) -> bool {
        let line = state.get_or_insert(Self { read, read_since: now, effective: read });
        if line.read != read {
            line.read = read;
            line.read_since = now;
        }
        if now - line.read_since >= filter_ns {
            line.effective = read;
        }
        line.effective
    }
}

/// A running discrepancy timer of a dual-channel input.
#[derive(Clone, Copy, Debug)]
struct Disagreement {
    since: u64,
    /// What both did before: demand, or not; `None` without a frame before.
    from: Option<bool>,
    /// The channel that has been the one that demands; `None` when they changed places.
    alone: Option<usize>,
    /// What the channels came back to without having left it together: a one-sided cycle.
    one_sided: Option<bool>,
}

/// A latched input fault.
#[derive(Clone, Copy, Debug)]
struct Latched {
    /// Whether both channels were seen at rest together at a frame after the fault, and demanding together.
    seen: [bool; 2],
}

/// One input.
#[derive(Clone, Debug)]
pub(super) struct InputState {
    input: Input,
    /// A demand names it inverted: both of its states are watched.
    inverted: bool,
    lines: [Option<Line>; 2],
    /// Which channels demanded at the frame before.
    before: Option<[bool; 2]>,
    now: [bool; 2],
    timer: Option<Disagreement>,
    /// The fault of the present disagreement was already raised.
    raised: bool,
    latched: Option<Latched>,
    /// The fault was not latched before this frame.
    became: bool,
    /// A channel demands at this frame, and none did at the frame before.
    began: bool,
}

impl InputState {
    pub fn new(input: Input, inverted: bool) -> Self {
        Self {
            input,
            inverted,
            lines: [None; 2],
            before: None,
            now: [false; 2],
            timer: None,
            raised: false,
            latched: None,
            became: false,
            began: false,
        }
    }

    /// Reads the lines of one frame.
    pub fn step(&mut self, now: u64, levels: Levels) {
        let filter = self.input.filter_ns;
        let was_latched = self.latched.is_some();
        match self.input.lines {
            Lines::One(line) => {
                let effective = Line::step(&mut self.lines[0], now, level(levels, line), filter);
                self.now = [effective == self.input.demand_high; 2];
            }
            Lines::Two { first, second, pairing, discrepancy_time_ns, one_sided } => {
                let one = Line::step(&mut self.lines[0], now, level(levels, first), filter);
                let two = Line::step(&mut self.lines[1], now, level(levels, second), filter);
                let second_demands_high = match pairing {
                    Pairing::Equivalent => self.input.demand_high,
                    Pairing::Antivalent => !self.input.demand_high,
                };
                self.now = [one == self.input.demand_high, two == second_demands_high];
                self.watch(now, discrepancy_time_ns, one_sided == OneSided::Fault);
            }
        }
        self.began = self.now != [false; 2] && self.before.is_none_or(|before| before == [false; 2]);
        self.before = Some(self.now);
        self.became = self.latched.is_some() && !was_latched;
    }

    /// The timer of a dual-channel input.
    fn watch(&mut self, now: u64, discrepancy_time_ns: u64, one_sided_faults: bool) {
        if let Some(latched) = &mut self.latched {
            for (seen, both) in latched.seen.iter_mut().zip([false, true]) {
                *seen |= self.now == [both; 2];
            }
        }
        let over = self.timer.is_some_and(|timer| now - timer.since >= discrepancy_time_ns);
        match self.now {
            [both, two] if both == two => {
                let is_watched = one_sided_faults && (!both || self.inverted);
                let came_back = |timer: &Disagreement| match timer.one_sided {
                    Some(to) => to == both,
                    None => is_watched && timer.alone.is_some() && timer.from.is_none_or(|from| from == both),
                };
                match &mut self.timer {
                    Some(timer) if came_back(timer) => {
                        timer.one_sided = Some(both);
                        if over {
                            self.raise();
                            self.forget();
                        }
                    }
                    // Together before the end clears; a one-sided cycle that is over by now was not cleared in time.
                    timer => {
                        if over && timer.is_some_and(|timer| timer.one_sided.is_some()) {
                            self.raise();
                        }
                        self.forget();
                    }
                }
            }
            [one, _] => {
                let demanding = usize::from(!one);
                let from = self.before.map(|[both, _]| both);
                let started = Disagreement { since: now, from, alone: Some(demanding), one_sided: None };
                let timer = self.timer.get_or_insert(started);
                timer.alone = timer.alone.filter(|&alone| alone == demanding);
                let since = timer.since;
                if now - since >= discrepancy_time_ns {
                    self.raise();
                }
            }
        }
    }

    /// Latches the fault, once for each disagreement.
    fn raise(&mut self) {
        if !self.raised {
            self.raised = true;
            self.latched = Some(Latched { seen: [false; 2] });
        }
    }

    fn forget(&mut self) {
        self.timer = None;
        self.raised = false;
    }

    pub fn demanding(&self) -> bool {
        self.now != [false; 2] || self.latched.is_some()
    }

    /// Whether it surely demands: both channels do, and no fault is what makes it.
    pub fn surely_demanding(&self) -> bool {
        self.now == [true; 2] && self.latched.is_none()
    }

    /// Whether it declares a position at this frame.
    pub fn declares(&self) -> bool {
        self.began && self.latched.is_none()
    }

    pub fn became_faulted(&self) -> bool {
        self.became
    }

    pub fn faulted(&self) -> bool {
        self.latched.is_some()
    }

    /// Whether the fault refuses a reset at this frame.
    pub fn refuses_reset(&self) -> bool {
        self.latched.is_some_and(|Latched { seen: [at_rest, demanding] }| {
            !demanding || (self.inverted && !at_rest) || self.now[0] != self.now[1]
        })
    }

    pub fn clear(&mut self) {
        self.latched = None;
    }
}
