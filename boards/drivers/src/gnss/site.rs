//! From degrees to the site frame.

use core::f32::consts::PI;

use glam::Vec3;
use nullwalk_core::frame::Position;
use nullwalk_core::math;

use super::Place;

/// WGS 84: half the larger axis, and the square of the eccentricity.
const AXIS_M: f32 = 6_378_137.0;
const ECCENTRICITY_2: f32 = 0.006_694_38;
const RADIANS_PER_NANODEGREE: f32 = PI / 180e9;
const HALF_TURN: i64 = 180_000_000_000;
/// Places farther than this from the origin belong to another job, metres.
pub const FARTHEST_M: f32 = 5000.0;

/// The origin of the site frame. Up is the height above the ellipsoid at each place, not above a plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Origin {
    latitude_nanodegrees: i64,
    longitude_nanodegrees: i64,
    height_mm: i32,
    sin_latitude: f32,
    cos_latitude: f32,
    /// Radii of curvature of the ellipsoid along the meridian and across it, with the height added.
    meridian_m: f32,
    across_m: f32,
}

impl Origin {
    /// Let a place be the origin.
    pub fn at(place: &Place) -> Self {
        let gga = place.gga;
        let height_m = gga.height_mm as f32 * 1e-3;
        let (sin_latitude, cos_latitude) =
            math::sin_cos(gga.latitude_nanodegrees as f32 * RADIANS_PER_NANODEGREE);
        let flat = 1.0 - ECCENTRICITY_2 * sin_latitude * sin_latitude;
        let across_m = AXIS_M / math::sqrt(flat);
        let meridian_m = across_m * (1.0 - ECCENTRICITY_2) / flat;
        Self {
            latitude_nanodegrees: gga.latitude_nanodegrees,
            longitude_nanodegrees: gga.longitude_nanodegrees,
            height_mm: gga.height_mm,
            sin_latitude,
            cos_latitude,
            meridian_m: meridian_m + height_m,
            across_m: across_m + height_m,
        }
    }

    /// A place in the site frame; `None` when it is farther than [`FARTHEST_M`].
    ///
    /// The plane's curvature is followed to the second order: within 1 km of the origin the error stays below 1 cm up to
    /// a latitude of 70 degrees, within 100 m below 0.1 mm.
    pub fn locate(&self, place: &Place) -> Option<Position> {
        let gga = place.gga;
        let north = radians(gga.latitude_nanodegrees - self.latitude_nanodegrees);
        let mut turned = gga.longitude_nanodegrees - self.longitude_nanodegrees;
        if turned.abs() > HALF_TURN {
            turned -= 2 * HALF_TURN * turned.signum();
        }
        let east = radians(turned);
        // Meridians close in on the way to the pole, and parallels bend towards it.
        let (sin, cos) = (self.sin_latitude, self.cos_latitude);
        let enu_m = Vec3::new(
            self.across_m * (cos - sin * north) * east,
            self.meridian_m * north + 0.5 * self.across_m * sin * cos * east * east,
            (i64::from(gga.height_mm) - i64::from(self.height_mm)) as f32 * 1e-3,
        );
        let is_near = enu_m.truncate().abs().max_element() <= FARTHEST_M;
        is_near.then_some(Position { enu_m, sigma_m: place.sigma_m })
    }
}

fn radians(nanodegrees: i64) -> f32 {
    nanodegrees as f32 * RADIANS_PER_NANODEGREE
}
