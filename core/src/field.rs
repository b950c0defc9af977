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
