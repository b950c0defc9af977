//! From several methods and checks to one verdict: `Agree`, `Doubt` or `Refuse`, with reasons.

use heapless::Vec;

use crate::depth::{Depth, Measured, Unusable};
use crate::frame::SampleIndex;
use crate::math;

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

/// Why a verdict is not `Agree`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reason {
    /// The tone is not heard.
    NoTone,
    /// The tone that is set is not heard, but another one is, at this frequency in hertz.
    OtherTone(f32),
    /// Clipping even at the lowest gain.
    Saturated,
    /// The gain is held by hand, and clipping.
    HeldTooHigh,
    /// The signal is too weak for a figure.
    TooNoisy,
    /// The mast was not held still over the mark.
    NotSettled,
    /// The two nulls were not passed.
    NotBracketed,
    /// No lane was walked across the lay, so the place is uncertain sideways.
    NotCrossed,
    /// The mast was held away from the mark.
    AwayFromMark,
    /// Methods give depths that do not go together.
    MethodsDisagree,
    /// Only one method gave a depth.
    OneMethod,
    /// The sonde seems to be steeply tilted.
    Tilted,
    /// Part of the field is out of step: a second source, iron, or a current nearby.
    Elliptical,
    /// The field is not that of one sonde: along the lane, or between the lane and the hold.
    BentField,
    /// Much of the recording was hit by impulses or gaps.
    Disturbed,
    /// The field does not weaken upwards as from a source below.
    NotBelow,
    /// A component of the field is reversed or stronger at the upper node.
    NodesContradict,
}

impl Reason {
    /// Machine code, stable between versions.
    pub const fn code(self) -> &'static str {
        match self {
            Self::NoTone => "no-tone",
            Self::OtherTone(_) => "other-tone",
            Self::Saturated => "saturated",
            Self::HeldTooHigh => "held-too-high",
            Self::TooNoisy => "too-noisy",
            Self::NotSettled => "not-settled",
            Self::NotBracketed => "not-bracketed",
            Self::NotCrossed => "not-crossed",
            Self::AwayFromMark => "away-from-mark",
            Self::MethodsDisagree => "methods-disagree",
            Self::OneMethod => "one-method",
            Self::Tilted => "tilted",
            Self::Elliptical => "elliptical",
            Self::BentField => "bent-field",
            Self::Disturbed => "disturbed",
            Self::NotBelow => "not-below",
            Self::NodesContradict => "nodes-contradict",
        }
    }

    /// What is wrong, for a technician.
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::NoTone => "The tone that is set is not heard here.",
            Self::OtherTone(_) => "The tone that is set is not heard, but another common tone is strong.",
            Self::Saturated => "The signal is too strong even for the lowest gain.",
            Self::HeldTooHigh => "The gain is held by hand and the signal reaches full scale.",
            Self::TooNoisy => "The signal is too weak against the noise for a figure.",
            Self::NotSettled => "The mast was not held still over the source.",
            Self::NotBracketed => "The two nulls, one on each side of the source, were not both passed.",
            Self::NotCrossed => "No lane was walked across the pipe, so the place is uncertain sideways.",
            Self::AwayFromMark => "The mast was held away from the place the nulls point to.",
            Self::MethodsDisagree => "Independent methods give depths that do not go together.",
            Self::OneMethod => "Only one method gave a depth, so nothing confirms it.",
            Self::Tilted => "The sonde seems to be steeply tilted.",
            Self::Elliptical => {
                "Part of the field is out of step: a second source, iron, or a current is near."
            }
            Self::BentField => "The field is not that of one sonde alone.",
            Self::Disturbed => "Much of the recording was hit by impulses, gaps or gain changes.",
            Self::NotBelow => "The field does not weaken with height as it does above a sonde.",
            Self::NodesContradict => {
                "The two nodes contradict each other as no source below could make them."
            }
        }
    }

    /// What to do next.
    pub const fn remedy(self) -> &'static str {
        match self {
            Self::NoTone => {
                "Check that the beacon is on and on this frequency, then walk closer along the pipe."
            }
            Self::OtherTone(_) => "Set the logger to the tone that is there, or change the beacon.",
            Self::Saturated => "Lift the mast 0.5 m or more and repeat, or use a weaker beacon.",
            Self::HeldTooHigh => {
                "Take the gain down until the reading leaves full scale, or let it step by itself."
            }
            Self::TooNoisy => "Hold still for longer, come closer, or use a stronger beacon.",
            Self::NotSettled => {
                "Stand at the mark, put the foot on the ground and hold still for five seconds."
            }
            Self::NotBracketed => {
                "Walk a straight lane over the source, three depths beyond it on both sides."
            }
            Self::NotCrossed => "Walk a second lane across the pipe, through the mark.",
            Self::AwayFromMark => "Move to the mark and hold still again.",
            Self::MethodsDisagree => {
                "Repeat both lanes and the hold; lift the mast 0.5 m and hold once more."
            }
            Self::OneMethod => {
                "Walk a lane along the pipe through both nulls, or lift the mast 0.5 m and hold again."
            }
            Self::Tilted => {
                "Move the beacon a little and repeat; distrust the place by a quarter of the depth."
            }
            Self::Elliptical => "Switch off what you can, try another frequency, and walk a second lane.",
            Self::BentField => {
                "Look for a second beacon, metal or a line beside the pipe; try another frequency, and repeat."
            }
            Self::Disturbed => "Wait for the disturbance to end, or move its source away, and repeat.",
            Self::NotBelow => "Look for a source above ground or beside you, and repeat a few steps away.",
            Self::NodesContradict => {
                "Check that every coil is plugged in where it belongs and the right way round."
            }
        }
    }

    /// Whether a figure may still be given.
    pub const fn severity(self) -> Verdict {
        match self {
            Self::NoTone
            | Self::OtherTone(_)
            | Self::Saturated
            | Self::HeldTooHigh
            | Self::TooNoisy
            | Self::NotSettled
            | Self::NotBelow
            | Self::NodesContradict => Verdict::Refuse,
            _ => Verdict::Doubt,
        }
    }
}

