//! Where the source is, from one lane along it and one across.

use glam::Vec2;

use super::lane::{Across, Along, Spot};
use crate::depth::{self, Depth, Measured, Passing, Unusable};
use crate::math;

/// Without a lane across, the source may be this share of the depth to either side.
const SIDEWAYS_SHARE: f32 = 0.25;
/// A lane across counts when it passed within this share of the depth of the mark.
const CROSSING_SHARE: f32 = 0.4;
/// The relations between marks on a lane are good to this share of the depth.
const MODEL_SHARE: f32 = 0.002;

/// A null stands off the source by this share of the depth.
const NULL_SHARE: f32 = core::f32::consts::FRAC_1_SQRT_2;

/// The source as the lanes show it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// Ground point above the source, site frame, metres.
    pub place_m: Vec2,
    /// Unit vector along the lay, site frame (its sense means nothing).
    pub lay: Vec2,
    /// Standard uncertainty of the place along and across the lay, metres.
    pub sigma_along_m: f32,
    /// The same across.
    pub sigma_across_m: f32,
    /// Tangent of the sonde's pitch, positive when the end towards `lay` is raised.
    pub pitch: Measured,
    /// Depth below the lower node as carried, by the nulls and by the vertical extrema.
    pub null_spacing: Result<Depth, Unusable>,
    /// See `null_spacing`.
    pub vertical_maxima: Result<Depth, Unusable>,
    /// Height of the lower node as carried, site frame.
    pub node_up_m: f32,
    /// Whether a lane across fixed the place sideways.
    pub crossed: bool,
}

/// A lane's own axis: where a spot lies along it.
struct Axis {
    origin: Vec2,
    direction: Vec2,
}

impl Axis {
    fn along(&self, spot: &Spot) -> Option<Measured> {
        let place = spot.place?;
        let value = (place.enu_m.truncate() - self.origin).dot(self.direction);
        Some(Measured::new(value, place.sigma_m))
    }
}

