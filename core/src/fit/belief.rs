//! What one believes of a source: means and covariances, and how several beliefs make one.

use glam::{Mat3, Vec2, Vec3};

use crate::depth::Measured;
use crate::math;

/// Mean and variance.
#[derive(Clone, Copy)]
pub struct Mean {
    pub value: f32,
    pub variance: f32,
}

impl Mean {
    pub const fn new(value: f32, variance: f32) -> Self {
        Self { value, variance }
    }

    pub fn measured(self) -> Measured {
        Measured::new(self.value, math::sqrt(self.variance))
    }
}

/// Mean and uncertainty of all one wants to know of a source.
#[derive(Clone, Copy)]
pub struct Belief {
    pub place_m: Vec3,
    pub spread: Mat3,
    /// In plan.
    pub distance: Mean,
    /// Modulo half a turn.
    pub lay: Mean,
    /// Positive when the end towards the x axis is raised.
    pub pitch: Mean,
    /// Logarithm of the strength in A m2.
    pub log_moment: Mean,
}

impl Belief {
    /// This with a share of another.
    pub fn with(&self, share: f32, other: &Self) -> Self {
        let rest = 1.0 - share;
        let apart_m = other.place_m - self.place_m;
        let mixed = |a: Mean, b: Mean| {
            let apart = b.value - a.value;
            let variance = rest * a.variance + share * (b.variance + rest * apart * apart);
            Mean::new(a.value + share * apart, variance)
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
fn direction(lay: Mean) -> Vec2 {
    let (sin, cos) = math::sin_cos(2.0 * lay.value);
    Vec2::new(cos, sin) * math::exp(-2.0 * lay.variance)
}

/// The line whose [`direction`] this is.
pub fn line(direction: Vec2) -> Mean {
    let known = direction.length().clamp(1e-3, 1.0);
    Mean::new(0.5 * math::atan2(direction.y, direction.x), -0.5 * math::ln(known))
}

/// The products of a vector's components with each other.
pub fn outer(v: Vec3) -> Mat3 {
    Mat3::from_cols(v * v.x, v * v.y, v * v.z)
}
