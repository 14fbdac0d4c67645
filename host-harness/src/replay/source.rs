//! Where frames come from.

use monitor_core::{Channel, Frame, Instant, Levels, Reading, Span};

use super::outcome::{Gap, Rows};
use crate::trace::{BATCH_FRAMES, Offered, Prefetch, Reader, TraceError};

/// A trace, frame by frame, in batches.
pub trait FrameSource {
    /// Replaces the content of `batch` by the next frames; false, with an empty batch, when there are no more.
    ///
    /// # Errors
    ///
    /// A [`TraceError`] where the trace is bad; the frames before that place are in the batch.
    fn next_batch(&mut self, batch: &mut Vec<Frame>) -> Result<bool, TraceError>;

    /// The readings of analogue values that come with the last batch, in order of its frames: each to be handed in before its frame.
    fn offered(&self) -> &[Offered] {
        &[]
    }

    /// The rows behind the frames, where the two are not the same. Complete after the last batch.
    fn rows(&self) -> Option<&Rows> {
        None
    }

    /// What to add to an instant to get the time that stands in the trace, in ns. Known after the first batch.
    fn origin_ns(&self) -> i128 {
        0
    }

    /// Rows left out as bad, on request. Known after the last batch.
    fn skipped_rows(&self) -> u64 {
        0
    }
}

impl FrameSource for Reader {
    fn next_batch(&mut self, batch: &mut Vec<Frame>) -> Result<bool, TraceError> {
        Self::next_batch(self, batch)
    }

    fn offered(&self) -> &[Offered] {
        Self::offered(self)
    }

    fn origin_ns(&self) -> i128 {
        self.summary().origin_ns
    }

    fn skipped_rows(&self) -> u64 {
        self.skipped().total()
    }
}

impl FrameSource for Prefetch {
    fn next_batch(&mut self, batch: &mut Vec<Frame>) -> Result<bool, TraceError> {
        Self::next_batch(self, batch)
    }

    fn offered(&self) -> &[Offered] {
        Self::offered(self)
    }

    /// Known when the end is reached.
    fn origin_ns(&self) -> i128 {
        self.reader().map_or(0, |reader| reader.summary().origin_ns)
    }

    /// Known when the end is reached.
    fn skipped_rows(&self) -> u64 {
        self.reader().map_or(0, |reader| reader.skipped().total())
    }
}

/// Frames in memory.
impl FrameSource for &[Frame] {
    fn next_batch(&mut self, batch: &mut Vec<Frame>) -> Result<bool, TraceError> {
        batch.clear();
        let (now, later) = self.split_at(self.len().min(BATCH_FRAMES));
        batch.extend_from_slice(now);
        *self = later;
        Ok(!batch.is_empty())
    }
}

/// Shows a trace at a fixed evaluation period instead of at its own rows: at `first + k × cycle`, with the newest
/// reading of each source and of each analogue line, and the levels of the newest row at or before that instant.
#[derive(Debug)]
pub struct Cycled<S> {
    source: S,
    cycle: u64,
    rows: Vec<Frame>,
    /// The first of `rows` that has not been passed.
    next_row: usize,
    next_now: Option<u64>,
    fresh: (Option<Reading>, Option<Reading>),
    /// The readings of analogue values that come with `rows`, and the first of them that has not been passed.
    rows_offered: Vec<Offered>,
    next_offered: usize,
    /// The newest reading of each line since the last evaluation.
    fresh_offered: Vec<Offered>,
    /// Those of the evaluations of one batch.
    offered: Vec<Offered>,
    levels: Levels,
    ended: Option<TraceError>,
    drained: bool,
    /// A longer time between two rows is a gap.
    timeout: Span,
    last_row: Option<Instant>,
    facts: Rows,
}

impl Rows {
    /// Counts a reading of an analogue line that no frame is evaluated with.
    fn pass_over(&mut self, one: &Offered) {
        if self.analogues_passed_over.len() <= one.of {
            self.analogues_passed_over.resize(one.of + 1, [0; 2]);
        }
        let [a, b] = &mut self.analogues_passed_over[one.of];
        *match one.channel {
            Channel::A => a,
            Channel::B => b,
        } += 1;
    }
}

