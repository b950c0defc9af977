//! A field book in memory.

use nullwalk_core::record::{Envelope, Kind, MAX_RECORD_BYTES, Record, encode};
use nullwalk_handset::book::{Book, Unkept};

/// Keeps the bytes of every record, in order.
#[derive(Default)]
pub struct RamBook {
    pub records: Vec<Vec<u8>>,
    /// What it says to everything, if anything.
    pub refuses: Option<Unkept>,
    pub closed: u32,
}

impl Book for RamBook {
    fn append(&mut self, record: &Record) -> Result<(), Unkept> {
        if let Some(unkept) = self.refuses {
            return Err(unkept);
        }
        let mut room = [0; MAX_RECORD_BYTES];
        let written = encode(record, self.records.len() as u32, &mut room).map_err(|_| Unkept::Failed)?;
        self.records.push(written.to_vec());
        Ok(())
    }

    fn close(&mut self) -> Result<(), Unkept> {
        self.closed += 1;
        self.refuses.map_or(Ok(()), Err)
    }
}

impl RamBook {
    /// Everything that can be read back: all of it.
    pub fn all(&self) -> impl Iterator<Item = Record> {
        self.records.iter().map(|bytes| Envelope::whole(bytes).unwrap().open().unwrap())
    }

    /// Those of a kind.
    pub fn of(&self, kind: Kind) -> Vec<Record> {
        self.all().filter(|record| record.kind() == kind).collect()
    }
}
