//! Values that are kept as numbers, stable between versions whatever their order in the source.

use crate::depth::Unusable;
use crate::fit::Undetermined;
use crate::locate::Phase;
use crate::verdict::{Reason, Verdict};

/// The value with this code.
pub fn find<T: Copy>(all: &[T], code_of: impl Fn(T) -> u8, code: u8) -> Option<T> {
    all.iter().copied().find(|&value| code_of(value) == code)
}

/// Code of a verdict.
pub const fn of_verdict(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::Agree => 0,
        Verdict::Doubt => 1,
        Verdict::Refuse => 2,
    }
}

/// The verdict with this code.
pub fn verdict(code: u8) -> Option<Verdict> {
    find(&[Verdict::Agree, Verdict::Doubt, Verdict::Refuse], of_verdict, code)
}

/// Code of a phase.
pub const fn of_phase(phase: Phase) -> u8 {
    match phase {
        Phase::Listen => 0,
        Phase::Home => 1,
        Phase::Bracket => 2,
        Phase::Settle => 3,
    }
}

/// The phase with this code.
pub fn phase(code: u8) -> Option<Phase> {
    find(&[Phase::Listen, Phase::Home, Phase::Bracket, Phase::Settle], of_phase, code)
}

/// Code of why a method gave no depth.
pub const fn of_unusable(unusable: Unusable) -> u8 {
    match unusable {
        Unusable::NotMeasured => 0,
        Unusable::NotStacked => 1,
        Unusable::TooUncertain => 2,
        Unusable::NotAbove => 3,
        Unusable::NotBelow => 4,
        Unusable::OutOfRange => 5,
        Unusable::Uneven => 6,
    }
}

/// Why a method gave no depth, by its code.
pub fn unusable(code: u8) -> Option<Unusable> {
    const ALL: [Unusable; 7] = [
        Unusable::NotMeasured,
        Unusable::NotStacked,
        Unusable::TooUncertain,
        Unusable::NotAbove,
        Unusable::NotBelow,
        Unusable::OutOfRange,
        Unusable::Uneven,
    ];
    find(&ALL, of_unusable, code)
}

/// Code of a reason.
pub const fn of_reason(reason: Reason) -> u8 {
    match reason {
        Reason::NoTone => 0,
        Reason::OtherTone(_) => 1,
        Reason::Saturated => 2,
        Reason::HeldTooHigh => 3,
        Reason::TooNoisy => 4,
        Reason::NotSettled => 5,
        Reason::NotBracketed => 6,
        Reason::NotCrossed => 7,
        Reason::AwayFromMark => 8,
        Reason::MethodsDisagree => 9,
        Reason::OneMethod => 10,
        Reason::Tilted => 11,
        Reason::Elliptical => 12,
        Reason::BentField => 13,
        Reason::Disturbed => 14,
        Reason::NotBelow => 15,
        Reason::NodesContradict => 16,
        Reason::StrengthDiffers => 17,
        Reason::CalibrationOff => 18,
        Reason::WalkUndetermined(Undetermined::TooFew) => 19,
        Reason::WalkUndetermined(Undetermined::Place) => 20,
        Reason::WalkUndetermined(Undetermined::Depth) => 21,
        Reason::WalkUndetermined(Undetermined::Moment) => 22,
        Reason::WalkUndetermined(Undetermined::Unsettled) => 23,
        Reason::PartFaulty => 24,
        Reason::NotALine => 25,
        Reason::BesideWalk => 26,
        Reason::PastEnd => 27,
        Reason::OneLane => 28,
        Reason::NotOneLine => 29,
        Reason::BleedOver => 30,
        Reason::CurrentReturns => 31,
        Reason::LineEnds => 32,
        Reason::LineBends => 33,
        Reason::MarksApart => 34,
        Reason::SoilUnknown => 35,
    }
}

/// The reason with this code; `hz` is what belongs to another tone.
pub fn reason(code: u8, hz: f32) -> Option<Reason> {
    match find(&Reason::ALL, of_reason, code) {
        Some(Reason::OtherTone(_)) => Some(Reason::OtherTone(hz)),
        other => other,
    }
}
