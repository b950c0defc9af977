//! Entering: what is new, what corrects and what withdraws.

use serde_json::Value;

use super::EntryId;
use super::admit::NO_SUCH;
use super::content::Content;
use super::draft::{Draft, Refusal, refuse};
use super::state::State;

const NO_REASON: &str = "a change needs a reason; give one";

impl State {
    /// Enter `draft` under the number `id`, if it may be.
    pub(super) fn enter(&mut self, id: EntryId, draft: &Draft) -> Result<(), Refusal> {
        match draft {
            Draft::New(content) => {
                self.admit(id, content)?;
                self.entries.insert(id, content.clone());
            }
            Draft::Correction { of, reason, patch } => {
                let corrected = self.corrected(*of, reason, patch)?;
                self.admit(*of, &corrected)?;
                self.entries.insert(*of, corrected);
            }
            Draft::Withdrawal { of, reason } => {
                self.may_go(*of, reason)?;
                self.entries.remove(of);
            }
        }
        Ok(())
    }

    fn corrected(&self, of: EntryId, reason: &str, patch: &Value) -> Result<Content, Refusal> {
        let place = format!("entry {of}");
        let Some(before) = self.get(of) else { return refuse(place, NO_SUCH) };
        if reason.trim().is_empty() {
            return refuse(place, NO_REASON);
        }
        let unread =
            |e: serde_json::Error| Refusal { place: place.clone(), what: format!("cannot be so: {e}") };
        let mut value = before.to_value().map_err(unread)?;
        json_patch::merge(&mut value, patch);
        let after = Content::from_text(before.kind(), &value.to_string()).map_err(unread)?;
        let Some(after) = after else { return refuse(place, NO_SUCH) };
        // A misspelt field would be passed over in silence, and the correction would correct nothing.
        let mut again = after.to_value().map_err(unread)?;
        let kept = again.clone();
        json_patch::merge(&mut again, patch);
        if without_nulls(&again) != without_nulls(&kept) {
            return refuse(place, format!("a {} has no such field as in {patch}", before.kind()));
        }
        Ok(after)
    }

    fn may_go(&self, of: EntryId, reason: &str) -> Result<(), Refusal> {
        let place = format!("entry {of}");
        let Some(content) = self.get(of) else { return refuse(place, NO_SUCH) };
        if reason.trim().is_empty() {
            return refuse(place, NO_REASON);
        }
        if matches!(content, Content::Settings(_)) {
            return refuse(place, "holds the job's settings, which can be corrected but not withdrawn");
        }
        let needs = |c: &Content| match c {
            Content::Station(s) => s.run == of || s.origin.as_ref().is_some_and(|o| o.source == of),
            Content::Tie(t) => t.station == of || t.point == of,
            _ => false,
        };
        match self.entries().find(|(_, c)| needs(c)) {
            Some((user, c)) => {
                refuse(place, format!("is needed by entry {user}, a {}; withdraw that first", c.kind()))
            }
            None => Ok(()),
        }
    }
}

/// Without the fields that say nothing: a patch takes away what stands against `null`, and a writer may write it. A 1 is
/// a 1.0.
fn without_nulls(value: &Value) -> Value {
    match value {
        Value::Number(n) => n.as_f64().into(),
        Value::Array(list) => list.iter().map(without_nulls).collect(),
        Value::Object(map) => {
            let kept = map.iter().filter(|(_, v)| !v.is_null());
            Value::Object(kept.map(|(k, v)| (k.clone(), without_nulls(v))).collect())
        }
        other => other.clone(),
    }
}
