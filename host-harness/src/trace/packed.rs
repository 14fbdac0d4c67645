//! Frames on their way from one core to another.
//!
//! What one core has written, another waits for, one cache line at a time. A frame fills a line; four ordinary rows do
//! as well.

use monitor_core::{Frame, Instant, Levels, Reading, Sample};

/// What takes the frames of a batch.
pub(super) trait Batch {
    fn clear(&mut self);
    fn push(&mut self, frame: Frame);
    fn push_counted(&mut self, counted: Counted, levels: Levels);
    fn len(&self) -> usize;
    /// The instants of the first and the last frame.
    fn ends(&self) -> Option<(Instant, Instant)>;
}

impl Batch for Vec<Frame> {
    fn clear(&mut self) {
        self.clear();
    }

    fn push(&mut self, frame: Frame) {
        self.push(frame);
    }

    #[inline]
    fn push_counted(&mut self, counted: Counted, levels: Levels) {
        self.push(counted.frame(levels));
    }

    fn len(&self) -> usize {
        self.len()
    }

    fn ends(&self) -> Option<(Instant, Instant)> {
        Some((self.first()?.now, self.last()?.now))
    }
}

/// A batch of frames: as rows while all of them are ordinary, or as they are.
#[derive(Debug, Default)]
pub(super) struct Packed {
    /// What the first row counts from, and what the last one came to.
    start: Counted,
    end: Counted,
    rows: Vec<Row>,
    frames: Vec<Frame>,
}

/// What an ordinary frame changes: both sources have a counted reading, as old as in the frame before.
#[derive(Clone, Copy, Debug)]
struct Row {
    passed: u32,
    a: i32,
    b: i32,
    levels: Levels,
}

/// A frame with a counted reading of each source, but for its levels.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Counted {
    pub(super) now: u64,
    pub(super) counts: [u64; 2],
    /// How long before `now` they were captured.
    pub(super) ages: [u64; 2],
}

impl Counted {
    fn of(frame: &Frame) -> Option<Self> {
        let (a, b) = (counted(frame.now, frame.a)?, counted(frame.now, frame.b)?);
        Some(Self { now: frame.now.as_nanos(), counts: [a.0, b.0], ages: [a.1, b.1] })
    }

    /// The frame that `row` makes of the one before, which this becomes.
    #[inline]
    fn next(&mut self, row: Row) -> Frame {
        self.now += u64::from(row.passed);
        self.counts[0] = self.counts[0].wrapping_add_signed(row.a.into());
        self.counts[1] = self.counts[1].wrapping_add_signed(row.b.into());
        self.frame(row.levels)
    }

    #[inline]
    fn frame(&self, levels: Levels) -> Frame {
        let reading = |channel: usize| {
            let captured_at = Instant::from_nanos(self.now.wrapping_sub(self.ages[channel]));
            Some(Reading { captured_at, sample: Sample::Count(self.counts[channel]) })
        };
        Frame { now: Instant::from_nanos(self.now), a: reading(0), b: reading(1), levels }
    }

    /// The row that leads to `next`, which this becomes; `None` when it is not an ordinary one.
    #[inline]
    fn row_to(&mut self, next: Self, levels: Levels) -> Option<Row> {
        let passed = u32::try_from(next.now.checked_sub(self.now)?).ok()?;
        let change = |channel: usize| {
            i32::try_from(next.counts[channel].wrapping_sub(self.counts[channel]).cast_signed()).ok()
        };
        let row = Row { passed, a: change(0)?, b: change(1)?, levels };
        if next.ages != self.ages {
            return None;
        }
        *self = next;
        Some(row)
    }
}

/// The count of a reading, and its age; a capture after `now` wraps.
#[inline]
fn counted(now: Instant, reading: Option<Reading>) -> Option<(u64, u64)> {
    match reading? {
        Reading { captured_at, sample: Sample::Count(count) } => {
            Some((count, now.as_nanos().wrapping_sub(captured_at.as_nanos())))
        }
        _ => None,
    }
}

impl Batch for Packed {
    fn clear(&mut self) {
        self.rows.clear();
        self.frames.clear();
    }

    fn push(&mut self, frame: Frame) {
        match Counted::of(&frame) {
            Some(counted) => self.push_counted(counted, frame.levels),
            None => self.push_other(frame),
        }
    }

