//! How far sums of squares stray by chance, and with a signal in them.

use statrs::function::gamma::{gamma_ur, ln_gamma};

/// Beyond so many sigmas squared of signal a non-central chi-square is as good as normal.
const STRONG: f64 = 1000.0;

/// Sums over independent windows of `w^j`, where `w` is the weight of a window's sum of two squares: all that is needed to
/// know how the weighted sum is spread.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Powers([f64; 5]);

impl Powers {
    /// Of one window.
    pub fn of(weight: f64) -> Self {
        let mut power = 1.0;
        Self([(); 5].map(|()| {
            power *= weight;
            power
        }))
    }

    /// Take in so many windows of the same weight.
    pub fn add(&mut self, weight: f64, count: f64) {
        for (sum, power) in self.0.iter_mut().zip(Self::of(weight).0) {
            *sum += count * power;
        }
    }

    /// What the weighted sum is worth as a chi-square of noise alone, and its degrees of freedom: mean, variance and
    /// skewness are the same. One window is exactly that, with 2.
    pub fn chi_square(&self, sum: f64) -> (f64, f64) {
        let [first, second, third, ..] = self.0;
        let freedom = 2.0 * second * second * second / (third * third);
        (freedom + (sum - 2.0 * first) * (freedom / (2.0 * second)).sqrt(), freedom)
    }

    /// How surprising such a sum is by noise alone: minus the logarithm of the chance of more.
    pub fn surprise(&self, sum: f64) -> f64 {
        let [first, ..] = self.0;
        if first <= 0.0 {
            return 0.0;
        }
        let (value, freedom) = self.chi_square(sum);
        surprise(value, freedom)
    }

    /// The sum that is so surprising.
    pub fn sum_of(&self, surprise: f64) -> f64 {
        let [first, second, ..] = self.0;
        let (_, freedom) = self.chi_square(0.0);
        let value = value_of(surprise, freedom);
        2.0 * first + (value - freedom) * (2.0 * second / freedom).sqrt()
    }

    /// The chance that the sum is above `limit` where each window's mean is not zero but `size` times the root of its
    /// weight: that is what a line of `size` amperes does.
    ///
    /// By a chi-square, non-central where it has to be, with the same mean, variance, skewness and, as near as can be,
    /// kurtosis (Liu, Tang and Zhang 2009). For one window it is exact.
    pub fn chance_above(&self, limit: f64, size: f64) -> f64 {
        let [first, second, third, fourth, fifth] = self.0;
        let square = size * size;
        // The j-th is the j-th cumulant over 2^(j-1) (j-1)!.
        let c1 = 2.0 * first + square * second;
        let c2 = 2.0 * second + 2.0 * square * third;
        let c3 = 2.0 * third + 3.0 * square * fourth;
        let c4 = 2.0 * fourth + 4.0 * square * fifth;
        let (skew, kurtosis) = (c3 / (c2 * c2.sqrt()), c4 / (c2 * c2));
        let lean = skew * skew - kurtosis;
        let a = if lean > 0.0 { 1.0 / (skew - lean.sqrt()) } else { 1.0 / skew };
        let shift = if lean > 0.0 { (a * a * (skew * a - 1.0)).max(0.0) } else { 0.0 };
        let freedom = a * a - 2.0 * shift;
        let value = freedom + shift + (limit - c1) / (2.0 * c2).sqrt() * std::f64::consts::SQRT_2 * a;
        above(value, freedom, shift)
    }

    /// How large a line must be for its sum to be above `limit` with this chance.
    pub fn size_for(&self, limit: f64, chance: f64) -> f64 {
        let [_, second, ..] = self.0;
        // At this size the mean alone is at the limit: within a factor of a thousand of what is asked.
        let middle = (limit / second).sqrt();
        let (mut low, mut high) = ((middle / 1e3).ln(), (middle * 1e3).ln());
        for _ in 0..40 {
            let half = 0.5 * (low + high);
            if self.chance_above(limit, half.exp()) < chance { low = half } else { high = half }
        }
        high.exp()
    }

