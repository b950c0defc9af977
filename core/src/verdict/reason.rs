//! Why a verdict is not `Agree`: a code for machines, a sentence for people, and what to do next.

use core::mem::discriminant;

use heapless::Vec;

use super::Verdict;
use crate::fit::Undetermined;

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
    /// The sonde is not as strong as it was on the bench.
    StrengthDiffers,
    /// The nodes' gains are not in the ratio that their calibration says.
    CalibrationOff,
    /// The walk as a whole does not tell this.
    WalkUndetermined(Undetermined),
    /// A part of the instrument did not work. The core cannot see that: whoever runs it says so.
    PartFaulty,
    /// Of a line: the field is that of a sonde, of a pair of wires, or of nothing below.
    NotALine,
    /// The walk did not pass over the line.
    BesideWalk,
    /// There may be no line below: the field is more like that past the end of one.
    PastEnd,
    /// Only one lane crosses the line.
    OneLane,
    /// More is in the field than one straight line.
    NotOneLine,
    /// A second line nearby carries part of the tone, in step.
    BleedOver,
    /// Part of the current comes back along a line nearby.
    CurrentReturns,
    /// The signal changes along the line: an end, a branch, a leak.
    LineEnds,
    /// The line turns.
    LineBends,
    /// Peak and null mark different places.
    MarksApart,
    /// Most of what is uncertain is the soil.
    SoilUnknown,
}

