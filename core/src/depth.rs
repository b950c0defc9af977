//! Closed-form depths of a dipole source, and in [`mod@line`] of a line. Each method has its own weakness; together they
//! check each other.
//!
//! Depths here are from the lower node down to the source. Lengths along a lane are measured on the ground.

pub mod line;
pub mod soil;

use crate::array::NodeField;
use crate::math;

/// A depth from one method.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Depth {
    /// From the lower node down to the source, metres.
    pub depth_m: f32,
    /// Standard uncertainty, metres.
    pub sigma_m: f32,
}

/// Why a method gives no depth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unusable {
    /// What the method needs has not been measured yet.
    NotMeasured,
    /// The array has no two nodes one above the other.
    NotStacked,
    /// The signal is too weak: the uncertainty would exceed a third of the depth.
    TooUncertain,
    /// The fields at the two heights do not point the same way: the mast is not above the source.
    NotAbove,
    /// The field does not weaken with height as a source below makes it.
    NotBelow,
    /// The depth is outside 0.1 to 15 m, where the method was never checked.
    OutOfRange,
    /// The times of nulls and peaks are not those of one sonde passed at an even pace.
    Uneven,
}

impl Unusable {
    /// The reason in words.
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::NotMeasured => "not measured yet",
            Self::NotStacked => "needs two nodes, one above the other",
            Self::TooUncertain => "too weak: uncertain by more than a third of the depth",
            Self::NotAbove => "the mast is not above the source: the nodes' fields point apart",
            Self::NotBelow => "the field does not weaken with height as from a source below",
            Self::OutOfRange => "outside 0.1 to 15 m",
            Self::Uneven => {
                "the times of nulls and peaks are not those of one sonde passed at an even pace"
            }
        }
    }
}

/// Shallowest and deepest result any method may give, metres.
pub const VALID_M: core::ops::RangeInclusive<f32> = 0.1..=15.0;

/// A depth, where it is within what was checked and not too uncertain.
pub(crate) fn valid(depth_m: f32, sigma_m: f32) -> Result<Depth, Unusable> {
    if !VALID_M.contains(&depth_m) {
        Err(Unusable::OutOfRange)
    } else if sigma_m.is_nan() || sigma_m > depth_m / 3.0 {
        Err(Unusable::TooUncertain)
    } else {
        Ok(Depth { depth_m, sigma_m })
    }
}

/// A value with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Measured {
    /// The value.
    pub value: f32,
    /// Its standard uncertainty, same unit.
    pub sigma: f32,
}

impl Measured {
    /// A value with its sigma.
    pub const fn new(value: f32, sigma: f32) -> Self {
        Self { value, sigma }
    }

    /// The same with another standard uncertainty besides, independent of its own.
    pub(crate) fn widened(self, by: f32) -> Self {
        Self { sigma: math::sqrt(self.sigma * self.sigma + by * by), ..self }
    }

    /// Mean and variance of the square.
    pub(crate) fn squared(self) -> (f32, f32) {
        let (v2, s2) = (self.value * self.value, self.sigma * self.sigma);
        (v2 + s2, 2.0 * s2 * s2 + 4.0 * v2 * s2)
    }
}

/// Ratio of two parallel field vectors, with the cosine of the angle between them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FieldRatio {
    /// How many times the first exceeds the second.
    pub ratio: Measured,
    /// Cosine of the angle between the vectors.
    pub cosine: f32,
}

/// The ratio that two noisy measurements of parallel vectors support best: all components count, each with
/// its weight, and neither vector is taken for exact (orthogonal regression; Kay 1993 gives the maximum
/// likelihood argument). `None` when either is lost in noise.
pub fn field_ratio(near: NodeField, far: NodeField) -> Option<FieldRatio> {
    let (sn, sf) = (near.sigma_t.max(1e-18), far.sigma_t.max(1e-18));
    // In units of each one's noise the problem is symmetric.
    let (n, f) = (near.field_t / sn, far.field_t / sf);
    let (nn, ff, nf) = (n.length_squared(), f.length_squared(), n.dot(f));
    if nn < 9.0 || ff < 9.0 || nf <= 0.0 {
        return None;
    }
    let difference = nn - ff;
    let slope = (difference + math::sqrt(difference * difference + 4.0 * nf * nf)) / (2.0 * nf);
    let ratio = slope * sn / sf;
    let sigma = math::sqrt((1.0 + slope * slope) / ff) * sn / sf;
    Some(FieldRatio { ratio: Measured::new(ratio, sigma), cosine: nf / math::sqrt(nn * ff) })
}

