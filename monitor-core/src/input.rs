//! Inputs of one or two lines: filter, discrepancy of the two, and what they demand.

use core::fmt;

use crate::frame::Levels;
use crate::units::{Instant, Span};

/// Which levels of the two lines belong together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Pairing {
    /// Both lines have the same level.
    Equivalent,
    /// The second line has the opposite level of the first.
    Antivalent,
}

/// What a one-sided cycle means: one line that demanded and came back while the other never moved.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum OneSided {
    /// An input fault at the end of the discrepancy time.
    Fault,
    /// Nothing.
    Ignore,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Second {
    mask: u32,
    /// Bits that turn the levels into "demands".
    invert: u32,
    discrepancy_time: u64,
    one_sided: OneSided,
}

/// An input of one line or two.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct InputConfig {
    mask: u32,
    invert: u32,
    filter: u64,
    second: Option<Second>,
}

/// A line that does not exist, or one line used twice in one input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum InputError {
    /// A frame carries [`Levels::LINES`] lines; this is the number given.
    Line(u8),
    /// Both channels of the input are the same line.
    SameLine(u8),
}

impl fmt::Display for InputError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Line(line) => write!(f, "line {line}; a frame carries lines 0 to {}", Levels::LINES - 1),
            Self::SameLine(line) => write!(f, "line {line} twice in one input"),
        }
    }
}

impl core::error::Error for InputError {}

const fn mask_of(line: u8) -> Result<u32, InputError> {
    if line < Levels::LINES { Ok(1 << line) } else { Err(InputError::Line(line)) }
}

impl InputConfig {
    /// One line that demands at `demand_high` (true: high). A level must last `filter` to count.
    ///
    /// # Errors
    ///
    /// [`InputError::Line`] beyond the last line.
    pub const fn single(line: u8, demand_high: bool, filter: Span) -> Result<Self, InputError> {
        match mask_of(line) {
            Ok(mask) => {
                let invert = if demand_high { 0 } else { mask };
                Ok(Self { mask, invert, filter: filter.as_nanos(), second: None })
            }
            Err(error) => Err(error),
        }
    }

    /// Two lines; the first demands at `demand_high`, the second as `pairing` says.
    ///
    /// # Errors
    ///
    /// [`InputError`] for a line beyond the last, or the same line twice.
    pub const fn dual(
        lines: [u8; 2],
        pairing: Pairing,
        demand_high: bool,
        filter: Span,
        discrepancy_time: Span,
        one_sided: OneSided,
    ) -> Result<Self, InputError> {
        let [first, second] = lines;
        if first == second {
            return Err(InputError::SameLine(first));
        }
        let mask = match mask_of(second) {
            Ok(mask) => mask,
            Err(error) => return Err(error),
        };
        let second_high = demand_high == matches!(pairing, Pairing::Equivalent);
        let invert = if second_high { 0 } else { mask };
        match Self::single(first, demand_high, filter) {
            Ok(single) => {
                let discrepancy_time = discrepancy_time.as_nanos();
                Ok(Self { second: Some(Second { mask, invert, discrepancy_time, one_sided }), ..single })
            }
            Err(error) => Err(error),
        }
    }
}

/// The lines of an input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Lines {
    /// One line.
    Single(u8),
    /// Two lines, how they belong together, how long they may disagree, and what a one-sided cycle means.
    Dual([u8; 2], Pairing, Span, OneSided),
}

/// The line of a mask.
fn line_of(mask: u32) -> u8 {
    // Cannot fail: there are 32 bits.
    u8::try_from(mask.trailing_zeros()).unwrap_or(u8::MAX)
}

