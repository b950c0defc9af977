//! A conductor that carries the tone, or live power: a pipe, a cable, a tracer wire.

use glam::DVec2;
use serde::{Deserialize, Serialize};

/// A long conductor that carries a current, level and straight but for one bend: that of the tone, and of the power grid where
/// `mains_a` says so.
///
/// It comes from `length_m` behind its point, passes or bends there or later, and ends `length_m` further on. Its
/// current is the same all along; beyond its ends it spreads evenly in the soil, which adds nothing (a current
/// that spreads evenly about a point has no direction to make a magnetic field in). A tee is two of them that run together
/// up to it: there their currents add up.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Line {
    /// What it is, for drawings. Default: empty.
    pub name: String,
    /// East coordinate of its point, metres. Default 0.
    pub east_m: f64,
    /// North coordinate of its point, metres. Default 0.
    pub north_m: f64,
    /// The bearing it arrives on, degrees clockwise from north. Default 0.
    pub bearing_deg: f64,
    /// How far it runs to the right of its point, seen along that bearing, metres; negative: to the left.
    /// Default 0.
    pub aside_m: f64,
    /// Depth below ground, metres; negative: overhead. Default 0.6.
    pub depth_m: f64,
    /// How far it reaches on either side of its point, metres. Default 30.
    pub length_m: f64,
    /// By how much it turns to the right at its bend, degrees. Default 0: it is straight.
    pub bend_deg: f64,
    /// How far beyond its point the bend is, metres. Default 0.
    pub bend_at_m: f64,
    /// Peak current of the tone, amperes. Default 0.02; 0 for a cable that carries power alone.
    pub current_a: f64,
    /// In place of `current_a`: strength of its field on the ground above the station's first sonde, as a share of
    /// that of the sonde in free space. Default: none.
    pub share_at_sonde: Option<f64>,
    /// Nominal frequency, hertz. Default: the carrier of the station's first sonde, with its drifts, as the current
    /// that it drives; without one, the tone the instrument is set to.
    pub tone_hz: Option<f64>,
    /// Phase of the current, degrees: relative to the sonde whose carrier it has, or at the first sample where it
    /// has its own. Default 0.
    pub phase_deg: f64,
    /// Peak current of the first, second, third ... harmonic of the grid, amperes: what does not return near by. Their phases
    /// belong to the seed. It needs `[noise.mains]`, which says what the grid is. Default: none.
    pub mains_a: Vec<f64>,
    /// When the load that draws them is on: from and to, seconds since the station's recording began. Default: always.
    pub load_s: Vec<[f64; 2]>,
}

impl Line {
    /// Its ends and its bend: east and north, metres.
    pub fn corners_m(&self) -> [DVec2; 3] {
        let course = |bearing_deg: f64| {
            let (sin, cos) = bearing_deg.to_radians().sin_cos();
            DVec2::new(sin, cos)
        };
        let (arriving, leaving) = (course(self.bearing_deg), course(self.bearing_deg + self.bend_deg));
        let point = DVec2::new(self.east_m, self.north_m) + course(self.bearing_deg + 90.0) * self.aside_m;
        let bend = point + arriving * self.bend_at_m;
        [point - arriving * self.length_m, bend, bend + leaving * (self.length_m - self.bend_at_m)]
    }

    /// How far a place is from it in plan, metres.
    pub fn aside_of_m(&self, place_m: DVec2) -> f64 {
        let to_piece = |ends: &[DVec2]| {
            let way = ends[1] - ends[0];
            let share = (place_m - ends[0]).dot(way) / way.length_squared().max(1e-12);
            place_m.distance(ends[0] + way * share.clamp(0.0, 1.0))
        };
        self.corners_m().windows(2).map(to_piece).fold(f64::INFINITY, f64::min)
    }

    /// Whether its load is on at a time, seconds since the recording began.
    pub fn is_loaded(&self, time_s: f64) -> bool {
        self.load_s.is_empty()
            || self.load_s.iter().any(|[from_s, to_s]| (*from_s..*to_s).contains(&time_s))
    }
}

impl Default for Line {
    fn default() -> Self {
        Self {
            name: String::new(),
            east_m: 0.0,
            north_m: 0.0,
            bearing_deg: 0.0,
            aside_m: 0.0,
            depth_m: 0.6,
            length_m: 30.0,
            bend_deg: 0.0,
            bend_at_m: 0.0,
            current_a: 0.02,
            share_at_sonde: None,
            tone_hz: None,
            phase_deg: 0.0,
            mains_a: Vec::new(),
            load_s: Vec::new(),
        }
    }
}

/// What a line near a place really is.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LineTruth {
    /// How far the place is from it in plan, metres.
    pub aside_m: f64,
    /// Its depth below the ground, metres.
    pub depth_m: f64,
    /// Its peak current: of the tone, or of the harmonic of the grid that was listened to, amperes.
    pub current_a: f64,
}