/// Cosine of the widest angle between the fields at two heights that still counts as being above the source.
const ABOVE_COSINE: f32 = 0.94;

/// Where the mast stands over a sonde, as far as it bends the way the field weakens upwards.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Standing {
    /// Horizontal distance to the source across its lay, metres.
    pub aside_m: Measured,
    /// How far the mast stands from the source along its lay, metres.
    pub along_m: Measured,
    /// Tangent of the sonde's pitch, positive when the end towards growing `along_m` is raised.
    pub pitch: Measured,
}

impl Standing {
    /// What a mast that stands along the lay of a pitched sonde reads too little, metres.
    ///
    /// Over the raised end the field is stronger by `3 t x / ((1 + 4 t^2) r)`, which weakens upwards too. To first
    /// order in `x / r` the depth comes out `x t / (1 + 4 t^2)` too small, whatever the two heights.
    fn short_m(&self) -> Measured {
        let (along_m, Measured { value: t, sigma }) = (self.along_m, self.pitch);
        let steep = 1.0 + 4.0 * t * t;
        let (share, slope) = (t / steep, (1.0 - 4.0 * t * t) / (steep * steep));
        let by_along = share * along_m.sigma;
        // Where neither is known to be zero, both errors together still count.
        let by_pitch = slope * sigma * math::sqrt(along_m.squared().0);
        Measured::new(share * along_m.value, math::sqrt(by_along * by_along + by_pitch * by_pitch))
    }
}

/// Depth from the fields at two heights `spacing_m` apart, above the source but for a small miss.
///
/// `B ~ 1/r^3` on the vertical through a dipole of any tilt, so with `K = ratio^(2/3) = (r2/r1)^2`,
/// `r1^2 = d^2 + y^2` and `r2^2 = (d + s)^2 + y^2`:
/// `d = (s + sqrt(s^2 + (K - 1)(s^2 - (K - 1) y^2))) / (K - 1)`, which without a miss is
/// `s / (ratio^(1/3) - 1)`. A miss along the lay counts only for a pitched sonde, to first order in the miss.
/// `gain_sigma` is the relative uncertainty of the gains' ratio; it enters as `(d/3)(1 + d/s)` times itself.
///
/// ```
/// use glam::Vec3;
/// use nullwalk_core::{array::NodeField, depth::{self, Standing}};
/// let node = |r: f32| NodeField { field_t: Vec3::X * 20e-9 / (r * r * r), sigma_t: 1e-13 };
/// let depth = depth::ratio(node(1.0), node(1.4), 0.4, 0.0, Standing::default()).unwrap();
/// assert!((depth.depth_m - 1.0).abs() < 1e-4);
/// ```
///
/// # Errors
/// When the fields do not point the same way, do not weaken upwards, or the result is too uncertain.
pub fn ratio(
    lower: NodeField,
    upper: NodeField,
    spacing_m: f32,
    gain_sigma: f32,
    standing: Standing,
) -> Result<Depth, Unusable> {
    let fields = field_ratio(lower, upper).ok_or(Unusable::TooUncertain)?;
    if fields.cosine < ABOVE_COSINE {
        return Err(Unusable::NotAbove);
    }
    let root = math::cbrt(fields.ratio.value);
    if root <= 1.0 {
        return Err(Unusable::NotBelow);
    }
    let k1 = root * root - 1.0;
    let s2 = spacing_m * spacing_m;
    let at_miss = |y2: f32| (spacing_m + math::sqrt(s2 + k1 * (s2 - k1 * y2))) / k1;
    let (miss2, miss2_variance) = standing.aside_m.squared();
    let depth_m = at_miss(miss2);
    let relative = fields.ratio.sigma / fields.ratio.value;
    let from_ratio =
        per_ratio_m(depth_m, spacing_m) * math::sqrt(relative * relative + gain_sigma * gain_sigma);
    let from_miss = at_miss(miss2 + math::sqrt(miss2_variance)) - depth_m;
    let Measured { value: short_m, sigma: from_along } = standing.short_m();
    let sigma_m = math::sqrt(from_ratio * from_ratio + from_miss * from_miss + from_along * from_along);
    valid(depth_m + short_m, sigma_m)
}

