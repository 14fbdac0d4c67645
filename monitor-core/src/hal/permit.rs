//! The output that permits torque, read back.

use embedded_hal::digital::{InputPin, OutputPin};

use crate::units::{Instant, Span};

/// What is wrong with the output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum PermitFault {
    /// It could not be set.
    Unwritable,
    /// It could not be read back.
    Unreadable,
    /// It reads high although it was set low: it cannot take the torque away.
    StuckHigh,
    /// It reads low although it was set high.
    StuckLow,
}

/// An output that permits torque while it is high, and an input that sees what became of it.
///
/// It goes high only after it was read back low, at least `settling` after it was last set low: an output that hangs high is found
/// before anything relies on it. A low phase lasts at least that long therefore.
///
/// A fault is latched: from then on the output is set low, whatever is asked for.
#[derive(Clone, Debug)]
pub struct Permit<Out, Back> {
    output: Out,
    back: Back,
    /// How long a change takes to be seen.
    settling: Span,
    set: Option<Set>,
    /// Since it was last set low, it has been read back low.
    was_low: bool,
    fault: Option<PermitFault>,
}

/// The level that was set last, and since when.
#[derive(Clone, Copy, Debug)]
struct Set {
    high: bool,
    since: Instant,
}

impl<Out: OutputPin, Back: InputPin> Permit<Out, Back> {
    /// An output whose changes can be read back after `settling` at the latest: the delay of the wire and of what filters it.
    pub const fn new(output: Out, back: Back, settling: Span) -> Self {
        Self { output, back, settling, set: None, was_low: false, fault: None }
    }

    /// Compares what is read back with what was set before, then sets the output: to high when that is wanted and the output has been
    /// seen low. Tells what it was set to.
    ///
    /// # Errors
    ///
    /// The first [`PermitFault`] there was; the output is low, as far as it can be set.
    pub fn set(&mut self, wanted: bool, now: Instant) -> Result<bool, PermitFault> {
        if self.fault.is_none() {
            self.fault = self.check(now).err();
        }
        let high = wanted && self.was_low && self.fault.is_none();
        let written = if high { self.output.set_high() } else { self.output.set_low() };
        if written.is_err() && self.fault.is_none() {
            self.fault = Some(PermitFault::Unwritable);
            // Low once more: what could not be set high may still go low.
            let _ = self.output.set_low();
        }
        if self.set.is_none_or(|set| set.high != high) {
            self.set = Some(Set { high, since: now });
            self.was_low &= high;
        }
        self.fault.map_or(Ok(high), Err)
    }

    fn check(&mut self, now: Instant) -> Result<(), PermitFault> {
        let Some(Set { high, since }) = self.set else { return Ok(()) };
        let is_high = self.back.is_high().map_err(|_| PermitFault::Unreadable)?;
        // A clock that went back has not settled anything, and is the axis's fault to find.
        let settled = now.since(since).is_some_and(|span| span >= self.settling);
        match (high, is_high) {
            _ if !settled => {}
            (false, true) => return Err(PermitFault::StuckHigh),
            (true, false) => return Err(PermitFault::StuckLow),
            (false, false) => self.was_low = true,
            (true, true) => {}
        }
        Ok(())
    }

    /// The first fault there was.
    #[must_use]
    pub const fn fault(&self) -> Option<PermitFault> {
        self.fault
    }

    /// The output.
    #[must_use]
    pub const fn output(&self) -> &Out {
        &self.output
    }
}
