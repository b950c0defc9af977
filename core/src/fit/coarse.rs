//! Functions to one part in ten thousand, for weights that need no more, at a third of the cost of exact ones. Nothing
//! but additions and multiplications, so they too give the same bits everywhere.

use core::f32::consts::{LN_2, LOG2_E};

/// Reciprocal of the square root of a positive number; relative error below 1e-5.
///
/// A guess from the exponent bits, then two steps of Newton's method.
pub(super) fn recip_sqrt(x: f32) -> f32 {
    let mut y = f32::from_bits(0x5f37_5a86_u32.wrapping_sub(x.to_bits() >> 1));
    for _ in 0..2 {
        y *= 1.5 - 0.5 * x * y * y;
    }
    y
}

/// Exponential between -80 and 80; relative error below 3e-4.
pub(super) fn exp(x: f32) -> f32 {
    let doublings = x * LOG2_E;
    let whole = doublings as i32;
    let part = doublings - whole as f32;
    // Of 2^x between -1 and 1: the Taylor polynomial of degree 5.
    let mantissa = 1.0
        + part * (LN_2 + part * (0.240_227 + part * (0.055_504 + part * (0.009_618 + part * 0.001_333))));
    mantissa * f32::from_bits((127_i32.wrapping_add(whole) as u32) << 23)
}

/// Natural logarithm of a positive normal number; absolute error below 1e-4.
///
/// The exponent bits, and a polynomial for the mantissa between 1 and 2 (least greatest error at Chebyshev's points).
pub(super) fn ln(x: f32) -> f32 {
    let bits = x.to_bits();
    let exponent = (bits >> 23) as i32 - 127;
    let m = f32::from_bits((bits & 0x007f_ffff) | 0x3f80_0000);
    let polynomial = -1.731_726 + m * (2.792_836 + m * (-1.440_592 + m * (0.433_932 - m * 0.054_371)));
    LN_2 * exponent as f32 + polynomial
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn errors_are_as_stated(exponent in -37.0_f64..38.0, x in -80.0_f32..80.0) {
            let positive = libm::pow(10.0, exponent) as f32;
            let exact = 1.0 / libm::sqrt(f64::from(positive));
            prop_assert!((f64::from(recip_sqrt(positive)) / exact - 1.0).abs() < 1e-5);
            prop_assert!((f64::from(ln(positive)) - libm::log(f64::from(positive))).abs() < 1e-4);
            prop_assert!((f64::from(exp(x)) / libm::exp(f64::from(x)) - 1.0).abs() < 3e-4);
        }
    }
}
