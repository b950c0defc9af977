//! What can be wrong with a job, in words that name file, place and remedy.

use std::io;
use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;
use thiserror::Error;

use super::EntryId;

/// Why a job could not be read or added to. Whatever it is, what was in the job before is in it still.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum JobError {
    /// The file system refused.
    #[error("{}: cannot {action}: {source}; check the path, its permissions and the disk", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What was tried, as in `be read`.
        action: &'static str,
        /// What the system said.
        source: io::Error,
    },
    /// There is no such job.
    #[error("{}: no such job; begin one with `nullwalk job new`", path.display())]
    Missing {
        /// The file.
        path: PathBuf,
    },
    /// There is one already.
    #[error("{}: is there already and is left as it is; choose another name", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// Not a job at all.
    #[error("{}: {what}; give a file that `nullwalk job new` or `--job` made", path.display())]
    Foreign {
        /// The file.
        path: PathBuf,
        /// What it is.
        what: String,
    },
    /// A job of a later version.
    #[error(
        "{}: is of version {version}, and this program reads up to {known}; use a newer nullwalk",
        path.display()
    )]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its version.
        version: i64,
        /// The highest version that can be read.
        known: i64,
    },
    /// Damaged.
    #[error(
        "{}: {what}; the file is damaged or was changed by another program: work on with a copy from before, or save \
         what is whole with `nullwalk job rescue`",
        path.display()
    )]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What and where.
        what: String,
    },
    /// Another program is writing.
    #[error("{}: another program has been writing to it for 10 s; let it finish, then do this again", path.display())]
    Busy {
        /// The file.
        path: PathBuf,
    },
    /// The disk is full.
    #[error(
        "{}: the disk is full or a limit of its size is reached; what was in the job is safe, what was to be added is \
         not in it: make room, then do this again",
        path.display()
    )]
    Full {
        /// The file.
        path: PathBuf,
    },
    /// The file or its folder cannot be written to.
    #[error(
        "{}: can be read but not written to; copy it to a folder that you may write to, and add to the copy",
        path.display()
    )]
    ReadOnly {
        /// The file.
        path: PathBuf,
    },
    /// Something of the database that is none of the above.
    #[error("{}: {source}; check the disk, or work on with a copy", path.display())]
    Database {
        /// The file.
        path: PathBuf,
        /// What it said.
        source: rusqlite::Error,
    },
    /// What was to be added cannot be.
    #[error("{}, {place}: {what}", path.display())]
    Refused {
        /// The job.
        path: PathBuf,
        /// Which entry, as in `station 3`.
        place: String,
        /// What is wrong, and the remedy.
        what: String,
    },
}

impl JobError {
    /// Wraps an error of the database, for `map_err`.
    pub(super) fn database(path: &Path) -> impl Fn(rusqlite::Error) -> Self + use<> {
        let path = path.to_path_buf();
        move |source| {
            let path = path.clone();
            match source.sqlite_error_code() {
                Some(ErrorCode::DatabaseCorrupt) => {
                    let said = source
                        .sqlite_error()
                        .is_some_and(|e| e.extended_code == rusqlite::ffi::SQLITE_CORRUPT);
                    let what =
                        if said { source.to_string() } else { "its pages do not hold together".to_owned() };
                    Self::Damaged { path, what }
                }
                Some(ErrorCode::NotADatabase) => Self::Foreign { path, what: "is not a job".to_owned() },
                Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Busy { path },
                Some(ErrorCode::DiskFull | ErrorCode::TooBig) => Self::Full { path },
                Some(ErrorCode::ReadOnly) => Self::ReadOnly { path },
                // A limit on the size of files shows itself as a failed write.
                Some(ErrorCode::SystemIoFailure) if is_failed_write(&source) => Self::Full { path },
                _ => Self::Database { path, source },
            }
        }
    }

    /// Wraps an error of the file system, for `map_err`.
    pub(super) fn io(path: &Path, action: &'static str) -> impl FnOnce(io::Error) -> Self + use<> {
        let path = path.to_path_buf();
        move |source| Self::Io { path, action, source }
    }

    /// What cannot be entered, and where.
    pub(super) fn refused(path: &Path, place: impl Into<String>, what: impl Into<String>) -> Self {
        Self::Refused { path: path.to_path_buf(), place: place.into(), what: what.into() }
    }

    /// An entry that is not as it was written.
    pub(super) fn damaged(path: &Path, entry: EntryId, what: &str) -> Self {
        Self::Damaged { path: path.to_path_buf(), what: format!("entry {entry} {what}") }
    }
}

fn is_failed_write(error: &rusqlite::Error) -> bool {
    use rusqlite::ffi::{SQLITE_IOERR_FSYNC, SQLITE_IOERR_TRUNCATE, SQLITE_IOERR_WRITE};
    let extended = error.sqlite_error().map(|e| e.extended_code);
    [SQLITE_IOERR_WRITE, SQLITE_IOERR_FSYNC, SQLITE_IOERR_TRUNCATE].map(Some).contains(&extended)
}
