//! The few `f32` functions the core needs, with their error stated. They use only additions,
//! multiplications, divisions and IEEE square roots, so every machine gives the same bits.

use core::f32::consts::{FRAC_PI_2, LOG2_E, PI, TAU};

/// Sine and cosine; absolute error below 1.5e-7 for |x| up to 100 radians.
///
/// The argument is reduced to an eighth of a turn, where Taylor polynomials of degree 9 and 10 hold to
/// the last bit (Abramowitz and Stegun 4.3.65, 4.3.66).
///
/// ```
/// let (s, c) = nullwalk_core::math::sin_cos(core::f32::consts::FRAC_PI_6);
/// assert!((s - 0.5).abs() < 2e-7 && (c - 0.75_f32.sqrt()).abs() < 2e-7);
/// ```
#[inline(never)]
pub fn sin_cos(x: f32) -> (f32, f32) {
    let turns = x * (1.0 / TAU);
    let quarter = round(turns * 4.0);
    // Cody-Waite: pi/2 in two parts, the first exact in few bits, so that the difference keeps its bits.
    const HALF_PI_HIGH: f32 = 1.570_312_5;
    const HALF_PI_LOW: f32 = 4.838_268e-4;
    let r = (x - quarter * HALF_PI_HIGH) - quarter * HALF_PI_LOW;
    rotate_quarters(sin_cos_octant(r), quarter as i32)
}

/// Sine and cosine of a phase counted in turns of 2^32; absolute error below 1.5e-7.
///
/// ```
/// let (s, c) = nullwalk_core::math::sin_cos_turn(1 << 30);
/// assert!(s == 1.0 && c == 0.0);
/// ```
pub fn sin_cos_turn(phase: u32) -> (f32, f32) {
    let quarter = phase.wrapping_add(1 << 29) >> 30;
    let rest = phase.wrapping_sub(quarter << 30) as i32;
    let r = rest as f32 * (TAU / 4_294_967_296.0);
    rotate_quarters(sin_cos_octant(r), quarter as i32)
}

/// Sine and cosine within an eighth of a turn either side of zero.
fn sin_cos_octant(r: f32) -> (f32, f32) {
    let q = r * r;
    let s = r + r * q * (-1.0 / 6.0 + q * (1.0 / 120.0 + q * (-1.0 / 5040.0 + q * (1.0 / 362_880.0))));
    let c = 1.0
        - q * (0.5 - q * (1.0 / 24.0 - q * (1.0 / 720.0 - q * (1.0 / 40_320.0 - q * (1.0 / 3_628_800.0)))));
    (s, c)
}

fn rotate_quarters((s, c): (f32, f32), quarters: i32) -> (f32, f32) {
    match quarters & 3 {
        0 => (s, c),
        1 => (c, -s),
        2 => (-s, -c),
        _ => (-c, s),
    }
}

/// Nearest integer, halves away from zero, for |x| below 2^31.
pub fn round(x: f32) -> f32 {
    (if x < 0.0 { x - 0.5 } else { x + 0.5 }) as i32 as f32
}

/// Square root, correctly rounded; zero for anything negative or not a number.
pub fn sqrt(x: f32) -> f32 {
    if x > 0.0 { libm::sqrtf(x) } else { 0.0 }
}

/// One over the square root of a positive normal number; relative error below 3e-7. Nothing useful for anything else.
///
/// A guess from the exponent bits (error 3.5 %), then three steps of Newton's method: multiplications only, where
/// square root and division would be many times dearer on a small machine.
///
/// ```
/// assert!((nullwalk_core::math::recip_sqrt(16.0) - 0.25).abs() < 1e-7);
/// ```
pub fn recip_sqrt(x: f32) -> f32 {
    let half = 0.5 * x;
    let mut y = f32::from_bits(0x5f37_5a86_u32.wrapping_sub(x.to_bits() >> 1));
    for _ in 0..3 {
        y *= 1.5 - half * y * y;
    }
    y
}

/// Cube root of a positive normal number; relative error below 3e-7. Zero for anything else.
///
/// A guess from the exponent bits (error 6 %), then two steps of Halley's method.
///
/// ```
/// assert!((nullwalk_core::math::cbrt(27.0) - 3.0).abs() < 1e-6);
/// ```
pub fn cbrt(x: f32) -> f32 {
    if !(f32::MIN_POSITIVE..f32::INFINITY).contains(&x) {
        return 0.0;
    }
    let mut y = f32::from_bits(x.to_bits() / 3 + 0x2a51_19f2);
    for _ in 0..2 {
        let cube = y * y * y;
        y *= (cube + 2.0 * x) / (2.0 * cube + x);
    }
    y
}

/// Four-quadrant arctangent, radians (libm; single precision throughout).
pub fn atan2(y: f32, x: f32) -> f32 {
    libm::atan2f(y, x)
}

