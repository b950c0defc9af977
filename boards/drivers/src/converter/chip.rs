//! Which part it is, how fast it runs and from what clock.

/// The family member. They differ in the number of channels and nothing that matters here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// ADS131M06: six channels.
    Six,
    /// ADS131M08: eight channels.
    Eight,
}

impl Part {
    /// Channels in each of its frames, used or not.
    pub const fn channels(self) -> usize {
        match self {
            Self::Six => 6,
            Self::Eight => 8,
        }
    }

    /// Bytes of one frame: a word for the answer, one for each channel, one for the checksum.
    ///
    /// ```
    /// use nullwalk_drivers::converter::Part;
    /// assert_eq!(Part::Eight.frame_bytes(), 30);
    /// ```
    pub const fn frame_bytes(self) -> usize {
        super::command::WORD_BYTES * (self.channels() + 2)
    }

    /// Whether the identity register names this part. Its high byte is 0x20 and the number of channels.
    pub const fn is(self, identity: u16) -> bool {
        identity >> 8 == 0x20 | self.channels() as u16
    }
}

/// The clock that the part is built for; at half of it, its modulators run.
const CLOCK_HZ: u32 = 8_192_000;

/// Samples a second, with a clock of 8.192 MHz.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rate {
    /// 32 000 a second.
    Hz32000,
    /// 16 000 a second.
    Hz16000,
    /// 8000 a second: what a 512 Hz tone asks for.
    Hz8000,
    /// 4000 a second, the slowest that a capture takes.
    Hz4000,
}

impl Rate {
    /// The number itself.
    pub const fn hz(self) -> u32 {
        CLOCK_HZ / 2 / (128 << self.code())
    }

    /// The field OSR of the register CLOCK: the modulators' values are averaged 128 at a time for code 0, and twice
    /// as many for each code more.
    pub(super) const fn code(self) -> u16 {
        match self {
            Self::Hz32000 => 0,
            Self::Hz16000 => 1,
            Self::Hz8000 => 2,
            Self::Hz4000 => 3,
        }
    }
}

/// Where the 8.192 MHz come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Clock {
    /// A crystal at the part's own oscillator.
    Crystal,
    /// An oscillator on the board; the part's own is switched off.
    External,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rates_are_those_of_the_data_sheet() {
        // Data rate = clock / 2 / oversampling ratio.
        assert_eq!(
            [Rate::Hz32000, Rate::Hz16000, Rate::Hz8000, Rate::Hz4000].map(Rate::hz),
            [32_000, 16_000, 8000, 4000]
        );
    }

    #[test]
    fn a_part_knows_its_identity() {
        assert!(Part::Eight.is(0x2800) && Part::Eight.is(0x28FF) && Part::Six.is(0x2601));
        assert!(!Part::Eight.is(0x2600) && !Part::Six.is(0x2800) && !Part::Eight.is(0x0500));
        assert!(!Part::Eight.is(0) && !Part::Eight.is(0xFFFF));
    }
}
