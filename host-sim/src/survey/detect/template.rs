//! What may be there, as a walk would see it.

use glam::DVec3;

use crate::survey::wire::Wire;

/// What may be there, with a current of one ampere.
pub trait Template: Copy + Send + Sync {
    /// Its field at both nodes, over their noise.
    fn whitened(&self, at_m: DVec3, upper_m: DVec3, inverse_nt: [f64; 2]) -> [f64; 6];
}

impl Template for Wire {
    fn whitened(&self, at_m: DVec3, upper_m: DVec3, inverse_nt: [f64; 2]) -> [f64; 6] {
        whitened(self.per_ampere_nt(at_m, upper_m), inverse_nt)
    }
}

/// Fields at both nodes over their noise.
pub fn whitened([lower, upper]: [DVec3; 2], inverse_nt: [f64; 2]) -> [f64; 6] {
    let [a, b] = [lower * inverse_nt[0], upper * inverse_nt[1]];
    [a.x, a.y, a.z, b.x, b.y, b.z]
}
