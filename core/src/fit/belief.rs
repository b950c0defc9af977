//! What one believes of a source: means and covariances, and how several beliefs make one.

use glam::{Mat2, Mat3, Vec2, Vec3};

use crate::depth::Measured;
use crate::math;

/// Mean and uncertainty of all one wants to know of a source.
#[derive(Clone, Copy)]
pub struct Belief {
    pub place_m: Vec3,
    pub spread: Mat3,
    /// In plan.
    pub distance: Measured,
    /// Modulo half a turn.
    pub lay: Measured,
    /// Positive when the end towards the x axis is raised.
    pub pitch: Measured,
    /// Logarithm of the strength in A m2.
    pub log_moment: Measured,
}

impl Belief {
    /// This with a share of another.
    pub fn with(&self, share: f32, other: &Self) -> Self {
        let rest = 1.0 - share;
        let apart_m = other.place_m - self.place_m;
        let mixed = |a: Measured, b: Measured| {
            let apart = b.value - a.value;
            let variance = rest * a.sigma * a.sigma + share * (b.sigma * b.sigma + rest * apart * apart);
            Measured::new(a.value + share * apart, math::sqrt(variance))
        };
        Self {
            place_m: self.place_m + apart_m * share,
            spread: self.spread * rest + other.spread * share + outer(apart_m) * (rest * share),
            distance: mixed(self.distance, other.distance),
            lay: line(direction(self.lay) * rest + direction(other.lay) * share),
            pitch: mixed(self.pitch, other.pitch),
            log_moment: mixed(self.log_moment, other.log_moment),
        }
    }
}

/// A line has no sense: its mean is that of directions at twice its angle, which are the shorter the less is known of
/// it, for the mean of `cos 2(a + e)` is `exp(-2 sigma^2) cos 2a`.
fn direction(lay: Measured) -> Vec2 {
    let (sin, cos) = math::sin_cos(2.0 * lay.value);
    Vec2::new(cos, sin) * math::exp(-2.0 * lay.sigma * lay.sigma)
}

/// The line whose [`direction`] this is.
pub fn line(direction: Vec2) -> Measured {
    let known = direction.length().clamp(1e-3, 1.0);
    Measured::new(0.5 * math::atan2(direction.y, direction.x), math::sqrt(-0.5 * math::ln(known)))
}

/// Standard deviation along a direction.
pub fn sigma_along(direction: Vec2, covariance: Mat2) -> f32 {
    let direction = direction.normalize_or(Vec2::X);
    math::sqrt(direction.dot(covariance * direction))
}

/// The products of a vector's components with each other.
pub fn outer(v: Vec3) -> Mat3 {
    Mat3::from_cols(v * v.x, v * v.y, v * v.z)
}
