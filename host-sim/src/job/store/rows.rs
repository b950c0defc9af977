//! Entries as rows of a database.

use rusqlite::{Connection, Transaction, params};

use super::entry::{Entry, EntryId};
use super::format::{SEALED, version};

/// A damaged file is given up after so many numbers in a row without an entry.
const LONGEST_HOLE: usize = 1000;

impl Entry {
    /// Write it with its seal, and give that.
    pub(super) fn insert(&self, write: &Transaction<'_>, before: &str) -> rusqlite::Result<String> {
        let seal = self.seal_after(before);
        let mut insert = write.prepare_cached(
            "INSERT INTO entry (id, at, by, kind, of, reason, body) VALUES (?, ?, ?, ?, ?, ?, ?)",
        )?;
        insert.execute(params![self.id, self.at, self.by, self.kind, self.of, self.reason, self.body])?;
        write_seal(write, self.id, &seal)?;
        Ok(seal)
    }
}

pub fn write_seal(write: &Transaction<'_>, id: EntryId, seal: &str) -> rusqlite::Result<()> {
    write.prepare_cached("INSERT INTO seal (id, sha256) VALUES (?, ?)")?.execute(params![id, seal])?;
    Ok(())
}

/// The entries after this one. What was counted and is not there stands for itself as an error.
pub fn read_after(db: &Connection, id: EntryId) -> rusqlite::Result<Vec<Entry>> {
    // One look at the file, even while others write.
    let _look = db.is_autocommit().then(|| db.unchecked_transaction()).transpose()?;
    let entries = select_after(db, id, version(db)? >= SEALED)?;
    let counted: EntryId =
        db.query_row("SELECT seq FROM sqlite_sequence WHERE name = 'entry'", [], |row| row.get(0))?;
    if entries.last().map_or(id, |last| last.id) < counted {
        let corrupt = rusqlite::ffi::Error::new(rusqlite::ffi::SQLITE_CORRUPT);
        return Err(rusqlite::Error::SqliteFailure(
            corrupt,
            Some("the last entries are missing".to_owned()),
        ));
    }
    Ok(entries)
}

pub fn select_after(db: &Connection, id: EntryId, sealed: bool) -> rusqlite::Result<Vec<Entry>> {
    let mut select = db.prepare_cached(if sealed {
        "SELECT id, at, by, kind, of, reason, body, coalesce(sha256, '') FROM entry LEFT JOIN seal USING (id)
         WHERE id > ? ORDER BY id"
    } else {
        "SELECT id, at, by, kind, of, reason, body, NULL FROM entry WHERE id > ? ORDER BY id"
    })?;
    let rows = select.query_map([id], entry_of)?;
    rows.collect()
}

/// The entries for which `which` holds, with two numbers in it, without their seals.
pub fn select(db: &Connection, which: &str, numbers: [EntryId; 2]) -> rusqlite::Result<Vec<Entry>> {
    let order = format!("SELECT id, at, by, kind, of, reason, body, NULL FROM entry {which} ORDER BY id");
    db.prepare_cached(&order)?.query_map(numbers, entry_of)?.collect()
}

fn entry_of(row: &rusqlite::Row<'_>) -> rusqlite::Result<Entry> {
    Ok(Entry {
        id: row.get(0)?,
        at: row.get(1)?,
        by: row.get(2)?,
        kind: row.get(3)?,
        of: row.get(4)?,
        reason: row.get(5)?,
        body: row.get(6)?,
        seal: row.get(7)?,
    })
}

/// Every entry that a damaged file still gives, by its number less one.
pub fn read_singly(db: &Connection) -> Vec<Option<Entry>> {
    let one = |id: EntryId| {
        let sealed = "SELECT id, at, by, kind, of, reason, body, (SELECT sha256 FROM seal WHERE seal.id = entry.id) \
                      FROM entry WHERE id = ?";
        let unsealed = "SELECT id, at, by, kind, of, reason, body, NULL FROM entry WHERE id = ?";
        let read = |order| db.query_row(order, [id], entry_of);
        // Where the seals cannot be read, or the file has none, the entry may be whole.
        read(sealed).or_else(|_| read(unsealed)).ok()
    };
    let mut entries: Vec<Option<Entry>> = Vec::new();
    let mut hole = 0;
    while hole < LONGEST_HOLE {
        let entry = one(entries.len() as EntryId + 1);
        hole = if entry.is_some() { 0 } else { hole + 1 };
        entries.push(entry);
    }
    entries.truncate(entries.len() - LONGEST_HOLE);
    entries
}
