//! One position source: from the true motion to the count or position it reports.

use super::motion::Truth;
use super::numeric::{Purpose, Stream, sin_cos_turns};

/// A sensor with everything that is wrong with it; lengths in the axis unit, times in nanoseconds.
#[derive(Debug, Clone)]
pub(super) struct EncoderModel {
    pub(super) column: String,
    pub(super) scale: Scale,
    /// 1 or -1: whether the reading grows with the position.
    pub(super) direction: f64,
    /// Position at the start of the trace: travel and scale error count from here.
    pub(super) start: f64,
    pub(super) latency: i64,
    pub(super) jitter: u32,
    /// Readings at `phase + k period`; `None` reads at every row.
    pub(super) cycle: Option<Cycle>,
    pub(super) sparse: bool,
    pub(super) noise: f64,
    pub(super) scale_error: f64,
    pub(super) eccentricity: Option<EccentricityModel>,
    /// Full width of the play.
    pub(super) backlash: f64,
    /// Displacement per acceleration, in s².
    pub(super) compliance: f64,
    pub(super) capture: Option<(String, TimeUnit)>,
    pub(super) valid: Option<String>,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Cycle {
    pub(super) period: i64,
    pub(super) phase: i64,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct EccentricityModel {
    pub(super) amplitude: f64,
    pub(super) period: f64,
    /// In turns.
    pub(super) phase: f64,
}

/// What a reading is made of.
#[derive(Debug, Clone, Copy)]
pub(super) enum Scale {
    /// A counter of `bits`, `start` at the first row, as a bit pattern.
    Counter { unit_per_count: f64, bits: u32, start: u64, signed: bool },
    /// A decimal position: digits after the point, and the last of them in the axis unit.
    Position { decimals: u32, step: f64 },
}

/// Unit of a time column.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum TimeUnit {
    Second,
    Millisecond,
    Microsecond,
    Nanosecond,
}

impl TimeUnit {
    /// Digits after the point that show every nanosecond.
    pub(super) const fn digits(self) -> u32 {
        match self {
            Self::Second => 9,
            Self::Millisecond => 6,
            Self::Microsecond => 3,
            Self::Nanosecond => 0,
        }
    }
}

/// A fault of one source, from `at` to `until`.
#[derive(Debug, Clone, Copy)]
pub(super) struct SourceFault {
    pub(super) kind: SourceFaultKind,
    pub(super) at: i64,
    /// `i64::MAX` when the fault stays.
    pub(super) until: i64,
    /// Place in the list of planted facts.
    pub(super) fact: usize,
}

#[derive(Debug, Clone, Copy)]
pub(super) enum SourceFaultKind {
    Stuck,
    Jump { by: f64 },
    LostCounts { rate: f64 },
    Reversed,
    Drift { speed: f64 },
    Slip { by: f64 },
    Dropped,
    Latency { to: i64 },
    Invalid,
}

impl SourceFault {
    fn active(&self, t: i64) -> bool {
        t >= self.at && t < self.until
    }

    /// How much of the interval has passed at `t`, in seconds.
    fn elapsed_s(&self, t: i64) -> f64 {
        (t.min(self.until) - self.at).max(0) as f64 / 1e9
    }
}

/// The reading a source shows at present.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Reading {
    /// Steps of the scale since the start (counter) or from zero (position).
    pub(super) steps: i64,
    /// Instant at which the motion was sampled.
    pub(super) captured: i64,
    pub(super) valid: bool,
}

/// A source on its way through a trace.
#[derive(Debug)]
pub(super) struct Encoder<'s> {
    model: &'s EncoderModel,
    faults: Vec<SourceFault>,
    /// Whether each fault changes the reading being taken, and the one being shown.
    touched: Vec<bool>,
    showing: Vec<bool>,
    hint: usize,
    jitter: Stream,
    noise: Stream,
    lost_counts: Stream,
    next_reading: i64,
    captured: i64,
    play: f64,
    turning: Turning,
    counted: Option<i64>,
    lost: i64,
    held: Option<i64>,
    shown: Reading,
    /// Whether the present row has a new reading, or should have had one.
    fresh: bool,
    missing: bool,
}

