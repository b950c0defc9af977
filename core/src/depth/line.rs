//! Closed-form depths of a long straight line. Its field weakens with the distance itself, not with the cube of it: so
//! a ratio of two heights tells a line's depth three times worse than a sonde's, and the shape of the field along a lane
//! across tells it better.
//!
//! Depths are from the lower node down to the line's axis. Lengths along a lane are measured on the ground.

use core::f32::consts::FRAC_PI_4;

use super::{ABOVE_COSINE, Depth, Measured, Unusable, valid};
use crate::array::NodeField;
use crate::math;

/// Field over its noise, at either height, below which there is no ratio.
const LEAST_SNR: f32 = 3.0;

/// Depth from the fields at two heights `spacing_m` apart, above a line but for a small miss.
///
/// `B ~ 1/r`, so with `K = (B1/B2)^2 = (r2/r1)^2`, `r1^2 = d^2 + y^2` and `r2^2 = (d + s)^2 + y^2`:
/// `d = (s + sqrt(s^2 + (K - 1)(s^2 - (K - 1) y^2))) / (K - 1)`, which without a miss is `s / (B1/B2 - 1)`.
/// `gain_sigma` is the relative uncertainty of the gains' ratio; with the noise it enters as `d (1 + d/s)` times itself,
/// three times what it does to a sonde's depth. The fields' squares are taken less that of their noise. Current that
/// returns through the soil makes it read shallow: see [`crate::depth::soil`]. A bend or an end within three depths
/// does so too, by up to a fifth.
///
/// ```
/// use glam::Vec3;
/// use nullwalk_core::{array::NodeField, depth::{Measured, line}};
/// let node = |r: f32| NodeField { field_t: Vec3::X * 2e-9 / r, sigma_t: 1e-13 };
/// let depth = line::ratio(node(1.0), node(1.4), 0.4, 0.01, Measured::default()).unwrap();
/// assert!((depth.depth_m - 1.0).abs() < 1e-3 && (depth.sigma_m - 0.035).abs() < 1e-3);
/// ```
///
/// # Errors
/// When the fields do not point the same way within 20 degrees, do not weaken upwards, or the result is too uncertain.
pub fn ratio(
    lower: NodeField,
    upper: NodeField,
    spacing_m: f32,
    gain_sigma: f32,
    aside_m: Measured,
) -> Result<Depth, Unusable> {
    let (near, far) = (Strength::of(lower)?, Strength::of(upper)?);
    let cosine = lower.field_t.normalize_or_zero().dot(upper.field_t.normalize_or_zero());
    if cosine < ABOVE_COSINE {
        return Err(Unusable::NotAbove);
    }
    let k1 = near.squared / far.squared - 1.0;
    if k1.is_nan() || k1 <= 0.0 {
        return Err(Unusable::NotBelow);
    }
    let s2 = spacing_m * spacing_m;
    let at_miss = |y2: f32| (spacing_m + math::sqrt(s2 + k1 * (s2 - k1 * y2))) / k1;
    let (miss2, miss2_variance) = aside_m.squared();
    let depth_m = at_miss(miss2);
    let relative2 = near.relative2 + far.relative2 + gain_sigma * gain_sigma;
    let from_ratio = depth_m * (1.0 + depth_m / spacing_m) * math::sqrt(relative2);
    let from_miss = at_miss(miss2 + math::sqrt(miss2_variance)) - depth_m;
    valid(depth_m, math::sqrt(from_ratio * from_ratio + from_miss * from_miss))
}

/// How strong a field is, noise taken off.
struct Strength {
    /// In units of nanotesla, squared: squares of teslas would be lost in an `f32`.
    squared: f32,
    /// Square of its relative uncertainty.
    relative2: f32,
}

impl Strength {
    fn of(node: NodeField) -> Result<Self, Unusable> {
        let (field_nt, sigma_nt) = (node.field_t * 1e9, node.sigma_t * 1e9);
        let noise2 = sigma_nt * sigma_nt;
        let squared = field_nt.length_squared() - 3.0 * noise2;
        if squared.is_nan() || squared <= LEAST_SNR * LEAST_SNR * noise2 {
            return Err(Unusable::TooUncertain);
        }
        Ok(Self { squared, relative2: noise2 / squared })
    }
}

/// How a lane crosses the line: the angle between the lane and the way straight across, radians.
///
/// What lies across is shorter than what was walked by its cosine. Nothing else depends on it, provided that the
/// horizontal component is taken across the line, or as the length of the whole horizontal field.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Crossing {
    /// Zero for a lane straight across; its sign does not matter.
    pub skew_rad: Measured,
}

