//! Random frames: a motion, two sources that read it with their faults, and the lines.

use super::rng::Rng;
use super::{Mood, RESET_LINE, Timing};
use crate::model::{Input, Lines, Pairing, Setup, Source};
use monitor_core::{Frame, Instant, Levels, Reading, Sample};
use num_rational::BigRational;
use num_traits::ToPrimitive;

/// The true motion, in whole numbers: speed in millionths of a unit per second, so position in 10⁻¹⁵ units.
struct Motion {
    rng: Rng,
    typical: i128,
    position: i128,
    speed: i128,
    target: i128,
    /// Change of the speed per nanosecond, in 10⁻⁹ millionths; zero: jump to the target.
    acceleration: i128,
    until: u64,
    /// Stretches of constant speed: when each began, where, and how fast.
    stretches: Vec<(u64, i128, i128)>,
}

impl Motion {
    fn new(rng: Rng, typical: i128, start: u64) -> Self {
        let stretches = vec![(start, 0, 0)];
        Self { rng, typical, position: 0, speed: 0, target: 0, acceleration: 0, until: 0, stretches }
    }

    /// The position at `instant`, which is no later than the end of the last stretch.
    fn at(&self, instant: u64) -> i128 {
        let stretch = self.stretches.iter().rev().find(|(begin, ..)| *begin <= instant);
        stretch.map_or(0, |(begin, position, speed)| position + speed * i128::from(instant - begin))
    }

    /// Moves on by `elapsed` to `now`.
    fn advance(&mut self, now: u64, elapsed: u64, period: u64) {
        self.stretches.push((now - elapsed, self.position, self.speed));
        self.position += self.speed * i128::from(elapsed);
        if now >= self.until {
            self.until = now + period * self.rng.nanos(3, 60);
            // Tenths of the typical speed, which limits are made of; now and then a thousandth beside that.
            let tenths = self.rng.pick(&[0, 0, 0, 1, 3, 5, 8, 10, 10, 11, 12]);
            let beside = self.rng.pick(&[0, 0, 0, 1, -1]);
            self.target = self.typical * tenths / 10 + self.typical * beside / 1000;
            if self.rng.once_in(4000) {
                self.target = -self.target;
            }
            let fall = i128::from(period) * self.rng.range(2, 60);
            let steps = self.typical * 1_000_000_000 / fall;
            self.acceleration = if self.rng.once_in(2000) { 0 } else { steps };
        }
        let step = self.acceleration * i128::from(elapsed) / 1_000_000_000;
        self.speed = if self.acceleration == 0 || (self.target - self.speed).abs() <= step {
            self.target
        } else {
            self.speed + step * (self.target - self.speed).signum()
        };
    }
}

/// One source that reads the motion.
struct Sensor {
    rng: Rng,
    source: Source,
    mood: Mood,
    /// Added to every count: the start, jumps, slip.
    offset: i128,
    latency: u64,
    latency_jitter: u64,
    last: Option<Reading>,
    silent_frames: u64,
    invalid_frames: u64,
    slip_per_frame: i128,
}

impl Sensor {
    fn new(mut rng: Rng, source: &Source, mood: Mood, timing: &Timing) -> Self {
        let half = 1_i128 << (source.counter_bits - 1);
        // Next to the wrap of the width on either side, next to zero, or anywhere.
        let offset = match rng.range(0, 4) {
            0 => half - 1 - rng.range(0, 100),
            1 => half + rng.range(0, 100),
            2 => 2 * half - 1 - rng.range(0, 20),
            3 => rng.range(0, 20),
            _ => rng.range(0, 2 * half - 1),
        };
        let latency = if rng.flip() { 0 } else { rng.nanos(0, timing.period_ns) };
        let latency_jitter = if rng.flip() { 0 } else { rng.nanos(0, timing.period_ns / 4) };
        Self {
            rng,
            source: source.clone(),
            mood,
            offset,
            latency,
            latency_jitter,
            last: None,
            silent_frames: 0,
            invalid_frames: 0,
            slip_per_frame: 0,
        }
    }

    /// How often a fault is drawn, in 10 000.
    fn rate(&self, light: u64) -> u64 {
        match self.mood {
            Mood::Clean => 0,
            Mood::Light => light,
            Mood::Heavy => 6 * light,
        }
    }

    fn count(&self, position: i128) -> u64 {
        let units = BigRational::new(position.into(), 1_000_000_000_000_000_i128.into());
        let counts = (units / &self.source.unit_per_count).floor().to_integer();
        let count = counts.to_i128().expect("a motion stays within the range") + self.offset;
        let modulus = 1_i128 << self.source.counter_bits;
        u64::try_from(count.rem_euclid(modulus)).expect("a counter has at most 64 bits")
    }