impl InputConfig {
    /// Its lines, whether the first demands at the high level, and its filter: what it was made of.
    #[must_use]
    pub fn parts(&self) -> (Lines, bool, Span) {
        let demand_high = self.invert == 0;
        let lines = match self.second {
            None => Lines::Single(line_of(self.mask)),
            Some(second) => {
                let equivalent = demand_high == (second.invert == 0);
                let pairing = if equivalent { Pairing::Equivalent } else { Pairing::Antivalent };
                let time = Span::from_nanos(second.discrepancy_time);
                Lines::Dual([line_of(self.mask), line_of(second.mask)], pairing, time, second.one_sided)
            }
        };
        (lines, demand_high, Span::from_nanos(self.filter))
    }
}

/// The two lines of an input behind their filter. Together, so that they take no room for alignment.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Pins {
    /// The frame at which the level last read was first read.
    since: [Instant; 2],
    /// The levels last read, as "demands".
    read: [bool; 2],
    /// The levels in effect.
    effective: [bool; 2],
}

impl Pins {
    fn first(levels: [bool; 2], now: Instant) -> Self {
        Self { since: [now; 2], read: levels, effective: levels }
    }

    fn update(&mut self, levels: [bool; 2], now: Instant, filter: u64) {
        let lines = self.since.iter_mut().zip(&mut self.read).zip(&mut self.effective).zip(levels);
        for (((since, read), effective), level) in lines {
            if level != *read {
                *read = level;
                *since = now;
            }
            // Bounded because frames go forward.
            if now.as_nanos().wrapping_sub(since.as_nanos()) >= filter {
                *effective = level;
            }
        }
    }

    fn are_settled(&self) -> bool {
        self.effective == self.read
    }
}

/// The two channels of an input against each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum Pair {
    /// They agree; this is what they agree on.
    Agree(bool),
    /// They disagree since that frame. `from`: what they agreed on before; `None` at the first frame. `demanding`: it was this one (0 or 1) all
    /// the time; `None` when they changed places.
    Disagree { since: Instant, from: Option<bool>, demanding: Option<u8> },
    /// One left this and came back while the other stayed; the timer keeps running.
    OneSided { since: Instant, from: bool },
}

/// What is remembered of one input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Input {
    pins: Pins,
    pair: Pair,
    started: bool,
    faulted: bool,
    /// Both channels have been seen demanding together since the fault.
    proven: bool,
    /// Both have been seen at rest together.
    rested: bool,
}

impl Input {
    /// That has not been read.
    pub(crate) const NEW: Self = {
        let never = Instant::from_nanos(0);
        let pins = Pins { since: [never; 2], read: [false; 2], effective: [false; 2] };
        Self { pins, pair: Pair::Agree(false), started: false, faulted: false, proven: false, rested: false }
    };

    /// Reads the lines at a frame; true when the input became faulted at it.
    ///
    /// With `inverted` something is demanded while it does not demand: then both of its states are watched.
    pub(crate) fn update(
        &mut self,
        config: &InputConfig,
        inverted: bool,
        levels: Levels,
        now: Instant,
    ) -> bool {
        let bits = levels.to_bits();
        let level = (bits ^ config.invert) & config.mask != 0;
        let other = match config.second {
            Some(second) => (bits ^ second.invert) & second.mask != 0,
            None => level,
        };
        if self.started {
            self.pins.update([level, other], now, config.filter);
        } else {
            self.pins = Pins::first([level, other], now);
        }
        let [a, b] = self.pins.effective;
        let Some(dual) = config.second else {
            self.started = true;
            return false;
        };
        let before = self.pair;
        self.pair = if self.started {
            self.next_pair(a, b, (dual.one_sided, inverted), now)
        } else {
            Self::first_pair(a, b, now)
        };
        self.started = true;
        // Bounded because frames go forward.
        let is_over = |since: Instant| now.as_nanos().wrapping_sub(since.as_nanos()) >= dual.discrepancy_time;
        let broken = match (before, self.pair) {
            (_, Pair::Disagree { since, .. } | Pair::OneSided { since, .. }) => is_over(since),
            // The other has followed at last: too late at the end of the time.
            (Pair::OneSided { since, .. }, Pair::Agree(_)) => is_over(since),
            (_, Pair::Agree(_)) => false,
        };
        if !broken {
            self.proven |= a && b && self.faulted;
            self.rested |= !a && !b && self.faulted;
            return false;
        }
        if let Pair::OneSided { since, from } = self.pair {
            // The cycle has become the fault; what follows is judged for itself.
            let from = Some(from);
            self.pair = if a == b { Pair::Agree(a) } else { Pair::Disagree { since, from, demanding: None } };
        }
        (self.proven, self.rested) = (false, false);
        !core::mem::replace(&mut self.faulted, true)
    }

