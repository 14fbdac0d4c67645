//! The readings of one channel as they came, whatever the monitors made of them.

use monitor_core::{Channel, Instant, Sample};

use super::rerun::index;
use super::track::Point;
use crate::setup::{Setup, Source};

/// Steps of 10⁻⁹ ULP in one unit.
const NANO_ULPS: f64 = 16_777_216.0 * 1e9;

/// Travel of one count of a source in the axis unit, with its sign; of a column of positions that of a ULP.
#[expect(clippy::cast_precision_loss, reason = "an explanation needs no more than 53 bits")]
pub(super) fn unit_of(source: &Source) -> f64 {
    let nano_ulps = match source {
        Source::Counter { unit_per_count, .. } => unit_per_count.value,
        Source::Position { .. } => 1_000_000_000,
    };
    nano_ulps as f64 / NANO_ULPS
}

/// One reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Raw {
    /// The frame that it came with.
    pub(super) now: Instant,
    pub(super) captured_at: Instant,
    /// Counts since the first reading, unwrapped in the width of the counter.
    pub(super) counts: i64,
}

/// What one channel showed.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Readings {
    /// In order of their frames; invalid ones are not among them.
    pub(super) all: Vec<Raw>,
    /// Frames whose reading was marked as invalid.
    pub(super) invalid: Vec<Instant>,
    /// Travel of one count in the axis unit, with its sign.
    pub(super) unit: f64,
}

impl Readings {
    pub(super) fn of(setup: &Setup, points: &[Point], channel: Channel) -> Self {
        let source = &setup.channel(channel).source;
        let bits = match source {
            Source::Counter { bits, .. } => u32::from(*bits),
            Source::Position { .. } => 64,
        };
        let unit = unit_of(source);
        let mut readings = Self { all: Vec::new(), invalid: Vec::new(), unit };
        let mut before: Option<u64> = None;
        let mut counts = 0_i64;
        for point in points {
            let Some(reading) = point.readings[index(channel)] else { continue };
            let count = match reading.sample {
                Sample::Invalid => {
                    readings.invalid.push(point.now);
                    continue;
                }
                Sample::Count(count) => count,
            };
            if let Some(before) = before {
                let unused = 64 - bits;
                counts = counts.wrapping_add((count.wrapping_sub(before) << unused).cast_signed() >> unused);
            }
            before = Some(count);
            readings.all.push(Raw { now: point.now, captured_at: reading.captured_at, counts });
        }
        readings
    }

    /// Travel since the first reading, in the axis unit.
    #[expect(clippy::cast_precision_loss, reason = "an explanation needs no more than 53 bits")]
    pub(super) fn travel(&self, counts: i64) -> f64 {
        counts as f64 * self.unit
    }

    /// The travel at an instant, on a straight line between the readings around it; `None` outside of them.
    pub(super) fn at(&self, at: Instant) -> Option<f64> {
        let after = self.all.partition_point(|raw| raw.captured_at < at);
        let after_it = self.all.get(after)?;
        let travel = self.travel(after_it.counts);
        if after_it.captured_at == at {
            return Some(travel);
        }
        let before_it = self.all.get(after.checked_sub(1)?)?;
        let (from, to) = (before_it.captured_at.as_nanos(), after_it.captured_at.as_nanos());
        let before = self.travel(before_it.counts);
        let part = seconds(at.as_nanos() - from) / seconds(to - from);
        Some(before + (travel - before) * part)
    }

    /// The time between two readings that half of all are below; zero for fewer than two.
    pub(super) fn usual_interval(&self) -> u64 {
        let between =
            |pair: &[Raw]| pair[1].captured_at.as_nanos().saturating_sub(pair[0].captured_at.as_nanos());
        let mut intervals: Vec<u64> = self.all.windows(2).map(between).collect();
        let middle = intervals.len() / 2;
        if intervals.is_empty() { 0 } else { *intervals.select_nth_unstable(middle).1 }
    }
}

/// Nanoseconds as seconds.
#[expect(clippy::cast_precision_loss, reason = "an explanation needs no more than 53 bits")]
pub(super) fn seconds(nanos: u64) -> f64 {
    nanos as f64 / 1e9
}
