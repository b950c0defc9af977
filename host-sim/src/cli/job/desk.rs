//! A job at work: opened, added to, and told what was entered.

use std::path::PathBuf;

use crate::cli::{Done, Failure};
use crate::job::{Content, Draft, Job};

/// Which job, and who works on it.
#[derive(clap::Args)]
pub struct Desk {
    /// The job
    pub job: PathBuf,
    /// Who enters this, as it is to stand in the history
    #[arg(long, default_value = "")]
    pub by: String,
}

/// One station of a job.
#[derive(clap::Args)]
pub struct Which {
    /// The station's number
    #[arg(long)]
    pub station: u32,
    /// Its run; may be left out where there is one
    #[arg(long)]
    pub run: Option<String>,
}

impl Desk {
    /// The job, with who enters what comes next.
    pub fn open(&self) -> Result<Job, Failure> {
        let mut job = Job::open(&self.job)?;
        job.by.clone_from(&self.by);
        Ok(job)
    }

    /// Enter something new.
    pub fn enter(&self, content: Content) -> Result<Done, Failure> {
        let mut job = self.open()?;
        let ids = job.append(&[Draft::New(content)])?;
        Ok(entered(&job, ids.start))
    }
}

/// Tell what was entered.
pub fn entered(job: &Job, id: i64) -> Done {
    for notice in job.notices() {
        eprintln!("notice: {}: {notice}", job.path().display());
    }
    eprintln!("entry  {id} in {}", job.path().display());
    Done::WORK
}
