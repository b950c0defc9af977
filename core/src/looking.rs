//! From a glimpse to a look: what the fits of a whole walk need of it.
//!
//! It makes no difference whether the glimpse is one of a tone or of a harmonic of mains. A sonde's fit takes a [`Look`], that
//! of lines a [`PhasorLook`], for their currents may be out of step.

use glam::Vec3;

use crate::array::{Array, Glimpse};
use crate::fit::line::PhasorLook;
use crate::fit::{Look, Shared};
use crate::frame::heading_rotation;
use crate::math;

/// Standard uncertainty of the height at which the mast is carried, metres (common practice, no source).
pub const CARRIED_SIGMA_M: f32 = 0.005;
/// What the gait does to the relative strength of the field (common practice, no source).
pub(crate) const GAIT_SIGMA: f32 = 0.005;
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

/// The same with what is in quadrature, for fits of lines.
///
/// ```
/// use glam::Vec3;
/// use nullwalk_core::array::{Array, CalibrationSigma, Circumstances, Coil, CommonPhase, Glimpse, Node, NodePhasor};
/// use nullwalk_core::frame::{MastReading, Position};
/// use nullwalk_core::looking::phasor_look;
/// use num_complex::Complex32;
///
/// let coil = |channel: u8, axis| Coil { channel, axis, turns_area_m2: 20.0, gain: 1.0, phase_rad: 0.0 };
/// let coils = [coil(0, Vec3::X), coil(1, Vec3::Y), coil(2, Vec3::Z)];
/// let sigma = CalibrationSigma { node_ratio: 0.003, scale: 0.05, tilt_rad: 0.0 };
/// let array = Array::new(&[Node { position_m: Vec3::ZERO, coils }], sigma, 0.05).unwrap();
/// // Facing east: 3 nT along the mast, and 1 nT to its left, a quarter of a turn ahead.
/// let field_t = [Complex32::new(3e-9, 0.0), Complex32::new(0.0, 1e-9), Complex32::ZERO];
/// let position = Some(Position { enu_m: Vec3::new(1.0, 2.0, 0.1), sigma_m: 0.02 });
/// let mast = MastReading { position, heading_rad: Some(core::f32::consts::FRAC_PI_2), tilt: None };
/// let nodes = [NodePhasor { field_t, sigma_t: 1e-11 }];
/// let glimpse = Glimpse::new(0, &nodes, &mut CommonPhase::default(), mast, Circumstances::default());
/// let sight = phasor_look(&glimpse, &array, 1.0).unwrap();
/// assert!((sight.look.fields_nt[0] - Vec3::new(3.0, 0.0, 0.0)).length() < 1e-5);
/// assert!((sight.quadrature_nt[0] - Vec3::new(0.0, 1.0, 0.0)).length() < 1e-5);
/// assert_eq!(sight.look.at_m, Vec3::new(1.0, 2.0, 0.1));
/// ```
pub fn phasor_look(glimpse: &Glimpse, array: &Array, inflation: f32) -> Option<PhasorLook> {
    let look = look(glimpse, array, inflation)?;
    let to_site = heading_rotation(glimpse.mast.heading_rad.unwrap_or_default());
    Some(PhasorLook { look, quadrature_nt: glimpse.quadrature_t.map(|field_t| to_site * field_t * 1e9) })
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
