//! Numbers with the same bits on every machine: a sine, a random stream, a normal deviate.
//!
//! Only `+`, `-`, `*`, `/`, `floor` and integer conversions are used. IEEE 754 fixes the result of each, and Rust never
//! contracts them into fused operations. The platform's `sin`, `exp` or `ln` would differ in their last bits.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};

const TURN: f64 = std::f64::consts::TAU;

/// `sin(2 pi u)` and `cos(2 pi u)` for `u` in turns; absolute error below 1e-15 beside the rounding of `u` itself.
pub(super) fn sin_cos_turns(u: f64) -> (f64, f64) {
    let u = u - u.floor();
    let quadrant = (4.0 * u + 0.5).floor();
    let y = TURN * (u - quadrant / 4.0);
    let (s, c) = (sin_eighth(y), cos_eighth(y));
    // 4 quarters are a full turn again.
    match quadrant as u8 {
        1 => (c, -s),
        2 => (-s, -c),
        3 => (-c, s),
        _ => (s, c),
    }
}

/// Taylor series of the sine within an eighth of a turn: the first term left out is below 5e-17.
fn sin_eighth(y: f64) -> f64 {
    let z = y * y;
    let tail = -1.0 / 6.0
        + z * (1.0 / 120.0
            + z * (-1.0 / 5_040.0
                + z * (1.0 / 362_880.0
                    + z * (-1.0 / 39_916_800.0
                        + z * (1.0 / 6_227_020_800.0 + z * (-1.0 / 1_307_674_368_000.0))))));
    y + y * z * tail
}

/// Taylor series of the cosine within an eighth of a turn: the first term left out is below 3e-18.
fn cos_eighth(y: f64) -> f64 {
    let z = y * y;
    let tail = 1.0 / 24.0
        + z * (-1.0 / 720.0
            + z * (1.0 / 40_320.0
                + z * (-1.0 / 3_628_800.0
                    + z * (1.0 / 479_001_600.0
                        + z * (-1.0 / 87_178_291_200.0 + z * (1.0 / 20_922_789_888_000.0))))));
    1.0 - z / 2.0 + z * z * tail
}

/// What a random stream is for: every purpose of every source has its own, so that switching one effect on leaves the
/// others as they were.
#[derive(Debug, Clone, Copy)]
pub(super) enum Purpose {
    Jitter,
    Noise,
    LostCounts,
}

/// The parts of a deviate of one, 2^33: every number of them is exact as a float.
const DEVIATE_PARTS: i64 = 8_589_934_592;

/// A stream of ChaCha8 numbers: the seed is the key, source and purpose select the stream.
#[derive(Debug, Clone)]
pub(super) struct Stream(ChaCha8Rng);

impl Stream {
    pub(super) fn new(seed: u64, source: usize, purpose: Purpose) -> Self {
        let mut key = [0; 32];
        key[..8].copy_from_slice(&seed.to_le_bytes());
        let mut rng = ChaCha8Rng::from_seed(key);
        let purpose = match purpose {
            Purpose::Jitter => 0,
            Purpose::Noise => 1,
            Purpose::LostCounts => 2,
        };
        rng.set_stream(source as u64 * 16 + purpose);
        Self(rng)
    }

    /// Uniform integer in `-half..=half`, one draw each, bias below 2^-32.
    pub(super) fn within(&mut self, half: u32) -> i64 {
        let span = 2 * u128::from(half) + 1;
        ((u128::from(self.0.next_u64()) * span) >> 64) as i64 - i64::from(half)
    }

    /// Uniform number in `[0, 1)` on a grid of 2^-32.
    pub(super) fn unit(&mut self) -> f64 {
        f64::from(self.0.next_u32()) / 4_294_967_296.0
    }

    /// A deviate of mean 0 and standard deviation 1: the sum of twelve uniform numbers, less six.
    ///
    /// It is close to normal in the middle and never exceeds 6 (Irwin-Hall distribution); use it for noise, not for
    /// statements about rare peaks.
    pub(super) fn deviate(&mut self) -> f64 {
        self.deviate_parts() as f64 / DEVIATE_PARTS as f64
    }

