//! Commands as the bytes of a frame.

use crc::{CRC_16_IBM_3740, Crc, Table};

use super::{Gain, Register};

/// Bytes of a word.
pub(super) const WORD_BYTES: usize = 3;
/// Bytes of the longest frame: ten words of 24 bits.
pub const FRAME_BYTES: usize = 30;

/// The part's checksum: x^16 + x^12 + x^5 + 1, starting from all ones.
pub(super) const CHECKSUM: Crc<u16, Table<1>> = Crc::<u16, Table<1>>::new(&CRC_16_IBM_3740);

/// The frame that says nothing, made once: nearly all are such.
const NOTHING: [u8; FRAME_BYTES] = {
    let [high, low] = CHECKSUM.checksum(&[0; WORD_BYTES]).to_be_bytes();
    let mut frame = [0; FRAME_BYTES];
    (frame[WORD_BYTES], frame[WORD_BYTES + 1]) = (high, low);
    frame
};

/// What the part is told in a frame. It answers at the head of the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Command {
    /// Nothing: the answer is the status.
    Null,
    /// Allow registers to be written.
    Unlock,
    /// Read the register at an address.
    Read(u8),
    /// Write one register.
    Write(u8, u16),
    /// Write both gain registers at once, so that all channels change in one instant.
    WriteGains(Gain),
}

impl Command {
    /// The command word.
    ///
    /// ```
    /// use nullwalk_drivers::converter::{Command, Register};
    /// assert_eq!(Command::Read(Register::Mode as u8).word(), 0xA100);
    /// ```
    pub const fn word(self) -> u16 {
        match self {
            Self::Null => 0x0000,
            Self::Unlock => 0x0655,
            Self::Read(address) => 0xA000 | at(address),
            Self::Write(address, _) => 0x6000 | at(address),
            Self::WriteGains(_) => 0x6000 | at(Register::Gain1 as u8) | 1,
        }
    }

    /// What the next frame begins with when the command was carried out; `None` where that is data.
    pub const fn acknowledged(self) -> Option<u16> {
        match self {
            Self::Null | Self::Read(_) => None,
            Self::Unlock => Some(self.word()),
            Self::Write(..) | Self::WriteGains(_) => Some(self.word() & !0x2000),
        }
    }

    /// The frame that says it: words left-justified in 24 bits, the checksum right behind the last of them, zeros for
    /// the rest, since the frame is as long as the answer that comes back meanwhile.
    pub fn frame(self) -> [u8; FRAME_BYTES] {
        let (count, words) = match self {
            Self::Write(_, value) => (2, [self.word(), value, 0]),
            Self::WriteGains(gain) => (3, [self.word(), gain.registers(), gain.registers()]),
            Self::Unlock | Self::Read(_) => (1, [self.word(), 0, 0]),
            Self::Null => return NOTHING,
        };
        let mut frame = [0; FRAME_BYTES];
        let mut digest = CHECKSUM.digest();
        let mut places = frame.chunks_exact_mut(WORD_BYTES);
        for (place, word) in places.by_ref().zip(words).take(count) {
            fill(place, word);
            digest.update(place);
        }
        if let Some(place) = places.next() {
            fill(place, digest.finalize());
        }
        frame
    }
}

/// An address as it stands in a command.
const fn at(address: u8) -> u16 {
    ((address & 0x3F) as u16) << 7
}

fn fill(place: &mut [u8], word: u16) {
    place.iter_mut().zip(word.to_be_bytes()).for_each(|(byte, value)| *byte = value);
}
