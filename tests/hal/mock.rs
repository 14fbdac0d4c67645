//! A board in memory: pins, sensors and a timer that a test moves by hand.

use std::cell::{Cell, RefCell};
use std::collections::VecDeque;
use std::rc::Rc;

use embedded_hal::digital::{Error, ErrorKind, ErrorType, InputPin, OutputPin};
use monitor_core::hal::{Board, Clock, Permit, PositionSource, Ticks};
use monitor_core::{Instant, Reading, Span};

/// A pin that does not work.
#[derive(Debug)]
pub struct Broken;

impl Error for Broken {
    fn kind(&self) -> ErrorKind {
        ErrorKind::Other
    }
}

/// What a pin is connected to: a level, or nothing that can be read or set.
#[derive(Clone, Default)]
pub struct Wire {
    level: Rc<Cell<bool>>,
    broken: Rc<Cell<bool>>,
}

impl Wire {
    pub fn is_high(&self) -> bool {
        self.level.get()
    }

    pub fn put(&self, high: bool) {
        self.level.set(high);
    }

    /// From now on it can neither be read nor set.
    pub fn cut(&self) {
        self.broken.set(true);
    }

    fn working(&self) -> Result<&Cell<bool>, Broken> {
        if self.broken.get() { Err(Broken) } else { Ok(&self.level) }
    }
}

/// Reads a wire.
#[derive(Clone)]
pub struct Input(pub Wire);

impl ErrorType for Input {
    type Error = Broken;
}

impl InputPin for Input {
    fn is_high(&mut self) -> Result<bool, Broken> {
        self.0.working().map(Cell::get)
    }

    fn is_low(&mut self) -> Result<bool, Broken> {
        self.is_high().map(|high| !high)
    }
}

/// Sets a wire, and the wire it is read back by unless that has come off.
#[derive(Clone)]
pub struct Output {
    pub wire: Wire,
    pub back: Option<Wire>,
}

impl Output {
    fn put(&mut self, high: bool) -> Result<(), Broken> {
        self.wire.working()?.set(high);
        if let Some(back) = &self.back {
            back.put(high);
        }
        Ok(())
    }
}

impl ErrorType for Output {
    type Error = Broken;
}

impl OutputPin for Output {
    fn set_low(&mut self) -> Result<(), Broken> {
        self.put(false)
    }

    fn set_high(&mut self) -> Result<(), Broken> {
        self.put(true)
    }
}

/// A sensor that delivers what a test puts in.
#[derive(Clone, Default)]
pub struct Sensor(pub Rc<RefCell<VecDeque<Reading>>>);

impl PositionSource for Sensor {
    fn read(&mut self) -> Option<Reading> {
        self.0.borrow_mut().pop_front()
    }
}

/// A clock, or the counter of one, that a test sets.
#[derive(Clone, Default)]
pub struct Timer(pub Rc<Cell<u64>>);

impl Clock for Timer {
    fn now(&mut self) -> Instant {
        Instant::from_nanos(self.0.get())
    }
}

impl Ticks for Timer {
    fn ticks(&mut self) -> u32 {
        // The upper half is what a counter of 32 bits does not have.
        (self.0.get() & 0xffff_ffff) as u32
    }
}

/// Everything a board is connected to.
#[derive(Default)]
pub struct Bench {
    pub a: Sensor,
    pub b: Sensor,
    pub lines: [Wire; 2],
    pub timer: Timer,
    pub permit: Wire,
    pub back: Wire,
}

/// The board that [`Bench::board`] makes.
pub type MockBoard = Board<Sensor, Sensor, (Input, Input), Timer, Output, Input>;

impl Bench {
    /// The board, whose output is seen back after `settling`.
    pub fn board(&self, settling: Span) -> MockBoard {
        let output = Output { wire: self.permit.clone(), back: Some(self.back.clone()) };
        let [first, second] = self.lines.clone();
        Board {
            a: self.a.clone(),
            b: self.b.clone(),
            lines: (Input(first), Input(second)),
            clock: self.timer.clone(),
            permit: Permit::new(output, Input(self.back.clone()), settling),
        }
    }
}
