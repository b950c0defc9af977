//! A traced line: what goes out.

use heapless::Vec;

use super::crossing::{Crossing, MAX_CROSSINGS};
use super::ellipse::OutOfStep;
use crate::depth::{Depth, Measured, Unusable};
use crate::fit::line::{Change, Choice, Line};
use crate::frame::SampleIndex;
use crate::verdict::{Judgement, Place};

/// A way to find the depth of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LineMethod {
    /// Weakening of the peak from the lower to the upper node.
    FieldRatio,
    /// Where the directions of the field at both nodes meet.
    Rays,
    /// Width of the peak at half its height.
    HalfWidth,
    /// Way from the null to where the field stands at 45 degrees.
    Diagonal,
    /// Weakening of the field when the mast is lifted.
    Lift,
    /// Fit of a line to the whole walk.
    TraverseFit,
}

impl LineMethod {
    /// All methods, in the order of [`TraceFix::depths`].
    pub const ALL: [Self; 6] =
        [Self::FieldRatio, Self::Rays, Self::HalfWidth, Self::Diagonal, Self::Lift, Self::TraverseFit];

    /// Its name in words.
    pub const fn name(self) -> &'static str {
        match self {
            Self::FieldRatio => "field ratio",
            Self::Rays => "rays",
            Self::HalfWidth => "half width",
            Self::Diagonal => "45 degrees",
            Self::Lift => "lift",
            Self::TraverseFit => "traverse fit",
        }
    }
}

/// Depths from the ground by every method, in the order of [`LineMethod::ALL`].
pub type LineDepths = [Result<Depth, Unusable>; 6];

/// One of two parallel lines.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beside {
    /// Ground point above it, abreast of the fix.
    pub place: Place,
    /// From the ground.
    pub depth: Depth,
    /// Peak current, amperes.
    pub current_a: Measured,
}

/// Two parallel lines that explain a walk where one does not.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TwoLines {
    /// The one that carries more.
    pub first: Beside,
    /// The other.
    pub second: Beside,
    /// By how much the second's current is ahead of the first's, radians.
    pub phase_rad: f32,
    /// Whether nothing is left over that noise does not explain.
    pub explains: bool,
}

/// A traced line.
#[derive(Debug, Clone, PartialEq)]
pub struct TraceFix {
    /// Sample of the last look.
    pub at: SampleIndex,
    /// Ground point above the line, abreast of the middle of the crossings. Its sigma is across the line.
    pub place: Option<Place>,
    /// Lay as a bearing clockwise from north, radians modulo half a turn.
    pub lay_rad: Option<Measured>,
    /// How steeply the line rises along [`Self::line`]'s `along`, radians.
    pub slope_rad: Option<Measured>,
    /// Depth from the ground by every method, metres, abreast of the place.
    pub depths: LineDepths,
    /// Peak current, amperes; over the square root of 2 it is the rms.
    pub current_a: Option<Measured>,
    /// Phase of the current against the reference that came with the looks, radians modulo half a turn.
    pub phase_rad: Option<Measured>,
    /// The line that was fitted.
    pub line: Option<Line>,
    /// How its current and its lay change along it.
    pub change: Option<Change>,
    /// What is out of step with it.
    pub out_of_step: Option<OutOfStep>,
    /// Which kind of source it is.
    pub kind: Option<Choice>,
    /// Where lanes crossed it.
    pub crossings: Vec<Crossing, MAX_CROSSINGS>,
    /// Two lines, where one does not explain the walk.
    pub two: Option<TwoLines>,
    /// What all this amounts to.
    pub judgement: Judgement,
}