impl Crossing {
    /// A depth of `share` times a length on the lane, with the relative uncertainty of the share.
    fn depth(self, length_m: Measured, share: Measured) -> Result<Depth, Unusable> {
        let Measured { value: skew, sigma } = self.skew_rad;
        let (sin, cos) = math::sin_cos(skew);
        // At a right angle the slope is zero, and the curve alone counts.
        let by_skew = length_m.value * share.value * (sin * sigma).abs().max(0.707 * sigma * sigma);
        let by_length = cos * share.value * length_m.sigma;
        let by_share = cos * length_m.value * share.sigma;
        let sigma_m = math::sqrt(by_length * by_length + by_share * by_share + by_skew * by_skew);
        valid(length_m.value * share.value * cos, sigma_m)
    }
}

/// Depth from the distance `apart_m` between the places, one on either side, at which the horizontal component is
/// `share` of its peak (0.1 to 0.95).
///
/// `Bh = B0 d^2/(d^2 + x^2)`, so `d = L / (2 sqrt(1/q - 1))`: 80 % is half a depth aside, 70.7 % 0.6436 d, 50 % d. An
/// error of the share, from noise or from a mast that bobs, enters as `1/(2 q (1 - q))` times itself: twice at 50 %,
/// three times at 80 %. One coil's field, not the difference of two: that has another shape.
///
/// ```
/// use nullwalk_core::depth::{Measured, line::{self, Crossing}};
/// let apart_m = Measured::new(1.5, 0.02);
/// let depth = line::width(apart_m, Measured::new(0.8, 0.01), Crossing::default()).unwrap();
/// assert!((depth.depth_m - 1.5).abs() < 1e-5 && (depth.sigma_m - 0.051).abs() < 1e-3);
/// ```
///
/// # Errors
/// When the share is none, or the result is too uncertain or out of range.
pub fn width(apart_m: Measured, share: Measured, crossing: Crossing) -> Result<Depth, Unusable> {
    let q = share.value;
    if !(0.1..=0.95).contains(&q) {
        return Err(Unusable::NotMeasured);
    }
    let per_metre = 0.5 / math::sqrt(1.0 / q - 1.0);
    let sigma = per_metre * share.sigma / (2.0 * q * (1.0 - q));
    crossing.depth(apart_m, Measured::new(per_metre, sigma))
}

/// Depth from the way `away_m` between the place straight above the line, where the vertical component is null, and that
/// at which the field rises or falls at 45 degrees.
///
/// `|Bv| / |Bh| = x/d`. A mast that leans by `tilt` turns the field by as much and moves that place to
/// `d tan(45 deg - tilt)`, and the null by `d tan(tilt)` the same way: 3.5 % of the depth a degree for the one, half that
/// for the other, and where both leans are the same, 1.7 % together. The lean here is that of either place on its own,
/// sigma in radians. On both sides, averaged, a lean that stays the same does nothing to first order.
///
/// ```
/// use nullwalk_core::depth::{Measured, line::{self, Crossing}};
/// let depth = line::diagonal(Measured::new(1.2, 0.0), 0.0175, Crossing::default()).unwrap();
/// assert!((depth.depth_m - 1.2).abs() < 1e-5 && (depth.sigma_m - 0.047).abs() < 1e-3);
/// ```
///
/// # Errors
/// When the result is too uncertain or out of range.
pub fn diagonal(away_m: Measured, tilt_sigma_rad: f32, crossing: Crossing) -> Result<Depth, Unusable> {
    // tan(45 deg - t) moves by 2 t, tan(t) by t.
    let sigma = math::sqrt(5.0) * tilt_sigma_rad;
    crossing.depth(away_m, Measured::new(1.0, sigma))
}

/// Depth from the distance between the two extrema of the vertical component, which stand a depth away on either side:
/// `Bv = B0 d x/(d^2 + x^2)`.
///
/// Extrema are flat: noise of a share n of the peak moves one by `d sqrt(2 n)` and more, so they are a check rather than
/// a figure.
///
/// ```
/// use nullwalk_core::depth::{Measured, line::{self, Crossing}};
/// let depth = line::vertical_maxima(Measured::new(3.0, 0.2), Crossing::default()).unwrap();
/// assert_eq!((depth.depth_m, depth.sigma_m), (1.5, 0.1));
/// ```
///
/// # Errors
/// When the result is too uncertain or out of range.
pub fn vertical_maxima(apart_m: Measured, crossing: Crossing) -> Result<Depth, Unusable> {
    crossing.depth(apart_m, Measured::new(0.5, 0.0))
}