/// Direction of counting: the reading moves from `reading` as the travel moves from `travel`, or against it.
#[derive(Debug, Clone, Copy)]
struct Turning {
    sign: f64,
    travel: f64,
    reading: f64,
    /// The pair of the last reading, where the next change of direction will turn.
    last: (f64, f64),
}

/// A reading that no longer fits the range in which a counter can be followed.
#[derive(Debug, Clone, Copy)]
pub(super) struct OutOfRange;

/// Largest number of steps from the start, 2^62; beyond 2^53 the true position is coarser than a step anyway.
const MOST_STEPS: f64 = 4_611_686_018_427_387_904.0;

impl<'s> Encoder<'s> {
    pub(super) fn new(model: &'s EncoderModel, faults: &[SourceFault], seed: u64, source: usize) -> Self {
        let first = match model.cycle {
            Some(Cycle { period, phase }) if phase > 0 => phase - period,
            _ => 0,
        };
        Self {
            model,
            faults: faults.to_vec(),
            touched: vec![false; faults.len()],
            showing: vec![false; faults.len()],
            hint: 0,
            jitter: Stream::new(seed, source, Purpose::Jitter),
            noise: Stream::new(seed, source, Purpose::Noise),
            lost_counts: Stream::new(seed, source, Purpose::LostCounts),
            next_reading: first,
            captured: i64::MIN,
            play: model.start,
            turning: Turning { sign: 1.0, travel: 0.0, reading: 0.0, last: (0.0, 0.0) },
            counted: None,
            lost: 0,
            held: None,
            shown: Reading::default(),
            fresh: false,
            missing: false,
        }
    }

    /// Takes every reading due up to the row at `row`.
    pub(super) fn advance(&mut self, row: i64, truth: &Truth) -> Result<(), OutOfRange> {
        (self.fresh, self.missing) = (false, false);
        match self.model.cycle {
            None => self.read(row, truth)?,
            Some(cycle) => {
                while self.next_reading <= row {
                    self.read(self.next_reading, truth)?;
                    self.next_reading += cycle.period;
                }
            }
        }
        Ok(())
    }

    /// The reading to show in the present row: always one, or only a new one of a sparse source.
    pub(super) fn cell(&self) -> Option<Reading> {
        (self.fresh || !self.model.sparse).then_some(self.shown)
    }

    /// Calls `tell` with the fact of every fault that shows in the present row.
    pub(super) fn showing(&self, mut tell: impl FnMut(usize)) {
        if self.model.sparse && !self.fresh && !self.missing {
            return;
        }
        for (fault, showing) in self.faults.iter().zip(&self.showing) {
            if *showing {
                tell(fault.fact);
            }
        }
    }

    /// One reading that arrives at `arrival`.
    fn read(&mut self, arrival: i64, truth: &Truth) -> Result<(), OutOfRange> {
        let mut latency = self.model.latency;
        let (mut dropped, mut valid) = (false, true);
        self.touched.fill(false);
        for (fault, touched) in self.faults.iter().zip(&mut self.touched) {
            if fault.active(arrival) {
                match fault.kind {
                    SourceFaultKind::Latency { to } => latency = to,
                    SourceFaultKind::Dropped => dropped = true,
                    SourceFaultKind::Invalid => valid = false,
                    _ => continue,
                }
                *touched = true;
            }
        }
        let jitter = if self.model.jitter == 0 { 0 } else { self.jitter.within(self.model.jitter) };
        // A queue that gets longer repeats its last sample until the delayed ones catch up; it never goes back.
        self.captured = (arrival - latency + jitter).max(self.captured);
        let travel = self.travel(truth);
        let steps = self.steps(travel)?;
        if dropped {
            // The reading of before stays, with whatever shows in it, and its loss shows beside it.
            for (index, fault) in self.faults.iter().enumerate() {
                self.showing[index] |= self.touched[index] && matches!(fault.kind, SourceFaultKind::Dropped);
            }
            self.missing = true;
        } else {
            self.shown = Reading { steps, captured: self.captured, valid };
            self.showing.clone_from(&self.touched);
            self.fresh = true;
        }
        Ok(())
    }

