//! Forward models: the field of a source at a point. Generic over the float, so that the core runs them
//! in `f32` and a host in `f64`.

use num_traits::Float;

/// mu0 / (4 pi), tesla metres per ampere.
pub const MU0_OVER_4PI: f64 = 1e-7;

/// Field in tesla of a magnetic dipole of `moment` (A m2) at the point `r` (m) away from it.
///
/// B = mu0/(4 pi) (3 r (m.r) / r^5 - m / r^3); Jackson, Classical Electrodynamics, 3rd ed., eq. 5.56,
/// quasi-static. At the dipole itself, where the field has no value, the result is zero.
///
/// ```
/// // 1 A m2 seen from 1 m abeam: 100 nT against the moment.
/// let b = nullwalk_core::field::dipole([1.0_f64, 0.0, 0.0], [0.0, 0.0, 1.0]);
/// assert!((b[0] + 100e-9).abs() < 1e-20 && b[1] == 0.0 && b[2] == 0.0);
/// ```
pub fn dipole<T: Float>(moment: [T; 3], r: [T; 3]) -> [T; 3] {
    let [mx, my, mz] = moment;
    let [x, y, z] = r;
    let r2 = x * x + y * y + z * z;
    if r2 <= T::min_positive_value() {
        return [T::zero(); 3];
    }
    let constant = T::from(MU0_OVER_4PI).unwrap_or_else(T::zero);
    let inverse_r = r2.sqrt().recip();
    // Scaled by powers of 1/r one at a time, so that f32 neither overflows nor underflows on the way.
    let unit = [x * inverse_r, y * inverse_r, z * inverse_r];
    let [ux, uy, uz] = unit;
    let three_along = T::from(3.0).unwrap_or_else(T::zero) * (mx * ux + my * uy + mz * uz);
    let scale = constant * inverse_r * inverse_r * inverse_r;
    [scale * (three_along * ux - mx), scale * (three_along * uy - my), scale * (three_along * uz - mz)]
}

/// Moment (A m2) of a dipole that makes the field `b` (T) at the point `r` (m) away from it: the inverse of
/// [`dipole`].
///
/// From `B.u = 2 mu0/(4 pi) m.u / r^3` along the unit vector `u = r/r`:
/// `m = (1.5 (B.u) u - B) r^3 4 pi/mu0`.
///
/// ```
/// use nullwalk_core::field::{dipole, dipole_moment};
/// let (m, r) = ([0.1_f64, -0.2, 0.05], [0.3, 0.4, 1.0]);
/// let back = dipole_moment(dipole(m, r), r);
/// assert!(m.iter().zip(back).all(|(a, b)| (a - b).abs() < 1e-12));
/// ```
pub fn dipole_moment<T: Float>(b: [T; 3], r: [T; 3]) -> [T; 3] {
    let [bx, by, bz] = b;
    let [x, y, z] = r;
    let distance = (x * x + y * y + z * z).sqrt();
    if distance <= T::min_positive_value() {
        return [T::zero(); 3];
    }
    let [ux, uy, uz] = [x / distance, y / distance, z / distance];
    let half = T::from(1.5).unwrap_or_else(T::zero) * (bx * ux + by * uy + bz * uz);
    let scale = distance * distance * distance / T::from(MU0_OVER_4PI).unwrap_or_else(T::one);
    [scale * (half * ux - bx), scale * (half * uy - by), scale * (half * uz - bz)]
}

/// Field in tesla of a straight piece of wire at the point `r1` (m) away from its start and `r2` (m) away from
/// its end, with `current` (A) flowing from start to end. Pieces joined end to start make a bent wire.
///
/// The law of Biot and Savart along a straight piece (Griffiths, Introduction to Electrodynamics, ch. 5), which
/// with the ends' distances in place of angles is
/// `B = mu0/(4 pi) I (r1 + r2) / (r1 r2 (r1 r2 + r1.r2)) r1 x r2`. In line with the wire and beyond its ends there
/// is no field; on the wire itself, where the field has no value, the result is zero too.
///
/// ```
/// // 1 A northwards in a wire of 2 x 1 km, seen from 1 m to the east: 200 nT straight down.
/// let b = nullwalk_core::field::segment(1.0_f64, [1.0, 1000.0, 0.0], [1.0, -1000.0, 0.0]);
/// assert!((b[2] + 200e-9).abs() < 1e-12 && b[0] == 0.0 && b[1] == 0.0);
/// ```
pub fn segment<T: Float>(current: T, r1: [T; 3], r2: [T; 3]) -> [T; 3] {
    let [x1, y1, z1] = r1;
    let [x2, y2, z2] = r2;
    let (near, far) = ((x1 * x1 + y1 * y1 + z1 * z1).sqrt(), (x2 * x2 + y2 * y2 + z2 * z2).sqrt());
    let product = near * far;
    let cross = [y1 * z2 - z1 * y2, z1 * x2 - x1 * z2, x1 * y2 - y1 * x2];
    let [cx, cy, cz] = cross;
    let cross2 = cx * cx + cy * cy + cz * cz;
    if product <= T::min_positive_value() || cross2 <= T::min_positive_value() {
        return [T::zero(); 3];
    }
    let dot = x1 * x2 + y1 * y2 + z1 * z2;
    // Beside a long wire r1 r2 and -r1.r2 are nearly the same; |r1 x r2|^2 = (r1 r2)^2 - (r1.r2)^2 gives their
    // difference without loss of digits.
    let inverse = if dot < T::zero() { (product - dot) / cross2 } else { (product + dot).recip() };
    let constant = T::from(MU0_OVER_4PI).unwrap_or_else(T::zero);
    cross.map(|c| constant * current * (near.recip() + far.recip()) * inverse * c)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sub(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
        [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
    }

    /// A loop of current is a dipole of current times area (Jackson, 3rd ed., eq. 5.57), but for terms that
    /// fall with the square of its size over the distance.
    #[test]
    fn a_small_square_of_wire_is_a_dipole() {
        let (half, current) = (0.01, 3.0);
        let corners = [[-half, -half, 0.0], [half, -half, 0.0], [half, half, 0.0], [-half, half, 0.0]];
        for at in [[1.0, 0.0, 0.0], [0.3, -0.4, 1.2], [0.0, 0.0, 2.0]] {
            let mut sum = [0.0; 3];
            for k in 0..4 {
                let piece = segment(current, sub(at, corners[k]), sub(at, corners[(k + 1) % 4]));
                sum = [0, 1, 2].map(|i| sum[i] + piece[i]);
            }
            let expected = dipole([0.0, 0.0, current * 4.0 * half * half], at);
            let size = expected.iter().map(|b| b * b).sum::<f64>().sqrt();
            for i in 0..3 {
                assert!((sum[i] - expected[i]).abs() < 3e-4 * size, "{sum:?}, not {expected:?}");
            }
        }
    }

    #[test]
    fn where_a_wire_has_no_field_there_is_none() {
        for (r1, r2) in [
            ([3.0_f32, 0.0, 0.0], [1.0, 0.0, 0.0]),
            ([1.0, 0.0, 0.0], [-1.0, 0.0, 0.0]),
            ([0.0; 3], [-2.0, 0.0, 0.0]),
            ([1.0, 2.0, 3.0], [1.0, 2.0, 3.0]),
        ] {
            assert_eq!(segment(1.0, r1, r2), [0.0; 3], "{r1:?} {r2:?}");
        }
    }
}
