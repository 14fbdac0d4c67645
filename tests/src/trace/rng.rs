//! A small seeded generator, so that a case is its seed and its length.

/// The SplitMix64 generator (Steele, Lea, Flood 2014, "Fast splittable pseudorandom number generators"; constants
/// from memory). Only spread matters here, nothing is proved from it.
#[derive(Clone, Debug)]
pub struct Rng(u64);

impl Rng {
    /// The generator of a seed.
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A whole number from `low` to `high`, both included.
    pub fn range(&mut self, low: i128, high: i128) -> i128 {
        low + i128::from(self.bits()) % (high - low + 1)
    }

    /// A time from `low` to `high` nanoseconds, both included.
    pub fn nanos(&mut self, low: u64, high: u64) -> u64 {
        low + self.bits() % (high - low + 1)
    }

    /// True in `parts` of 10 000 cases.
    pub fn once_in(&mut self, parts: u64) -> bool {
        self.bits() % 10_000 < parts
    }

    /// One or the other.
    pub fn flip(&mut self) -> bool {
        self.bits() & 1 == 1
    }

    /// One of several.
    ///
    /// # Panics
    ///
    /// When there is none.
    pub fn pick<T: Clone>(&mut self, from: &[T]) -> T {
        let length = u64::try_from(from.len()).expect("a slice is not that long");
        let index = usize::try_from(self.bits() % length).expect("an index fits");
        from[index].clone()
    }

    /// An independent generator: what one part draws does not move what the others do.
    pub fn split(&mut self) -> Self {
        Self(self.bits())
    }
}
