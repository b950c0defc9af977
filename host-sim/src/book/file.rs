//! Books of earlier versions, which were JSON; and files written whole or not at all.

use std::fs::{self, File};
use std::io::{self, Read as _, Write as _};
use std::path::{Path, PathBuf};

use serde::Deserialize;
use thiserror::Error;

use super::{Fault, Run};

const FORMAT: &str = "nullwalk-run";
const VERSION: u32 = 1;

/// No honest run comes near this; a larger file is something else and is not read into memory.
const LARGEST_BYTES: u64 = 64 << 20;

/// Why a book could not be read.
#[derive(Debug, Error)]
pub enum BookError {
    /// The file system refused.
    #[error("{}: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// Not JSON, or not the JSON of a run.
    #[error("{}: not a run book: {source}; give one that an earlier nullwalk wrote", path.display())]
    Syntax {
        /// The file.
        path: PathBuf,
        /// What and where, by line and column.
        source: serde_json::Error,
    },
    /// JSON of another kind, of a later version, or far too large.
    #[error("{}: {what}", path.display())]
    Unsuitable {
        /// The file.
        path: PathBuf,
        /// What it is, and the remedy.
        what: String,
    },
    /// A figure that cannot be true.
    #[error("{}: {fault}", path.display())]
    Figure {
        /// The file.
        path: PathBuf,
        /// Which figure.
        fault: Fault,
    },
}

/// The run with the words that tell its file from any other.
#[derive(Deserialize)]
struct BookFile<R> {
    format: String,
    version: u32,
    run: R,
}

impl Run {
    /// Read a run that an earlier version kept as JSON. Unknown keys are passed over; missing ones take their defaults.
    ///
    /// # Errors
    /// When the file cannot be read, is not a run book of this version or older, or holds impossible
    /// figures.
    pub fn load(path: &Path) -> Result<Self, BookError> {
        let io_error = |source| BookError::Io { path: path.to_owned(), source };
        let unsuitable = |what| BookError::Unsuitable { path: path.to_owned(), what };
        let mut text = Vec::new();
        File::open(path)
            .and_then(|file| file.take(LARGEST_BYTES + 1).read_to_end(&mut text))
            .map_err(io_error)?;
        if text.len() as u64 > LARGEST_BYTES {
            return Err(unsuitable("is larger than 64 MiB; no run book is".to_owned()));
        }
        let syntax = |source| BookError::Syntax { path: path.to_owned(), source };
        // The head is read first, so that a later version is named as such and not as a broken file.
        let head: BookFile<serde::de::IgnoredAny> = serde_json::from_slice(&text).map_err(syntax)?;
        if head.format != FORMAT {
            return Err(unsuitable(format!("is of format {:?}; expected {FORMAT:?}", head.format)));
        }
        if head.version > VERSION {
            let version = head.version;
            return Err(unsuitable(format!(
                "is of version {version}, and this program reads up to {VERSION}; use a newer one"
            )));
        }
        let book: BookFile<Self> = serde_json::from_slice(&text).map_err(syntax)?;
        book.run.check().map_err(|fault| BookError::Figure { path: path.to_owned(), fault })?;
        Ok(book.run)
    }
}

/// Write `content` beside `path` and move it into place, so that no reader ever sees half a file and a
/// failure leaves the old one as it was.
///
/// # Errors
/// Whatever the file system says; the temporary file is removed.
pub fn write_whole(path: &Path, content: &[u8]) -> io::Result<()> {
    let mut temporary = path.as_os_str().to_owned();
    temporary.push(format!(".{}.part", std::process::id()));
    let temporary = PathBuf::from(temporary);
    let written = File::create(&temporary)
        .and_then(|mut file| file.write_all(content).and_then(|()| file.sync_all()))
        .and_then(|()| fs::rename(&temporary, path));
    if written.is_err() {
        // The first error is the one to report; a leftover that cannot be removed either adds nothing to it.
        let _ = fs::remove_file(&temporary);
    }
    written
}
