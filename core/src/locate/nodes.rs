//! Whether the two nodes tell the same story.
//!
//! Above a buried source the upper node sees the same field, only weaker. A coil wired the wrong way round, or
//! two plugs in each other's sockets, make one component of it run against the other or grow upwards.

use glam::Vec3;

use crate::array::Glimpse;

/// Components that hold less than this share of the strongest one's power say nothing.
const LEAST_SHARE: f32 = 0.03;
/// Least power over the noise's, summed over the walk.
const LEAST_POWER: f32 = 300.0;
/// Correlation below which the nodes run against each other.
const AGAINST: f32 = -0.2;
/// Power of the upper over the lower node from which a component grows upwards.
const GROWS: f32 = 1.3;

/// Power of each component at both nodes, and their product, over a walk; in units of the noise.
#[derive(Debug, Clone, Copy, Default)]
pub struct Nodes {
    lower: Vec3,
    upper: Vec3,
    product: Vec3,
}

impl Nodes {
    pub fn push(&mut self, glimpse: &Glimpse) {
        if let [lower, upper] = glimpse.nodes.as_slice() {
            let noise_t = lower.sigma_t.max(upper.sigma_t).max(1e-18);
            let (l, u) = (lower.field_t / noise_t, upper.field_t / noise_t);
            self.lower += l * l;
            self.upper += u * u;
            self.product += l * u;
        }
    }

    /// Whether some component contradicts a source below.
    pub fn contradict(&self) -> bool {
        let strongest = (self.lower + self.upper).max_element();
        let least = (LEAST_SHARE * strongest).max(LEAST_POWER);
        let components = [Vec3::X, Vec3::Y, Vec3::Z];
        components.into_iter().any(|axis| {
            let (l, u, p) = (self.lower.dot(axis), self.upper.dot(axis), self.product.dot(axis));
            l + u > least && (p < AGAINST * l.min(u) || u > GROWS * l)
        })
    }
}
