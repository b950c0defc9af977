//! What follows from the pipe's own size: depth of cover and the tolerance zone.

use serde::{Deserialize, Serialize};

use super::{Estimate, SitePosition};
use crate::units::METRES_PER_FOOT;

/// What is known of the pipe and of the beacon inside it. Unknown sizes are left out, never guessed.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct Pipe {
    /// Inner diameter, metres.
    pub bore_m: Option<f64>,
    /// Thickness of the wall, metres.
    pub wall_m: Option<f64>,
    /// Diameter of the beacon, metres. When unknown it is taken to be very thin, which is the widest
    /// range.
    pub beacon_diameter_m: Option<f64>,
}

/// Depth of cover: from the ground surface to the top of the pipe's wall.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cover {
    /// It lies within this range.
    Between {
        /// Lower end, metres.
        low_m: f64,
        /// Upper end, metres.
        high_m: f64,
    },
    /// The bore or the wall is unknown, so it cannot be stated.
    SizeUnknown,
    /// The pipe would stand out of the ground: the bore, the wall or the depth is wrong.
    Impossible,
}

impl Pipe {
    /// Outer diameter, metres.
    pub fn outer_diameter_m(&self) -> Option<f64> {
        Some(self.bore_m? + 2.0 * self.wall_m?)
    }

    /// Depth of cover from the depth to source.
    ///
    /// The beacon's axis may lie above or below the pipe's by the play (bore - beacon) / 2, and nobody
    /// knows which; the play widens the 95 % range as a bound, not as a random error.
    pub fn cover(&self, depth_to_source_m: &Estimate) -> Cover {
        let (Some(bore_m), Some(wall_m)) = (self.bore_m, self.wall_m) else {
            return Cover::SizeUnknown;
        };
        let play_m = ((bore_m - self.beacon_diameter_m.unwrap_or(0.0)) / 2.0).max(0.0);
        let top_above_axis_m = bore_m / 2.0 + wall_m;
        let high_m = depth_to_source_m.high95 + play_m - top_above_axis_m;
        if high_m <= 0.0 {
            return Cover::Impossible;
        }
        let low_m = (depth_to_source_m.low95 - play_m - top_above_axis_m).max(0.0);
        Cover::Between { low_m, high_m }
    }
}

/// The strip either side of the line in which only safe ways of exposing are allowed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct ToleranceZone {
    /// Distance from the outer edge of the facility that the local code asks for, metres. The default is
    /// 24 inches, the widest among the common state rules of the United States.
    pub legal_m: f64,
    /// Width of the facility, metres; when missing, the outer diameter of the pipe is used if that is
    /// known.
    pub facility_width_m: Option<f64>,
}

impl Default for ToleranceZone {
    fn default() -> Self {
        Self { legal_m: 2.0 * METRES_PER_FOOT, facility_width_m: None }
    }
}

impl ToleranceZone {
    /// Width of the facility, from the setting or from the pipe, metres.
    pub fn width_m(&self, pipe: &Pipe) -> Option<f64> {
        self.facility_width_m.or(pipe.outer_diameter_m())
    }

