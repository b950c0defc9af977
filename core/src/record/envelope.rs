//! What stands around every payload, in a layout that no version may change.

use crc::{CRC_32_ISCSI, Crc, NoTable};

use super::{Kind, Record, Unreadable, fault, guidance, header, hop, judged, note, station};

/// Version of the payloads that are written. Fields are only ever added at a payload's end, where an older reader
/// does not look; for any other change the version rises.
pub const VERSION: u8 = 1;

/// The most bytes that a record may have.
pub const MAX_RECORD_BYTES: usize = 1024;

/// Version, kind, sequence number, length of the payload.
const HEAD_BYTES: usize = 1 + 1 + 4 + 2;
const CHECKSUM_BYTES: usize = 4;

/// The checksum of every record. Of the common ones of 32 bits it sees most: any five wrong bits in records up to 655
/// bytes, any three in longer ones (Koopman 2002, 32-bit cyclic redundancy codes, DSN). Without a table: a record has
/// some hundred bytes, and there are some ten of them a second.
const CHECKSUM: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISCSI);

/// A whole record: its checksum is right, so it is as it was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Envelope<'a> {
    /// Version of the payload.
    pub version: u8,
    /// Number of the kind.
    pub kind: u8,
    /// Number of the record in its book or stream. It wraps at 2^32.
    pub sequence: u32,
    /// What is in it.
    pub payload: &'a [u8],
    /// All of its bytes, to be copied as they are.
    pub bytes: &'a [u8],
}

/// Why bytes are no whole record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Damage {
    /// They end before the record does.
    Short,
    /// No record is that long.
    Length,
    /// The checksum is not that of the bytes.
    Checksum,
    /// Something follows the record.
    Trailing,
    /// They are not framed as they should be.
    Framing,
}

/// The buffer is too small for the record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NoRoom;

impl<'a> Envelope<'a> {
    /// The record that `bytes` begin with, and what follows it.
    ///
    /// # Errors
    /// When they begin with none.
    pub fn take(bytes: &'a [u8]) -> Result<(Self, &'a [u8]), Damage> {
        let [version, kind, s0, s1, s2, s3, l0, l1, ..] = *bytes else { return Err(Damage::Short) };
        let length = usize::from(u16::from_le_bytes([l0, l1]));
        if length > MAX_RECORD_BYTES - HEAD_BYTES - CHECKSUM_BYTES {
            return Err(Damage::Length);
        }
        let (checked, rest) = bytes.split_at_checked(HEAD_BYTES + length).ok_or(Damage::Short)?;
        let (checksum, rest) = rest.split_first_chunk().ok_or(Damage::Short)?;
        if CHECKSUM.checksum(checked) != u32::from_le_bytes(*checksum) {
            return Err(Damage::Checksum);
        }
        let payload = checked.get(HEAD_BYTES..).unwrap_or_default();
        let bytes = bytes.get(..HEAD_BYTES + length + CHECKSUM_BYTES).unwrap_or_default();
        Ok((Self { version, kind, sequence: u32::from_le_bytes([s0, s1, s2, s3]), payload, bytes }, rest))
    }

    /// The record that `bytes` are.
    ///
    /// # Errors
    /// When they are not one whole record and nothing else.
    pub fn whole(bytes: &'a [u8]) -> Result<Self, Damage> {
        match Self::take(bytes)? {
            (envelope, []) => Ok(envelope),
            _ => Err(Damage::Trailing),
        }
    }

    /// What the record says.
    ///
    /// # Errors
    /// When its version or kind is not known, or the payload is not one of its kind.
    pub fn open(&self) -> Result<Record, Unreadable> {
        if self.version != VERSION {
            return Err(Unreadable::Version(self.version));
        }
        let kind = Kind::of(self.kind).ok_or(Unreadable::Kind(self.kind))?;
        let record = match kind {
            Kind::Header => header::read(self.payload).map(Record::Header),
            Kind::Hop => hop::read(self.payload).map(Record::Hop),
            Kind::Fix => judged::read(self.payload).map(Record::Fix),
            Kind::Station => station::read(self.payload).map(Record::Station),
            Kind::Note => note::read(self.payload).map(Record::Note),
            Kind::Fault => fault::read(self.payload).map(Record::Fault),
            Kind::Guidance => guidance::read(self.payload).map(Record::Guidance),
        };
        record.ok_or(Unreadable::Payload(kind))
    }
}

/// Write `record` as number `sequence` of its book or stream to the front of `out`, which has room for any record if
/// it has [`MAX_RECORD_BYTES`]. Returns what was written.
///
/// # Errors
/// When there is no room.
pub fn encode<'a>(record: &Record, sequence: u32, out: &'a mut [u8]) -> Result<&'a [u8], NoRoom> {
    let (head, body) = out.split_first_chunk_mut::<HEAD_BYTES>().ok_or(NoRoom)?;
    let payload = match record {
        Record::Header(record) => header::write(record, body),
        Record::Hop(record) => hop::write(record, body),
        Record::Fix(record) => judged::write(record, body),
        Record::Station(record) => station::write(record, body),
        Record::Note(record) => note::write(record, body),
        Record::Fault(record) => fault::write(record, body),
        Record::Guidance(record) => guidance::write(record, body),
    };
    let length = payload.ok_or(NoRoom)?;
    let [s0, s1, s2, s3] = sequence.to_le_bytes();
    let [l0, l1] = u16::try_from(length).map_err(|_| NoRoom)?.to_le_bytes();
    *head = [VERSION, record.kind().code(), s0, s1, s2, s3, l0, l1];
    let whole = HEAD_BYTES + length + CHECKSUM_BYTES;
    let written = out.get_mut(..whole.min(MAX_RECORD_BYTES)).ok_or(NoRoom)?;
    let (checked, checksum) = written.split_last_chunk_mut::<CHECKSUM_BYTES>().ok_or(NoRoom)?;
    if checked.len() != HEAD_BYTES + length {
        return Err(NoRoom);
    }
    *checksum = CHECKSUM.checksum(checked).to_le_bytes();
    Ok(written)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_checksum_is_the_one_of_the_catalogue() {
        // Catalogue of parametrised CRC algorithms (Greg Cook), CRC-32/ISCSI: check = 0xe3069283.
        assert_eq!(CHECKSUM.checksum(b"123456789"), 0xe306_9283);
    }
}
