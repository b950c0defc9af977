//! Finding the records in a file, whatever happened to it.

use std::fs::File;
use std::io::Read as _;
use std::ops::Range;
use std::path::{Path, PathBuf};

use nullwalk_core::record::{
    Deframer, Envelope, Kind, MAX_FRAME_BYTES, Record, Unreadable, VERSION, frame,
};

use super::FieldBookError;

/// More than the cards that handsets take can hold in a year.
const LARGEST_BYTES: u64 = 1 << 29;
/// In an image a record is looked for at every byte. Of a random 32-bit checksum alone, one in 4 G is right; that a
/// version and a kind in use stand before it makes chance finds rarer than hardware faults.
const NEWEST_VERSION: u8 = VERSION + 7;
const HIGHEST_KIND: u8 = 63;

/// A field book as it was found.
#[derive(Debug, Clone, PartialEq)]
pub struct FieldBook {
    /// The file.
    pub file: PathBuf,
    /// What the file is.
    pub form: Form,
    /// Whole records, in the order of their numbers.
    pub entries: Vec<Entry>,
    /// Where bytes are that belong to no whole record. In an image nobody knows, since it holds much else.
    pub damaged: Vec<Damaged>,
    /// Records missing between those that are there.
    pub lost: u32,
    /// Hops that had made room for newer ones.
    pub overwritten: u32,
}

/// What a file is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Framed records: from a card or a wire.
    Stream,
    /// An image of a flash.
    Image,
}

/// One whole record.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Where it stands in the file.
    pub at: usize,
    /// Its number.
    pub sequence: u32,
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// What it says.
    pub record: Result<Record, Unreadable>,
}

/// A stretch that is no whole record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Damaged {
    /// Where it is in the file.
    pub place: Range<usize>,
}

impl FieldBook {
    /// Read a field book.
    ///
    /// # Errors
    /// When the file cannot be read, or holds not one whole record.
    pub fn open(file: &Path) -> Result<Self, FieldBookError> {
        let opened = File::open(file).map_err(FieldBookError::io(file, "open"))?;
        let mut bytes = Vec::new();
        opened.take(LARGEST_BYTES + 1).read_to_end(&mut bytes).map_err(FieldBookError::io(file, "read"))?;
        if bytes.len() as u64 > LARGEST_BYTES {
            let (file, bytes, limit) = (file.to_path_buf(), bytes.len() as u64, LARGEST_BYTES);
            return Err(FieldBookError::TooLarge { file, bytes, limit });
        }
        Self::find(file, &bytes)
    }

    /// Find the records in `bytes`, which are those of `file`.
    ///
    /// # Errors
    /// When there are none.
    pub fn find(file: &Path, bytes: &[u8]) -> Result<Self, FieldBookError> {
        let (stream, image) = (Self::from_stream(file, bytes), Self::from_image(file, bytes));
        let found = if stream.entries.len() >= image.entries.len() { stream } else { image };
        if found.entries.is_empty() {
            return Err(FieldBookError::Empty { file: file.to_path_buf(), bytes: bytes.len() });
        }
        Ok(found)
    }

    fn from_stream(file: &Path, bytes: &[u8]) -> Self {
        let mut deframer = Deframer::default();
        let (mut entries, mut damaged, mut begun) = (Vec::new(), Vec::new(), 0);
        for (at, &byte) in bytes.iter().enumerate() {
            match deframer.push(byte) {
                Some(Ok(envelope)) => entries.push(entry(begun, &envelope)),
                Some(Err(_)) => damaged.push(Damaged { place: begun..at }),
                None => {}
            }
            if byte == 0 {
                begun = at + 1;
            }
        }
        if deframer.is_within() {
            damaged.push(Damaged { place: begun..bytes.len() });
        }
        let lost = deframer.losses().lost();
        Self { file: file.to_path_buf(), form: Form::Stream, entries, damaged, lost, overwritten: 0 }
    }

    fn from_image(file: &Path, bytes: &[u8]) -> Self {
        let mut entries: Vec<Entry> = Vec::new();
        let mut at = 0;
        while let Some(rest) = bytes.get(at..).filter(|rest| !rest.is_empty()) {
            let likely =
                matches!(*rest, [1..=NEWEST_VERSION, 1..=HIGHEST_KIND, ..]).then(|| Envelope::take(rest));
            match likely {
                Some(Ok((envelope, after))) => {
                    entries.push(entry(at, &envelope));
                    at = bytes.len() - after.len();
                }
                _ => at += 1,
            }
        }
        entries.sort_by_key(|entry| entry.sequence);
        // What a flash did not take at once was written again.
        entries.dedup_by(|a, b| a.bytes == b.bytes);
        let (lost, overwritten) = missing(&entries);
        Self {
            file: file.to_path_buf(),
            form: Form::Image,
            entries,
            damaged: Vec::new(),
            lost,
            overwritten,
        }
    }

    /// All whole records as a stream, also those that this program cannot read.
    pub fn repaired(&self) -> Vec<u8> {
        let mut stream = vec![0];
        let mut room = [0; MAX_FRAME_BYTES];
        for entry in &self.entries {
            // A record that was taken out of an envelope has the length of one.
            stream.extend_from_slice(frame(&entry.bytes, &mut room).unwrap_or_default());
        }
        stream
    }

    /// What is wrong with it, in words.
    pub fn findings(&self) -> Vec<String> {
        let mut findings = Vec::new();
        for damaged in &self.damaged {
            let place = &damaged.place;
            findings.push(format!("bytes {} to {} are no whole record", place.start, place.end));
        }
        if self.lost > 0 {
            findings.push(format!("{} records are lost, by their numbers", self.lost));
        }
        if self.overwritten > 0 {
            findings.push(format!("{} hops made room for newer ones", self.overwritten));
        }
        if self.unreadable() > 0 {
            let n = self.unreadable();
            findings.push(format!("{n} records are of a later version; read them with a newer nullwalk"));
        }
        findings
    }

    /// Records that this program cannot read: of a later version, or of a kind it does not know.
    pub fn unreadable(&self) -> usize {
        self.entries.iter().filter(|entry| entry.record.is_err()).count()
    }

    /// Readable records in their order.
    pub fn records(&self) -> impl Iterator<Item = &Record> {
        self.entries.iter().filter_map(|entry| entry.record.as_ref().ok())
    }
}

fn entry(at: usize, envelope: &Envelope<'_>) -> Entry {
    Entry { at, sequence: envelope.sequence, bytes: envelope.bytes.to_vec(), record: envelope.open() }
}

/// Numbers that are missing: after the first hop that is left they were lost, before it hops made room.
fn missing(entries: &[Entry]) -> (u32, u32) {
    let is_hop = |entry: &&Entry| entry.record.as_ref().is_ok_and(|record| record.kind() == Kind::Hop);
    let first_hop = entries.iter().find(is_hop).map_or(u32::MAX, |entry| entry.sequence);
    let (mut lost, mut overwritten, mut next) = (0, 0, 0);
    for entry in entries {
        let gap = entry.sequence.saturating_sub(next);
        *if entry.sequence <= first_hop { &mut overwritten } else { &mut lost } += gap;
        next = entry.sequence.saturating_add(1);
    }
    (lost, overwritten)
}
