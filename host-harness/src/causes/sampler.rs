//! Keeps from a replay of any length what the causes are found from.

use monitor_core::{Frame, Instant};

use crate::setup::Setup;

use super::counter::{Counter, Taken};
use super::local::{Local, fit};
use super::samples::{Point, Samples, Unusable};

/// Frames kept at full rate, about half of them up to the trip and the rest after it. A power of two.
pub(super) const RING: usize = 8192;
/// Samples kept of the time before, evenly spread over it.
const KEPT: usize = 8192;
/// Frames before and after the trip of which every one becomes a sample; further away it is every fourth.
const DENSE: u64 = 1500;
const SPARSE: u64 = 4;
/// Frames on either side of a sample that its local fit may reach.
const REACH: u64 = RING as u64 / 4;

/// One frame at which both channels could be compared.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Raw {
    pub(super) now: u64,
    pub(super) counts: [i64; 2],
    pub(super) captured_at: [u64; 2],
}

/// Takes in every frame of a replay, in bounded memory, and keeps: samples evenly spread from the reference to the trip, and
/// every frame around the trip.
///
/// Both counts are unwrapped here as the core does it, and the channels are compared from the references that it takes (RULES.md,
/// sections 3 and 8): at the first frame at which both have a reading, and again after a fault that broke the count of either. A
/// frame with a reading that is missing, invalid, out of order or stale is no sample.
///
/// ```no_run
/// # use host_harness::{causes::{self, Sampler}, setup::Setup};
/// # fn frames() -> Vec<monitor_core::Frame> { Vec::new() }
/// # let setup = Setup::load("axis.toml").unwrap();
/// # let tripped_at = monitor_core::Instant::from_nanos(0);
/// let mut sampler = Sampler::new(&setup);
/// for frame in frames() {
///     sampler.take(&frame);
///     if frame.now == tripped_at {
///         sampler.mark();
///     }
///     if sampler.is_complete() {
///         break;
///     }
/// }
/// let found = causes::decompose(&sampler.samples(), &causes::Options::default());
/// println!("{found}");
/// ```
#[derive(Clone, Debug)]
pub struct Sampler {
    counters: [Counter; 2],
    /// Half of what the local fits of speed and acceleration look at, in ns.
    window: u64,
    /// The last frames of this stretch; frame number `k` lies at `k % RING`.
    ring: Vec<Raw>,
    /// Frames of this stretch.
    taken: u64,
    stretches: [u32; 2],
    /// Whether both are moved to the instant of the frame, and compared only when both speeds are known.
    is_aligned: bool,
    /// The frame of the reference, and its number; `None`: not all is known yet.
    reference: Raw,
    first: Option<u64>,
    kept: Vec<(Raw, [Local; 2])>,
    /// Every so many frames one is kept.
    every: u64,
    /// The frame to be kept next, and when enough follow it.
    next: u64,
    due: u64,
    /// Frames of the trip, and of the last one to be taken.
    marked: Option<u64>,
    is_over: bool,
    unusable: Unusable,
    unit: crate::setup::AxisUnit,
}

impl Sampler {
    /// For the frames of an axis set up so.
    #[must_use]
    pub fn new(setup: &Setup) -> Self {
        Self {
            counters: [Counter::new(&setup.a), Counter::new(&setup.b)],
            window: setup.speed.window.value.as_nanos(),
            ring: vec![Raw::default(); RING],
            taken: 0,
            stretches: [0; 2],
            is_aligned: setup.discrepancy.as_ref().is_some_and(|rule| rule.align),
            reference: Raw::default(),
            first: None,
            kept: Vec::new(),
            every: 1,
            next: u64::MAX,
            due: u64::MAX,
            marked: None,
            is_over: false,
            unusable: Unusable::default(),
            unit: setup.unit,
        }
    }

