//! A conductor that carries the tone, or live power: a pipe, a cable, a tracer wire.

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
    /// Whether its load is on at a time, seconds since the recording began.
    pub fn is_loaded(&self, time_s: f64) -> bool {
        self.load_s.is_empty()
            || self.load_s.iter().any(|[from_s, to_s]| (*from_s..*to_s).contains(&time_s))
    }
}

impl Default for Line {
    fn default() -> Self {
        Self {
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