    /// The size that the sum speaks for, with its standard deviation: without bias by noise, however weak.
    pub fn size_of(&self, sum: f64) -> (f64, f64) {
        let [first, second, third, ..] = self.0;
        let square = ((sum - 2.0 * first) / second).max(0.0);
        let spread = (4.0 * second + 4.0 * square * third).sqrt() / second;
        let size = square.sqrt();
        (size, spread / (2.0 * size).max(spread.sqrt()))
    }
}

/// Minus the logarithm of the chance that a chi-square is above `value`.
pub fn surprise(value: f64, freedom: f64) -> f64 {
    if value <= 0.0 {
        return 0.0;
    }
    let (half, x) = (0.5 * freedom, 0.5 * value);
    let chance = gamma_ur(half, x);
    if chance > 1e-250 {
        return -chance.ln();
    }
    // The first term of the tail (Abramowitz and Stegun 6.5.32).
    x - (half - 1.0) * x.ln() + ln_gamma(half)
}

/// The value of a chi-square that is so surprising.
fn value_of(wanted: f64, freedom: f64) -> f64 {
    let (mut low, mut high) = (0.0, freedom + 4.0 * wanted + 4.0 * (freedom * wanted).sqrt() + 1.0);
    for _ in 0..60 {
        let half = 0.5 * (low + high);
        if surprise(half, freedom) < wanted { low = half } else { high = half }
    }
    high
}

/// The chance that a non-central chi-square is above `value` (Abramowitz and Stegun 26.4.25: a mixture of central ones
/// with a Poisson's weights).
pub fn above(value: f64, freedom: f64, shift: f64) -> f64 {
    if value <= 0.0 {
        return 1.0;
    }
    if shift > STRONG {
        let (mean, variance) = (freedom + shift, 2.0 * (freedom + 2.0 * shift));
        return 0.5 * statrs::function::erf::erfc((value - mean) / (2.0 * variance).sqrt());
    }
    let (half, x) = (0.5 * freedom, 0.5 * value);
    // From each to the next with two degrees more, the tail grows by one term.
    let mut tail = gamma_ur(half, x);
    let mut term = (half * x.ln() - x - ln_gamma(half + 1.0)).exp();
    let mut weight = (-0.5 * shift).exp();
    let (mut sum, mut left) = (0.0, 1.0);
    for n in 1..4000 {
        sum += weight * tail;
        left -= weight;
        if left < 1e-12 {
            break;
        }
        tail += term;
        term *= x / (half + f64::from(n));
        weight *= 0.5 * shift / f64::from(n);
    }
    sum.min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Abramowitz and Stegun, table 26.8; scipy 1.17.1, `stats.ncx2.sf`.
    #[test]
    fn tails_are_those_of_the_tables() {
        assert!((surprise(13.8155, 2.0) - 1000_f64.ln()).abs() < 1e-4);
        assert!((value_of(1000_f64.ln(), 6.0) - 22.4577).abs() < 1e-3);
        for (value, freedom, shift, chance) in [
            (10.0, 2.0, 10.0, 0.563_916_668_581_714_5),
            (30.0, 2.0, 40.0, 0.824_494_705_120_399_1),
            (50.0, 7.5, 20.0, 0.021_466_868_917_299_205),
        ] {
            assert!((above(value, freedom, shift) - chance).abs() < 1e-9, "{value} {freedom} {shift}");
        }
        // Where the first term takes over from the function, nothing jumps.
        let before = surprise(1140.0, 2.0);
        assert!((surprise(1160.0, 2.0) - before - 10.0).abs() < 1e-6, "{before}");
    }

    #[test]
    fn one_window_is_a_chi_square_with_two() {
        let powers = Powers::of(3.7);
        assert!((powers.surprise(3.7 * 20.0) - 10.0).abs() < 1e-9);
        assert!((powers.sum_of(10.0) - 3.7 * 20.0).abs() < 1e-6);
        let exact = above(20.0, 2.0, 3.7 * 4.0);
        assert!((powers.chance_above(3.7 * 20.0, 2.0) - exact).abs() < 1e-9);
        let size = powers.size_for(3.7 * 20.0, 0.95);
        assert!((powers.chance_above(3.7 * 20.0, size) - 0.95).abs() < 1e-6);
    }
}