    /// The same times `scale`, in whole numbers: to nearest. A scale of up to 2^57 keeps it within 64 bits.
    pub(super) fn deviation_of(&mut self, scale: i64) -> i64 {
        let product = i128::from(self.deviate_parts()) * i128::from(scale);
        // Within six times the scale.
        (product + i128::from(DEVIATE_PARTS / 2)).div_euclid(i128::from(DEVIATE_PARTS)) as i64
    }

    /// A deviate in parts of [`DEVIATE_PARTS`].
    fn deviate_parts(&mut self) -> i64 {
        let mut sum = 0;
        for _ in 0..6 {
            let word = self.0.next_u64();
            sum += (word >> 32) + (word & 0xFFFF_FFFF);
        }
        // Each draw stands for the middle of its cell, so that the mean is exactly zero.
        2 * sum as i64 + 12 - (12 << 32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sine_agrees_with_the_platform_sine() {
        for step in -40_000..40_000 {
            let u = f64::from(step) / 9_973.0;
            let exact_turn = u - u.floor();
            let (s, c) = sin_cos_turns(u);
            // Oracle: the platform's own sine, good to its last bits; its argument is rounded once at up to 6.3 rad.
            assert!((s - (TURN * exact_turn).sin()).abs() < 2e-15, "sin {u}");
            assert!((c - (TURN * exact_turn).cos()).abs() < 2e-15, "cos {u}");
        }
    }

    #[test]
    fn quarters_of_a_turn_are_exact() {
        assert_eq!(sin_cos_turns(0.0), (0.0, 1.0));
        assert_eq!(sin_cos_turns(0.25), (1.0, -0.0));
        assert_eq!(sin_cos_turns(0.5), (-0.0, -1.0));
        assert_eq!(sin_cos_turns(-0.25), (-1.0, 0.0));
    }

    #[test]
    fn a_uniform_draw_reaches_both_ends_and_nothing_beyond() {
        let mut stream = Stream::new(1, 0, Purpose::Jitter);
        let mut seen = [false; 7];
        for _ in 0..1_000 {
            seen[usize::try_from(stream.within(3) + 3).expect("within the bounds")] = true;
        }
        assert_eq!(seen, [true; 7]);
        assert_eq!(stream.within(0), 0);
    }

    #[test]
    fn the_deviate_has_mean_zero_and_standard_deviation_one() {
        let mut stream = Stream::new(7, 1, Purpose::Noise);
        let n = 200_000;
        let (mut sum, mut squares, mut largest) = (0.0, 0.0, 0.0f64);
        for _ in 0..n {
            let x = stream.deviate();
            sum += x;
            squares += x * x;
            largest = largest.max(x.abs());
        }
        // Five standard errors: of the mean 1/sqrt(n), of the variance sqrt((kurtosis - 1)/n); the kurtosis of a sum of
        // twelve uniform numbers is 3 - 1.2/12 = 2.9.
        let n = f64::from(n);
        assert!((sum / n).abs() < 5.0 / n.sqrt());
        assert!((squares / n - 1.0).abs() < 5.0 * (1.9 / n).sqrt());
        assert!(largest < 6.0);
    }

    #[test]
    fn a_deviation_in_whole_numbers_is_the_deviate_times_its_scale() {
        let (mut exact, mut float) = (Stream::new(7, 2, Purpose::Noise), Stream::new(7, 2, Purpose::Noise));
        for _ in 0..1_000 {
            let (whole, near) = (exact.deviation_of(1_000_000), float.deviate() * 1e6);
            assert!((whole as f64 - near).abs() <= 0.500_001, "{whole} {near}");
        }
    }

    #[test]
    fn streams_of_other_sources_purposes_and_seeds_differ() {
        let first = |seed, source, purpose| Stream::new(seed, source, purpose).0.next_u64();
        let reference = first(1, 0, Purpose::Jitter);
        assert_eq!(reference, first(1, 0, Purpose::Jitter));
        assert_ne!(reference, first(2, 0, Purpose::Jitter));
        assert_ne!(reference, first(1, 1, Purpose::Jitter));
        assert_ne!(reference, first(1, 0, Purpose::Noise));
    }
}