    /// Distance from a station's mark to the edge of the zone: the legal distance or the measured 95 %
    /// radius, whichever is larger, and half the facility's width. An unknown width adds nothing, and the
    /// sheet has to say so.
    pub fn half_width_m(&self, pipe: &Pipe, position: &SitePosition) -> f64 {
        self.legal_m.max(position.radius95_m()) + self.width_m(pipe).unwrap_or(0.0) / 2.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const DEPTH: Estimate = Estimate { value: 1.32, sigma: 0.025, low95: 1.27, high95: 1.37 };

    fn at(sigma_m: f64) -> SitePosition {
        SitePosition { east_m: 0.0, north_m: 0.0, sigma_m }
    }

    #[test]
    fn cover_takes_off_bore_and_wall_and_keeps_the_play() {
        let pipe = Pipe { bore_m: Some(0.10), wall_m: Some(0.005), beacon_diameter_m: Some(0.03) };
        // By hand: top 0.055 m above the axis, play 0.035 m.
        let Cover::Between { low_m, high_m } = pipe.cover(&DEPTH) else { panic!("cover is known") };
        assert!((low_m - 1.18).abs() < 1e-12 && (high_m - 1.35).abs() < 1e-12);
    }

    #[test]
    fn an_unknown_beacon_may_lie_anywhere_in_the_bore() {
        let pipe = Pipe { bore_m: Some(0.10), wall_m: Some(0.0), beacon_diameter_m: None };
        let Cover::Between { low_m, high_m } = pipe.cover(&DEPTH) else { panic!("cover is known") };
        assert!((low_m - 1.17).abs() < 1e-12 && (high_m - 1.37).abs() < 1e-12);
    }

    #[test]
    fn cover_is_not_stated_without_the_size_nor_above_ground() {
        let no_wall = Pipe { bore_m: Some(0.1), ..Pipe::default() };
        let no_bore = Pipe { wall_m: Some(0.005), ..Pipe::default() };
        assert_eq!(no_wall.cover(&DEPTH), Cover::SizeUnknown);
        assert_eq!(no_bore.cover(&DEPTH), Cover::SizeUnknown);
        let huge = Pipe { bore_m: Some(3.0), wall_m: Some(0.1), beacon_diameter_m: Some(2.9) };
        assert_eq!(huge.cover(&DEPTH), Cover::Impossible);
    }

    #[test]
    fn the_larger_of_law_and_measurement_sets_the_zone() {
        let zone = ToleranceZone::default();
        let pipe = Pipe { bore_m: Some(0.1), wall_m: Some(0.005), beacon_diameter_m: None };
        // 24 in = 0.6096 m, and half of 0.11 m.
        assert!((zone.half_width_m(&pipe, &at(0.05)) - 0.6646).abs() < 1e-9);
        // sigma 0.4 m: radius 2.4477 x 0.4 = 0.97910 m.
        assert!((zone.half_width_m(&pipe, &at(0.4)) - 1.03410).abs() < 1e-4);
        // An unknown width adds nothing.
        assert!((zone.half_width_m(&Pipe::default(), &at(0.05)) - 0.6096).abs() < 1e-9);
        // A stated width goes before the pipe's.
        let culvert = ToleranceZone { facility_width_m: Some(1.0), ..zone };
        assert!((culvert.half_width_m(&pipe, &at(0.05)) - 1.1096).abs() < 1e-9);
    }

    #[test]
    fn the_95_percent_circle_holds_95_percent() {
        // Rayleigh distribution: P(r < R) = 1 - exp(-R^2 / 2 sigma^2).
        let radius = at(0.3).radius95_m();
        assert!((1.0 - (-radius * radius / (2.0 * 0.09)).exp() - 0.95).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn the_zone_never_shrinks_below_law_or_measurement(
            legal_m in 0.0_f64..3.0, sigma_m in 0.0_f64..3.0, width in proptest::option::of(0.0_f64..3.0),
        ) {
            let zone = ToleranceZone { legal_m, facility_width_m: width };
            let half = zone.half_width_m(&Pipe::default(), &at(sigma_m));
            prop_assert!(half >= legal_m && half >= at(sigma_m).radius95_m());
            prop_assert!(half >= legal_m + width.unwrap_or(0.0) / 2.0);
        }

        #[test]
        fn cover_is_never_narrower_than_the_depth_unless_the_ground_cuts_it(
            bore in 0.02_f64..0.5, wall in 0.0_f64..0.05, fill in 0.0_f64..1.0, low in 1.0_f64..3.0, width in 0.0_f64..1.0,
        ) {
            let depth = Estimate { value: low, sigma: width, low95: low, high95: low + width };
            let pipe = Pipe { bore_m: Some(bore), wall_m: Some(wall), beacon_diameter_m: Some(bore * fill) };
            let Cover::Between { low_m, high_m } = pipe.cover(&depth) else { panic!("cover is known") };
            prop_assert!(high_m - low_m >= width - 1e-12);
            prop_assert!(high_m <= depth.high95 && low_m < depth.low95);
        }
    }
}
