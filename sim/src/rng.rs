//! Rng: the one source of chance in a run.
//! Owns: 64 bits of state.   Gives: numbers that a seed fixes for ever.
//! May use: nothing.   Never: the system's randomness.

/// SplitMix64 (Steele, Lea, Flood 2014): small, and the same on every machine.
#[derive(Clone, Debug)]
pub struct Rng(u64);

impl Rng {
    /// From a seed.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next 64 bits.
    pub fn draw(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number from `low` to `high`, both included.
    pub fn between(&mut self, low: u64, high: u64) -> u64 {
        low + self.draw() % (high.saturating_sub(low) + 1)
    }

    /// True so many times in a hundred.
    pub fn percent(&mut self, percent: u64) -> bool {
        self.draw() % 100 < percent
    }

    /// 32 bytes.
    pub fn bytes(&mut self) -> [u8; 32] {
        let mut bytes = [0; 32];
        for part in bytes.chunks_exact_mut(8) {
            part.copy_from_slice(&self.draw().to_le_bytes());
        }
        bytes
    }
}
