//! Whether there is anything but noise, at a stated rate of false alarms.

use crate::math;

/// How often noise alone would give a ratio of powers as high as this or higher.
///
/// `signals` complex values in noise of equal power were squared and averaged, and divided by the mean of `noises` others that
/// hold noise alone: `ratio`. In Gaussian noise that is Fisher's F with 2 `signals` and 2 `noises` degrees of freedom, whose
/// upper tail for even degrees is a finite sum (Abramowitz and Stegun 26.6.4, 26.5.7: incomplete beta function of whole
/// arguments). 1 where there is nothing to compare.
///
/// ```
/// use nullwalk_core::mains::chance;
/// // One value over the mean of many: the exponential distribution, e^-x.
/// assert!((chance(3.0, 1, 100_000) - 0.0498).abs() < 1e-4);
/// // One over the mean of ten: (1 + x/10)^-10.
/// assert!((chance(3.0, 1, 10) - 0.0725).abs() < 1e-4);
/// // Two over ten: the table of F with 4 and 20 degrees of freedom has 4.43 at 1 % (Abramowitz and Stegun, table 26.9).
/// assert!((chance(4.43, 2, 10) - 0.01).abs() < 1e-4);
/// ```
pub fn chance(ratio: f32, signals: u32, noises: u32) -> f32 {
    if signals == 0 || noises == 0 || ratio.is_nan() || ratio <= 0.0 {
        return 1.0;
    }
    let (a, b) = (signals as f32, noises as f32);
    let share = a * ratio / (b + a * ratio);
    // (1 - share)^b; the logarithm of a number near one keeps its digits this way.
    let mut term = math::exp(-b * ln_1p(a * ratio / b));
    let mut sum = term;
    for j in 1..signals {
        let j = j as f32;
        term *= share * (b + j - 1.0) / j;
        sum += term;
    }
    if sum < 1.0 { sum } else { 1.0 }
}

/// Logarithm of one more than a positive number.
fn ln_1p(x: f32) -> f32 {
    if x < 1e-3 { x - 0.5 * x * x } else { math::ln(1.0 + x) }
}
