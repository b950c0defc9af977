//! Faults of the instrument.

use serde::{Deserialize, Serialize};

use super::{coded, plain};
use crate::frame::SampleIndex;

/// Something that went wrong in the instrument.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fault {
    /// When it was noticed.
    pub at: SampleIndex,
    /// What it was.
    pub kind: FaultKind,
    /// The channel it is about, if it is about one.
    pub channel: Option<u8>,
    /// How often it happened, or how much was lost: frames, words, bytes.
    pub count: u32,
}

/// What can go wrong in the instrument.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FaultKind {
    /// Samples came faster than they were taken in.
    Overrun,
    /// The converter's checksum was wrong.
    ConverterChecksum,
    /// The converter was not ready in time.
    ConverterSilent,
    /// A channel that does not change.
    ChannelStuck,
    /// The sampling clock is not at its rate.
    ClockOff,
    /// The tilt or heading sensor does not answer.
    TiltSilent,
    /// Positions stopped coming.
    PositionLost,
    /// Storage does not take what is written.
    StorageFailed,
    /// No room for what must be kept.
    StorageFull,
    /// The battery is nearly empty: the book was closed.
    BatteryLow,
    /// The link did not take what was streamed.
    LinkOverrun,
    /// The self-test at the start failed.
    SelfTest,
    /// The converter was reset, or lost what was set in it.
    ConverterReset,
    /// The converter did not take a command.
    ConverterRefused,
    /// One that this program does not know, by its number.
    Other(u8),
}

impl FaultKind {
    /// All that are known.
    pub const ALL: [Self; 14] = [
        Self::Overrun,
        Self::ConverterChecksum,
        Self::ConverterSilent,
        Self::ChannelStuck,
        Self::ClockOff,
        Self::TiltSilent,
        Self::PositionLost,
        Self::StorageFailed,
        Self::StorageFull,
        Self::BatteryLow,
        Self::LinkOverrun,
        Self::SelfTest,
        Self::ConverterReset,
        Self::ConverterRefused,
    ];

    const fn code(self) -> u8 {
        match self {
            Self::Overrun => 0,
            Self::ConverterChecksum => 1,
            Self::ConverterSilent => 2,
            Self::ChannelStuck => 3,
            Self::ClockOff => 4,
            Self::TiltSilent => 5,
            Self::PositionLost => 6,
            Self::StorageFailed => 7,
            Self::StorageFull => 8,
            Self::BatteryLow => 9,
            Self::LinkOverrun => 10,
            Self::SelfTest => 11,
            Self::ConverterReset => 12,
            Self::ConverterRefused => 13,
            Self::Other(code) => code,
        }
    }

    /// What happened, in words.
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::Overrun => "samples came faster than they were taken in",
            Self::ConverterChecksum => "the converter's checksum was wrong",
            Self::ConverterSilent => "the converter was not ready in time",
            Self::ChannelStuck => "a channel does not change",
            Self::ClockOff => "the sampling clock is not at its rate",
            Self::TiltSilent => "the tilt or heading sensor does not answer",
            Self::PositionLost => "positions stopped coming",
            Self::StorageFailed => "storage does not take what is written",
            Self::StorageFull => "there is no room for what must be kept",
            Self::BatteryLow => "the battery is nearly empty, and the book was closed",
            Self::LinkOverrun => "the link did not take what was streamed",
            Self::SelfTest => "the self-test at the start failed",
            Self::ConverterReset => "the converter was reset, or lost what was set in it",
            Self::ConverterRefused => "the converter did not take a command",
            Self::Other(_) => "a fault that this program does not know",
        }
    }
}

#[derive(Serialize, Deserialize)]
struct Payload {
    at: u64,
    kind: u8,
    channel: Option<u8>,
    count: u32,
}

pub fn write(fault: &Fault, out: &mut [u8]) -> Option<usize> {
    let Fault { at, kind, channel, count } = *fault;
    plain::write(&Payload { at, kind: kind.code(), channel, count }, out)
}

pub fn read(bytes: &[u8]) -> Option<Fault> {
    let Payload { at, kind, channel, count } = plain::read(bytes)?;
    let kind = coded::find(&FaultKind::ALL, FaultKind::code, kind).unwrap_or(FaultKind::Other(kind));
    Some(Fault { at, kind, channel, count })
}
