//! The job: everything that is known about one piece of work, kept over days in one file.
//!
//! A [`Job`] is a list of entries that only grows. What was wrong is corrected by a later entry with its reason, and what
//! all of them amount to is the [`State`]. Several programs may have one job open.
//!
//! ```
//! use nullwalk::job::{Content, Draft, Job, Note, Settings};
//! let folder = tempfile::tempdir().unwrap();
//! let path = folder.path().join("yard.job");
//! let mut job = Job::create(&path, Settings { title: "Yard".into(), ..Settings::default() }).unwrap();
//! let note = Note { text: "Gate code at the office.".into(), about: None };
//! job.append(&[Draft::New(Content::Note(note))]).unwrap();
//! assert_eq!(Job::open(&path).unwrap().state().notes().count(), 1);
//! ```

mod admit;
mod checks;
mod content;
mod draft;
mod enter;
mod error;
mod fingerprint;
mod import;
mod keep;
mod keeper;
mod place;
mod places;
mod state;
mod store;
mod ties;

pub use content::{
    Content, Falls, Note, Origin, OtherLine, Photo, Point, RunCard, Settings, Source, StationEntry, Sweep,
    Ticket, Tie, Utility,
};
pub use draft::{Draft, Refusal};
pub use error::JobError;
pub use fingerprint::fingerprint;
pub use import::{ImportError, Imported, bring_in};
pub use keep::{keep_marked, keep_run, keep_station, recording};
pub use keeper::Keeper;
pub use place::{Anchor, Cov, Datum, Geodetic, Gnss, Heights, Place, Side, Spot, ellipse95};
pub use places::{Places, Unplaced};
pub use state::State;
pub use store::{Entry, EntryId, Job};
pub use ties::{Swing, Tied, Untied, tied};
