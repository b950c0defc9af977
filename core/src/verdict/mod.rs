//! From several methods and checks to one verdict: `Agree`, `Doubt` or `Refuse`, with reasons.

mod clue;
mod judge;
mod judgement;
mod reason;

use crate::depth::{Depth, Measured, Unusable};
use crate::frame::SampleIndex;

pub use clue::{Clue, Clues};
pub use judge::{Combined, Shared, combined, judge};
pub(crate) use judgement::Evidence;
pub use judgement::{Judgement, Range95};
pub use reason::{MAX_REASONS, Reason, Reasons};

/// What the methods and checks amount to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// Independent methods agree and no check failed.
    Agree,
    /// Methods differ or a check failed; the range is widened and the reasons are given.
    Doubt,
    /// No figure may be given.
    Refuse,
}

/// A way to find the depth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// Weakening of the field from the lower to the upper node.
    FieldRatio,
    /// Distance between the two nulls along a lane.
    NullSpacing,
    /// Distance between the two extrema of the vertical field along a lane.
    VerticalMaxima,
    /// Weakening of the field when the mast is lifted.
    Lift,
    /// Fit of a dipole to the whole walk.
    TraverseFit,
}

impl Method {
    /// All methods, in the order of [`Fix::depths`].
    pub const ALL: [Self; 5] =
        [Self::FieldRatio, Self::NullSpacing, Self::VerticalMaxima, Self::Lift, Self::TraverseFit];

    /// Its name in words.
    pub const fn name(self) -> &'static str {
        match self {
            Self::FieldRatio => "field ratio",
            Self::NullSpacing => "null spacing",
            Self::VerticalMaxima => "vertical maxima",
            Self::Lift => "lift",
            Self::TraverseFit => "traverse fit",
        }
    }
}

/// Depths by every method, in the order of [`Method::ALL`].
pub type Depths = [Result<Depth, Unusable>; 5];

/// A horizontal position in the site frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// East of the site's origin, metres.
    pub east_m: f32,
    /// North of it, metres.
    pub north_m: f32,
    /// Standard uncertainty, the larger of along and across the lay, metres.
    pub sigma_m: f32,
}

/// A located source.
#[derive(Debug, Clone, PartialEq)]
pub struct Fix {
    /// Sample at which the fix was complete.
    pub at: SampleIndex,
    /// Ground point above the source.
    pub place: Option<Place>,
    /// Lay as a bearing clockwise from north, radians modulo half a turn.
    pub lay_rad: Option<Measured>,
    /// Depth from the ground to the source by every method, metres.
    pub depths: Depths,
    /// Pitch of the sonde, radians.
    pub pitch_rad: Option<Measured>,
    /// Strength of the sonde, A m2.
    pub moment_a_m2: Option<Measured>,
    /// Signs that the field is not that of one sonde.
    pub clues: Clues,
    /// What all this amounts to.
    pub judgement: Judgement,
}
