//! What was read of a job.

use std::path::Path;

use super::entry::{Entry, EntryId, LOST};
use crate::job::error::JobError;
use crate::job::state::State;

/// What was read of the file.
#[derive(Debug, Clone, Default)]
pub struct Memory {
    pub state: State,
    /// Number of the last entry that was read.
    pub read_to: EntryId,
    pub last_at: String,
    pub last_seal: String,
    pub notices: Vec<String>,
}

impl Memory {
    /// Take in the entry that comes next.
    pub fn take(&mut self, path: &Path, entry: &Entry) -> Result<(), JobError> {
        let id = entry.id;
        if id != self.read_to + 1 {
            return Err(JobError::damaged(path, self.read_to + 1, "is missing"));
        }
        let seal = entry.seal_after(&self.last_seal);
        if entry.seal.as_ref().is_some_and(|written| *written != seal) {
            return Err(JobError::damaged(path, id, "is not as it was written"));
        }
        let unread = |e: serde_json::Error| JobError::damaged(path, id, &format!("cannot be read: {e}"));
        match entry.draft().map_err(unread)? {
            Some(draft) => self.state.enter(id, &draft).map_err(|r| {
                JobError::damaged(path, id, &format!("cannot stand: {}: {}", r.place, r.what))
            })?,
            None if entry.kind == LOST => {
                self.notices.push(format!("entry {id} was lost when this job was rescued"))
            }
            None => self.state.unknown += 1,
        }
        self.note_time(id, &entry.at);
        self.read_to = id;
        self.last_seal = seal;
        Ok(())
    }

    /// Times are compared as text: they are all of one form.
    pub fn note_time(&mut self, id: EntryId, at: &str) {
        if *at < *self.last_at {
            self.notices.push(format!(
                "entry {id} was made at {at}, and the one before it at {}: a clock was set back or two machines differ; \
                 the order of the entries holds, their times do not",
                self.last_at
            ));
        }
        at.clone_into(&mut self.last_at);
    }
}
