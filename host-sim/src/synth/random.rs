//! Random numbers: one independent stream for each purpose, so that a change in one model leaves the
//! draws of the others alone.

use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;

/// The generator behind all draws.
pub(super) type Random = Xoshiro256PlusPlus;

/// What a stream is for.
#[derive(Debug, Clone, Copy)]
pub(super) enum Purpose {
    Calibration,
    Compass,
    Hiss,
    Mains,
    Impulses,
    Sway,
    Track,
    Settling,
    Loads,
}

/// The stream for a purpose. What belongs to the instrument is drawn with station 0 wherever it stands.
pub(super) fn stream(seed: u64, station: usize, purpose: Purpose) -> Random {
    // An odd multiplier spreads the label over all bits; seed_from_u64 (SplitMix64) then mixes them.
    let label = (station as u64) << 8 | purpose as u64;
    Random::seed_from_u64(seed ^ label.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15))
}

/// A draw from the standard normal distribution.
pub(super) fn normal(random: &mut Random) -> f64 {
    random.sample(StandardNormal)
}

/// A slow wandering about zero: an Ornstein-Uhlenbeck process, stepped without error of discretisation
/// (Gillespie 1996, Phys. Rev. E 54:2084, eq. 1.9).
#[derive(Debug, Clone)]
pub(super) struct Wander {
    sigma: f64,
    time_s: f64,
    value: f64,
}

impl Wander {
    /// Begins somewhere in its stationary distribution.
    pub(super) fn new(sigma: f64, time_s: f64, random: &mut Random) -> Self {
        Self { sigma, time_s, value: sigma * normal(random) }
    }

    /// The value now.
    pub(super) fn value(&self) -> f64 {
        self.value
    }

    /// The value `dt_s` later.
    pub(super) fn step(&mut self, dt_s: f64, random: &mut Random) -> f64 {
        let keep = (-dt_s / self.time_s).exp();
        self.value = self.value * keep + self.sigma * (1.0 - keep * keep).sqrt() * normal(random);
        self.value
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Stationary deviation and autocorrelation exp(-dt/T) of an Ornstein-Uhlenbeck process.
    #[test]
    fn wandering_has_the_stated_size_and_time() {
        let mut random = stream(3, 0, Purpose::Track);
        let mut wander = Wander::new(0.5, 2.0, &mut random);
        let (mut square, mut lagged) = (0.0, 0.0);
        let n = 400_000;
        for _ in 0..n {
            let before = wander.value();
            let now = wander.step(1.0, &mut random);
            square += now * now;
            lagged += now * before;
        }
        let variance = square / f64::from(n);
        assert!((variance / 0.25 - 1.0).abs() < 0.02, "{variance}");
        assert!((lagged / square - (-0.5f64).exp()).abs() < 0.01);
    }

    #[test]
    fn streams_differ_by_seed_station_and_purpose() {
        let draws =
            [(1, 0, Purpose::Hiss), (2, 0, Purpose::Hiss), (1, 1, Purpose::Hiss), (1, 0, Purpose::Track)]
                .map(|(seed, station, purpose)| normal(&mut stream(seed, station, purpose)));
        for (i, a) in draws.iter().enumerate() {
            assert!(draws.iter().skip(i + 1).all(|b| a != b));
        }
    }
}
