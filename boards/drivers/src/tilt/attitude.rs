//! What an accelerometer and a magnetometer say, as the core takes it.

use glam::{Mat3, Vec3};
use nullwalk_core::frame::{MastReading, Tilt};
use nullwalk_core::math;

/// Between these, in g, what is felt is mostly gravity. Walking stays within; a knock or a fall does not.
const CALM_G: [f32; 2] = [0.7, 1.3];
/// Between these, in nanotesla, the steady field can be the Earth's: 22 to 67 microtesla over the globe (from memory).
const EARTH_NT: [f32; 2] = [20_000.0, 70_000.0];
/// Steeper than this the field says too little of north: its horizontal part, nanotesla.
const LEAST_HORIZONTAL_NT: f32 = 5_000.0;

/// How the part sits on the mast, and its errors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mounting {
    /// Takes a vector from the part's axes into the mast frame (x forward, y left, z up).
    pub to_mast: Mat3,
    /// What the accelerometer says where there is no acceleration, thousandths of g, in the part's axes: half the sum of
    /// two readings with the part turned over, for each axis.
    pub zero_mg: Vec3,
    /// What the magnetometer says where there is no field, in the part's axes: the middle of what it says while the
    /// finished mast is turned every way.
    pub zero_nt: Vec3,
    /// Magnetic north east of true north, radians.
    pub declination_rad: f32,
}

impl Default for Mounting {
    /// Axes as the mast's, no errors, no declination.
    fn default() -> Self {
        Self { to_mast: Mat3::IDENTITY, zero_mg: Vec3::ZERO, zero_nt: Vec3::ZERO, declination_rad: 0.0 }
    }
}

/// Pitch and roll, and heading where it can be had.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Attitude {
    /// Pitch and roll.
    pub tilt: Tilt,
    /// Heading of the forward axis, radians clockwise from true north.
    pub heading_rad: Option<f32>,
}

impl Attitude {
    /// Attitude from an acceleration (thousandths of g, upwards at rest) and a steady field (nanotesla), both in the part's
    /// axes. `None` while what is felt is not gravity.
    ///
    /// ```
    /// use glam::Vec3;
    /// use nullwalk_drivers::tilt::{Attitude, Mounting};
    /// // Level, facing magnetic east: north is to the left.
    /// let (up, north) = (Vec3::Z * 1000.0, Vec3::new(0.0, 20_000.0, -40_000.0));
    /// let attitude = Attitude::of(&Mounting::default(), up, north).unwrap();
    /// assert!((attitude.heading_rad.unwrap() - core::f32::consts::FRAC_PI_2).abs() < 1e-6);
    /// ```
    pub fn of(mounting: &Mounting, acceleration_mg: Vec3, field_nt: Vec3) -> Option<Self> {
        let up_g = mounting.to_mast * (acceleration_mg - mounting.zero_mg) * 1e-3;
        if !within(length(up_g), CALM_G) {
            return None;
        }
        let across_g = math::sqrt(up_g.y * up_g.y + up_g.z * up_g.z);
        let tilt = Tilt { pitch_rad: math::atan2(up_g.x, across_g), roll_rad: math::atan2(up_g.y, up_g.z) };
        let field_nt = tilt.levelling() * (mounting.to_mast * (field_nt - mounting.zero_nt));
        let horizontal_nt = math::sqrt(field_nt.x * field_nt.x + field_nt.y * field_nt.y);
        let is_earth = within(length(field_nt), EARTH_NT) && horizontal_nt >= LEAST_HORIZONTAL_NT;
        let heading_rad =
            is_earth.then(|| math::wrap_pi(math::atan2(field_nt.y, field_nt.x) + mounting.declination_rad));
        Some(Self { tilt, heading_rad })
    }

    /// As the core takes it, with no position.
    pub const fn reading(self) -> MastReading {
        MastReading { position: None, heading_rad: self.heading_rad, tilt: Some(self.tilt) }
    }
}

