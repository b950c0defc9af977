//! What a compass that errs does to a line.
//!
//! It turns all fields of a walk alike, and the lay with them, while the places stay. A lane that crosses at right angles
//! does not mind; on one that crosses aslant, every way across the line is then too long or too short by the error times the
//! tangent of the slant, and the depth with it.

use super::Crossing;
use crate::depth::Measured;
use crate::frame::HEADING_SIGMA_RAD;

/// How aslant the lanes cross on the whole: metres along the line for each metre across it. Slants to the one side and to the
/// other undo each other.
pub(super) fn aslant(crossed: &[Crossing]) -> f32 {
    let sum: f32 = crossed.iter().map(|crossing| crossing.aslant).sum();
    sum / crossed.len().max(1) as f32
}

/// A depth below the lower node that was read across lanes so aslant.
pub(super) fn of_depth(below_node: Measured, aslant: f32) -> Measured {
    below_node.widened(HEADING_SIGMA_RAD * aslant * below_node.value)
}

/// A lay that was read from fields.
pub(super) fn of_lay(lay: Measured) -> Measured {
    lay.widened(HEADING_SIGMA_RAD)
}
