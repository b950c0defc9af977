//! Records on a wire and in a file: byte stuffing, so that a zero ends a record and stands nowhere else.
//!
//! Cheshire and Baker 1999, Consistent overhead byte stuffing, IEEE/ACM Transactions on Networking 7:159.

use cobs::{DecodeResult, DecoderState};

use super::{Damage, Envelope, Losses, MAX_RECORD_BYTES, NoRoom};

/// The most bytes that a framed record may have, its closing zero included.
pub const MAX_FRAME_BYTES: usize = cobs::max_encoding_length(MAX_RECORD_BYTES) + 1;

/// Frame the bytes of a record into `out`, which has room for any record if it has [`MAX_FRAME_BYTES`]. Returns what
/// was written.
///
/// # Errors
/// When there is no room.
pub fn frame<'a>(record: &[u8], out: &'a mut [u8]) -> Result<&'a [u8], NoRoom> {
    let needed = cobs::max_encoding_length(record.len().min(MAX_RECORD_BYTES)) + 1;
    if record.len() > MAX_RECORD_BYTES || out.len() < needed {
        return Err(NoRoom);
    }
    let length = cobs::try_encode(record, out).map_err(|_| NoRoom)?;
    *out.get_mut(length).ok_or(NoRoom)? = 0;
    out.get(..=length).ok_or(NoRoom)
}

/// Finds records in a stream of bytes, whatever happened to the stream.
#[derive(Debug)]
pub struct Deframer {
    stuffing: DecoderState,
    bytes: [u8; MAX_RECORD_BYTES],
    filled: usize,
    /// More came than a record may hold.
    overflowed: bool,
    /// Something other than zeros came since the last record ended.
    begun: bool,
    losses: Losses,
    damaged: u32,
}

impl Default for Deframer {
    fn default() -> Self {
        Self {
            stuffing: DecoderState::default(),
            bytes: [0; MAX_RECORD_BYTES],
            filled: 0,
            overflowed: false,
            begun: false,
            losses: Losses::default(),
            damaged: 0,
        }
    }
}

impl Deframer {
    /// Take the next byte in. Returns a record when one ends here, whole or damaged.
    pub fn push(&mut self, byte: u8) -> Option<Result<Envelope<'_>, Damage>> {
        // A zero ends a record whatever came before it, so no damage reaches beyond one.
        let fed = self.stuffing.feed(byte);
        if byte != 0 {
            self.begun = true;
            if let Ok(DecodeResult::DataContinue(data)) = fed {
                self.keep(data);
            }
            return None;
        }
        let filled = core::mem::take(&mut self.filled);
        let overflowed = core::mem::take(&mut self.overflowed);
        if !core::mem::take(&mut self.begun) {
            return None;
        }
        let found = match fed {
            Ok(DecodeResult::DataComplete) if !overflowed => {
                Envelope::whole(self.bytes.get(..filled).unwrap_or_default())
            }
            Ok(DecodeResult::DataComplete) => Err(Damage::Length),
            _ => Err(Damage::Framing),
        };
        match &found {
            Ok(envelope) => self.losses.note(envelope.sequence),
            Err(_) => self.damaged = self.damaged.saturating_add(1),
        }
        Some(found)
    }

    fn keep(&mut self, data: u8) {
        match self.bytes.get_mut(self.filled) {
            Some(place) => {
                *place = data;
                self.filled += 1;
            }
            None => self.overflowed = true,
        }
    }

    /// What the sequence numbers say was lost.
    pub fn losses(&self) -> Losses {
        self.losses
    }

    /// Stretches between zeros that were no whole record.
    pub fn damaged(&self) -> u32 {
        self.damaged
    }

    /// Whether a record has begun and not ended.
    pub fn is_within(&self) -> bool {
        self.begun
    }
}
