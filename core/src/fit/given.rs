//! What a glimpse is given: a look in axes of its own, and what is known of the source beforehand.

use glam::{Vec2, Vec3};

use super::ring::Look;
use crate::math;

/// No field is taken to be measured better than this, relative.
const FINEST: f32 = 1e-3;

/// A positive quantity known to within a factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogNormal {
    /// Its median.
    pub median: f32,
    /// Standard deviation of its natural logarithm: for small ones the relative uncertainty.
    pub log_sigma: f32,
}

/// What is known of a source before a glimpse.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Priors {
    /// How level it lies: sigma of the pitch, radians.
    pub level_sigma_rad: f32,
    /// Depth below the lower node, metres.
    pub depth_m: LogNormal,
    /// Strength, A m2; with the bench's sigma where it was measured there.
    pub moment_a_m2: LogNormal,
    /// How far it may be, forward or back, to the left or right: sigma, metres.
    pub aside_sigma_m: f32,
}

impl Default for Priors {
    /// A drain sonde: level within ten degrees, 0.4 to 6 m deep, 0.03 to 1.4 A m2 (common practice, no source).
    fn default() -> Self {
        Self {
            level_sigma_rad: 0.175,
            depth_m: LogNormal { median: 1.5, log_sigma: 0.7 },
            moment_a_m2: LogNormal { median: 0.2, log_sigma: 1.0 },
            aside_sigma_m: 4.0,
        }
    }
}

/// The priors as numbers to reckon with: reciprocals of variances, logarithms of medians.
pub struct Known {
    pub near: f32,
    pub deep: f32,
    pub log_depth: f32,
    pub strong: f32,
    pub log_moment: f32,
    pub level: f32,
}

impl Known {
    pub(super) fn of(priors: &Priors) -> Self {
        let reciprocal = |sigma: f32| 1.0 / (sigma * sigma).max(1e-8);
        Self {
            near: reciprocal(priors.aside_sigma_m),
            deep: reciprocal(priors.depth_m.log_sigma),
            log_depth: math::ln(priors.depth_m.median),
            strong: reciprocal(priors.moment_a_m2.log_sigma),
            log_moment: math::ln(priors.moment_a_m2.median),
            level: reciprocal(priors.level_sigma_rad),
        }
    }
}

/// A look turned so that the lower node's field lies forward and up: the fields' common sign and the frame's heading
/// mean nothing, and left and right are mirror images.
pub struct Frame {
    pub fields_nt: [Vec3; 2],
    pub sigma_nt: [f32; 2],
    pub upper_m: Vec3,
    pub ratio_sigma: f32,
    /// Direction of the upper field, along which less is known; the part of it, in that direction, that is not noise
    /// but the error of the gains' ratio.
    pub along: Vec3,
    pub uncertain: Vec3,
    /// Direction of the horizontal field.
    pub forward: Vec2,
}

impl Frame {
    /// `None` without a field.
    pub(super) fn of(look: &Look, ratio_sigma: f32) -> Option<Self> {
        let [lower, _] = look.fields_nt;
        let sign = if lower.z < 0.0 { -1.0 } else { 1.0 };
        let forward = (lower.truncate() * sign).normalize_or(Vec2::X);
        let turned = |v: Vec3| Vec2::new(forward.x, -forward.y).rotate(v.truncate()).extend(v.z);
        let fields_nt = look.fields_nt.map(|field_nt| turned(field_nt) * sign);
        let [lower_nt, upper_nt] = fields_nt;
        let finest_nt = FINEST * lower_nt.length();
        let sigma_nt = look.sigma_nt.map(|sigma_nt| sigma_nt.max(finest_nt));
        let [_, upper_sigma_nt] = sigma_nt;
        let along = upper_nt * math::recip_sqrt(upper_nt.length_squared());
        let wrong = ratio_sigma * along.dot(upper_nt) / upper_sigma_nt;
        let uncertain = along * (1.0 - 1.0 / math::sqrt(1.0 + wrong * wrong));
        let sound = finest_nt > 0.0 && fields_nt.iter().all(|field_nt| field_nt.is_finite());
        let upper_m = turned(look.upper_m);
        sound.then_some(Self { fields_nt, sigma_nt, upper_m, ratio_sigma, along, uncertain, forward })
    }
}
