//! What can be wrong with a capture, and what is merely worth a remark.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

use nullwalk_core::error::ConfigError;
use serde::Serialize;
use thiserror::Error;

/// Why a capture cannot be read or written. Each message names the file, the place, and a remedy.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum CaptureError {
    /// A file or folder that should be there is not.
    #[error("{file}: not found; {remedy}")]
    Missing {
        /// The file or folder.
        file: PathBuf,
        /// What to do.
        remedy: &'static str,
    },
    /// The operating system refused.
    #[error("{file}: cannot {action}: {source}; check the path, its permissions and the disk")]
    Io {
        /// The file or folder.
        file: PathBuf,
        /// What was tried, as in `read`.
        action: &'static str,
        /// What the system said.
        source: io::Error,
    },
    /// A text file of a size that cannot be meant.
    #[error("{file}: {bytes} bytes is more than a {kind} may hold ({limit}); record in shorter parts")]
    TooLarge {
        /// The file.
        file: PathBuf,
        /// Its size.
        bytes: u64,
        /// The most that is read.
        limit: u64,
        /// What kind of file it is.
        kind: &'static str,
    },
    /// `capture.toml` does not say what it must.
    #[error("{file}, {place}: {problem}; {remedy}")]
    Manifest {
        /// The file.
        file: PathBuf,
        /// Line or key.
        place: String,
        /// What is wrong.
        problem: String,
        /// What to do.
        remedy: &'static str,
    },
    /// A described instrument cannot work. The place is the parameter, the remedy what it must be.
    #[error("{file}: {source}")]
    Config {
        /// The file.
        file: PathBuf,
        /// Which parameter, and what is asked of it.
        source: ConfigError,
    },
    /// The samples are too slow, or the tone too high.
    #[error(
        "{file}, signal: a tone of {tone_hz} Hz does not fit a sample rate of {rate_hz} Hz (the tone + 10 Hz \
         must stay below half the rate); {remedy}"
    )]
    Tone {
        /// The file that holds the rate.
        file: PathBuf,
        /// Nominal tone.
        tone_hz: f64,
        /// Sample rate.
        rate_hz: f64,
        /// A rate that would do.
        remedy: String,
    },
    /// The sample file is broken.
    #[error("{file}, {place}: {problem}; {remedy}")]
    Wav {
        /// The file.
        file: PathBuf,
        /// Header or frame number.
        place: String,
        /// What is wrong.
        problem: String,
        /// What to do.
        remedy: &'static str,
    },
    /// The number of channels is not the one asked for.
    #[error("{file}, header: holds {found} channels where {wanted} are expected; {remedy}")]
    Channels {
        /// The file.
        file: PathBuf,
        /// Channels in the file.
        found: usize,
        /// Channels expected.
        wanted: usize,
        /// What to do.
        remedy: &'static str,
    },
    /// A cell, column or row of a table is wrong.
    #[error("{file}, line {line}, column {column}: {problem}; {remedy}")]
    Table {
        /// The file.
        file: PathBuf,
        /// Line, counted from 1.
        line: u64,
        /// Column name.
        column: String,
        /// What is wrong.
        problem: String,
        /// What to do.
        remedy: &'static str,
    },
    /// Something of that name is there already. It is left alone.
    #[error("{file}: exists already and is left as it is; choose another name or move it away")]
    Exists {
        /// The file or folder.
        file: PathBuf,
    },
    /// A live block that the format cannot hold.
    #[error("{file}, sample {sample}: {problem}; {remedy}")]
    Block {
        /// The capture being written.
        file: PathBuf,
        /// Sample index.
        sample: u64,
        /// What is wrong.
        problem: String,
        /// What to do.
        remedy: &'static str,
    },
}

impl CaptureError {
    /// Wraps an error of the operating system, for `map_err`.
    pub(super) fn io(file: &Path, action: &'static str) -> impl FnOnce(io::Error) -> Self {
        let file = file.to_path_buf();
        move |source| Self::Io { file, action, source }
    }

    /// Wraps an error of the core's builders, for `map_err`.
    pub(super) fn config(file: &Path) -> impl Fn(ConfigError) -> Self {
        let file = file.to_path_buf();
        move |source| Self::Config { file: file.clone(), source }
    }
}

/// Something odd about a capture that does not stop it from being read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Notice {
    /// The file it is about.
    pub file: PathBuf,
    /// What was noticed, and what was done about it.
    pub text: String,
}

impl Notice {
    pub(super) fn new(file: &Path, text: impl Into<String>) -> Self {
        Self { file: file.to_path_buf(), text: text.into() }
    }
}

impl fmt::Display for Notice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.file.display(), self.text)
    }
}
