//! Random readings of analogue values: a value that wanders, two lines that read it with their faults.

use super::rng::Rng;
use super::{Mood, Offer, Timing};
use crate::model::{Analogue, Setup};
use monitor_core::Frame;

/// Sixteenths of a unit in ULPs: what the values are multiples of, so that they meet limits exactly.
const STEP: i64 = 1 << 20;

/// One line of an analogue value.
struct Wire {
    rng: Rng,
    mood: Mood,
    timeout_ns: u64,
    latency: u64,
    last: Option<(u64, Option<i64>)>,
    silent_frames: u64,
    beside: i64,
}

impl Wire {
    fn new(mut rng: Rng, analogue: &Analogue, mood: Mood, timing: &Timing) -> Self {
        let latency = if rng.flip() { 0 } else { rng.nanos(0, timing.period_ns) };
        let timeout_ns = analogue.timeout_ns;
        Self { rng, mood, timeout_ns, latency, last: None, silent_frames: 0, beside: 0 }
    }

    /// Whether something with a rate in 10 000 goes wrong.
    fn goes_wrong(&mut self, rate: u64) -> bool {
        let times = match self.mood {
            Mood::Clean => 0,
            Mood::Light => 1,
            Mood::Heavy => 6,
        };
        self.rng.once_in(rate * times)
    }

    /// What is handed in before the frame at `now`, while the value is `level`.
    fn read(&mut self, now: u64, level: i64, timing: &Timing) -> Vec<(u64, Option<i64>)> {
        if self.silent_frames > 0 {
            self.silent_frames -= 1;
            return Vec::new();
        }
        if self.goes_wrong(20) {
            self.silent_frames = self.rng.nanos(1, 12);
        }
        if self.goes_wrong(20) {
            self.beside =
                if self.beside == 0 { i64::try_from(self.rng.range(-40, 40)).expect("small") } else { 0 };
        }
        // A slow line is not read anew at every frame.
        if self.rng.once_in(2000) {
            return Vec::new();
        }
        let captured = now.saturating_sub(self.latency);
        let captured = self.last.map_or(captured, |(last, _)| captured.max(last + 1)).min(now);
        let mut reading = (captured, Some((level + self.beside) * STEP));
        if self.goes_wrong(30) {
            reading.1 = None;
        }
        if self.goes_wrong(30) {
            // A broken wire.
            reading.1 = Some(self.rng.pick(&[-4000, 4000]) * STEP);
        }
        let last = self.last.replace(reading);
        let mut handed = vec![reading];
        if self.goes_wrong(40) {
            let (last_at, last_value) = last.unwrap_or(reading);
            let odd = match self.rng.range(0, 4) {
                0 => (now + self.rng.nanos(1, timing.period_ns), Some(level * STEP)),
                1 => (last_at, last_value),
                2 => (reading.0, Some(level * STEP + 1)),
                3 => (reading.0, None),
                _ => (
                    now.saturating_sub(self.timeout_ns).saturating_sub(self.rng.nanos(0, 2)),
                    Some(level * STEP),
                ),
            };
            // Beside the ordinary reading, after or before it, or instead of it.
            match self.rng.range(0, 2) {
                0 => handed.push(odd),
                1 => handed.insert(0, odd),
                _ => handed = vec![odd],
            }
        }
        handed
    }
}

/// What is handed in before each of the frames.
pub(super) fn offers(
    rng: &mut Rng,
    setup: &Setup,
    timing: &Timing,
    mood: Mood,
    frames: &[Frame],
) -> Vec<Vec<Offer>> {
    let mut rng = rng.split();
    let mut offers = vec![Vec::new(); frames.len()];
    for (index, analogue) in setup.analogues.iter().enumerate() {
        let mut wires = [(); 2].map(|()| Wire::new(rng.split(), analogue, mood, timing));
        let mut walk = rng.split();
        let (mut level, mut target) = (0_i64, 0_i64);
        for (frame, offers) in frames.iter().zip(&mut offers) {
            if walk.once_in(500) {
                target = i64::try_from(walk.range(-1600, 1600)).expect("a small number");
            }
            // Whole units now and then, which limits are made of.
            level += (target - level).clamp(-160, 160);
            for (channel, wire) in wires.iter_mut().enumerate() {
                let handed = wire.read(frame.now.as_nanos(), level / 16 * 16, timing);
                offers.extend(handed.into_iter().map(|(captured_at, value)| Offer {
                    analogue: index,
                    channel,
                    captured_at,
                    value,
                }));
            }
        }
    }
    offers
}
