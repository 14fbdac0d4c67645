//! The axis on the pins of a board: a safety loop over the traits of `embedded-hal` 1.0. Feature `hal`.
//!
//! ```text
//!  PositionSource A ─┐
//!  PositionSource B ─┤                               ┌─► OutputPin   torque is permitted while it is high
//!  InputPin ... ─────┼─► Frame ─► Axis::step ─► permit
//!  Clock ────────────┘                               └── InputPin    reads the output back
//! ```
//!
//! One [`SafetyLoop::turn`] is one frame. Call it at the evaluation period; whatever it finds wrong with the pins withdraws the
//! permit and stays until the loop is made anew.

mod clock;
mod lines;
mod permit;

use crate::axis::Axis;
use crate::config::AxisConfig;
use crate::frame::{Frame, Levels, Reading};
use crate::outcome::Outcome;
use crate::units::Instant;

pub use clock::{Clock, FreeRunning, Ticks, TicksError};
pub use lines::{Lines, line_bit};
pub use permit::{Permit, PermitFault};

/// A position sensor with its own counter.
pub trait PositionSource {
    /// What the sensor has delivered since the last call; `None` when there is nothing new. A sensor that cannot be read is
    /// [`Sample::Invalid`](crate::Sample::Invalid), never `None`: silence counts as a fault only after the timeout.
    fn read(&mut self) -> Option<Reading>;
}

/// What is wrong with the pins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum PinFault {
    /// An input line could not be read; the first such one.
    Line(u8),
    /// The output of the permit.
    Permit(PermitFault),
}

/// What one turn came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
pub struct Turn {
    /// When it was evaluated.
    pub now: Instant,
    /// What the axis says.
    pub outcome: Outcome,
    /// The first fault of the pins since the loop was made.
    pub pin_fault: Option<PinFault>,
    /// What the output was set to: the axis's permit, as long as no pin is faulted. Without a fault it is withheld in spite of
    /// `outcome.permit` only while the output has not been seen low, see [`Permit`].
    pub permit: bool,
}

/// What the loop reads and writes.
#[derive(Clone, Debug)]
pub struct Board<A, B, L, C, Out, Back> {
    /// The source of channel A.
    pub a: A,
    /// The source of channel B.
    pub b: B,
    /// The input lines.
    pub lines: L,
    /// What says what time it is.
    pub clock: C,
    /// The output and its read-back.
    pub permit: Permit<Out, Back>,
}

/// An axis on a board.
#[derive(Clone, Debug)]
pub struct SafetyLoop<A, B, L, C, Out, Back, const POINTS: usize, const MONITORS: usize, const INPUTS: usize>
{
    axis: Axis<POINTS, MONITORS, INPUTS>,
    board: Board<A, B, L, C, Out, Back>,
    levels: Levels,
    fault: Option<PinFault>,
}

impl<A, B, L, C, Out, Back, const POINTS: usize, const MONITORS: usize, const INPUTS: usize>
    SafetyLoop<A, B, L, C, Out, Back, POINTS, MONITORS, INPUTS>
where
    A: PositionSource,
    B: PositionSource,
    L: Lines,
    C: Clock,
    Out: embedded_hal::digital::OutputPin,
    Back: embedded_hal::digital::InputPin,
{
    /// A loop that has not turned yet. It sets the output low.
    #[must_use]
    pub fn new(
        config: AxisConfig<POINTS, MONITORS, INPUTS>,
        mut board: Board<A, B, L, C, Out, Back>,
    ) -> Self {
        let now = board.clock.now();
        let fault = board.permit.set(false, now).err().map(PinFault::Permit);
        Self { axis: Axis::new(config), board, levels: Levels::default(), fault }
    }

    /// Reads everything, evaluates it, and sets the output.
    pub fn turn(&mut self) -> Turn {
        let board = &mut self.board;
        // The clock comes last: no reading is captured after the frame that shows it.
        let (a, b) = (board.a.read(), board.b.read());
        match board.lines.read() {
            Ok(levels) => self.levels = levels,
            Err(line) => self.fault = self.fault.or(Some(PinFault::Line(line))),
        }
        let now = board.clock.now();
        let outcome = self.axis.step(&Frame { now, a, b, levels: self.levels });
        let wanted = outcome.permit && self.fault.is_none();
        let set = board.permit.set(wanted, now);
        if let Err(fault) = set {
            self.fault = self.fault.or(Some(PinFault::Permit(fault)));
        }
        Turn { now, outcome, pin_fault: self.fault, permit: set == Ok(true) }
    }

    /// The axis, for its trips and positions.
    #[must_use]
    pub const fn axis(&self) -> &Axis<POINTS, MONITORS, INPUTS> {
        &self.axis
    }

    /// The board.
    #[must_use]
    pub const fn board(&self) -> &Board<A, B, L, C, Out, Back> {
        &self.board
    }
}
