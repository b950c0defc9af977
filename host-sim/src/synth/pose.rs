//! Where the mast is and how it is held.

use glam::{DMat3, DVec3};

/// Where the mast is and how it is held, without any error of measurement.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Pose {
    /// The lower node in the site frame: east, north, up, metres.
    pub enu_m: DVec3,
    /// Bearing of the forward axis, radians clockwise from north; counts on through full turns.
    pub heading_rad: f64,
    /// Positive when the forward end is raised, radians.
    pub pitch_rad: f64,
    /// Positive when the left side is raised, radians.
    pub roll_rad: f64,
}

impl Pose {
    /// The rotation from the mast frame to the site frame: roll first, then pitch, then heading.
    pub fn rotation(&self) -> DMat3 {
        let (sh, ch) = self.heading_rad.sin_cos();
        let (sp, cp) = self.pitch_rad.sin_cos();
        let (sr, cr) = self.roll_rad.sin_cos();
        let heading = DMat3::from_cols(DVec3::new(sh, ch, 0.0), DVec3::new(-ch, sh, 0.0), DVec3::Z);
        let pitch = DMat3::from_cols(DVec3::new(cp, 0.0, sp), DVec3::Y, DVec3::new(-sp, 0.0, cp));
        let roll = DMat3::from_cols(DVec3::X, DVec3::new(0.0, cr, sr), DVec3::new(0.0, -sr, cr));
        heading * pitch * roll
    }
}
