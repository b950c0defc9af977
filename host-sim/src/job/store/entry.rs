//! An entry as it stands in the history: what it enters, in words, and its seal.

use sha2::{Digest as _, Sha256};

use crate::job::content::Content;
use crate::job::draft::Draft;
use crate::job::fingerprint::hex;

/// Number of an entry.
pub type EntryId = i64;

/// Kind of an entry that could not be rescued.
pub const LOST: &str = "lost";

/// An entry as it stands in the history.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Entry {
    /// Its number.
    pub id: EntryId,
    /// When it was entered, by the clock of the machine.
    pub at: String,
    /// Who entered it.
    pub by: String,
    /// What kind it is.
    pub kind: String,
    /// Which entry it changes.
    pub of: Option<EntryId>,
    /// Why.
    pub reason: String,
    /// What it says, as JSON.
    pub body: String,
    /// SHA-256 over all this and the seal of the entry before it.
    pub seal: Option<String>,
}

impl Entry {
    /// What `draft` enters, in words.
    pub(super) fn of(id: EntryId, at: String, by: String, draft: &Draft) -> serde_json::Result<Self> {
        let (kind, of, reason, body) = match draft {
            Draft::New(content) => (content.kind(), None, "", content.to_value()?.to_string()),
            Draft::Correction { of, reason, patch } => {
                ("correction", Some(*of), reason.as_str(), patch.to_string())
            }
            Draft::Withdrawal { of, reason } => ("withdrawal", Some(*of), reason.as_str(), "{}".to_owned()),
        };
        let (kind, reason) = (kind.to_owned(), reason.to_owned());
        Ok(Self { id, at, by, kind, of, reason, body, seal: None })
    }

    /// What it enters; `None` for a kind that this program does not know.
    pub(super) fn draft(&self) -> serde_json::Result<Option<Draft>> {
        let reason = self.reason.clone();
        Ok(match (self.kind.as_str(), self.of) {
            ("correction", Some(of)) => {
                Some(Draft::Correction { of, reason, patch: serde_json::from_str(&self.body)? })
            }
            ("withdrawal", Some(of)) => Some(Draft::Withdrawal { of, reason }),
            _ => Content::from_text(&self.kind, &self.body)?.map(Draft::New),
        })
    }

    /// Each part with its length, so that no two entries are the same bytes.
    pub(super) fn seal_after(&self, before: &str) -> String {
        let (id, of) = (self.id.to_string(), self.of.map_or(String::new(), |of| of.to_string()));
        let mut hash = Sha256::new();
        for part in [before, &id, &self.at, &self.by, &self.kind, &of, &self.reason, &self.body] {
            hash.update((part.len() as u64).to_le_bytes());
            hash.update(part);
        }
        hex(&hash.finalize())
    }
}
