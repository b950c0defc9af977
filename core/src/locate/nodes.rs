//! Whether the two nodes tell the same story.
//!
//! Above a buried source the upper node sees the same field, only weaker: over a walk each component at the one rises
//! and falls with the same component at the other. A coil wired the wrong way round, a dead one, or two plugs in each
//! other's sockets break that.

use glam::Vec3;

use crate::array::Glimpse;
use crate::math;

/// Components that hold less than this share of the strongest one's power say nothing.
const LEAST_SHARE: f32 = 0.1;
/// Least power over the noise's, summed over the walk.
const LEAST_POWER: f32 = 300.0;
/// Correlation below which a component is not the same at both nodes; in sound walks it is above 0.88.
const CORRELATED: f32 = 0.6;
/// Power of the upper over the lower node from which a component grows upwards.
const GROWS: f32 = 1.3;
/// and the share of what the other components lead to expect below which it is lost on the way.
const LOST: f32 = 0.1;

/// Power of each component at both nodes, and their product, over a walk; in units of the noise.
#[derive(Debug, Clone, Copy, Default)]
pub struct Nodes {
    lower: Vec3,
    upper: Vec3,
    product: Vec3,
    count: f32,
}

impl Nodes {
    pub fn push(&mut self, glimpse: &Glimpse) {
        if let [lower, upper] = glimpse.nodes.as_slice() {
            let noise_t = lower.sigma_t.max(upper.sigma_t).max(1e-18);
            let (l, u) = (lower.field_t / noise_t, upper.field_t / noise_t);
            self.lower += l * l;
            self.upper += u * u;
            self.product += l * u;
            self.count += 1.0;
        }
    }

    /// Whether some component contradicts a source below.
    pub fn contradict(&self) -> bool {
        let noise = Vec3::splat(self.count);
        let (lower, upper) = ((self.lower - noise).max(Vec3::ZERO), (self.upper - noise).max(Vec3::ZERO));
        let both = lower + upper;
        let least = (LEAST_SHARE * both.max_element()).max(LEAST_POWER);
        let weakening = upper.element_sum() / lower.element_sum().max(f32::MIN_POSITIVE);
        let components = [Vec3::X, Vec3::Y, Vec3::Z];
        components.into_iter().filter(|&axis| both.dot(axis) > least).any(|axis| {
            let (l, u, p) = (lower.dot(axis), upper.dot(axis), self.product.dot(axis));
            p < CORRELATED * math::sqrt(l * u) || u > GROWS * l || u < LOST * weakening * l
        })
    }
}