impl<S: FrameSource> Cycled<S> {
    /// Evaluates `source` every `cycle` (above zero). Rows that are further apart than `timeout` are a gap.
    pub fn new(source: S, cycle: Span, timeout: Span) -> Self {
        Self {
            source,
            cycle: cycle.as_nanos().max(1),
            rows: Vec::new(),
            next_row: 0,
            next_now: None,
            fresh: (None, None),
            rows_offered: Vec::new(),
            next_offered: 0,
            fresh_offered: Vec::new(),
            offered: Vec::new(),
            levels: Levels::default(),
            ended: None,
            drained: false,
            timeout,
            last_row: None,
            facts: Rows::default(),
        }
    }

    /// Goes on to the next row: what it brings is the newest.
    fn take(&mut self, row: Frame) {
        while let Some(one) =
            self.rows_offered.get(self.next_offered).filter(|one| one.frame <= self.next_row)
        {
            let is_same = |other: &&mut Offered| other.of == one.of && other.channel == one.channel;
            match self.fresh_offered.iter_mut().find(is_same) {
                Some(older) => {
                    self.facts.pass_over(older);
                    *older = *one;
                }
                None => self.fresh_offered.push(*one),
            }
            self.next_offered += 1;
        }
        self.next_row += 1;
        self.facts.rows += 1;
        if let Some(from) = self.last_row
            && let Some(period) = row.now.since(from)
        {
            self.facts.longest_period = self.facts.longest_period.max(period);
            if period > self.timeout {
                self.facts.gaps.push(Gap { from, to: row.now });
            }
        }
        self.last_row = Some(row.now);
        self.facts.passed_over[0] += u64::from(row.a.is_some() && self.fresh.0.is_some());
        self.facts.passed_over[1] += u64::from(row.b.is_some() && self.fresh.1.is_some());
        self.fresh = (row.a.or(self.fresh.0), row.b.or(self.fresh.1));
        self.levels = row.levels;
    }

    /// The next row, or none at the end.
    fn row(&mut self) -> Option<Frame> {
        if self.next_row == self.rows.len() && !self.drained {
            self.next_row = 0;
            match self.source.next_batch(&mut self.rows) {
                Ok(more) => self.drained = !more,
                Err(error) => {
                    self.drained = true;
                    self.ended = Some(error);
                }
            }
            self.rows_offered.clear();
            self.rows_offered.extend_from_slice(self.source.offered());
            self.next_offered = 0;
        }
        self.rows.get(self.next_row).copied()
    }

    /// The next evaluation; none when every instant up to the last row has been.
    fn frame(&mut self) -> Option<Frame> {
        let now = match self.next_now {
            Some(now) => now,
            None => self.row()?.now.as_nanos(),
        };
        // A row at or after the instant shows that the trace reaches it.
        loop {
            let row = self.row()?;
            if row.now.as_nanos() > now {
                break;
            }
            self.take(row);
            if row.now.as_nanos() == now {
                break;
            }
        }
        self.next_now = Some(now.saturating_add(self.cycle));
        let (a, b) = std::mem::take(&mut self.fresh);
        Some(Frame { now: Instant::from_nanos(now), a, b, levels: self.levels })
    }
}

impl<S: FrameSource> FrameSource for Cycled<S> {
    fn next_batch(&mut self, batch: &mut Vec<Frame>) -> Result<bool, TraceError> {
        batch.clear();
        self.offered.clear();
        while batch.len() < BATCH_FRAMES {
            match self.frame() {
                Some(frame) => {
                    let place = batch.len();
                    let fresh = self.fresh_offered.drain(..);
                    self.offered.extend(fresh.map(|one| Offered { frame: place, ..one }));
                    batch.push(frame);
                }
                None => {
                    // The last rows, after which there is no evaluation.
                    let (a, b) = std::mem::take(&mut self.fresh);
                    self.facts.passed_over[0] += u64::from(a.is_some());
                    self.facts.passed_over[1] += u64::from(b.is_some());
                    self.fresh_offered.drain(..).for_each(|one| self.facts.pass_over(&one));
                    break;
                }
            }
        }
        match self.ended.take() {
            Some(error) => Err(error),
            None => Ok(!batch.is_empty()),
        }
    }