/// Natural exponential, relative error below 3e-7; zero below -87, and what it is at 87 above that.
///
/// The argument is reduced to half of ln 2 either side of zero, where the Taylor polynomial of degree 6 holds to the
/// last bit but one (Abramowitz and Stegun 4.2.1).
///
/// ```
/// assert!((nullwalk_core::math::exp(1.0) - core::f32::consts::E).abs() < 1e-6);
/// ```
pub fn exp(x: f32) -> f32 {
    let x = if x > 87.0 { 87.0 } else { x };
    if x.is_nan() || x < -87.0 {
        return 0.0;
    }
    let doublings = (x * LOG2_E + if x < 0.0 { -0.5 } else { 0.5 }) as i32;
    // Cody-Waite: ln 2 in two parts, the first exact in few bits, so that the difference keeps its bits.
    const LN_2_HIGH: f32 = 0.693_359_4;
    const LN_2_LOW: f32 = -2.121_944_4e-4;
    let whole = doublings as f32;
    let r = (x - whole * LN_2_HIGH) - whole * LN_2_LOW;
    let p = 1.0 / 6.0 + r * (1.0 / 24.0 + r * (1.0 / 120.0 + r * (1.0 / 720.0)));
    let mantissa = 1.0 + (r + r * r * (0.5 + r * p));
    mantissa * f32::from_bits(((doublings + 127) as u32) << 23)
}

/// Natural exponential less one, exact for small numbers too (libm; single precision throughout).
pub fn exp_m1(x: f32) -> f32 {
    libm::expm1f(x)
}

/// Natural logarithm of a positive number (libm; single precision throughout); -200 at or below 1e-37.
#[inline(never)]
pub fn ln(x: f32) -> f32 {
    if x > 1e-37 { libm::logf(x) } else { -200.0 }
}

/// Twenty times the decimal logarithm of an amplitude ratio; -200 at or below 1e-10.
pub fn db(amplitude_ratio: f32) -> f32 {
    if amplitude_ratio > 1e-10 { 8.685_89 * libm::logf(amplitude_ratio) } else { -200.0 }
}

/// The same angle between -pi and pi.
pub fn wrap_pi(angle_rad: f32) -> f32 {
    angle_rad - TAU * round(angle_rad * (1.0 / TAU))
}

/// The same undirected line (an angle modulo half a turn) between -pi/2 and pi/2.
pub fn wrap_half_pi(angle_rad: f32) -> f32 {
    angle_rad - PI * round(angle_rad / PI)
}

/// Radians in a right angle, for readers of compass code.
pub const RIGHT_ANGLE_RAD: f32 = FRAC_PI_2;

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn sin_cos_is_within_its_stated_error(x in -100.0_f32..100.0) {
            let (s, c) = sin_cos(x);
            prop_assert!((f64::from(s) - libm::sin(f64::from(x))).abs() < 1.5e-7);
            prop_assert!((f64::from(c) - libm::cos(f64::from(x))).abs() < 1.5e-7);
        }

        #[test]
        fn sin_cos_turn_is_within_its_stated_error(phase: u32) {
            let x = f64::from(phase) * core::f64::consts::TAU / 4_294_967_296.0;
            let (s, c) = sin_cos_turn(phase);
            prop_assert!((f64::from(s) - libm::sin(x)).abs() < 1.5e-7);
            prop_assert!((f64::from(c) - libm::cos(x)).abs() < 1.5e-7);
        }

        #[test]
        fn cbrt_is_within_its_stated_error(exponent in -37.0_f64..38.0) {
            let x = libm::pow(10.0, exponent) as f32;
            let exact = libm::cbrt(f64::from(x));
            prop_assert!((f64::from(cbrt(x)) / exact - 1.0).abs() < 3e-7);
        }

        #[test]
        fn recip_sqrt_is_within_its_stated_error(exponent in -37.0_f64..38.0) {
            let x = libm::pow(10.0, exponent) as f32;
            let exact = 1.0 / libm::sqrt(f64::from(x));
            prop_assert!((f64::from(recip_sqrt(x)) / exact - 1.0).abs() < 3e-7);
        }

        #[test]
        fn exp_is_within_its_stated_error(x in -87.0_f32..87.0) {
            prop_assert!((f64::from(exp(x)) / libm::exp(f64::from(x)) - 1.0).abs() < 3e-7);
        }

        #[test]
        fn wrapped_angles_keep_their_direction(x in -50.0_f32..50.0) {
            let (s, c) = sin_cos(wrap_pi(x));
            let (s0, c0) = sin_cos(x);
            prop_assert!((s - s0).abs() < 1e-5 && (c - c0).abs() < 1e-5);
            prop_assert!(wrap_half_pi(x).abs() <= FRAC_PI_2 + 1e-5);
        }
    }

    #[test]
    fn exp_ends_well_on_either_side() {
        assert_eq!([f32::NAN, f32::NEG_INFINITY, -88.0].map(exp), [0.0; 3]);
        assert!(exp(f32::INFINITY) == exp(87.0) && exp(87.0).is_finite());
    }

    #[test]
    fn cbrt_of_what_has_no_cube_root_here_is_zero() {
        for x in [0.0, -1.0, f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            assert_eq!(cbrt(x), 0.0);
        }
    }
}