    fn first_pair(a: bool, b: bool, now: Instant) -> Pair {
        if a == b {
            Pair::Agree(a)
        } else {
            Pair::Disagree { since: now, from: None, demanding: Some(u8::from(b)) }
        }
    }

    fn next_pair(&self, a: bool, b: bool, (one_sided, inverted): (OneSided, bool), now: Instant) -> Pair {
        let is_watched = one_sided == OneSided::Fault && (!a || inverted);
        match (self.pair, a == b) {
            (Pair::OneSided { since, from }, true) if a == from => Pair::OneSided { since, from },
            // One came to where the other is; at the first frame it is not known from where.
            (Pair::Disagree { since, from, demanding: Some(_) }, true)
                if is_watched && from.is_none_or(|from| from == a) =>
            {
                Pair::OneSided { since, from: a }
            }
            (_, true) => Pair::Agree(a),
            (Pair::Agree(from), false) => {
                Pair::Disagree { since: now, from: Some(from), demanding: Some(u8::from(b)) }
            }
            (Pair::Disagree { since, from, demanding }, false) => {
                let demanding = demanding.filter(|&demanding| demanding == u8::from(b));
                Pair::Disagree { since, from, demanding }
            }
            (Pair::OneSided { since, from }, false) => Pair::OneSided { since, from },
        }
    }

    /// Whether it demands: either channel, or a latched fault.
    pub(crate) fn demands(&self) -> bool {
        self.asks() || self.faulted
    }

    /// Whether either channel is at the demand level, whatever is latched.
    pub(crate) fn asks(&self) -> bool {
        self.pins.effective != [false; 2]
    }

    /// Whether both channels demand, and no fault is latched.
    pub(crate) const fn is_confirmed(&self) -> bool {
        let [first, second] = self.pins.effective;
        first && second && !self.faulted
    }

    /// Whether a fault is latched.
    #[must_use]
    pub const fn is_faulted(&self) -> bool {
        self.faulted
    }

    /// A latched fault that a reset may not clear yet.
    pub(crate) fn blocks_reset(&self, inverted: bool) -> bool {
        let [first, second] = self.pins.effective;
        let is_proven = self.proven && (self.rested || !inverted);
        self.faulted && !(is_proven && first == second)
    }

    pub(crate) fn reset(&mut self) {
        (self.faulted, self.proven, self.rested) = (false, false, false);
    }

    /// Nothing will happen at a later frame unless a level changes.
    pub(crate) fn is_settled(&self) -> bool {
        // What they agree on at the frame of a fault proves nothing yet; at the next frame it does.
        let is_proven = |both| !self.faulted || if both { self.proven } else { self.rested };
        let agrees = matches!(self.pair, Pair::Agree(both) if is_proven(both));
        self.pins.are_settled() && agrees
    }
}

/// What is remembered of a reset line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Button {
    input: Input,
}

impl Button {
    pub(crate) const fn new() -> Self {
        Self { input: Input::NEW }
    }

    /// True at the falling edge: pressed at the frame before, released at this one (ISO 13849-1, manual reset by
    /// disengaging the actuator).
    pub(crate) fn released(&mut self, config: &InputConfig, levels: Levels, now: Instant) -> bool {
        let before = self.input.started && self.input.demands();
        self.input.update(config, false, levels, now);
        before && !self.input.demands()
    }

    pub(crate) fn is_settled(&self) -> bool {
        self.input.is_settled()
    }
}
