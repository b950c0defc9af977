//! What is to be entered in a job, and why it may not be.

use serde_json::Value;

use super::EntryId;
use super::content::Content;

/// Something to be entered.
#[expect(clippy::large_enum_variant, reason = "most are new, and they come one at a time")]
#[derive(Debug, Clone, PartialEq)]
pub enum Draft {
    /// Something new.
    New(Content),
    /// A correction: fields of an earlier entry with their new values (RFC 7396), and why.
    Correction {
        /// Which entry.
        of: EntryId,
        /// Why.
        reason: String,
        /// The fields that change.
        patch: Value,
    },
    /// An earlier entry counts no longer. It stays in the history.
    Withdrawal {
        /// Which entry.
        of: EntryId,
        /// Why.
        reason: String,
    },
}

/// Why something may not be entered: where, and what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// Which entry, as in `station 3`.
    pub place: String,
    /// What is wrong, and the remedy.
    pub what: String,
}

pub fn refuse<T>(place: impl Into<String>, what: impl Into<String>) -> Result<T, Refusal> {
    Err(Refusal { place: place.into(), what: what.into() })
}
