//! What an axis is shown, as C writes it.

use monitor_core::{AnalogueReading, Channel, Frame, Instant, Levels, Reading, Sample, Value};

use crate::status::{CW_STATUS_NO_CHANNEL, CW_STATUS_SAMPLE_KIND, cw_status};

/// The first source and everything computed from it.
pub const CW_CHANNEL_A: u32 = 0;
/// The second source and everything computed from it.
pub const CW_CHANNEL_B: u32 = 1;

/// The source has delivered nothing new since the frame before; its last reading stays and ages.
pub const CW_SAMPLE_NONE: u32 = 1;
/// The counter as read, in `count`.
pub const CW_SAMPLE_COUNT: u32 = 2;
/// The source marked its own reading as invalid; `count`, or `value`, is not looked at.
pub const CW_SAMPLE_INVALID: u32 = 3;
/// An analogue value, in `value`.
pub const CW_SAMPLE_VALUE: u32 = 4;

/// One reading of one source.
#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct cw_reading {
    /// When the position was captured, in nanoseconds: the instant the motion had it, not the instant the value arrived. Not looked
    /// at with CW_SAMPLE_NONE.
    pub captured_at: u64,
    /// The counter as read. Only as many of its lowest bits count as the counter has.
    pub count: u64,
    /// A CW_SAMPLE_ value. 0 is none of them: a reading that was never filled in is refused.
    pub kind: u32,
}

/// One evaluation instant: the time, the newest reading of each source, the level of every input line.
#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct cw_frame {
    /// The evaluation instant in nanoseconds, from an arbitrary origin that all readings share. Later than that of the
    /// frame before; otherwise a clock fault. 64 bits do not wrap in a machine's life: a timer of 32 bits has to be extended.
    pub now: u64,
    /// Of source A.
    pub a: cw_reading,
    /// Of source B.
    pub b: cw_reading,
    /// One bit a line, line 0 in the lowest bit; 1 is high.
    pub levels: u32,
}

/// One reading of one line of an analogue value.
#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct cw_analogue_reading {
    /// When the value was so, in nanoseconds.
    pub captured_at: u64,
    /// The value, in 2^-24 of its unit. Not looked at with CW_SAMPLE_INVALID.
    pub value: i64,
    /// CW_SAMPLE_VALUE or CW_SAMPLE_INVALID. 0 is none of them: a reading that was never filled in is refused.
    pub kind: u32,
}

impl cw_analogue_reading {
    pub(crate) fn checked(&self) -> Result<AnalogueReading, cw_status> {
        let value = match self.kind {
            CW_SAMPLE_VALUE => Some(Value::from_bits(self.value)),
            CW_SAMPLE_INVALID => None,
            _ => return Err(CW_STATUS_SAMPLE_KIND),
        };
        Ok(AnalogueReading { captured_at: Instant::from_nanos(self.captured_at), value })
    }
}

fn reading(from: &cw_reading) -> Result<Option<Reading>, cw_status> {
    let captured_at = Instant::from_nanos(from.captured_at);
    match from.kind {
        CW_SAMPLE_NONE => Ok(None),
        CW_SAMPLE_COUNT => Ok(Some(Reading { captured_at, sample: Sample::Count(from.count) })),
        CW_SAMPLE_INVALID => Ok(Some(Reading { captured_at, sample: Sample::Invalid })),
        _ => Err(CW_STATUS_SAMPLE_KIND),
    }
}

impl cw_frame {
    pub(crate) fn checked(&self) -> Result<Frame, cw_status> {
        Ok(Frame {
            now: Instant::from_nanos(self.now),
            a: reading(&self.a)?,
            b: reading(&self.b)?,
            levels: Levels::from_bits(self.levels),
        })
    }
}

pub(crate) fn channel(from: u32) -> Result<Channel, cw_status> {
    match from {
        CW_CHANNEL_A => Ok(Channel::A),
        CW_CHANNEL_B => Ok(Channel::B),
        _ => Err(CW_STATUS_NO_CHANNEL),
    }
}
