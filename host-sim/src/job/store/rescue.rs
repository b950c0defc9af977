//! What is whole in a damaged job saved.

use std::path::Path;

use super::Job;
use super::entry::{Entry, EntryId, LOST};
use super::format::check_magic;
use super::memory::Memory;
use super::rows::read_singly;
use crate::job::error::JobError;

impl Job {
    /// Save what is whole in a damaged job into a new one. What is not becomes an entry that says so, since later ones go
    /// by its number. Gives how many entries were saved, and the numbers of those that were not.
    ///
    /// # Errors
    /// When nothing can be read at all, or the new job cannot be written.
    pub fn rescue(from: &Path, to: &Path) -> Result<(usize, Vec<EntryId>), JobError> {
        check_magic(from)?;
        let damaged = Self::connect(from, false).or_else(|_| Self::connect(from, true))?;
        let entries = read_singly(&damaged.db);
        if entries.iter().flatten().next().is_none() {
            return Err(JobError::Foreign {
                path: from.to_owned(),
                what: "holds no entry that can be read".to_owned(),
            });
        }
        let mut lost = Vec::new();
        let mut saved = Self::make(to)?;
        saved.begin(|write| {
            let error = JobError::database(to);
            let (mut memory, mut before) = (Memory::default(), Some(String::new()));
            for (id, entry) in (1..).zip(entries) {
                let written = entry.as_ref().and_then(|e| e.seal.clone());
                let whole = entry.filter(|e| {
                    before.as_ref().zip(written.as_ref()).is_none_or(|(b, w)| e.seal_after(b) == *w)
                });
                before = written;
                let chain = memory.last_seal.clone();
                let unsealed = whole.map(|entry| Entry { seal: None, ..entry });
                let kept = unsealed.filter(|entry| memory.take(to, entry).is_ok());
                let entry = match kept {
                    Some(entry) => entry,
                    None => {
                        lost.push(id);
                        let (at, kind, body) = (memory.last_at.clone(), LOST.to_owned(), "{}".to_owned());
                        let entry = Entry { id, at, kind, body, ..Entry::default() };
                        memory.take(to, &entry)?;
                        entry
                    }
                };
                entry.insert(write, &chain).map_err(&error)?;
            }
            Ok(())
        })?;
        let kept = usize::try_from(saved.memory.read_to).unwrap_or(0) - lost.len();
        Ok((kept, lost))
    }
}
