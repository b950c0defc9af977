//! Numbers from a seed, the same on every machine.

/// Evenly and normally distributed numbers: Knuth's 64-bit congruential generator.
pub struct Noise(pub u64);

impl From<u64> for Noise {
    /// Neighbouring seeds have nothing to do with each other.
    fn from(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15).wrapping_add(1))
    }
}

impl Noise {
    /// Even from 0 to 1.
    pub fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Sum of twelve of these: mean 0, variance 1.
    pub fn next(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
}
