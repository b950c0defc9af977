//! Field books of a handset: read from an image of its flash, from a file or from a wire, repaired, taken apart into
//! recordings, run again, followed live.
//!
//! Not to be confused with [`crate::book`], which holds the host's own records of a finished run.

mod export;
mod follow;
mod read;
mod recording;
mod text;

use std::io;
use std::path::{Path, PathBuf};

use thiserror::Error;

pub use export::{export, signal};
pub use follow::{Followed, Follower, follow, open_port};
pub use read::{Damaged, Entry, FieldBook, Form};
pub use recording::{Again, Recording};
pub use text::line;

use crate::capture::CaptureError;

/// Why a field book cannot be used. Each message names the file, the place, and a remedy.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum FieldBookError {
    /// The operating system refused.
    #[error("{file}: cannot {action}: {source}; check the path, its permissions and the device")]
    Io {
        /// The file or port.
        file: PathBuf,
        /// What was tried, as in `read`.
        action: &'static str,
        /// What the system said.
        source: io::Error,
    },
    /// Larger than any handset's storage.
    #[error("{file}: {bytes} bytes is more than a field book may hold ({limit}); split it")]
    TooLarge {
        /// The file.
        file: PathBuf,
        /// Its size.
        bytes: u64,
        /// The most that is read.
        limit: u64,
    },
    /// Not one record in it.
    #[error(
        "{file}: no whole record in {bytes} bytes; give an image of the handset's flash, the book from its card, or \
         a log of its link"
    )]
    Empty {
        /// The file.
        file: PathBuf,
        /// Its size.
        bytes: usize,
    },
    /// A recording that cannot be used.
    #[error("{file}, recording {number}: {problem}; {remedy}")]
    Recording {
        /// The file.
        file: PathBuf,
        /// Which recording, counted from 1.
        number: usize,
        /// What is wrong.
        problem: String,
        /// What to do.
        remedy: &'static str,
    },
    /// Something of that name is there already. It is left alone.
    #[error("{file}: exists already and is left as it is; choose another name or move it away")]
    Exists {
        /// The file.
        file: PathBuf,
    },
    /// The capture could not be written.
    #[error(transparent)]
    Capture(#[from] CaptureError),
}

impl FieldBookError {
    /// Wraps an error of the operating system, for `map_err`.
    fn io(file: &Path, action: &'static str) -> impl FnOnce(io::Error) -> Self {
        let file = file.to_path_buf();
        move |source| Self::Io { file, action, source }
    }
}
