//! Forward models: the field of a source at a point. Generic over the float, so that the core runs them
//! in `f32` and a host in `f64`.

use num_complex::Complex;
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

/// Field in tesla of a long straight line at the point `r` (m) away from any point of it. The `current` (A) flows
/// along `along`, a direction of any length.
///
/// B = 2 mu0/(4 pi) I a x r / p^2, with the unit vector a along the line and p the distance to it: Ampere's law
/// (Griffiths, Introduction to Electrodynamics, ch. 5). "Long" is 30 times the distance and more either way, for an
/// error below 1 % of a depth read from two heights. Relative error in f32 below 1e-5 beside the line, growing with how
/// far along it `r` was taken. On the line itself, where the field has no value, the result is zero.
///
/// ```
/// // 1 A northwards, seen from 1 m to the east: 200 nT straight down.
/// let b = nullwalk_core::field::long_line(1.0_f64, [0.0, 5.0, 0.0], [1.0, 7.0, 0.0]);
/// assert!((b[2] + 200e-9).abs() < 1e-20 && b[0] == 0.0 && b[1] == 0.0);
/// ```
pub fn long_line<T: Float>(current: T, along: [T; 3], r: [T; 3]) -> [T; 3] {
    let Some((axis, aside)) = abreast(along, r) else { return [T::zero(); 3] };
    let p2 = dot(aside, aside);
    if p2 <= T::min_positive_value() {
        return [T::zero(); 3];
    }
    cross(axis, aside).map(|c| two_constants::<T>() * current / p2 * c)
}

/// [`long_line`] with a current that has a phase: its field at any point swings with that phase.
///
/// ```
/// use num_complex::Complex;
/// let current = Complex::new(0.0, 0.5_f64); // a quarter of a turn ahead
/// let [_, _, z] = nullwalk_core::field::long_line_phasor(current, [0.0, 1.0, 0.0], [1.0, 0.0, 0.0]);
/// assert!(z.re == 0.0 && (z.im + 100e-9).abs() < 1e-20);
/// ```
pub fn long_line_phasor<T: Float>(current: Complex<T>, along: [T; 3], r: [T; 3]) -> [Complex<T>; 3] {
    long_line(T::one(), along, r).map(|per_ampere| current.scale(per_ampere))
}

/// Field in tesla of two long parallel conductors, `current` (A) going out along `along` in the one `apart`/2 (m) from
/// their middle, and back in the other; `r` (m) is from the middle, or any point of the axis, to the observer.
///
/// The difference of two [`long_line`]s, with the subtraction done by hand: with p the part of `r` and q that of `apart`
/// across the axis, `B = 2 mu0/(4 pi) I a x (2 p (p.q) - q (p^2 + q^2/4)) / (p1^2 p2^2)`. Far off it falls with the
/// square of the distance. Relative error in f32 below 1e-5, however close together the conductors are.
///
/// ```
/// use nullwalk_core::field::{long_line, long_pair};
/// // 1 A out at x = 0.1 and back at x = -0.1, seen from 1 m above.
/// let b = long_pair(1.0_f64, [0.0, 1.0, 0.0], [0.2, 0.0, 0.0], [0.0, 0.0, 1.0]);
/// let out = long_line(1.0, [0.0, 1.0, 0.0], [-0.1, 0.0, 1.0]);
/// let back = long_line(-1.0, [0.0, 1.0, 0.0], [0.1, 0.0, 1.0]);
/// assert!((0..3).all(|k| (b[k] - out[k] - back[k]).abs() < 1e-20));
/// ```
pub fn long_pair<T: Float>(current: T, along: [T; 3], apart: [T; 3], r: [T; 3]) -> [T; 3] {
    let Some(((axis, p), (_, q))) = abreast(along, r).zip(abreast(along, apart)) else {
        return [T::zero(); 3];
    };
    let (half, two) = (T::from(0.5).unwrap_or_else(T::zero), T::one() + T::one());
    let (p2, pq, quarter_q2) = (dot(p, p), dot(p, q), dot(q, q) * half * half);
    // Of the distances to either conductor; p1^2 p2^2 = (p^2 + q^2/4)^2 - (p.q)^2.
    let mean2 = p2 + quarter_q2;
    let squares = (mean2 - pq) * (mean2 + pq);
    if squares <= T::min_positive_value() {
        return [T::zero(); 3];
    }
    let [[px, py, pz], [qx, qy, qz]] = [p.map(|x| two * pq * x), q.map(|x| mean2 * x)];
    cross(axis, [px - qx, py - qy, pz - qz]).map(|c| two_constants::<T>() * current / squares * c)
}