/// Metres of depth for every unit by which the ratio of the nodes' fields is relatively wrong.
pub(crate) fn per_ratio_m(depth_m: f32, spacing_m: f32) -> f32 {
    depth_m / 3.0 * (1.0 + depth_m / spacing_m)
}

/// How a straight lane passed the source, as far as it bends the spacings of nulls and maxima.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Passing {
    /// Horizontal distance by which the lane missed the source, metres, signed to the observer's left.
    pub miss_m: Measured,
    /// Tangent of the angle from the lane to the lay, counter-clockwise.
    pub skew: f32,
    /// Tangent of the angle from the lane to the direction of the measured component, counter-clockwise: a mast that
    /// does not face quite where it is carried.
    pub aside: Measured,
    /// Tangent of the sonde's pitch, over the cosine of the skew.
    pub pitch: Measured,
}

/// Depth from the distance between the two nulls of a horizontal field component along a straight lane.
///
/// At `(s, p)` from the source a component aside by `k`, of a sonde skewed by `t` and pitched by `q` (all tangents),
/// is null where `3 (s + t p + q d)(s + k p) = (1 + k t)(s^2 + p^2 + d^2)`. The two roots are `L` apart when
///
/// `d^2 (9 q^2 + 4 u v) + 18 p q (t + k - 2 k u / 3) d = L^2 u^2 - p^2 (9 (t + k)^2 - 12 u k t + 4 u v)`
///
/// with `u = 2 - k t` and `v = 1 + k t`; that is `d = L / sqrt 2` for a lane over a level sonde when the component
/// lies along lane or lay.
///
/// ```
/// use nullwalk_core::depth::{self, Measured, Passing};
/// let nulls_apart = Measured::new(2.0 * 0.707_107, 0.01);
/// let depth = depth::null_spacing(nulls_apart, Passing::default()).unwrap();
/// assert!((depth.depth_m - 1.0).abs() < 1e-5 && (depth.sigma_m - 0.00707).abs() < 1e-4);
/// ```
///
/// # Errors
/// When the result is too uncertain or out of range.
pub fn null_spacing(apart_m: Measured, passing: Passing) -> Result<Depth, Unusable> {
    let depth_m = |apart: f32, bent: Bent| {
        let Bent { miss, miss2, pitch, aside: k } = bent;
        let t = passing.skew;
        let (u, v) = (2.0 - k * t, 1.0 + k * t);
        let a = 9.0 * pitch * pitch + 4.0 * u * v;
        let b = 18.0 * miss * pitch * (t + k - 2.0 * k * u / 3.0);
        let c = apart * apart * u * u - miss2 * (9.0 * (t + k) * (t + k) - 12.0 * u * k * t + 4.0 * u * v);
        (-b + math::sqrt(b * b + 4.0 * a * c)) / (2.0 * a)
    };
    spaced(apart_m, passing, depth_m)
}

/// Depth from the distance between the two extrema of the vertical component: `L = sqrt(d^2 + p^2)` for a
/// level sonde. Pitch changes it in second order only, by `1 + (165/512) q^2`: the extrema solve
/// `q x^3 - 4 x^2 - 4 q x + 1 = 0` in units of `d`, expanded about `x = +-1/2`. Good to 0.5 % up to 30 degrees.
///
/// # Errors
/// When the result is too uncertain or out of range.
pub fn vertical_maxima(apart_m: Measured, passing: Passing) -> Result<Depth, Unusable> {
    let depth_m = |apart: f32, bent: Bent| {
        let level = apart / (1.0 + VERTICAL_PITCH * bent.pitch * bent.pitch);
        math::sqrt(level * level - bent.miss2)
    };
    spaced(apart_m, passing, depth_m)
}

