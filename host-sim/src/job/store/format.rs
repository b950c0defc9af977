//! What tells a job from other files, and its version.

use std::fs::File;
use std::io::Read as _;
use std::path::Path;

use rusqlite::Connection;

use crate::job::error::JobError;

/// What stands in the file's header, so that it is told from other databases: `NWJB`.
pub const APPLICATION_ID: i32 = 0x4e57_4a42;
/// Version of the file that is written.
pub const VERSION: i64 = 2;
/// The version from which on entries have seals.
pub const SEALED: i64 = 2;
const MAGIC: &[u8] = b"SQLite format 3\0";

/// Whether the file begins as a database does.
pub fn check_magic(path: &Path) -> Result<(), JobError> {
    let mut head = [0; MAGIC.len()];
    let mut file = match File::open(path) {
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
            return Err(JobError::Missing { path: path.to_owned() });
        }
        opened => opened.map_err(JobError::io(path, "be opened"))?,
    };
    let foreign = |what: &str| Err(JobError::Foreign { path: path.to_owned(), what: what.to_owned() });
    if path.is_dir() {
        return foreign("is a folder and not a job");
    }
    match file.read_exact(&mut head) {
        Ok(()) if head == MAGIC => Ok(()),
        Ok(()) => foreign("is not a job"),
        Err(e) if e.kind() == std::io::ErrorKind::UnexpectedEof => {
            foreign("is too short for a job; its making was interrupted, or it is something else")
        }
        Err(e) => Err(JobError::io(path, "be read")(e)),
    }
}

/// Whether this is a job, and one that this program understands.
pub fn recognise(db: &Connection, path: &Path) -> Result<(), JobError> {
    let error = JobError::database(path);
    let application: i64 =
        db.pragma_query_value(None, "application_id", |row| row.get(0)).map_err(&error)?;
    let version = version(db).map_err(&error)?;
    let path = path.to_owned();
    match application {
        0 if version == 0 => {
            Err(JobError::Foreign { path, what: "is empty, or a database of another program".to_owned() })
        }
        _ if application != i64::from(APPLICATION_ID) => {
            Err(JobError::Foreign { path, what: "is a database of another program".to_owned() })
        }
        _ if version > VERSION => Err(JobError::Newer { path, version, known: VERSION }),
        _ => Ok(()),
    }
}

pub fn version(db: &Connection) -> rusqlite::Result<i64> {
    db.pragma_query_value(None, "user_version", |row| row.get(0))
}