    /// What is handed in at the frame `now`.
    fn read(&mut self, now: u64, motion: &Motion, timing: &Timing) -> Option<Reading> {
        self.offset += self.slip_per_frame;
        if self.rng.once_in(self.rate(15)) {
            self.slip_per_frame = if self.slip_per_frame == 0 { self.rng.range(-3, 3) } else { 0 };
        }
        if self.rng.once_in(self.rate(10)) {
            let turn = 1_i128 << self.source.counter_bits;
            self.offset += self.rng.range(-turn / 2, turn / 2);
        }
        if self.silent_frames > 0 {
            self.silent_frames -= 1;
            return None;
        }
        if self.rng.once_in(self.rate(10)) {
            self.silent_frames = self.rng.nanos(1, 20);
            return None;
        }
        if self.rng.once_in(self.rate(100)) {
            return None;
        }
        if self.rng.once_in(self.rate(100)) {
            return self.last;
        }
        if self.invalid_frames == 0 && self.rng.once_in(self.rate(10)) {
            self.invalid_frames = self.rng.nanos(1, 4);
        }
        let delay = self.latency + self.rng.nanos(0, self.latency_jitter);
        let captured = now.saturating_sub(delay);
        let in_order =
            self.last.map_or(captured, |last| captured.max(last.captured_at.as_nanos() + 1)).min(now);
        let value = self.count(motion.at(in_order));
        let mut reading =
            Reading { captured_at: Instant::from_nanos(in_order), sample: Sample::Count(value) };
        if self.invalid_frames > 0 {
            self.invalid_frames -= 1;
            reading.sample = Sample::Invalid;
            return Some(reading);
        }
        if self.rng.once_in(self.rate(10)) {
            return Some(self.misplaced(reading, timing));
        }
        self.last = Some(reading);
        Some(reading)
    }

    /// A reading with a wrong instant: from the future, from before the last one, at its instant, or too old.
    fn misplaced(&mut self, mut reading: Reading, timing: &Timing) -> Reading {
        let last = self.last.map_or(reading.captured_at, |last| last.captured_at).as_nanos();
        let at = match self.rng.range(0, 3) {
            0 => {
                reading.captured_at.as_nanos()
                    + self.rng.nanos(1, 2 * timing.period_ns)
                    + self.latency
                    + timing.period_ns
            }
            1 => last.saturating_sub(self.rng.nanos(1, timing.period_ns)),
            2 => last,
            _ => reading.captured_at.as_nanos().saturating_sub(2 * self.source.timeout_ns),
        };
        reading.captured_at = Instant::from_nanos(at);
        if self.rng.flip()
            && let Sample::Count(value) = reading.sample
        {
            reading.sample = Sample::Count(value ^ 1);
        }
        reading
    }
}

/// One line that changes on its own or follows another.
struct Wire {
    line: u8,
    high: bool,
    changes_at: u64,
    next: bool,
}

/// All lines of the inputs.
struct Wiring {
    rng: Rng,
    pairs: Vec<Pair>,
    reset: Wire,
    reset_rate: u64,
    /// How often a pair does not change together, and how often a line is read wrong, in 10 000.
    clumsy: u64,
    noise: u64,
}

/// The wires of one input.
struct Pair {
    first: Wire,
    second: Option<Wire>,
    /// Whether the second wire has the other level.
    inverted: bool,
    discrepancy_time: u64,
    demand_high: bool,
}

impl Wiring {
    fn new(mut rng: Rng, setup: &Setup) -> Self {
        let wire = |line, high| Wire { line, high, changes_at: u64::MAX, next: high };
        let mut pair = |input: &Input| {
            let demand_high = input.demand_high;
            let high = demand_high == rng.once_in(1500);
            match input.lines {
                Lines::One(line) => Pair {
                    first: wire(line, high),
                    second: None,
                    inverted: false,
                    discrepancy_time: 0,
                    demand_high,
                },
                Lines::Two { first, second, pairing, discrepancy_time_ns: discrepancy_time, .. } => {
                    let inverted = pairing == Pairing::Antivalent;
                    let second = Some(wire(second, high != inverted));
                    Pair { first: wire(first, high), second, inverted, discrepancy_time, demand_high }
                }
            }
        };
        let pairs = setup.inputs.iter().map(&mut pair).collect();
        let reset_rate = rng.pick(&[100, 300, 1000]);
        // The button is to be released while a stop that is a reaction goes on, too.
        let reset_rate =
            if setup.monitors.iter().any(|one| one.reaction.is_some()) { 3000 } else { reset_rate };
        let clumsy = rng.pick(&[0, 500, 3000]);
        let noise = rng.pick(&[0, 0, 10, 40]);
        Self { rng, pairs, reset: wire(RESET_LINE, false), reset_rate, clumsy, noise }
    }

