//! A long level line, and what a walk would see of it.

use glam::{DVec2, DVec3};
use nullwalk_core::field;

use super::walk::{NT, Sight};

/// Where a level line lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wire {
    /// A point of it, site frame.
    pub at_m: DVec3,
    /// Its direction in plan, radians counter-clockwise from east.
    pub lay_rad: f64,
}

impl Wire {
    /// Unit vector along it.
    pub fn along(&self) -> DVec3 {
        let (sin, cos) = self.lay_rad.sin_cos();
        DVec3::new(cos, sin, 0.0)
    }

    /// Unit vector across it, to the left.
    pub fn left(&self) -> DVec3 {
        let (sin, cos) = self.lay_rad.sin_cos();
        DVec3::new(-sin, cos, 0.0)
    }

    /// The field of one ampere at both nodes of a mast, nanotesla.
    pub fn per_ampere_nt(&self, at_m: DVec3, upper_m: DVec3) -> [DVec3; 2] {
        [at_m, at_m + upper_m].map(|node_m| {
            let along = self.along().to_array();
            DVec3::from_array(field::long_line(1.0, along, (node_m - self.at_m).to_array())) * NT
        })
    }

    /// How far from the line the lower node was.
    pub fn distance_m(&self, sight: &Sight) -> f64 {
        let away = sight.at_m - self.at_m;
        away.dot(self.left()).hypot(away.z)
    }

    /// How far to the left of a place it passes in plan.
    pub fn left_of_m(&self, place_m: DVec2) -> f64 {
        (self.at_m.truncate() - place_m).dot(self.left().truncate())
    }

    /// The same line, named by its point nearest to a place in plan.
    pub fn nearest(&self, place_m: DVec2) -> Self {
        let foot = place_m + self.left().truncate() * self.left_of_m(place_m);
        Self { at_m: foot.extend(self.at_m.z), ..*self }
    }

    /// Moved to the left and up, and turned about its point.
    pub fn moved(&self, left_m: f64, up_m: f64, turn_rad: f64) -> Self {
        let at_m = self.at_m + self.left() * left_m + DVec3::Z * up_m;
        Self { at_m, lay_rad: self.lay_rad + turn_rad }
    }

    /// Bearing of the lay, degrees clockwise from north, 0 to 180.
    pub fn bearing_deg(&self) -> f64 {
        (90.0 - self.lay_rad.to_degrees()).rem_euclid(180.0)
    }

    /// Whether both are as good as the same where they pass a place: nearer than `apart_m`, and within 20 degrees.
    pub fn is_beside(&self, other: &Self, place_m: DVec2, apart_m: f64) -> bool {
        let between = self.nearest(place_m).at_m.truncate() - other.nearest(place_m).at_m.truncate();
        self.along().cross(other.along()).z.abs() < 0.342 && between.length() < apart_m
    }
}
