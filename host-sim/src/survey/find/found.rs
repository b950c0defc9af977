//! What is told of a line that was found.

use serde::Serialize;

use crate::book::Estimate;
use crate::survey::wire::Wire;

/// What has to be said of a line that was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Caution {
    /// It stands little above noise.
    Weak,
    /// Its fields are not those of a straight line.
    Uneven,
    /// Another lies near.
    Neighbour,
    /// Passes that should have shown it did not.
    Ends,
    /// One pass only crossed it.
    OnePass,
    /// It lies beside the walk.
    Beside,
}

impl Caution {
    /// What it means, and what to do.
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::Weak => {
                "weak: place and depth are rough; walk nearer lanes over it, or raise its current"
            }
            Self::Uneven => {
                "not the field of one straight line: a bend, an end, a tee or another line is near; its depth may be \
                 read too great; trace it on its own"
            }
            Self::Neighbour => {
                "another line lies near: each pulls at the other's place and depth, and in phase a depth is read too great"
            }
            Self::Ends => {
                "not seen on every pass that should have crossed it: it ends, bends or dives between them"
            }
            Self::OnePass => "seen on one pass only: its lay is uncertain; cross it on a second one",
            Self::Beside => "passes beside the walk, not under it: place and depth are reckoned from afar",
        }
    }
}

/// A line that was found.
#[derive(Debug, Clone, Serialize)]
pub struct Found {
    /// Its letter on the drawing.
    pub letter: char,
    /// Its point nearest to the middle of the box, metres.
    pub east_m: f64,
    /// The same.
    pub north_m: f64,
    /// Its lay, degrees clockwise from north.
    pub lay_deg: f64,
    /// Standard uncertainty of the lay, degrees.
    pub lay_sigma_deg: f64,
    /// Standard uncertainty of the place, across the line, metres.
    pub place_sigma_m: f64,
    /// Depth below the ground at that point, to the middle of the conductor, where it was measured.
    pub depth_m: Option<Estimate>,
    /// Peak current, milliamperes, with its 95 % range.
    pub current_ma: Estimate,
    /// By how much its current is ahead of line A's, degrees, where that is known; each counted northwards.
    pub phase_deg: Option<f64>,
    /// Minus the decimal logarithm of the chance that noise alone does as much at this place.
    pub log_chance: f64,
    /// Passes that show it, and passes that should but do not.
    pub seen_on: usize,
    /// The latter.
    pub missed_on: usize,
    /// What has to be said of it.
    pub cautions: Vec<Caution>,
    /// Where it lies, for whoever draws it.
    #[serde(skip)]
    pub wire: Wire,
}
