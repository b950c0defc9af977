//! The book as framed bytes: in a file on a card, and on a wire.

use embedded_io::Write;
use nullwalk_core::record::{MAX_FRAME_BYTES, MAX_RECORD_BYTES, Record, encode, frame};

/// Writes records to anything that takes bytes: a [`CardFile`](crate::CardFile), a serial port.
pub struct Stream<W> {
    out: W,
    next_sequence: u32,
    record: [u8; MAX_RECORD_BYTES],
    frame: [u8; MAX_FRAME_BYTES],
}

/// Why a record was not written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StreamError<E> {
    /// The record is longer than any may be.
    TooLong,
    /// Whoever takes the bytes failed. The reader counts the record as lost.
    Out(E),
}

impl<W: Write> Stream<W> {
    /// Begin, or go on behind what is there already. The zero that comes first ends whatever was cut short there.
    ///
    /// # Errors
    /// When nothing takes the byte.
    pub fn new(mut out: W) -> Result<Self, StreamError<W::Error>> {
        out.write_all(&[0]).map_err(StreamError::Out)?;
        Ok(Self { out, next_sequence: 0, record: [0; MAX_RECORD_BYTES], frame: [0; MAX_FRAME_BYTES] })
    }

    /// Write a record, and have it flushed.
    ///
    /// # Errors
    /// When it is too long, or not taken.
    pub fn append(&mut self, record: &Record) -> Result<(), StreamError<W::Error>> {
        let written =
            encode(record, self.next_sequence, &mut self.record).map_err(|_| StreamError::TooLong)?;
        let framed = frame(written, &mut self.frame).map_err(|_| StreamError::TooLong)?;
        // Counted whether or not it gets through.
        self.next_sequence = self.next_sequence.wrapping_add(1);
        self.out.write_all(framed).and_then(|()| self.out.flush()).map_err(StreamError::Out)
    }

    /// What takes the bytes.
    pub fn into_inner(self) -> W {
        self.out
    }
}
