//! From one version of the file to the next.

use rusqlite::Transaction;

use super::format::{SEALED, VERSION};
use super::rows::{select_after, write_seal};

/// What makes a database a job, version by version. A new file goes through all of them, as an old one through those it
/// has not seen.
const STEPS: [&str; VERSION as usize] = [include_str!("version-1.sql"), include_str!("version-2.sql")];

/// Take the steps that a file of version `from` has not taken.
pub fn take_steps(write: &Transaction<'_>, from: i64) -> rusqlite::Result<()> {
    for step in STEPS.iter().skip(usize::try_from(from).unwrap_or(0)) {
        write.execute_batch(step)?;
    }
    if from < SEALED {
        let mut before = String::new();
        for entry in select_after(write, 0, false)? {
            before = entry.seal_after(&before);
            write_seal(write, entry.id, &before)?;
        }
    }
    write.pragma_update(None, "user_version", VERSION)
}