    /// Travel from the start as the sensor feels it, before it is counted.
    fn travel(&mut self, truth: &Truth) -> f64 {
        let model = self.model;
        let t = self.captured;
        let state = truth.walk(t, &mut self.hint);
        let mut x = state.position;
        for (fault, touched) in self.faults.iter().zip(&mut self.touched) {
            if let SourceFaultKind::Slip { by } = fault.kind
                && t >= fault.at
            {
                x -= by * (fault.elapsed_s(t) / ((fault.until - fault.at) as f64 / 1e9));
                *touched = true;
            }
        }
        let half_play = model.backlash / 2.0;
        self.play = self.play.clamp(x - half_play, x + half_play);
        let mut travel = (self.play - model.start) * (1.0 + model.scale_error);
        if let Some(ecc) = model.eccentricity {
            travel += ecc.amplitude * sin_cos_turns(self.play / ecc.period + ecc.phase).0;
        }
        travel += model.compliance * state.acceleration;

        let mut sign = 1.0;
        for (fault, touched) in self.faults.iter().zip(&mut self.touched) {
            match fault.kind {
                SourceFaultKind::Jump { by } if fault.active(t) => travel += by,
                SourceFaultKind::Drift { speed } if t >= fault.at => travel += speed * fault.elapsed_s(t),
                SourceFaultKind::Reversed if fault.active(t) => sign = -sign,
                SourceFaultKind::Reversed if t >= fault.at => {}
                _ => continue,
            }
            *touched = true;
        }
        let turned = self.turning.follow(travel, sign);
        if model.noise > 0.0 { turned + model.noise * self.noise.deviate() } else { turned }
    }

    /// Steps of the scale, with counts lost and the stuck value held.
    fn steps(&mut self, travel: f64) -> Result<i64, OutOfRange> {
        let t = self.captured;
        let travel = travel * self.model.direction;
        let steps = match self.model.scale {
            // The trace starts in the middle of a count, so that rest is not an edge.
            Scale::Counter { unit_per_count, .. } => (travel / unit_per_count + 0.5).floor(),
            Scale::Position { step, .. } => ((self.model.start + travel) / step + 0.5).floor(),
        };
        if steps.abs() > MOST_STEPS {
            return Err(OutOfRange);
        }
        let counted = steps as i64;
        let change = counted - self.counted.unwrap_or(counted);
        self.counted = Some(counted);
        let mut stuck = false;
        for (fault, touched) in self.faults.iter().zip(&mut self.touched) {
            match fault.kind {
                SourceFaultKind::LostCounts { rate } if fault.active(t) => {
                    let expected = change.unsigned_abs() as f64 * rate;
                    let missed = expected.floor();
                    // The fraction of a count is lost with its own probability, so the mean loss is exactly the rate.
                    let missed = missed as i64 + i64::from(self.lost_counts.unit() < expected - missed);
                    self.lost += missed * change.signum();
                }
                SourceFaultKind::LostCounts { .. } if t >= fault.at => {}
                SourceFaultKind::Stuck if fault.active(t) => stuck = true,
                _ => continue,
            }
            *touched = true;
        }
        let steps = counted - self.lost;
        if !stuck {
            self.held = Some(steps);
        }
        Ok(*self.held.get_or_insert(steps))
    }
}

impl Turning {
    /// The reading at `travel` while the direction of counting is `sign`.
    fn follow(&mut self, travel: f64, sign: f64) -> f64 {
        if sign != self.sign {
            (self.travel, self.reading) = self.last;
            self.sign = sign;
        }
        let reading = self.reading + self.sign * (travel - self.travel);
        self.last = (travel, reading);
        reading
    }
}

impl Scale {
    /// The number in the cell: a wrapped count, or a scaled decimal, with its digits after the point.
    pub(super) fn cell(&self, steps: i64) -> (CellNumber, u32) {
        match *self {
            Self::Counter { bits, start, signed, .. } => {
                let pattern = start.wrapping_add(steps as u64) << (64 - bits);
                let number = if signed {
                    CellNumber::Signed(pattern as i64 >> (64 - bits))
                } else {
                    CellNumber::Unsigned(pattern >> (64 - bits))
                };
                (number, 0)
            }
            Self::Position { decimals, .. } => (CellNumber::Signed(steps), decimals),
        }
    }
}

/// An integer as it stands in a cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum CellNumber {
    Signed(i64),
    Unsigned(u64),
}