/// The most reasons a judgement carries: room for each of them once.
pub const MAX_REASONS: usize = 17;

/// A list of reasons without repeats.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Reasons(Vec<Reason, MAX_REASONS>);

impl Reasons {
    /// Add a reason, unless it is there already.
    pub fn add(&mut self, reason: Reason) {
        if !self.0.iter().any(|r| r.code() == reason.code()) {
            // There is room: each reason comes once.
            let _ = self.0.push(reason);
        }
    }

    /// Add a reason where something `holds`.
    pub fn add_if(&mut self, holds: bool, reason: Reason) {
        if holds {
            self.add(reason);
        }
    }

    /// The reasons, in the order they were found.
    pub fn as_slice(&self) -> &[Reason] {
        &self.0
    }

    /// The gravest consequence of all reasons.
    pub fn severity(&self) -> Verdict {
        self.0.iter().map(|r| r.severity()).max().unwrap_or(Verdict::Agree)
    }
}

/// The 95 % range of a depth, metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range95 {
    /// Lower end.
    pub low_m: f32,
    /// Upper end.
    pub high_m: f32,
}

/// What the methods and checks amount to.
#[derive(Debug, Clone, PartialEq)]
pub struct Judgement {
    /// The verdict.
    pub verdict: Verdict,
    /// Depth from the ground down to the source, with its sigma; `None` when refused.
    pub depth: Option<Depth>,
    /// Its 95 % range; widened to hold every method when in doubt.
    pub range: Option<Range95>,
    /// Why the verdict is not `Agree`.
    pub reasons: Reasons,
}

/// Depths by every method, in the order of [`Method::ALL`].
pub type Depths = [Result<Depth, Unusable>; 5];

/// Upper 1 % points of chi-square for 1 to 4 degrees of freedom (Abramowitz and Stegun, table 26.8).
const CHI_SQUARE_99: [f32; 4] = [6.635, 9.210, 11.345, 13.277];
/// Half width of a normal 95 % range in sigmas.
const SIGMAS_95: f32 = 1.96;

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
    /// What all this amounts to.
    pub judgement: Judgement,
}

/// The mean of the depths, weighted by their sigmas; `None` when there is none.
pub fn mean(depths: &Depths) -> Option<Depth> {
    let (mut weight, mut weighted) = (0.0, 0.0);
    for depth in depths.iter().flatten() {
        let w = 1.0 / (depth.sigma_m * depth.sigma_m).max(1e-8);
        weight += w;
        weighted += w * depth.depth_m;
    }
    (weight > 0.0).then(|| Depth { depth_m: weighted / weight, sigma_m: math::sqrt(1.0 / weight) })
}

/// Combine the depths, and test whether they go together.
///
/// The test is the weighted sum of squared deviations against chi-square at the 1 % level. When it fails, the
/// range grows to hold every method's own.
pub fn judge(depths: &Depths, mut reasons: Reasons) -> Judgement {
    let mean = mean(depths);
    reasons.add_if(mean.is_none(), Reason::TooNoisy);
    let Some(mean) = mean.filter(|_| reasons.severity() < Verdict::Refuse) else {
        return Judgement { verdict: Verdict::Refuse, depth: None, range: None, reasons };
    };
    let count = depths.iter().flatten().count();
    let chi_square: f32 = depths
        .iter()
        .flatten()
        .map(|d| {
            let z = (d.depth_m - mean.depth_m) / d.sigma_m.max(1e-4);
            z * z
        })
        .sum();
    reasons.add_if(count == 1, Reason::OneMethod);
    let limit = CHI_SQUARE_99.get(count.saturating_sub(2)).copied().unwrap_or(f32::MAX);
    reasons.add_if(count > 1 && chi_square > limit, Reason::MethodsDisagree);
    let own = |d: &Depth| (d.depth_m - SIGMAS_95 * d.sigma_m, d.depth_m + SIGMAS_95 * d.sigma_m);
    let (mut low_m, mut high_m) = own(&mean);
    let verdict = reasons.severity();
    if verdict == Verdict::Doubt {
        for (low, high) in depths.iter().flatten().map(own) {
            low_m = low_m.min(low);
            high_m = high_m.max(high);
        }
    }
    Judgement {
        verdict,
        depth: Some(mean),
        range: Some(Range95 { low_m: low_m.max(0.0), high_m }),
        reasons,
    }
}
