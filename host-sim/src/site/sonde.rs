//! A sonde, and the iron pipe that it may lie in.

use serde::{Deserialize, Serialize};

/// A sonde: a magnetic dipole in the ground that carries one tone.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Sonde {
    /// Metres east of the site's origin. Default 0.
    pub east_m: f64,
    /// Metres north of the site's origin. Default 0.
    pub north_m: f64,
    /// Metres below the ground surface, positive down. Default 1.
    pub depth_m: f64,
    /// Direction of the pipe in plan: the bearing of the dipole, degrees clockwise from north. Default 90.
    pub lay_deg: f64,
    /// Tilt of the dipole, degrees, positive when its end towards `lay_deg` is raised. Default 0.
    pub pitch_deg: f64,
    /// Peak dipole moment, A m2. Default 0.2.
    pub moment_a_m2: f64,
    /// How fast the moment changes, as a share of itself per second: it goes as e^(share t). Negative while a
    /// battery sags. Default 0.
    pub moment_drift_per_s: f64,
    /// Nominal frequency, hertz. Default: the tone the instrument is set to.
    pub tone_hz: Option<f64>,
    /// How far the carrier is off its nominal frequency, hertz. Default 0; cheap ones are 1 or 2 off.
    pub offset_hz: f64,
    /// Steady drift of the carrier, hertz per second. Default 0.
    pub drift_hz_per_s: f64,
    /// Phase of the moment at the first sample, degrees: it varies as cos(w t + phase). Default 0. No
    /// instrument can know it, so no result may depend on it.
    pub phase_deg: f64,
    /// An iron pipe about it. Default: none; an empty `iron = {}` gives the defaults at [`Iron`].
    pub iron: Option<Iron>,
}

impl Default for Sonde {
    fn default() -> Self {
        Self {
            east_m: 0.0,
            north_m: 0.0,
            depth_m: 1.0,
            lay_deg: 90.0,
            pitch_deg: 0.0,
            moment_a_m2: 0.2,
            moment_drift_per_s: 0.0,
            tone_hz: None,
            offset_hz: 0.0,
            drift_hz_per_s: 0.0,
            phase_deg: 0.0,
            iron: None,
        }
    }
}

/// What an iron pipe does to the field of the sonde in it.
///
/// A stand-in and no model of iron. A wall of several skin depths lets little through, and late; the rest of the
/// field is led along the wall and gets out where the iron ends: at joints, at a branch, at the next pipe of
/// clay. So the sonde is weakened, and two more dipoles that lag lie along the pipe, one on either side. How much
/// gets out where depends on wall, permeability and joints that nobody knows, and no formula gives it; what the
/// stand-in shares with the real thing is that the field is weak, that no single dipole explains it, and that its
/// parts are out of step.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Iron {
    /// How much weaker the sonde is than in free space, decibels. Default 12.
    pub weaken_db: f64,
    /// Moment of each leak as a share of the weakened sonde's, along the same axis. Default 0.15; negative where
    /// the field returns.
    pub leak_share: f64,
    /// Where one leak is: so far along the pipe towards `lay_deg`, metres. Default 1.
    pub ahead_m: f64,
    /// Where the other is: so far the other way, metres. Default 1.
    pub behind_m: f64,
    /// How far the leaks lag behind the sonde, degrees. Default 40.
    pub lag_deg: f64,
}

impl Default for Iron {
    fn default() -> Self {
        Self { weaken_db: 12.0, leak_share: 0.15, ahead_m: 1.0, behind_m: 1.0, lag_deg: 40.0 }
    }
}