    fn levels(&mut self, now: u64, period: u64) -> Levels {
        let mut bits = 0_u32;
        let rng = &mut self.rng;
        for pair in &mut self.pairs {
            // A demand lasts some 30 frames, a rest some 100.
            let rate = if pair.first.high == pair.demand_high { 330 } else { 100 };
            let settled = [Some(&pair.first), pair.second.as_ref()].into_iter().flatten().all(Wire::settled);
            if settled && rng.once_in(rate) {
                pair.plan(rng, now, period, self.clumsy);
            }
            for wire in [Some(&mut pair.first), pair.second.as_mut()].into_iter().flatten() {
                if now >= wire.changes_at {
                    wire.high = wire.next;
                    wire.changes_at = u64::MAX;
                }
                // A bounce or a test pulse of one frame does not move the wire itself.
                let shown = wire.high != rng.once_in(self.noise);
                bits |= u32::from(shown) << wire.line;
            }
        }
        if now >= self.reset.changes_at {
            self.reset.high = false;
            self.reset.changes_at = u64::MAX;
        } else if !self.reset.high && rng.once_in(self.reset_rate) {
            self.reset.high = true;
            self.reset.changes_at = now + rng.nanos(1, 5 * period);
        }
        Levels::from_bits(bits | u32::from(self.reset.high) << self.reset.line)
    }
}

impl Wire {
    fn settled(&self) -> bool {
        self.changes_at == u64::MAX
    }

    fn change(&mut self, high: bool, at: u64) {
        self.next = high;
        self.changes_at = at;
    }
}

impl Pair {
    /// Plans the next change: together, staggered within the discrepancy time or around it, or one wire alone.
    fn plan(&mut self, rng: &mut Rng, now: u64, period: u64, clumsy: u64) {
        let high = !self.first.high;
        let Some(second) = &mut self.second else {
            return self.first.change(high, now);
        };
        let second_high = high != self.inverted;
        if !rng.once_in(clumsy) {
            let stagger = rng.nanos(0, (2 * period).min(self.discrepancy_time / 2));
            self.first.change(high, now);
            return second.change(second_high, now + stagger);
        }
        let around = self.discrepancy_time.saturating_add(rng.nanos(0, 2 * period)).saturating_sub(period);
        match rng.range(0, 4) {
            // One wire alone: a later plan brings it back, or the other one after it.
            0 => self.first.change(high, now),
            1 => second.change(!second.high, now),
            2 => {
                self.first.change(high, now);
                second.change(second_high, now + around);
            }
            _ => {
                self.first.change(high, now + around);
                second.change(second_high, now);
            }
        }
    }
}

/// `length` frames for `setup` whose motion has the typical speed `typical` in millionths of a unit per second.
pub(super) fn frames(
    rng: &mut Rng,
    setup: &Setup,
    timing: &Timing,
    typical: i128,
    mood: Mood,
    length: usize,
) -> Vec<Frame> {
    let mut motion = Motion::new(rng.split(), typical, timing.start_ns);
    let mut a = Sensor::new(rng.split(), &setup.a, mood, timing);
    let mut b = Sensor::new(rng.split(), &setup.b, mood, timing);
    let mut wiring = Wiring::new(rng.split(), setup);
    let mut rng = rng.split();
    let mut now = timing.start_ns;
    let clock_faults = if mood == Mood::Heavy { 20 } else { 0 };
    let mut frames: Vec<Frame> = Vec::with_capacity(length);
    for index in 0..length {
        if index > 0 && rng.once_in(clock_faults) {
            let back = rng.pick(&[0, 0, 1, timing.period_ns]);
            let mut repeated = frames[index - 1];
            repeated.now = Instant::from_nanos(now.saturating_sub(back));
            repeated.levels = Levels::from_bits(repeated.levels.to_bits() ^ 0xffff_ffff);
            frames.push(repeated);
            continue;
        }
        let elapsed = rng.nanos(timing.period_ns - timing.jitter_ns, timing.period_ns + timing.jitter_ns);
        now += elapsed;
        motion.advance(now, elapsed, timing.period_ns);
        frames.push(Frame {
            now: Instant::from_nanos(now),
            a: a.read(now, &motion, timing),
            b: b.read(now, &motion, timing),
            levels: wiring.levels(now, timing.period_ns),
        });
    }
    frames
}