    /// Takes in one frame of the replay, in their order.
    #[inline]
    pub fn take(&mut self, frame: &Frame) {
        if self.is_over {
            return;
        }
        let [a, b] = &mut self.counters;
        let (saw_a, saw_b) = (a.take(frame.now, &frame.a), b.take(frame.now, &frame.b));
        if saw_a == Taken::Blind || saw_b == Taken::Blind {
            self.unusable.frames[0] += u64::from(saw_a == Taken::Blind);
            self.unusable.frames[1] += u64::from(saw_b == Taken::Blind);
            return;
        }
        let raw = Raw {
            now: frame.now.as_nanos(),
            counts: [a.count, b.count],
            captured_at: [a.captured_at, b.captured_at],
        };
        let stretches = [a.stretch, b.stretch];
        if stretches != self.stretches && !self.start(stretches, raw) {
            return;
        }
        if saw_a == Taken::Anew || saw_b == Taken::Anew {
            return;
        }
        if self.first.is_none() {
            self.refer(raw);
        }
        self.ring[self.taken as usize % RING] = raw;
        if self.taken == self.next {
            self.due = raw.now.saturating_add(2 * self.window);
        }
        self.taken += 1;
        if raw.now >= self.due || self.taken > self.next.saturating_add(REACH) {
            self.keep(raw.now);
        }
        if let Some(marked) = self.marked {
            self.is_over = self.taken >= marked + RING as u64 / 2;
        }
    }

    /// New references. False when the trip was before them: what follows cannot be compared with what led to it.
    #[cold]
    fn start(&mut self, stretches: [u32; 2], raw: Raw) -> bool {
        if self.marked.is_some() {
            self.is_over = true;
            return false;
        }
        self.unusable.restarts += u64::from(self.taken > 0);
        (self.stretches, self.reference, self.first) = (stretches, raw, None);
        (self.taken, self.every, self.next, self.due) = (0, 1, u64::MAX, u64::MAX);
        if !self.is_aligned {
            (self.first, self.next) = (Some(0), 0);
        }
        self.kept.clear();
        true
    }

    /// Takes the references of an aligned comparison: at the first frame with both speeds (RULES.md, section 8).
    #[cold]
    fn refer(&mut self, raw: Raw) {
        let is_known = |side: usize| raw.captured_at[side] >= self.counters[side].began_at + self.window;
        if is_known(0) && is_known(1) {
            (self.reference, self.first, self.next) = (raw, Some(self.taken), self.taken);
        }
    }

    /// Keeps the frames that enough others follow by now.
    #[cold]
    fn keep(&mut self, now: u64) {
        while self.next < self.taken && (now >= self.due || self.taken > self.next + REACH) {
            let raw = self.raw(self.next);
            let local = self.local(self.next);
            self.kept.push((raw, local));
            if self.kept.len() == KEPT {
                let mut place = 0;
                self.kept.retain(|_| {
                    place += 1;
                    place % 2 == 1
                });
                self.every *= 2;
                // The last one kept was at an odd place and has gone.
                self.next -= self.every / 2;
            }
            self.next += self.every;
            self.due = match self.next < self.taken {
                true => self.raw(self.next).now.saturating_add(2 * self.window),
                false => u64::MAX,
            };
        }
    }

    fn raw(&self, number: u64) -> Raw {
        self.ring[number as usize % RING]
    }

    /// Speed and acceleration of both channels at a frame, from the frames around it.
    fn local(&self, number: u64) -> [Local; 2] {
        let oldest = self.taken.saturating_sub(RING as u64);
        let least = number.saturating_sub(REACH).max(oldest);
        let most = (number + REACH).min(self.taken - 1);
        let here = self.raw(number);
        let reaches = [1, 2].map(|windows| {
            let span = windows * self.window;
            let first = bisect(least, number, |k| self.raw(k).now + span >= here.now);
            let last = bisect(number, most + 1, |k| self.raw(k).now > here.now + span) - 1;
            (first, last)
        });
        [0, 1].map(|side| Local {
            lead: if self.is_aligned { self.lead(number, oldest, side) } else { 0.0 },
            ..fit(here, side, self.counters[side].unit, reaches, |k| self.raw(k))
        })
    }

