//! A board as firmware sees it: registers in memory, and the pins, sensors and timer that are made of them.
//!
//! On real hardware the registers are peripherals. Here they are memory, and what stands behind them is a [`crate::plant`] or, in the
//! image that is only looked at, nobody knows what: each is read and written as if another could have changed it meanwhile.

use core::cell::UnsafeCell;
use core::convert::Infallible;

use embedded_hal::digital::{ErrorType, InputPin, OutputPin};
use monitor_core::hal::{Board, FreeRunning, Permit, PositionSource, Ticks, TicksError};
use monitor_core::{Instant, Reading, Sample, Span};

/// A register.
pub struct Register(UnsafeCell<u32>);

// SAFETY: one core and no interrupts; a register is only ever read or written as a whole.
unsafe impl Sync for Register {}

impl Register {
    /// One that holds 0.
    #[must_use]
    pub const fn new() -> Self {
        Self(UnsafeCell::new(0))
    }

    /// What it holds now.
    pub fn read(&self) -> u32 {
        // SAFETY: the pointer is that of a cell that lives.
        unsafe { self.0.get().read_volatile() }
    }

    /// Makes it hold this.
    pub fn write(&self, value: u32) {
        // SAFETY: the pointer is that of a cell that lives.
        unsafe { self.0.get().write_volatile(value) }
    }
}

impl Default for Register {
    fn default() -> Self {
        Self::new()
    }
}

/// The registers of a position sensor.
pub struct SensorRegisters {
    /// Counts.
    pub count: Register,
    /// Ticks of the timer at which the count was captured.
    pub captured: Register,
    /// 1 while the count can be trusted; 0 otherwise.
    pub valid: Register,
    /// Goes up by one with each new count.
    pub sequence: Register,
}

impl SensorRegisters {
    const fn new() -> Self {
        Self {
            count: Register::new(),
            captured: Register::new(),
            valid: Register::new(),
            sequence: Register::new(),
        }
    }
}

/// The registers of the board.
pub struct Registers {
    /// On the motor.
    pub motor: SensorRegisters,
    /// On the rail.
    pub rail: SensorRegisters,
    /// One bit a line.
    pub inputs: Register,
    /// Bit 0 permits torque.
    pub output: Register,
    /// Bit 0 is what became of the output.
    pub back: Register,
    /// Counts up, at [`TIMER_HERTZ`].
    pub timer: Register,
}

/// The registers.
pub static REGISTERS: Registers = Registers {
    motor: SensorRegisters::new(),
    rail: SensorRegisters::new(),
    inputs: Register::new(),
    output: Register::new(),
    back: Register::new(),
    timer: Register::new(),
};

/// The frequency of the timer: every tick is 40 ns.
pub const TIMER_HERTZ: u32 = 25_000_000;
/// Nanoseconds a tick.
const TICK_NS: u64 = 40;

/// A bit of a register, as a pin.
pub struct Pin(&'static Register, u32);

impl ErrorType for Pin {
    type Error = Infallible;
}

impl InputPin for Pin {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(self.0.read() & self.1 != 0)
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        self.is_high().map(|high| !high)
    }
}

impl OutputPin for Pin {
    fn set_low(&mut self) -> Result<(), Infallible> {
        self.0.write(self.0.read() & !self.1);
        Ok(())
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        self.0.write(self.0.read() | self.1);
        Ok(())
    }
}

/// The timer.
pub struct Timer;

impl Ticks for Timer {
    fn ticks(&mut self) -> u32 {
        REGISTERS.timer.read()
    }
}

/// A position sensor.
pub struct Sensor {
    registers: &'static SensorRegisters,
    sequence: u32,
    /// Ticks of the last capture, and beyond the wraps of the register.
    captured: u32,
    total: u64,
}

impl Sensor {
    fn new(registers: &'static SensorRegisters) -> Self {
        Self { registers, sequence: registers.sequence.read(), captured: REGISTERS.timer.read(), total: 0 }
    }
}

impl PositionSource for Sensor {
    fn read(&mut self) -> Option<Reading> {
        let sequence = self.registers.sequence.read();
        if core::mem::replace(&mut self.sequence, sequence) == sequence {
            return None;
        }
        let captured = self.registers.captured.read();
        let passed = captured.wrapping_sub(core::mem::replace(&mut self.captured, captured));
        self.total = self.total.wrapping_add(u64::from(passed));
        let sample = match self.registers.valid.read() {
            1 => Sample::Count(u64::from(self.registers.count.read())),
            _ => Sample::Invalid,
        };
        Some(Reading { captured_at: Instant::from_nanos(self.total.wrapping_mul(TICK_NS)), sample })
    }
}

/// What a safety loop on this board reads and writes: two sensors, a door of two lines, the timer, and the permit, which is seen back
/// within a millisecond.
pub type LoopBoard = Board<Sensor, Sensor, (Pin, Pin), FreeRunning<Timer>, Pin, Pin>;

/// The board, its time beginning now.
///
/// # Errors
///
/// When the timer cannot be a clock.
pub fn board() -> Result<LoopBoard, TicksError> {
    Ok(Board {
        clock: FreeRunning::try_new(Timer, 32, TIMER_HERTZ)?,
        a: Sensor::new(&REGISTERS.motor),
        b: Sensor::new(&REGISTERS.rail),
        lines: (Pin(&REGISTERS.inputs, 1), Pin(&REGISTERS.inputs, 2)),
        permit: Permit::new(Pin(&REGISTERS.output, 1), Pin(&REGISTERS.back, 1), Span::from_nanos(1_000_000)),
    })
}
