//! One counter, unwrapped as the core does it.

use monitor_core::{Instant, Reading, Sample};

use crate::setup::{ChannelSetup, Source};

/// Billionths of a ULP in one axis unit.
const NANO_PER_UNIT: f64 = 1e9 * (1_u64 << monitor_core::FRACTION_BITS) as f64;

/// What a reading did to the count.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Taken {
    /// It goes on, or there was none.
    On,
    /// It begins anew with a reading that shows a fault: the references are those of this frame, but it is not compared.
    Anew,
    /// There is nothing to compare at this frame.
    Blind,
}

/// The count of one source, its newest reading, and the unbroken stretch that it belongs to.
#[derive(Clone, Debug)]
pub(super) struct Counter {
    /// To the left for the sign, and back: 64 less the width.
    shift: u32,
    /// Axis units per count.
    pub(super) unit: f64,
    timeout: u64,
    /// The fastest change, in counts per 2³² ns.
    fastest: u64,
    pub(super) count: i64,
    pub(super) captured_at: u64,
    has_position: bool,
    is_invalid: bool,
    /// When the first reading of this stretch was captured.
    pub(super) began_at: u64,
    /// Grows when the count starts anew.
    pub(super) stretch: u32,
}

impl Counter {
    pub(super) fn new(channel: &ChannelSetup) -> Self {
        let (bits, nano) = match &channel.source {
            Source::Counter { bits, unit_per_count } => (u32::from(*bits), unit_per_count.value),
            Source::Position { .. } => (64, 1_000_000_000),
        };
        // ULP/s over billionths of a ULP per count, in 2³² ns: the 10⁹ of both cancel out.
        let fastest = (u128::from(channel.max_speed.value.to_bits().unsigned_abs()) << 32)
            / u128::from(nano.unsigned_abs().max(1));
        Self {
            shift: 64 - bits,
            unit: nano as f64 / NANO_PER_UNIT,
            timeout: channel.timeout.value.as_nanos(),
            fastest: u64::try_from(fastest).unwrap_or(u64::MAX),
            count: 0,
            captured_at: 0,
            has_position: false,
            is_invalid: false,
            began_at: 0,
            stretch: 0,
        }
    }

    /// Two's complement in the width of the counter.
    #[inline]
    const fn signed(&self, raw: u64) -> i64 {
        (raw << self.shift).cast_signed() >> self.shift
    }

    /// Takes what a frame brought.
    #[inline]
    pub(super) fn take(&mut self, now: Instant, reading: &Option<Reading>) -> Taken {
        let now = now.as_nanos();
        let taken = match reading {
            Some(reading) => self.read(now, reading),
            None => Taken::On,
        };
        if taken == Taken::Blind {
            return taken;
        }
        if !self.has_position || self.is_invalid {
            return Taken::Blind;
        }
        if now.saturating_sub(self.captured_at) > self.timeout {
            self.has_position = false;
            return Taken::Blind;
        }
        taken
    }

    #[inline]
    fn read(&mut self, now: u64, reading: &Reading) -> Taken {
        let Sample::Count(raw) = reading.sample else {
            (self.has_position, self.is_invalid) = (false, true);
            return Taken::Blind;
        };
        let captured_at = reading.captured_at.as_nanos();
        let change = self.signed(raw.wrapping_sub(self.count.cast_unsigned()));
        let is_known = self.stretch > 0;
        if captured_at > now || is_known && captured_at < self.captured_at {
            return Taken::Blind;
        }
        let elapsed = captured_at - self.captured_at;
        if is_known && elapsed == 0 {
            return if change == 0 { Taken::On } else { Taken::Blind };
        }
        let is_fault = self.has_position && (elapsed > self.timeout || !self.is_plausible(change, elapsed));
        if is_fault || !self.has_position {
            self.stretch += 1;
            self.began_at = captured_at;
            self.count = self.signed(raw);
        } else {
            self.count = self.count.wrapping_add(change);
        }
        (self.captured_at, self.has_position, self.is_invalid) = (captured_at, true, false);
        if is_fault { Taken::Anew } else { Taken::On }
    }

    /// Whether the mechanics can move so far in that time, a count more or less.
    #[inline]
    fn is_plausible(&self, change: i64, elapsed: u64) -> bool {
        let most = (u128::from(self.fastest) * u128::from(elapsed)) >> 32;
        u128::from(change.unsigned_abs()) <= most + 1
    }
}
