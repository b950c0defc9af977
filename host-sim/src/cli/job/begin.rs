//! A job begun, and files taken in.

use std::path::PathBuf;

use super::desk::{Desk, entered};
use crate::cli::{Done, Failure, report};
use crate::job::{self, Datum, Heights, Job, Settings};

#[derive(clap::Args)]
pub struct New {
    /// The file to begin it in
    job: PathBuf,
    /// Short name of the job
    #[arg(long, default_value = "")]
    title: String,
    /// What is looked for
    #[arg(long, default_value = "")]
    description: String,
    /// What the crew should know about the place, and what the grid counts from
    #[arg(long, default_value = "")]
    site: String,
    /// Datum of all latitudes and longitudes
    #[arg(long)]
    datum: Option<Datum>,
    /// The model of the geoid that heights count from; without it they count from the ellipsoid
    #[arg(long, requires = "datum")]
    geoid: Option<String>,
}

#[derive(clap::Args)]
pub struct Import {
    #[command(flatten)]
    desk: Desk,
    /// Field books, captures, or books of an earlier nullwalk
    #[arg(required = true)]
    files: Vec<PathBuf>,
    /// Run that the stations go to
    #[arg(long)]
    run: Option<String>,
    /// Serial number of the handset
    #[arg(long, default_value = "")]
    instrument: String,
}

pub fn new(options: &New) -> Result<Done, Failure> {
    let settings = Settings {
        title: options.title.clone(),
        description: options.description.clone(),
        site_note: options.site.clone(),
        datum: options.datum,
        heights: options.datum.map(|_| options.geoid.clone().map_or(Heights::Ellipsoid, Heights::Geoid)),
        ..Settings::default()
    };
    let job = Job::create(&options.job, settings)?;
    report::wrote("job", job.path());
    Ok(Done::WORK)
}

pub fn import(options: &Import) -> Result<Done, Failure> {
    let mut job = options.desk.open()?;
    for file in &options.files {
        let found = job::bring_in(&mut job, file, options.run.as_deref(), &options.instrument)?;
        for notice in &found.notices {
            eprintln!("notice: {}: {notice}", file.display());
        }
        let known = match found.known {
            0 => String::new(),
            n => format!(", {n} that were in the job already"),
        };
        eprintln!("import {}: {} stations{known}", file.display(), found.added);
        entered(&job, found.source);
    }
    Ok(Done::WORK)
}