/// Depth from the same node at two heights: like [`ratio`], but no gain of a second node enters.
///
/// `drift_sigma` is the relative uncertainty of the line's current between the two readings.
///
/// ```
/// use glam::Vec3;
/// use nullwalk_core::{array::NodeField, depth::{Measured, line}};
/// let node = |r: f32| NodeField { field_t: Vec3::X * 2e-9 / r, sigma_t: 1e-13 };
/// let height_m = Measured::new(0.5, 0.01);
/// let depth = line::lift(node(1.0), node(1.5), height_m, 0.0, Measured::default()).unwrap();
/// assert!((depth.depth_m - 1.0).abs() < 1e-3 && (depth.sigma_m - 0.02).abs() < 1e-3);
/// ```
///
/// # Errors
/// As [`ratio`], and [`Unusable::NotMeasured`] for a lift of less than 0.1 m.
pub fn lift(
    before: NodeField,
    lifted: NodeField,
    height_m: Measured,
    drift_sigma: f32,
    aside_m: Measured,
) -> Result<Depth, Unusable> {
    if height_m.value < 0.1 {
        return Err(Unusable::NotMeasured);
    }
    let depth = ratio(before, lifted, height_m.value, drift_sigma, aside_m)?;
    // The depth is proportional to the lift.
    let from_height = depth.depth_m * height_m.sigma / height_m.value;
    valid(depth.depth_m, math::sqrt(depth.sigma_m * depth.sigma_m + from_height * from_height))
}

/// How the directions of a line's field at two nodes, `spacing_m` apart, meet: depth and offset from the angles alone.
///
/// The field is at right angles to the way to the line. With the tangents `t1`, `t2` of the fields' inclinations at the
/// lower and the upper node, `y = d t1 = (d + s) t2`: `d = s t2/(t1 - t2)`. Straight above the line both are zero and
/// the angles tell nothing of the depth; best is where the line lies some 40 degrees aside. `inclinations_rad` are
/// from the horizontal towards the vertical, with the same sense of the horizontal for both.
///
/// No gain enters, so it is a check of the ratio by other means: [`crate::fit::line::glimpse`] takes both together.
///
/// ```
/// use nullwalk_core::depth::{Measured, line};
/// let inclination = |y: f32, d: f32| Measured::new(y.atan2(d), 1e-3);
/// let depth = line::rays([inclination(1.0, 1.2), inclination(1.0, 1.6)], 0.4).unwrap();
/// assert!((depth.depth_m - 1.2).abs() < 1e-4);
/// ```
///
/// # Errors
/// When the rays do not meet below, or too uncertainly.
pub fn rays(inclinations_rad: [Measured; 2], spacing_m: f32) -> Result<Depth, Unusable> {
    let [lower, upper] = inclinations_rad.map(|ray| {
        // Beyond 88 degrees the line is beside the mast, and not below.
        let (sin, cos) = math::sin_cos(ray.value);
        (cos > 0.035).then(|| Measured::new(sin / cos, ray.sigma / (cos * cos)))
    });
    let (lower, upper) = lower.zip(upper).ok_or(Unusable::OutOfRange)?;
    let between = lower.value - upper.value;
    if upper.value * between <= 0.0 {
        return Err(Unusable::NotBelow);
    }
    let (by_lower, by_upper) = (upper.value * lower.sigma, lower.value * upper.sigma);
    let scale = spacing_m / (between * between);
    let sigma_m = scale * math::sqrt(by_lower * by_lower + by_upper * by_upper);
    valid(spacing_m * upper.value / between, sigma_m)
}

/// Angle of a field from the horizontal, for [`rays`]: `left` points across the line, the way the horizontal field is
/// taken to point.
///
/// ```
/// use glam::Vec3;
/// use nullwalk_core::{array::NodeField, depth::line};
/// let node = NodeField { field_t: Vec3::new(0.0, 2e-9, -2e-9), sigma_t: 2e-11 };
/// let down = line::inclination(node, Vec3::Y);
/// assert!((down.value + core::f32::consts::FRAC_PI_4).abs() < 1e-6 && (down.sigma - 0.00707).abs() < 1e-5);
/// ```
pub fn inclination(node: NodeField, left: glam::Vec3) -> Measured {
    let (level, up) = (node.field_t.dot(left), node.field_t.z);
    let strength = math::sqrt((level * 1e9) * (level * 1e9) + (up * 1e9) * (up * 1e9));
    let sigma = if strength > 0.0 { node.sigma_t * 1e9 / strength } else { FRAC_PI_4 };
    Measured::new(math::atan2(up, level), sigma)
}