/// Second-order effect of the pitch on the spacing of the vertical extrema.
const VERTICAL_PITCH: f32 = 165.0 / 512.0;

/// What bends a spacing, as numbers.
#[derive(Clone, Copy)]
struct Bent {
    miss: f32,
    miss2: f32,
    pitch: f32,
    aside: f32,
}

/// A depth from a spacing, with the uncertainties of everything in it carried through.
fn spaced(
    apart_m: Measured,
    passing: Passing,
    depth_m: impl Fn(f32, Bent) -> f32,
) -> Result<Depth, Unusable> {
    let Passing { miss_m, pitch, aside, .. } = passing;
    let (miss2, miss2_variance) = miss_m.squared();
    let bent = Bent { miss: miss_m.value, miss2, pitch: pitch.value, aside: aside.value };
    let found_m = depth_m(apart_m.value, bent);
    let with = |bent: Bent| depth_m(apart_m.value, bent);
    // Pitch is moved outwards, because at zero its slope is zero and the curve alone matters.
    let level = with(Bent { pitch: pitch.value.abs(), ..bent });
    let steeper = with(Bent { pitch: pitch.value.abs() + pitch.sigma, ..bent });
    let changes = [
        depth_m(apart_m.value + apart_m.sigma, bent) - found_m,
        with(Bent { miss2: miss2 + math::sqrt(miss2_variance), ..bent }) - found_m,
        with(Bent { aside: aside.value + aside.sigma, ..bent }) - found_m,
        steeper - level,
    ];
    valid(found_m, math::sqrt(changes.iter().map(|change| change * change).sum()))
}

/// Depth from the same node at two heights: like [`ratio`], but no gain of a second node enters.
///
/// `drift_sigma` is the relative uncertainty of the sonde's strength between the two readings.
///
/// # Errors
/// As [`ratio`], and [`Unusable::NotMeasured`] for a lift of less than 0.1 m.
pub fn lift(
    before: NodeField,
    lifted: NodeField,
    height_m: Measured,
    drift_sigma: f32,
    standing: Standing,
) -> Result<Depth, Unusable> {
    if height_m.value < 0.1 {
        return Err(Unusable::NotMeasured);
    }
    let depth = ratio(before, lifted, height_m.value, drift_sigma, standing)?;
    // The depth is proportional to the lift.
    let from_height = depth.depth_m * height_m.sigma / height_m.value;
    valid(depth.depth_m, math::sqrt(depth.sigma_m * depth.sigma_m + from_height * from_height))
}

/// Closed-form correction for a tilted sonde, from the peak of the axial component and the null of the
/// vertical one along a lane above its axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TiltCorrection {
    /// Where the sonde is: `2 peak - null`.
    pub overhead_m: f32,
    /// Tangent of its pitch: `3 (peak - null) / d`. Positive when the end towards growing positions is raised.
    pub pitch: f32,
}

/// See [`TiltCorrection`]. Good to 0.005 d up to 20 degrees, 0.015 d up to 30.
///
/// ```
/// // A sonde pitched 10 degrees at 1 m: peak at -0.058, vertical null at -0.117.
/// let c = nullwalk_core::depth::tilt_correction(-0.058, -0.117, 1.0);
/// assert!(c.overhead_m.abs() < 0.002 && (c.pitch - 0.176).abs() < 0.002);
/// ```
pub fn tilt_correction(axial_peak_m: f32, vertical_null_m: f32, depth_m: f32) -> TiltCorrection {
    TiltCorrection {
        overhead_m: 2.0 * axial_peak_m - vertical_null_m,
        pitch: 3.0 * (axial_peak_m - vertical_null_m) / depth_m.max(0.01),
    }
}