/// [`segment`] with its ends in the ground: field in tesla *above* level ground, z up, with what the current adds that
/// spreads in the soil from where it leaves the wire, and gathers to where it enters.
///
/// Soil that is even, or layered, carries the current away evenly on all sides but up; by Ampere's law on circles about
/// the end's vertical this makes, in the air, exactly the field of a wire from the end straight down for ever (Edwards
/// and Nabighian 1991, in Nabighian, ed., Electromagnetic Methods in Applied Geophysics 2, from memory; checked with
/// empymod). That holds while the soil is thin compared with the skin depth; that at higher frequencies the current
/// returns near the wire is left out here, and is in [`crate::depth::soil`] for a long line. Straight above an
/// end, and below it, only the segment counts.
///
/// ```
/// use nullwalk_core::field::{grounded, segment};
/// // 1 m before the end of a long wire 1 m down, both beside it.
/// let (r1, r2) = ([99.0_f64, 0.5, 1.0], [-1.0, 0.5, 1.0]);
/// let (with, without) = (grounded(1.0, r1, r2), segment(1.0, r1, r2));
/// // Vertical wires make no vertical field.
/// assert!((with[2] - without[2]).abs() < 1e-20 && (with[1] / without[1] - 1.0).abs() > 0.1);
/// ```
pub fn grounded<T: Float>(current: T, r1: [T; 3], r2: [T; 3]) -> [T; 3] {
    let [[x, y, z], [x1, y1, z1], [x2, y2, z2]] =
        [segment(current, r1, r2), downwards(-current, r1), downwards(current, r2)];
    [x + x1 + x2, y + y1 + y2, z + z1 + z2]
}

/// Field of a current that runs straight down from a point for ever, `r` away from it.
fn downwards<T: Float>(current: T, r: [T; 3]) -> [T; 3] {
    let [x, y, z] = r;
    let (aside2, far) = (x * x + y * y, dot(r, r).sqrt());
    if aside2 <= T::min_positive_value() {
        return [T::zero(); 3];
    }
    // (1 - z/r) / p^2 = 1 / (r (r + z)), without loss of digits above the point.
    let share = if z > T::zero() { (far * (far + z)).recip() } else { (T::one() - z / far) / aside2 };
    let scale = T::from(MU0_OVER_4PI).unwrap_or_else(T::zero) * current * share;
    [scale * y, -scale * x, T::zero()]
}

/// The unit vector along a line, and the part of `r` across it; `None` for no direction.
fn abreast<T: Float>(along: [T; 3], r: [T; 3]) -> Option<([T; 3], [T; 3])> {
    let length = dot(along, along).sqrt();
    if length <= T::min_positive_value() {
        return None;
    }
    let axis = along.map(|x| x / length);
    let ([ax, ay, az], [x, y, z], on) = (axis, r, dot(axis, r));
    Some((axis, [x - on * ax, y - on * ay, z - on * az]))
}

fn dot<T: Float>([a, b, c]: [T; 3], [x, y, z]: [T; 3]) -> T {
    a * x + b * y + c * z
}

fn cross<T: Float>([a, b, c]: [T; 3], [x, y, z]: [T; 3]) -> [T; 3] {
    [b * z - c * y, c * x - a * z, a * y - b * x]
}

fn two_constants<T: Float>() -> T {
    T::from(2.0 * MU0_OVER_4PI).unwrap_or_else(T::zero)
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
