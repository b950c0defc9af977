//! A line that leaves a transmitter, and what a walk would see of it.

use glam::DVec3;
use nullwalk_core::field;

use crate::survey::detect::{Template, whitened};
use crate::survey::walk::{NT, Sight};

/// A line runs on for so long, metres.
const LONG_M: f64 = 2000.0;

/// A line that leaves the transmitter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ray {
    pub(super) from_m: DVec3,
    /// Counter-clockwise from east.
    pub(super) bearing_rad: f64,
}

impl Ray {
    fn along(&self) -> DVec3 {
        let (sin, cos) = self.bearing_rad.sin_cos();
        DVec3::new(cos, sin, 0.0)
    }

    pub(super) fn per_ampere_nt(&self, at_m: DVec3, upper_m: DVec3) -> [DVec3; 2] {
        let far_m = self.from_m + self.along() * LONG_M;
        [at_m, at_m + upper_m].map(|node_m| {
            let ends = [node_m - self.from_m, node_m - far_m].map(|r| r.to_array());
            DVec3::from_array(field::segment(1.0, ends[0], ends[1])) * NT
        })
    }

    pub(super) fn distance_m(&self, sight: &Sight) -> f64 {
        let away = sight.at_m - self.from_m;
        (away - self.along() * away.dot(self.along()).max(0.0)).length()
    }
}

impl Template for Ray {
    fn whitened(&self, at_m: DVec3, upper_m: DVec3, inverse_nt: [f64; 2]) -> [f64; 6] {
        whitened(self.per_ampere_nt(at_m, upper_m), inverse_nt)
    }
}
