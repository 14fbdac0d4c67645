//! A small invented machine behind the registers: an axis that comes up to speed, a door that opens, and a drive that does not slow
//! down.

use crate::board::{REGISTERS, SensorRegisters, TIMER_HERTZ};

/// Ticks of one evaluation period: a millisecond.
const PERIOD: u32 = TIMER_HERTZ / 1000;
/// The door opens at this period.
const DOOR_OPENS: u32 = 400;

/// The machine.
pub struct Plant {
    period: u32,
    /// Micrometres a period, the speed in mm/s, and micrometres.
    speed: u32,
    position: u32,
}

impl Plant {
    /// At rest, the door closed.
    #[must_use]
    pub fn new() -> Self {
        let mut plant = Self { period: 0, speed: 0, position: 0 };
        plant.show();
        plant
    }

    /// One period passes: the axis comes up to 400 mm/s and stays there, whatever the door says, as long as torque is permitted.
    pub fn pass(&mut self) {
        self.period += 1;
        let permitted = REGISTERS.output.read() & 1 == 1;
        self.speed = if permitted { (self.speed + 4).min(400) } else { self.speed.saturating_sub(10) };
        self.position = self.position.wrapping_add(self.speed);
        self.show();
    }

    fn show(&mut self) {
        let now = self.period.wrapping_mul(PERIOD);
        REGISTERS.timer.write(now);
        let show = |sensor: &SensorRegisters, count: u32| {
            sensor.count.write(count);
            sensor.captured.write(now);
            sensor.valid.write(1);
            sensor.sequence.write(self.period);
        };
        // Half a micrometre a count on the motor, a micrometre on the rail.
        show(&REGISTERS.motor, self.position.wrapping_mul(2));
        show(&REGISTERS.rail, self.position);
        // Both lines are high while the door is closed.
        REGISTERS.inputs.write(if self.period < DOOR_OPENS { 3 } else { 0 });
        REGISTERS.back.write(REGISTERS.output.read());
    }
}

impl Default for Plant {
    fn default() -> Self {
        Self::new()
    }
}
