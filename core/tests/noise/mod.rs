//! Noise for tests, the same on every machine.

/// Gaussian noise from a seed (sum of twelve uniforms: mean 0, variance 1).
pub struct Noise(pub u64);

impl Noise {
    /// Even from 0 to 1.
    pub fn uniform(&mut self) -> f64 {
        // SplitMix64 (Steele, Lea and Flood 2014).
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Of mean 0 and variance 1.
    pub fn gaussian(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}
