//! A walk around a transmitter: which ways its current leaves, and how much of it on each.

mod draw;
mod fit;
mod ray;
mod round;
mod seek;
mod text;
mod told;

use glam::DVec2;
use serde::Serialize;

pub use draw::svg;

use super::SurveyError;
use super::walk::Walk;
use crate::book::Estimate;
use fit::Fit;

/// Its own field may be so large a share of the weakest line's before it counts as near.
const NEAR: f64 = 0.5;
/// A line within so many degrees of the bearing that was given is the target.
const TARGET_DEG: f64 = 20.0;

/// What a line is to the transmitter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// The one that was asked for, or that carries most.
    Target,
    /// Carries current in step with it.
    Shares,
    /// Carries current the other way: on it the current comes back.
    Returns,
    /// Out of step: it got its current without a connection.
    Coupled,
}

impl Role {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Target => "target",
            Self::Shares => "shares: joined to it, or bled over in step",
            Self::Returns => "returns: the current comes back on it",
            Self::Coupled => "coupled: out of step",
        }
    }
}

/// A line that leaves the transmitter.
#[derive(Debug, Clone, Serialize)]
pub struct Leaving {
    /// Its letter.
    pub letter: char,
    /// Which way it leaves, degrees clockwise from north.
    pub bearing_deg: Estimate,
    /// Depth below the ground where it is crossed, roughly.
    pub depth_m: Estimate,
    /// Peak current, milliamperes.
    pub current_ma: Estimate,
    /// Share of all currents, by their sizes.
    pub share: f64,
    /// By how much its current, counted outwards, is ahead of the target's, degrees.
    pub phase_deg: f64,
    /// What it is.
    pub role: Role,
}

/// What a circle showed.
#[derive(Debug, Serialize)]
pub struct Circle {
    /// The centre, metres.
    pub centre_m: [f64; 2],
    /// Mean radius walked, metres.
    pub radius_m: f64,
    /// What was listened for, hertz.
    pub tone_hz: f64,
    /// Lines, the largest current first.
    pub lines: Vec<Leaving>,
    /// Size of the sum of all currents, counted outwards with their phases, milliamperes.
    pub outward_ma: f64,
    /// What the transmitter said that it sends, milliamperes.
    pub sent_ma: Option<f64>,
    /// Moment of the transmitter's own coil, A m2, where its field was seen.
    pub coil_a_m2: Option<f64>,
    /// Its field on the circle over the weakest line's.
    pub coil_over_line: f64,
    /// From so far on the coil's field is half the weakest line's, metres.
    pub clear_radius_m: f64,
    /// What to bear in mind.
    pub cautions: Vec<String>,
    /// Fields along the circle, for whoever draws it: bearing in degrees, level field in nanotesla.
    #[serde(skip)]
    pub trace: Vec<(f64, f64)>,
}

impl Circle {
    /// Whether the transmitter's own field is too strong on this circle.
    pub fn is_too_near(&self) -> bool {
        self.coil_over_line > NEAR
    }

    /// Whether nothing stands in doubt.
    pub fn is_clear(&self) -> bool {
        !self.is_too_near()
            && !self.lines.is_empty()
            && self.lines.iter().all(|line| line.role == Role::Target)
    }
}

/// What is asked of a circle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Around {
    /// Where the transmitter stands.
    pub centre_m: DVec2,
    /// Which way the target leaves, degrees clockwise from north, if that is known.
    pub target_deg: Option<f64>,
    /// What the transmitter sends, milliamperes peak, if that is known.
    pub sent_ma: Option<f64>,
    /// The chance that a circle over nothing finds something.
    pub false_alarm: f64,
}

/// Take the currents of a circle apart.
///
/// # Errors
/// When it is no circle around the centre.
pub fn circle(walk: &Walk, around: &Around) -> Result<Circle, SurveyError> {
    let radius_m = round::radius_m(walk, around.centre_m)?;
    let mut fit = Fit::new(walk, around.centre_m, radius_m);
    fit.find(around.false_alarm);
    Ok(told::told(walk, around, radius_m, &fit))
}
