//! Angles in plan, and between phases.

/// Currents whose phases differ by more than this run against each other, degrees.
pub const AGAINST_DEG: f64 = 135.0;

/// The bearing of a direction, degrees clockwise from north; given in radians counter-clockwise from east.
pub fn bearing_deg(rad: f64) -> f64 {
    (90.0 - rad.to_degrees()).rem_euclid(360.0)
}

/// An angle between minus and plus 180 degrees.
pub fn signed_deg(degrees: f64) -> f64 {
    (degrees + 180.0).rem_euclid(360.0) - 180.0
}