    #[inline]
    fn push_counted(&mut self, counted: Counted, levels: Levels) {
        match self.end.row_to(counted, levels) {
            Some(row) if !self.rows.is_empty() => self.rows.push(row),
            _ => self.push_other(counted.frame(levels)),
        }
    }

    fn len(&self) -> usize {
        // One of them is empty.
        self.rows.len() + self.frames.len()
    }

    fn ends(&self) -> Option<(Instant, Instant)> {
        if self.rows.is_empty() {
            return self.frames.ends();
        }
        Some((Instant::from_nanos(self.start.now), Instant::from_nanos(self.end.now)))
    }
}

impl Packed {
    /// Begins a batch, or goes on with a frame that is not an ordinary one: then all of them are kept as they are.
    #[cold]
    fn push_other(&mut self, frame: Frame) {
        if self.len() == 0
            && let Some(start) = Counted::of(&frame)
        {
            (self.start, self.end) = (start, start);
            self.rows.push(Row { passed: 0, a: 0, b: 0, levels: frame.levels });
            return;
        }
        self.frames.extend(Frames { at: self.start, rows: self.rows.iter() });
        self.rows.clear();
        self.frames.push(frame);
    }

    /// Replaces the content of `batch` by the frames.
    pub(super) fn unpack(&self, batch: &mut Vec<Frame>) {
        batch.clear();
        batch.extend_from_slice(&self.frames);
        batch.extend(Frames { at: self.start, rows: self.rows.iter() });
    }
}

/// The frames of rows.
struct Frames<'a> {
    at: Counted,
    rows: std::slice::Iter<'a, Row>,
}

impl Iterator for Frames<'_> {
    type Item = Frame;

    #[inline]
    fn next(&mut self) -> Option<Frame> {
        self.rows.next().map(|&row| self.at.next(row))
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        self.rows.size_hint()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(now: u64, a: Option<(u64, u64)>, b: Option<(u64, u64)>, levels: u32) -> Frame {
        let reading = |(captured_at, count)| Reading {
            captured_at: Instant::from_nanos(captured_at),
            sample: Sample::Count(count),
        };
        let levels = Levels::from_bits(levels);
        Frame { now: Instant::from_nanos(now), a: a.map(reading), b: b.map(reading), levels }
    }

    /// Packs and unpacks; whether all went as rows.
    fn there_and_back(frames: &[Frame]) -> bool {
        let (mut packed, mut back) = (Packed::default(), vec![frame(7, None, None, 1)]);
        for &frame in frames {
            packed.push(frame);
        }
        assert_eq!((packed.len(), packed.ends()), (frames.len(), frames.to_vec().ends()));
        packed.unpack(&mut back);
        assert_eq!(back, frames);
        packed.frames.is_empty()
    }

    #[test]
    fn ordinary_frames_go_as_rows_and_come_back_as_they_were() {
        let frames: Vec<Frame> = (0..100_u64)
            .map(|k| {
                let now = 1000 + k * 125_000;
                let count = (k * 7).wrapping_sub(300);
                frame(now, Some((now - 250, count)), Some((now, 5 * k)), (k % 3) as u32)
            })
            .collect();
        assert!(there_and_back(&frames));
        assert!(there_and_back(&frames[..1]));
        assert!(there_and_back(&[]));
    }

    #[test]
    fn any_other_frame_comes_back_as_it_was_too() {
        let first = frame(1000, Some((900, 10)), Some((1000, 20)), 0);
        let next = |now, a, b| there_and_back(&[first, frame(now, a, b, 5)]);
        let (a, b) = (Some((1900, 11)), Some((2000, 19)));
        assert!(next(2000, a, b));
        assert!(!next(2000, None, b), "no reading");
        assert!(!next(2000, Some((1901, 11)), b), "another age");
        assert!(!next(2000, a, Some((2000, 1 << 40))), "a far count");
        assert!(!next(1 << 40, Some(((1 << 40) - 100, 11)), Some((1 << 40, 19))), "a long time");
        assert!(next(2000, Some((1900, 9)), Some((2000, 20 + (1 << 31) - 1))), "the farthest count");
        let invalid = Reading { captured_at: Instant::from_nanos(1900), sample: Sample::Invalid };
        assert!(!there_and_back(&[first, Frame { a: Some(invalid), ..first }]));
        // A capture after its frame is for the monitors to judge.
        let late = frame(1000, Some((1100, 10)), Some((1000, 20)), 0);
        assert!(there_and_back(&[late, frame(2000, Some((2100, 10)), b, 1)]));
    }
}
