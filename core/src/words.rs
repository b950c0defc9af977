//! What is said in few words, on a handset's screen and wherever else guidance is shown: the same words everywhere.

use crate::locate::{Guidance, Phase, Sweep};
use crate::record::FaultKind;
use crate::verdict::{Reason, Verdict};

/// Stands wherever a depth is shown.
pub const CAUTION_DEPTH: &str = "No permission to dig. Local rules first; dig by hand.";
/// Stands wherever nothing was found, or no figure is given.
pub const CAUTION_NOTHING: &str = "Not found is never not there. Local rules first.";
/// The same where there is no room for more.
pub const CAUTION_NOTHING_BRIEF: &str = "Not found is never not there.";

/// What stands behind the number of a station that was marked with a fix,
pub const STATION_FIXED: &str = "with a fix. No permission to dig.";
/// with a fix that gives no figure,
pub const STATION_WITHOUT_FIGURE: &str = "without a figure. Not found is never not there.";
/// and with none.
pub const STATION_WITHOUT_FIX: &str = "without a fix. Not found is never not there.";

/// Name of a phase.
pub const fn phase_word(phase: Phase) -> &'static str {
    match phase {
        Phase::Listen => "LISTEN",
        Phase::Home => "HOME",
        Phase::Bracket => "BRACKET",
        Phase::Settle => "SETTLE",
    }
}

/// What to do in this phase; nothing while the tone is listened for.
pub const fn instruction(guidance: &Guidance) -> Option<&'static str> {
    Some(match (guidance.phase, guidance.sweep) {
        (_, Some(Sweep::TwoBearings(_))) => "45° down, repeat",
        (_, Some(Sweep::HiddenByGain)) => "gain too high",
        _ if guidance.past_source => "it is behind you",
        (Phase::Listen, _) => return None,
        (Phase::Home, _) => "walk towards it",
        (Phase::Bracket, _) if guidance.mark.is_none() => "pass both nulls",
        (Phase::Bracket, _) if !guidance.crossed => "walk across",
        (Phase::Bracket, _) => "hold still there",
        (Phase::Settle, _) => "hold still",
    })
}

/// What stands in the place of a figure while there is none: a heading, and more of it.
pub const fn without_figure(phase: Phase) -> (&'static str, &'static str) {
    match phase {
        Phase::Listen => ("listening", "Stand still for a moment."),
        Phase::Home => ("walk on", "Turn a full circle for a bearing."),
        Phase::Bracket => ("walk on", "straight over both nulls."),
        Phase::Settle => ("hold still", "The mast upright, its foot on the ground."),
    }
}

/// What stands behind an angle to turn.
pub const fn turn(right: f32) -> &'static str {
    match right {
        d if d > 0.0 => "° right",
        d if d < 0.0 => "° left",
        _ => "° ahead",
    }
}

/// What stands behind a length forward,
pub const fn ahead(forward_m: f32) -> &'static str {
    if forward_m < 0.0 { "m back" } else { "m ahead" }
}

/// and behind one to the side.
pub const fn aside(left_m: f32) -> &'static str {
    if left_m < 0.0 { "m right" } else { "m left" }
}

/// Name of a verdict.
pub const fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Agree => "AGREE",
        Verdict::Doubt => "DOUBT",
        Verdict::Refuse => "REFUSE",
    }
}

/// A reason as a heading.
pub const fn reason_word(reason: Reason) -> &'static str {
    match reason {
        Reason::NoTone => "not heard",
        Reason::OtherTone(_) => "another tone",
        Reason::Saturated => "too strong",
        Reason::HeldTooHigh => "gain too high",
        Reason::TooNoisy => "too noisy",
        Reason::NotSettled => "not held still",
        Reason::NotBracketed => "nulls not passed",
        Reason::NotCrossed => "not walked across",
        Reason::AwayFromMark => "away from mark",
        Reason::MethodsDisagree => "methods differ",
        Reason::OneMethod => "one method only",
        Reason::Tilted => "sonde is tilted",
        Reason::Elliptical => "out of step",
        Reason::BentField => "bent field",
        Reason::Disturbed => "disturbed",
        Reason::NotBelow => "not from below",
        Reason::NodesContradict => "nodes contradict",
        Reason::StrengthDiffers => "strength differs",
        Reason::CalibrationOff => "calibration off",
        Reason::WalkUndetermined(_) => "walk tells little",
        Reason::PartFaulty => "part faulty",
        Reason::NotALine => "not a line",
        Reason::BesideWalk => "beside the walk",
        Reason::PastEnd => "past an end?",
        Reason::OneLane => "one lane only",
        Reason::NotOneLine => "not one line",
        Reason::BleedOver => "bleed-over",
        Reason::CurrentReturns => "current returns",
        Reason::LineEnds => "signal changes",
        Reason::LineBends => "line bends",
        Reason::MarksApart => "marks apart",
        Reason::SoilUnknown => "soil not known",
    }
}

/// A fault as a heading.
pub const fn fault(kind: FaultKind) -> &'static str {
    match kind {
        FaultKind::Overrun => "samples lost",
        FaultKind::ConverterChecksum => "garbled data",
        FaultKind::ConverterSilent => "no samples",
        FaultKind::ChannelStuck => "channel stuck",
        FaultKind::ClockOff => "clock is off",
        FaultKind::TiltSilent => "no tilt",
        FaultKind::PositionLost => "no position",
        FaultKind::StorageFailed => "NOT KEPT",
        FaultKind::StorageFull => "book is full",
        FaultKind::BatteryLow => "battery empty",
        FaultKind::LinkOverrun => "link too slow",
        FaultKind::SelfTest => "self-test failed",
        FaultKind::ConverterReset => "converter reset",
        FaultKind::ConverterRefused => "gain not taken",
        FaultKind::Other(_) => "unknown fault",
    }
}

/// What to do about a fault.
pub const fn remedy(kind: FaultKind) -> &'static str {
    match kind {
        FaultKind::Overrun => "Gaps are bridged or doubted. If it stays, restart.",
        FaultKind::ConverterChecksum => "Look at the converter's wires.",
        FaultKind::ConverterSilent => "Look at the converter's supply and its data-ready wire.",
        FaultKind::ChannelStuck => "Look at that coil's plug, then begin the locate again.",
        FaultKind::ClockOff => "Sampling clock and board clock differ: look at the crystals.",
        FaultKind::TiltSilent => "Hold the mast upright; look at the sensor's wires.",
        FaultKind::PositionLost => "Wait for satellites, or go on without positions.",
        FaultKind::StorageFailed => "Storage does not take records: write stations on paper.",
        FaultKind::StorageFull => "Nothing more is kept: read the book out, then format it.",
        FaultKind::BatteryLow => "Charge it. The book was closed and is safe.",
        FaultKind::LinkOverrun => "Whoever follows misses some; the book does not.",
        FaultKind::SelfTest => "See what it found, and mend that first.",
        FaultKind::ConverterReset => "It is started again. Look at its supply and reset pin.",
        FaultKind::ConverterRefused => "Look at the converter's data input.",
        FaultKind::Other(_) => "Restart, and see whether it comes back.",
    }
}
