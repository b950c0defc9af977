//! The registers that are used, and what is written to them.

use super::{Clock, Rate};

/// A register of the part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u8)]
pub enum Register {
    /// What the part is.
    Id = 0x00,
    /// What happened to it, see [`Status`](super::Status).
    Status = 0x01,
    /// Checksums, length of a word, data-ready pin.
    Mode = 0x02,
    /// Channels in use, rate, power.
    Clock = 0x03,
    /// Gains of channels 0 to 3.
    Gain1 = 0x04,
    /// Gains of channels 4 to 7.
    Gain2 = 0x05,
    /// Chopping and current detection, neither used.
    Config = 0x06,
}

/// Where the eight settings of channel 0 begin; those of the next follow five registers on.
const CHANNEL_0: u8 = 0x09;
const CHANNEL_STRIDE: u8 = 5;

/// Address of a channel's register of phase and input.
pub(super) const fn channel_address(channel: u8) -> u8 {
    CHANNEL_0 + CHANNEL_STRIDE * (channel & 7)
}

/// What a channel listens to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Input {
    /// Its pins.
    Coil = 0,
    /// Nothing: both inputs connected inside the part, for its own noise.
    Shorted = 1,
    /// A steady positive voltage made in the part, 2/15 of full scale.
    Positive = 2,
    /// The same, negative.
    Negative = 3,
}

const CHECK_INPUT: u16 = 1 << 12;
const WORDS_OF_24_BITS: u16 = 1 << 8;
const FORGET_BROKEN_FRAMES: u16 = 1 << 4;

/// MODE: checksums both ways (CCITT), words of 24 bits, a frame that is broken off is forgotten, data-ready low until
/// it is read. It clears the sign of the last reset too.
pub(super) const MODE: u16 = CHECK_INPUT | WORDS_OF_24_BITS | FORGET_BROKEN_FRAMES;

const OWN_OSCILLATOR_OFF: u16 = 1 << 7;
const HIGH_RESOLUTION: u16 = 2;

/// CLOCK: the first `channels` channels on, the rate, and the power mode of least noise.
pub(super) const fn clock(channels: usize, rate: Rate, clock: Clock) -> u16 {
    let on = (1_u32 << channels) - 1;
    let oscillator = match clock {
        Clock::Crystal => 0,
        Clock::External => OWN_OSCILLATOR_OFF,
    };
    (on as u16) << 8 | oscillator | rate.code() << 2 | HIGH_RESOLUTION
}

/// CFG: as after a reset. Chopping would move the samples in time.
pub(super) const CONFIG: u16 = 0x0600;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_after_a_reset_can_be_built_from_our_own_bits() {
        // MODE is 0510h after a reset: the sign of the reset (bit 10), 24 bits, frames forgotten.
        assert_eq!(MODE & !CHECK_INPUT | 1 << 10, 0x0510);
        // CLOCK is FF0Eh (ADS131M08) and 3F0Eh (ADS131M06): all on, 4000 a second, high resolution.
        assert_eq!(clock(8, Rate::Hz4000, Clock::Crystal), 0xFF0E);
        assert_eq!(clock(6, Rate::Hz4000, Clock::Crystal), 0x3F0E);
        assert_eq!(clock(6, Rate::Hz8000, Clock::External), 0x3F8A);
    }
}