fn length(v: Vec3) -> f32 {
    math::sqrt(v.dot(v))
}

fn within(value: f32, [least, most]: [f32; 2]) -> bool {
    least <= value && value <= most
}

#[cfg(test)]
mod tests {
    use core::f32::consts::PI;

    use nullwalk_core::frame::heading_rotation;
    use proptest::prelude::*;

    use super::*;

    /// What the part feels on a mast held so: up and the Earth's field, taken back into the part's axes.
    fn felt(mounting: &Mounting, tilt: Tilt, heading_rad: f32, dip_rad: f32) -> (Vec3, Vec3) {
        let to_site = heading_rotation(heading_rad) * tilt.levelling();
        let to_part = (to_site * mounting.to_mast).transpose();
        let (sin, cos) = mounting.declination_rad.sin_cos();
        let north_nt = 50_000.0 * Vec3::new(dip_rad.cos() * sin, dip_rad.cos() * cos, -dip_rad.sin());
        (to_part * Vec3::Z * 1000.0 + mounting.zero_mg, to_part * north_nt + mounting.zero_nt)
    }

    proptest! {
        /// Against the core's own rotations, for every way to hold a mast and to mount a part.
        #[test]
        fn attitude_is_the_core_s(
            pitch_rad in -1.4..1.4_f32, roll_rad in -PI..PI, heading_rad in -PI..PI, dip_rad in -1.4..1.4_f32,
            turned in 0.0..6.0_f32, zero in prop::array::uniform3(-100.0..100.0_f32), declination_rad in -0.3..0.3_f32,
        ) {
            let mounting = Mounting {
                to_mast: Mat3::from_rotation_z(turned) * Mat3::from_rotation_x(0.7 * turned),
                zero_mg: Vec3::from(zero),
                zero_nt: Vec3::from(zero) * 50.0,
                declination_rad,
            };
            let (up, field) = felt(&mounting, Tilt { pitch_rad, roll_rad }, heading_rad, dip_rad);
            let attitude = Attitude::of(&mounting, up, field).unwrap();
            prop_assert!((attitude.tilt.pitch_rad - pitch_rad).abs() < 1e-5);
            // Near the vertical the roll is badly defined, and the heading with it.
            let least = 1e-5 / pitch_rad.cos();
            prop_assert!(math::wrap_pi(attitude.tilt.roll_rad - roll_rad).abs() < least);
            let off = math::wrap_pi(attitude.heading_rad.unwrap() - heading_rad);
            prop_assert!(off.abs() < 5.0 * least / dip_rad.cos(), "{off}");
        }

        #[test]
        fn any_numbers_are_survived(up: [f32; 3], field: [f32; 3]) {
            if let Some(attitude) = Attitude::of(&Mounting::default(), Vec3::from(up), Vec3::from(field)) {
                prop_assert!(attitude.tilt.pitch_rad.is_finite() && attitude.tilt.roll_rad.is_finite());
                prop_assert!(attitude.heading_rad.is_none_or(|heading| heading.abs() <= PI));
            }
        }
    }

    #[test]
    fn a_knock_says_nothing_and_iron_gives_no_heading() {
        let of = |up: f32, field| Attitude::of(&Mounting::default(), Vec3::Z * up, field);
        let earth = Vec3::new(20_000.0, 0.0, -40_000.0);
        assert!(of(300.0, earth).is_none() && of(1900.0, earth).is_none());
        assert_eq!(of(1000.0, earth).unwrap().heading_rad, Some(0.0));
        assert_eq!(of(1000.0, 2.0 * earth).unwrap().heading_rad, None);
        assert_eq!(of(1000.0, 0.3 * earth).unwrap().heading_rad, None);
        assert_eq!(of(1000.0, Vec3::new(3000.0, 0.0, -50_000.0)).unwrap().heading_rad, None);
        assert_eq!(of(1000.0, earth).unwrap().reading().position, None);
    }
}