/// Combine the lanes. `level_sigma` is how level the sonde is thought to lie before anything is measured (tangent).
/// `None` without positions.
pub fn mark(along: &Along, across: Option<&Across>, level_sigma: f32) -> Option<Mark> {
    let [first, second] = &along.nulls;
    let (a, b) = (first.place?, second.place?);
    let origin = a.enu_m.truncate();
    let direction = (b.enu_m.truncate() - origin).try_normalize()?;
    let left = direction.perp();
    let axis = Axis { origin, direction };
    let apart = Measured::new(
        b.enu_m.truncate().distance(origin),
        math::sqrt(a.sigma_m * a.sigma_m + b.sigma_m * b.sigma_m),
    );
    let field = along.peak.field_t;
    let skew = field.y / if field.x == 0.0 { 1.0 } else { field.x };
    let rough_m = apart.value * NULL_SHARE;

    let sideways = |across: &Across| -> Option<Measured> {
        let place = across.place;
        let from_origin = place.enu_m.truncate() - origin;
        let beside = from_origin.dot(direction) - 0.5 * apart.value;
        let crossing = across.direction.dot(left).abs();
        (beside.abs() < CROSSING_SHARE * rough_m && crossing > 0.7)
            .then(|| Measured::new(from_origin.dot(left), place.sigma_m))
    };
    let crossing = across.and_then(sideways);
    let source_left = crossing.unwrap_or(Measured::new(0.0, SIDEWAYS_SHARE * rough_m));
    let miss_m = Measured::new(-source_left.value, source_left.sigma);

    // The nulls' middle, the peak and the vertical null each stand off the source by a share of
    // w = miss * skew + d * pitch; the miss is known, so two unknowns remain: the place and d * pitch.
    let half_spacing_sigma = 0.5 * apart.sigma;
    // Each null stands off in proportion to the depth below the node at that moment.
    let carried_higher_m = b.enu_m.z - a.enu_m.z;
    let middle_m = 0.5 * apart.value - NULL_SHARE * 0.5 * carried_higher_m;
    let middle = Measured::new(middle_m, half_spacing_sigma);
    let peak = axis.along(&along.peak);
    let vertical_null = along.vertical_null.as_ref().and_then(|spot| axis.along(spot));
    let from_skew = miss_m.value * skew;
    let mut pitch = Measured::new(0.0, level_sigma);
    let mut place = middle;
    let mut depth_m = rough_m;
    for _ in 0..3 {
        let q2 = pitch.value * pitch.value;
        let peak_share = 1.0 / (3.0 + q2);
        let null_share =
            if q2 > 1e-3 { (math::sqrt(9.0 + 8.0 * q2) - 3.0) / (2.0 * q2) } else { 2.0 / 3.0 };
        let floor = MODEL_SHARE * depth_m;
        let mut fit = TwoUnknowns::default();
        fit.add(-0.75, middle.value + 0.75 * from_skew, middle.sigma + floor);
        if let Some(p) = peak {
            fit.add(-peak_share, p.value + from_skew / 3.0, p.sigma + floor);
        }
        if let Some(v) = vertical_null {
            fit.add(-null_share, v.value + from_skew, v.sigma + floor);
        }
        let (source, rise) = fit.solve(depth_m * level_sigma);
        place = source;
        pitch = Measured::new(rise.value / depth_m, rise.sigma / depth_m);
        let passing = Passing { miss_m, skew, pitch };
        if let Ok(depth) = depth::null_spacing(apart, passing) {
            depth_m = depth.depth_m;
        }
    }
    let passing = Passing { miss_m, skew, pitch };
    let extrema = along.vertical_extrema.as_ref();
    let vertical_apart = extrema.and_then(|[before, after]| {
        let (before, after) = (axis.along(before)?, axis.along(after)?);
        let sigma = math::sqrt(before.sigma * before.sigma + after.sigma * after.sigma);
        Some(Measured::new(after.value - before.value, sigma))
    });
    let vertical_maxima = vertical_apart
        .ok_or(Unusable::NotMeasured)
        .and_then(|apart| depth::vertical_maxima(apart, passing));
    let lay_in_lane = Vec2::new(1.0, skew).normalize_or(Vec2::X);
    Some(Mark {
        place_m: origin + direction * place.value + left * source_left.value,
        lay: direction * lay_in_lane.x + left * lay_in_lane.y,
        sigma_along_m: place.sigma,
        sigma_across_m: source_left.sigma,
        pitch,
        null_spacing: depth::null_spacing(apart, passing),
        vertical_maxima,
        node_up_m: 0.5 * (a.enu_m.z + b.enu_m.z),
        crossed: crossing.is_some(),
    })
}

/// Weighted least squares for `seen = source + share * rise`.
#[derive(Default)]
struct TwoUnknowns {
    w: f32,
    wx: f32,
    wxx: f32,
    wy: f32,
    wxy: f32,
}

impl TwoUnknowns {
    fn add(&mut self, share: f32, seen: f32, sigma: f32) {
        let w = 1.0 / (sigma * sigma).max(1e-10);
        self.w += w;
        self.wx += w * share;
        self.wxx += w * share * share;
        self.wy += w * seen;
        self.wxy += w * share * seen;
    }

    /// Source and rise, the rise held near zero by a prior.
    fn solve(&self, rise_sigma: f32) -> (Measured, Measured) {
        let wxx = self.wxx + 1.0 / (rise_sigma * rise_sigma).max(1e-10);
        let determinant = (self.w * wxx - self.wx * self.wx).max(f32::MIN_POSITIVE);
        let source = (wxx * self.wy - self.wx * self.wxy) / determinant;
        let rise = (self.w * self.wxy - self.wx * self.wy) / determinant;
        (
            Measured::new(source, math::sqrt(wxx / determinant)),
            Measured::new(rise, math::sqrt(self.w / determinant)),
        )
    }
}
