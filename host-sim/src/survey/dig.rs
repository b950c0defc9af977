//! The box to be dug.

use std::fmt;
use std::ops::RangeInclusive;

use glam::DVec2;

use super::SurveyError;
use super::wire::Wire;

/// Sides of a box, metres: less is no dig, more no walk.
const SIDES_M: RangeInclusive<f64> = 0.5..=100.0;

/// Where is to be dug.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DigBox {
    /// The south-west corner, site frame.
    pub corner_m: DVec2,
    /// From west to east.
    pub width_m: f64,
    /// From south to north.
    pub height_m: f64,
}

impl DigBox {
    /// A box with sides that make sense.
    ///
    /// # Errors
    /// Says what is wrong.
    pub fn new(corner_m: DVec2, width_m: f64, height_m: f64) -> Result<Self, SurveyError> {
        if ![width_m, height_m].iter().all(|side| SIDES_M.contains(side)) {
            let problem = format!("sides of {width_m} m and {height_m} m, where 0.5 to 100 m can be");
            return Err(SurveyError::Box { problem });
        }
        if !(corner_m.is_finite() && corner_m.abs().max_element() < 1e5) {
            return Err(SurveyError::Box { problem: "the corner is further than 100 km off".to_owned() });
        }
        Ok(Self { corner_m, width_m, height_m })
    }

    /// Its four corners.
    pub fn corners_m(&self) -> [DVec2; 4] {
        let (wide, high) = (DVec2::new(self.width_m, 0.0), DVec2::new(0.0, self.height_m));
        [self.corner_m, self.corner_m + wide, self.corner_m + wide + high, self.corner_m + high]
    }

    /// Whether a place is in it.
    pub fn holds(&self, place_m: DVec2) -> bool {
        let from = place_m - self.corner_m;
        (0.0..=self.width_m).contains(&from.x) && (0.0..=self.height_m).contains(&from.y)
    }

    /// Whether a line passes under it.
    pub(super) fn is_crossed(&self, wire: &Wire) -> bool {
        let sides = self.corners_m().map(|corner| wire.left_of_m(corner) > 0.0);
        sides.contains(&true) && sides.contains(&false)
    }
}

impl fmt::Display for DigBox {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{},{},{},{}", self.corner_m.x, self.corner_m.y, self.width_m, self.height_m)
    }
}
