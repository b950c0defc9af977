//! From a glimpse to a look: what the fit of the whole walk needs of it.

use glam::Vec3;

use super::lane::GAIT_SIGMA;
use crate::array::{Array, Glimpse};
use crate::fit::{Look, Shared};
use crate::frame::heading_rotation;
use crate::math;

/// Standard uncertainty of the height at which the mast is carried, metres (common practice, no source).
pub const CARRIED_SIGMA_M: f32 = 0.005;
/// A node that is not there has been measured this badly, nanotesla.
const ABSENT_NT: f32 = 1e6;

/// What a glimpse shows at its place in the site; `None` without position or heading. For `inflation` see
/// [`crate::tone::Overlap`].
pub fn look(glimpse: &Glimpse, array: &Array, inflation: f32) -> Option<Look> {
    glimpse.mast.position.and(glimpse.mast.heading_rad).map(|_| view(glimpse, array, inflation))
}

/// The same, where a mast without position stands at the site's origin, and one without heading faces north.
pub fn view(glimpse: &Glimpse, array: &Array, inflation: f32) -> Look {
    let to_site = heading_rotation(glimpse.mast.heading_rad.unwrap_or_default());
    let levelling = glimpse.mast.tilt.unwrap_or_default().levelling();
    let upper_m = array.nodes().get(1).map_or(Vec3::ZERO, |node| to_site * levelling * node.position_m);
    let mut fields_nt = [Vec3::ZERO; 2];
    let mut sigma_nt = [ABSENT_NT; 2];
    for ((field_nt, sigma_nt), node) in fields_nt.iter_mut().zip(&mut sigma_nt).zip(&glimpse.nodes) {
        *field_nt = to_site * node.field_t * 1e9;
        *sigma_nt = node.sigma_t * 1e9 * math::sqrt(inflation);
    }
    let at_m = glimpse.mast.position.map_or(Vec3::ZERO, |position| position.enu_m);
    Look { at_m, upper_m, fields_nt, sigma_nt, pose_sigma_m: Vec3::ZERO, spread_m: Vec3::ZERO }
}

/// What all looks of a walk share.
pub fn shared(array: &Array, pose_sigma_m: f32, inflation: f32) -> Shared {
    Shared {
        node_ratio: array.sigma().node_ratio,
        field: relative(array) * math::sqrt(inflation),
        // Position sensors wander.
        place_m: Vec3::new(pose_sigma_m, pose_sigma_m, CARRIED_SIGMA_M),
    }
}

/// Relative uncertainty of a field. Coils are as uncertain as their calibration leaves the ratio of the nodes.
pub fn relative(array: &Array) -> f32 {
    let sigma = array.sigma();
    Vec3::new(GAIT_SIGMA, sigma.tilt_rad, sigma.node_ratio).length()
}