    fn offered(&self) -> &[Offered] {
        &self.offered
    }

    fn rows(&self) -> Option<&Rows> {
        Some(&self.facts)
    }

    fn origin_ns(&self) -> i128 {
        self.source.origin_ns()
    }
}

#[cfg(test)]
mod tests {
    use monitor_core::Sample;

    use super::super::outcome::Limited;
    use super::*;

    fn row(ms: u64, count: u64, level: u32) -> Frame {
        let now = Instant::from_nanos(ms * 1_000_000);
        let reading = Some(Reading { captured_at: now, sample: Sample::Count(count) });
        Frame { now, a: reading, b: None, levels: Levels::from_bits(level) }
    }

    fn cycled(rows: &[Frame], cycle_ms: u64) -> Cycled<&[Frame]> {
        let ms = |n| Span::from_millis(n).unwrap();
        Cycled::new(rows, ms(cycle_ms), ms(4))
    }

    fn evaluate(rows: &[Frame], cycle_ms: u64) -> Vec<(u64, Option<u64>, u32)> {
        let mut cycled = cycled(rows, cycle_ms);
        let (mut batch, mut seen) = (Vec::new(), Vec::new());
        while cycled.next_batch(&mut batch).unwrap() {
            seen.extend(batch.iter().map(|frame| {
                let count = frame.a.map(|reading| match reading.sample {
                    Sample::Count(count) => count,
                    Sample::Invalid => panic!("not in these rows"),
                });
                (frame.now.as_nanos() / 1_000_000, count, frame.levels.to_bits())
            }));
        }
        seen
    }

    #[test]
    fn a_cycle_sees_the_newest_row_at_or_before_its_instant() {
        let rows = [row(5, 50, 0), row(6, 60, 1), row(7, 70, 1), row(12, 120, 0)];
        assert_eq!(
            evaluate(&rows, 2),
            [(5, Some(50), 0), (7, Some(70), 1), (9, None, 1), (11, None, 1)],
            "12 ms lies between two instants of the cycle"
        );
    }

    #[test]
    fn a_cycle_shorter_than_the_rows_evaluates_in_between() {
        let rows = [row(0, 1, 0), row(2, 3, 0), row(4, 5, 1)];
        assert_eq!(
            evaluate(&rows, 1),
            [(0, Some(1), 0), (1, None, 0), (2, Some(3), 0), (3, None, 0), (4, Some(5), 1)]
        );
    }

    #[test]
    fn a_cycle_tells_of_the_rows_how_many_how_far_apart_and_what_it_passed_over() {
        let rows: Vec<Frame> = [0, 1, 2, 3, 4, 5, 12, 13, 14]
            .map(|ms| Frame { b: (ms != 4).then(|| row(ms, 0, 0).a.unwrap()), ..row(ms, ms, 0) })
            .into();
        let mut cycled = cycled(&rows, 3);
        let mut batch = Vec::new();
        while cycled.next_batch(&mut batch).unwrap() {}
        let ms = |n: u64| Instant::from_nanos(n * 1_000_000);
        // Evaluated at 0, 3, 6, 9 and 12 ms: of A those of 1, 2 and 4 ms were replaced, those of 13 and 14 ms came too late.
        let gaps = Limited { kept: vec![Gap { from: ms(5), to: ms(12) }], left_out: 0 };
        let facts = Rows {
            rows: 9,
            longest_period: Span::from_millis(7).unwrap(),
            passed_over: [5, 4],
            analogues_passed_over: Vec::new(),
            gaps,
        };
        assert_eq!(cycled.rows(), Some(&facts));
    }

    #[test]
    fn a_cycle_gives_the_same_frames_across_batches() {
        let rows: Vec<Frame> = (0..3 * BATCH_FRAMES as u64 + 7).map(|i| row(i, i, 0)).collect();
        let seen = evaluate(&rows, 3);
        assert!(seen.iter().zip((0..).step_by(3)).all(|(seen, ms)| *seen == (ms, Some(ms), 0)));
        assert_eq!(seen.len(), rows.len().div_ceil(3));
    }
}