impl Reason {
    /// Every reason once, with another tone at 0 Hz.
    pub const ALL: [Self; 36] = [
        Self::NoTone,
        Self::OtherTone(0.0),
        Self::Saturated,
        Self::HeldTooHigh,
        Self::TooNoisy,
        Self::NotSettled,
        Self::NotBracketed,
        Self::NotCrossed,
        Self::AwayFromMark,
        Self::MethodsDisagree,
        Self::OneMethod,
        Self::Tilted,
        Self::Elliptical,
        Self::BentField,
        Self::Disturbed,
        Self::NotBelow,
        Self::NodesContradict,
        Self::StrengthDiffers,
        Self::CalibrationOff,
        Self::WalkUndetermined(Undetermined::TooFew),
        Self::WalkUndetermined(Undetermined::Place),
        Self::WalkUndetermined(Undetermined::Depth),
        Self::WalkUndetermined(Undetermined::Moment),
        Self::WalkUndetermined(Undetermined::Unsettled),
        Self::PartFaulty,
        Self::NotALine,
        Self::BesideWalk,
        Self::PastEnd,
        Self::OneLane,
        Self::NotOneLine,
        Self::BleedOver,
        Self::CurrentReturns,
        Self::LineEnds,
        Self::LineBends,
        Self::MarksApart,
        Self::SoilUnknown,
    ];

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
            Self::StrengthDiffers => "strength-differs",
            Self::CalibrationOff => "calibration-off",
            Self::WalkUndetermined(_) => "walk-undetermined",
            Self::PartFaulty => "part-faulty",
            Self::NotALine => "not-a-line",
            Self::BesideWalk => "beside-walk",
            Self::PastEnd => "past-end",
            Self::OneLane => "one-lane",
            Self::NotOneLine => "not-one-line",
            Self::BleedOver => "bleed-over",
            Self::CurrentReturns => "current-returns",
            Self::LineEnds => "line-ends",
            Self::LineBends => "line-bends",
            Self::MarksApart => "marks-apart",
            Self::SoilUnknown => "soil-unknown",
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
            Self::StrengthDiffers => "The sonde is not as strong as it was measured on the bench.",
            Self::CalibrationOff => {
                "The two nodes are not as strong beside each other as their calibration says."
            }
            Self::WalkUndetermined(what) => match what {
                Undetermined::TooFew => "The walk is too short to tell anything as a whole.",
                Undetermined::Place => "The walk as a whole does not tell where the source is.",
                Undetermined::Depth => "The walk as a whole does not tell how deep the source is.",
                Undetermined::Moment => "The walk as a whole does not tell how strong the source is.",
                Undetermined::Unsettled => {
                    "No single sonde was found that explains the walk: the positions are poor, or the field is bent."
                }
            },
            Self::PartFaulty => "A part of the instrument did not work during this locate.",
            Self::NotALine => "The field is not that of one line below: a sonde, paired wires, or neither.",
            Self::BesideWalk => "The walk did not pass over the line: it lies to one side.",
            Self::PastEnd => "There may be no line below: the field is more like that past the end of one.",
            Self::OneLane => "Only one lane crosses the line, so a bend or an end would not show.",
            Self::NotOneLine => "The field is not that of one straight line alone.",
            Self::BleedOver => "A second line nearby carries part of this tone, in step with the first.",
            Self::CurrentReturns => "Part of the current comes back along a line nearby.",
            Self::LineEnds => "The signal changes along the line: it ends, branches or leaks near here.",
            Self::LineBends => "The line does not run straight here.",
            Self::MarksApart => "The peak and the null of the lanes mark different places.",
            Self::SoilUnknown => "Most of what is uncertain is the soil, which is not known.",
        }
    }

    /// What to do next.
    pub const fn remedy(self) -> &'static str {
        match self {
            Self::NoTone => "See that the beacon is on, and on this tone; then walk closer.",
            Self::OtherTone(_) => "Set the logger to the tone that is there, or change the beacon.",
            Self::Saturated => {
                "Lift the mast 0.5 m or more and repeat, or use a weaker beacon or less current."
            }
            Self::HeldTooHigh => {
                "Take the gain down until the reading leaves full scale, or let it step by itself."
            }
            Self::TooNoisy => {
                "Hold still for longer, come closer, or use a stronger beacon or more current."
            }
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
            Self::StrengthDiffers => {
                "Change its battery and look for metal around it; distrust the depth until it is as strong again."
            }
            Self::CalibrationOff => "Calibrate the coils again, and distrust the field ratio until then.",
            Self::WalkUndetermined(_) => {
                "Walk both lanes again, three depths beyond the source on each side, and see that positions are steady."
            }
            Self::PartFaulty => "Mend the part that the instrument names, and begin the locate again.",
            Self::NotALine => {
                "Look for a sonde or a pair of wires here, and see which line carries the tone."
            }
            Self::BesideWalk => "Walk lanes straight across the line, two depths beyond it on both sides.",
            Self::PastEnd => "Go back along the line until the signal is steady, and walk the lanes there.",
            Self::OneLane => "Walk two more lanes across the line, half a metre apart or more.",
            Self::NotOneLine => {
                "Walk more lanes a few steps further along; look for other lines beside it."
            }
            Self::BleedOver => {
                "Connect to the line itself, ground the transmitter away from others, or use a lower tone."
            }
            Self::CurrentReturns => "Ground the transmitter elsewhere, away from other lines, and repeat.",
            Self::LineEnds | Self::LineBends => {
                "Walk lanes three depths away on either side, and expose before you trust the depth here."
            }
            Self::MarksApart => "Trust neither mark: walk more lanes, on another tone too.",
            Self::SoilUnknown => "Say what the soil is, or use a lower tone.",
        }
    }

    /// Whether it speaks of a field that a neighbour may have bent.
    pub(crate) const fn bends(self) -> bool {
        matches!(
            self,
            Self::MethodsDisagree
                | Self::Elliptical
                | Self::BentField
                | Self::StrengthDiffers
                | Self::WalkUndetermined(_)
                | Self::NotOneLine
                | Self::BleedOver
                | Self::CurrentReturns
                | Self::LineEnds
                | Self::LineBends
                | Self::MarksApart
        )
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
            | Self::NodesContradict
            | Self::PartFaulty
            | Self::NotALine
            | Self::BesideWalk
            | Self::PastEnd => Verdict::Refuse,
            _ => Verdict::Doubt,
        }
    }
}

/// The most reasons a judgement carries: room for each of them once.
pub const MAX_REASONS: usize = 32;

/// A list of reasons without repeats.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Reasons(Vec<Reason, MAX_REASONS>);

impl Reasons {
    /// Add a reason, unless it is there already.
    #[inline(never)]
    pub fn add(&mut self, reason: Reason) {
        if !self.0.iter().any(|r| discriminant(r) == discriminant(&reason)) {
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