    /// By how much a channel has moved since its reading by its speed over the window, as the core has it; but the core keeps fewer readings, so that
    /// its window may be longer by the spacing of its history.
    fn lead(&self, number: u64, oldest: u64, side: usize) -> f64 {
        let here = self.raw(number);
        let captured_at = here.captured_at[side];
        let is_younger = |k: u64| self.raw(k).captured_at[side] + self.window > captured_at;
        let after = bisect(oldest, number, is_younger);
        let base = self.raw(after.saturating_sub(1).max(oldest));
        let elapsed = captured_at - base.captured_at[side];
        if elapsed == 0 {
            return 0.0;
        }
        let moved = here.counts[side].wrapping_sub(base.counts[side]) as f64 * self.counters[side].unit;
        moved / elapsed as f64 * (here.now - captured_at) as f64
    }

    /// The last frame taken is that of the trip. Only the first call counts.
    pub fn mark(&mut self) {
        if self.marked.is_none() && self.taken > 0 {
            self.marked = Some(self.taken);
        }
    }

    /// Takes the references anew at the next frame, as if the replay began there. Not for an accepted reset, which leaves them (RULES.md,
    /// section 8).
    pub fn restart(&mut self) {
        self.stretches = [0; 2];
    }

    /// Whether nothing more is wanted: enough was taken after the trip.
    #[must_use]
    pub const fn is_complete(&self) -> bool {
        self.is_over
    }

    /// When the references were taken; `None`: they have not been.
    #[must_use]
    pub fn reference(&self) -> Option<Instant> {
        self.first.map(|_| Instant::from_nanos(self.reference.now))
    }

    /// What was kept. Without a [`mark`](Self::mark) the last frame stands for the trip.
    #[must_use]
    pub fn samples(&self) -> Samples {
        let first = self.first.unwrap_or(self.taken);
        let first_full = self.taken.saturating_sub(RING as u64);
        // The fits of the oldest frames of the ring would look to one side only.
        let first_full = if first_full == 0 { 0 } else { first_full + REACH.min(RING as u64 / 8) };
        let first_full = first_full.max(first);
        let mut points = Vec::with_capacity(self.kept.len() + RING);
        let full_from = if self.taken > 0 { self.raw(first_full.min(self.taken - 1)).now } else { 0 };
        for (raw, local) in self.kept.iter().take_while(|(raw, _)| raw.now < full_from) {
            points.push(self.point(*raw, local, false));
        }
        let trip = self.marked.map_or(self.taken, |marked| marked).saturating_sub(1);
        let mut trip_place = 0;
        for number in first_full..self.taken {
            if number == trip {
                trip_place = points.len();
            }
            let is_dense = number.abs_diff(trip) <= DENSE;
            if is_dense || number % SPARSE == 0 {
                points.push(self.point(self.raw(number), &self.local(number), is_dense));
            }
        }
        let reference_lead = points.first().map_or([0.0; 2], |point| point.lead);
        for point in &mut points {
            point.lead = [0, 1].map(|side| point.lead[side] - reference_lead[side]);
        }
        Samples {
            unit: self.unit,
            reference_ns: self.reference.now,
            trip: trip_place,
            points,
            count: [self.counters[0].unit.abs(), self.counters[1].unit.abs()],
            window: self.window as f64 / 1e9,
            unusable: self.unusable,
        }
    }

    fn point(&self, raw: Raw, local: &[Local; 2], is_full_rate: bool) -> Point {
        let side = |side: usize| {
            let counts = raw.counts[side].wrapping_sub(self.reference.counts[side]);
            counts as f64 * self.counters[side].unit
        };
        let age = |side: usize| raw.now.saturating_sub(raw.captured_at[side]) as f64 / 1e9;
        Point {
            now_ns: raw.now,
            t: raw.now.saturating_sub(self.reference.now) as f64 / 1e9,
            x: [side(0), side(1)],
            v: [local[0].v, local[1].v],
            a: [local[0].a, local[1].a],
            age: [age(0), age(1)],
            v_error: [local[0].v_error, local[1].v_error],
            a_error: [local[0].a_error, local[1].a_error],
            lead: [local[0].lead, local[1].lead],
            is_full_rate,
        }
    }
}

/// The first number from `low` on, below `high`, at which a condition holds that holds from there on; `high` where it never does.
fn bisect(mut low: u64, mut high: u64, holds: impl Fn(u64) -> bool) -> u64 {
    while low < high {
        let middle = low.midpoint(high);
        if holds(middle) { high = middle } else { low = middle + 1 }
    }
    low
}
