//! How surprising the best line of noise alone is.

use num_complex::Complex64;
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::held::{COMPONENTS, PRODUCTS};
use super::{Detector, Held, Template};
use crate::survey::walk::Phase;

/// Sweeps of noise that the threshold is taken from: so much work, within these bounds.
const WORK: f64 = 6e9;
const NOISE_SWEEPS: (usize, usize) = (100, 400);
const SEED: u64 = 0x5eed_0001;

impl<T: Template> Detector<T> {
    /// The surprise that the best line of noise alone goes beyond with this chance, in a whole sweep.
    ///
    /// From simulated sweeps of noise over the very walk: their greatest surprises follow Gumbel's distribution, whose
    /// two numbers are found by greatest likelihood.
    pub fn threshold(&self, false_alarm: f64) -> f64 {
        let numbers = if self.phase == Phase::Free { PRODUCTS } else { 2 * COMPONENTS };
        let one = (self.grid.len() * self.stretches.len() * numbers) as f64;
        let (fewest, most) = NOISE_SWEEPS;
        let sweeps = ((WORK / one) as usize).clamp(fewest, most);
        let mut random = Xoshiro256PlusPlus::seed_from_u64(SEED);
        let noise: Vec<Held> = (0..sweeps).map(|_| self.noise(&mut random)).collect();
        let peaks = self.best(&noise, |_| true);
        let greatest: Vec<f64> = peaks.iter().flatten().map(|peak| peak.surprise).collect();
        gumbel_quantile(&greatest, 1.0 - false_alarm)
    }

    /// Noise as the walk would have it.
    fn noise(&self, random: &mut Xoshiro256PlusPlus) -> Held {
        let looks = self.groups.last().map_or(0, |group| group.end);
        let mut normal = || random.sample::<f64, _>(StandardNormal);
        let white = (0..looks).map(|_| [(); 6].map(|()| Complex64::new(normal(), normal())));
        self.hold_white(&white.collect::<Vec<_>>())
    }
}

/// The value that Gumbel's distribution stays below with this chance, fitted to the values by greatest likelihood.
fn gumbel_quantile(values: &[f64], chance: f64) -> f64 {
    let count = values.len().max(1) as f64;
    let mean = values.iter().sum::<f64>() / count;
    let mut scale = 1.0;
    // beta = mean - sum x e^(-x/beta) / sum e^(-x/beta), repeated until it stays.
    for _ in 0..200 {
        let weights = values.iter().map(|x| (-(x - mean) / scale).exp());
        let (above, below) =
            values.iter().zip(weights).fold((0.0, 0.0), |(a, b), (x, w)| (a + x * w, b + w));
        scale = (0.5 * scale + 0.5 * (mean - above / below)).max(0.05);
    }
    let weight = values.iter().map(|x| (-(x - mean) / scale).exp()).sum::<f64>() / count;
    mean - scale * weight.ln() - scale * (-chance.ln()).ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gumbel_gives_back_its_quantile() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(3);
        let draw = |u: f64| 7.0 - 1.2 * (-u.ln()).ln();
        let values: Vec<f64> = (0..20_000).map(|_| draw(random.random_range(1e-9..1.0))).collect();
        let quantile = gumbel_quantile(&values, 0.99);
        assert!((quantile - draw(0.99)).abs() < 0.1, "{quantile}");
    }
}
