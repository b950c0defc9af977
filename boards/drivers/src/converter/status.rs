//! The status word, which heads every frame that answers no command.

/// What the part says of itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Status(pub u16);

/// Bits that must read so, or the part is not set up as it was: unlocked, CCITT checksum, words of 24 bits.
const SETTING_MASK: u16 = 1 << 15 | 1 << 11 | 3 << 8;
const SETTING: u16 = 1 << 8;

impl Status {
    /// It was reset since MODE was last written: everything set in it is gone.
    pub const fn was_reset(self) -> bool {
        self.0 & 1 << 10 != 0
    }

    /// Its filters were restarted by a pulse on the pin: the samples have moved in time.
    pub const fn was_resynced(self) -> bool {
        self.0 & 1 << 14 != 0
    }

    /// A command came garbled.
    pub const fn refused(self) -> bool {
        self.0 & 1 << 12 != 0
    }

    /// It is set up as we left it.
    pub const fn is_ours(self) -> bool {
        self.0 & SETTING_MASK == SETTING
    }

    /// Channels with data not read before, a bit each.
    pub const fn fresh(self) -> u8 {
        self.0 as u8
    }
}
