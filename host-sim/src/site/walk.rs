//! What the technician does, leg by leg, and how they move.

use serde::{Deserialize, Serialize};

/// How the technician moves.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Walker {
    /// Height of the lower node above ground while walking, metres. Default 0.15.
    pub carry_m: f64,
    /// Walking pace, metres per second. Default 0.6.
    pub pace_m_s: f64,
    /// Greatest acceleration, metres per second squared. Default 0.8.
    pub accel_m_s2: f64,
    /// Fastest turn on the spot or on the way, degrees per second. Default 60.
    pub turn_deg_s: f64,
    /// Peak rise and fall of the mast with every step, metres. Default 0.01.
    pub bob_m: f64,
    /// Peak swing from side to side with every two steps, metres. Default 0.01.
    pub weave_m: f64,
}

impl Default for Walker {
    fn default() -> Self {
        Self { carry_m: 0.15, pace_m_s: 0.6, accel_m_s2: 0.8, turn_deg_s: 60.0, bob_m: 0.01, weave_m: 0.01 }
    }
}

/// One leg of a walk. In a site file each leg is a table with one key: its kind.
///
/// ```toml
/// [[walk]]
/// stand = { seconds = 2 }
/// [[walk]]
/// lane = { direction = "along", length_m = 6 }
/// [[walk]]
/// lane = { direction = 30, length_m = 5 }     # or a bearing in degrees
/// ```
///
/// Legs that follow the instrument read the last [`crate::synth::Cue`]; without one each leg still ends.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Leg {
    /// Stand still.
    Stand(Stand),
    /// Turn once around on the spot, clockwise, with the mast pitched 45 degrees forward and down.
    Sweep(Sweep),
    /// Walk to a point.
    To(To),
    /// Walk on, always turning as the bearing cue says, until the cue says the source is near.
    Home(Home),
    /// Walk a straight lane, centred on the mark; without a mark, on where one stands.
    Lane(Lane),
    /// Walk parallel lanes about a point, to and fro.
    Lanes(Lanes),
    /// Walk to the mark, put the foot of the mast on the ground and hold still.
    Settle(Settle),
    /// Raise the mast from where it is and hold it there.
    Lift(Lift),
}

/// Stand still.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Stand {
    /// How long. Default 2.
    pub seconds: f64,
}

impl Default for Stand {
    fn default() -> Self {
        Self { seconds: 2.0 }
    }
}

/// Turn once around.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Sweep {
    /// How long the full turn takes. Default 12.
    pub seconds: f64,
}

impl Default for Sweep {
    fn default() -> Self {
        Self { seconds: 12.0 }
    }
}

/// Walk to a point.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct To {
    /// Metres east of the site's origin. Default 0.
    pub east_m: f64,
    /// Metres north of the site's origin. Default 0.
    pub north_m: f64,
    /// Pace. Default: that of the walker.
    pub pace_m_s: Option<f64>,
}

/// Follow the bearing cue.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Home {
    /// Give up after this distance. Default 12.
    pub max_m: f64,
}

impl Default for Home {
    fn default() -> Self {
        Self { max_m: 12.0 }
    }
}

/// Walk a straight lane.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Lane {
    /// Which way. Default: along.
    pub direction: Direction,
    /// How long. Default 6.
    pub length_m: f64,
}

impl Default for Lane {
    fn default() -> Self {
        Self { direction: Direction::Along, length_m: 6.0 }
    }
}

/// Walk parallel lanes about a point, to and fro: the way to trace a line.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Lanes {
    /// The middle of them all: metres east of the site's origin. Default 0.
    pub east_m: f64,
    /// Metres north of the site's origin. Default 0.
    pub north_m: f64,
    /// Bearing of the first one, degrees clockwise from north. Default 0.
    pub bearing_deg: f64,
    /// How long each is. Default 6.
    pub length_m: f64,
    /// How many there are. Default 3.
    pub count: u32,
    /// How far apart they are, the first one on the left, metres. Default 0.5.
    pub apart_m: f64,
}

impl Default for Lanes {
    fn default() -> Self {
        Self { east_m: 0.0, north_m: 0.0, bearing_deg: 0.0, length_m: 6.0, count: 3, apart_m: 0.5 }
    }
}

/// Hold still on the mark.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Settle {
    /// How long. Default 6.
    pub seconds: f64,
}

impl Default for Settle {
    fn default() -> Self {
        Self { seconds: 6.0 }
    }
}

/// Raise the mast and hold it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Lift {
    /// By how much. Default 0.5.
    pub height_m: f64,
    /// How long to hold it. Default 4.
    pub seconds: f64,
}

impl Default for Lift {
    fn default() -> Self {
        Self { height_m: 0.5, seconds: 4.0 }
    }
}

/// Which way a lane runs.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Direction {
    /// Along the lay cue; without one, as the mast faces.
    #[default]
    Along,
    /// At a right angle to that.
    Across,
    /// On this bearing, degrees clockwise from north.
    #[serde(untagged)]
    Bearing(f64),
}

/// What the technician does when a site says nothing: listen, sweep, walk to the source, pass over it
/// along, across and along again, and hold still on the mark.
pub fn default_walk() -> Vec<Leg> {
    vec![
        Leg::Stand(Stand::default()),
        Leg::Sweep(Sweep::default()),
        Leg::Home(Home::default()),
        Leg::Lane(Lane::default()),
        Leg::Lane(Lane { direction: Direction::Across, length_m: 5.0 }),
        Leg::Lane(Lane::default()),
        Leg::Settle(Settle::default()),
    ]
}
