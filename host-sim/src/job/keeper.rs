//! Keeping one station after another in a run of a job.

use std::path::Path;

use super::{Job, JobError, Settings, Source, keep_marked, recording};
use crate::book::{Run, Station};

/// Where stations are kept.
pub struct Keeper {
    job: Job,
    run: Run,
    source: Option<Source>,
}

impl Keeper {
    /// Keep stations in the job at `path`, which is begun if it is not there, in the run that has the title of `run`.
    /// `from` is the recording they come from.
    ///
    /// # Errors
    /// When the job cannot be opened or written, or the recording cannot be read.
    pub fn open(path: &Path, run: Run, from: Option<&Path>) -> Result<Self, JobError> {
        let source = from.map(recording).transpose()?;
        Ok(Self { job: Job::open_or_create(path, Settings::of(&run))?, run, source })
    }

    /// Keep a station under the next number of the run, and tell that. It is on the disk then, or an error says why not.
    ///
    /// # Errors
    /// When the job does not take it.
    pub fn keep(&mut self, station: Station) -> Result<u32, JobError> {
        keep_marked(&mut self.job, &self.run, station, self.source.as_ref())
    }

    /// Where they are kept.
    pub fn path(&self) -> &Path {
        self.job.path()
    }
}
