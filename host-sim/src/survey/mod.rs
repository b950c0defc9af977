//! Looking before digging: is there a line anywhere in a box, what leaves a transmitter on all sides, and what becomes of a
//! current along a run.
//!
//! [`sweep`] takes a walk to and fro over the box to be dug. It finds lines one after the other with a false-alarm rate
//! that is known, and says for every place what it would have noticed there and what not.

mod bearing;
mod circle;
pub mod currents;
mod detect;
mod dig;
mod draw;
mod error;
mod find;
mod limits;
mod model;
mod tails;
mod text;
mod walk;
mod wire;

use glam::DVec2;
use nullwalk_core::depth::soil::Soil;
use serde::Serialize;

pub use circle::{Around, Circle, Leaving, Role, circle, svg as circle_svg};
pub use detect::{Detector, Peak};
pub use dig::DigBox;
pub use draw::svg;
pub use error::SurveyError;
pub use find::{Caution, Findings, Found, find};
pub use limits::{CHANCE, Limits, Patch, least_a, least_of};
pub use walk::{Phase, Sight, Walk};
pub use wire::Wire;

/// A patch smaller than this, square metres, is not told.
const TOLD_M2: f64 = 0.1;

/// What is asked of a sweep.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Question {
    /// The chance that a sweep over nothing finds something.
    pub false_alarm: f64,
    /// A patch is swept where a line of this current, milliamperes peak...
    pub current_ma: f64,
    /// ...so deep below the ground, metres, would be noticed.
    pub depth_m: f64,
    /// What the ground is.
    pub soil: Soil,
}

/// What a sweep found, and what it would have.
#[derive(Debug, Serialize)]
pub struct Sweep {
    /// South-west corner, width and height of the box, metres.
    pub box_m: [f64; 4],
    /// What was listened for, hertz.
    pub tone_hz: f64,
    /// Whether the fields share a phase.
    pub phase: Phase,
    /// Looks, and passes they belong to.
    pub looks: usize,
    /// The latter.
    pub passes: usize,
    /// Share of the box nearer than half a metre to a look.
    pub walked_share: f64,
    /// The chance that a sweep over nothing finds something.
    pub false_alarm: f64,
    /// By how much the noise exceeds what the captures say; limits and thresholds allow for it.
    pub loudness: f64,
    /// Lines, the clearest first.
    pub lines: Vec<Found>,
    /// What a swept patch would have shown: current in milliamperes, depth in metres.
    pub swept_for: (f64, f64),
    /// Where it would not.
    pub unswept: Vec<Patch>,
    /// The map.
    pub limits: Limits,
    /// What to bear in mind.
    pub cautions: Vec<String>,
}

impl Sweep {
    /// Whether nothing stands in doubt.
    pub fn is_clear(&self) -> bool {
        self.unswept.is_empty() && self.lines.iter().all(|line| line.cautions.is_empty())
    }
}

/// Search a walk for lines, and say what it would have noticed.
///
/// # Errors
/// When the walk never comes into the box.
pub fn sweep(walk: &Walk, dig: &DigBox, question: &Question) -> Result<Sweep, SurveyError> {
    let places = || walk.sights.iter().map(|sight| sight.at_m.truncate());
    if !places().any(|place_m| dig.holds(place_m)) {
        let low = places().fold(DVec2::INFINITY, DVec2::min);
        let high = places().fold(DVec2::NEG_INFINITY, DVec2::max);
        return Err(SurveyError::NeverIn {
            given: dig.to_string(),
            sights: walk.sights.len(),
            west: low.x,
            east: high.x,
            south: low.y,
            north: high.y,
        });
    }
    let findings = find(walk, &dig.corners_m(), question.false_alarm, question.soil);
    let limits = limits::limits(walk, &findings.detector, findings.threshold, dig);
    let mut unswept = limits.unswept(dig, question.current_ma, question.depth_m);
    unswept.retain(|patch| patch.area_m2 >= TOLD_M2);
    let mut sweep = Sweep {
        box_m: [dig.corner_m.x, dig.corner_m.y, dig.width_m, dig.height_m],
        tone_hz: walk.tone_hz,
        phase: walk.phase,
        looks: walk.sights.len(),
        passes: walk.passes(),
        walked_share: walked_share(walk, dig),
        false_alarm: question.false_alarm,
        loudness: findings.loudness,
        lines: findings.lines,
        swept_for: (question.current_ma, question.depth_m),
        unswept,
        limits,
        cautions: Vec::new(),
    };
    sweep.cautions = text::cautions(&sweep, dig);
    Ok(sweep)
}

/// Share of the box that is nearer than half a metre to a look.
fn walked_share(walk: &Walk, dig: &DigBox) -> f64 {
    const POINTS: usize = 40;
    let near = |place_m: DVec2| walk.sights.iter().any(|s| s.at_m.truncate().distance(place_m) < 0.5);
    let point = |n: usize| {
        let share = DVec2::new((n % POINTS) as f64 + 0.5, (n / POINTS) as f64 + 0.5) / POINTS as f64;
        dig.corner_m + share * DVec2::new(dig.width_m, dig.height_m)
    };
    (0..POINTS * POINTS).filter(|&n| near(point(n))).count() as f64 / (POINTS * POINTS) as f64
}
