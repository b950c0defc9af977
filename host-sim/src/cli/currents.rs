//! Bookkeeping of the current along a run.

use std::path::PathBuf;

use super::job::{places_of, run_id};
use super::{Done, Failure, report};
use crate::book::Verdict;
use crate::job::Job;
use crate::survey::currents;

#[derive(clap::Args)]
pub struct Options {
    /// A job with a line that was traced station by station, away from the transmitter; or a CSV table of fixes: at_m,
    /// current_ma, and as known name, run, sigma_ma, phase_deg, phase_sigma_deg, depth_m, depth_sigma_m, leaves_at_m
    #[arg(value_name = "JOB|TABLE")]
    fixes: PathBuf,
    /// Of a job: which of its runs; may be left out where there is one
    #[arg(long)]
    run: Option<String>,
    /// Draw current against distance, as SVG
    #[arg(long, value_name = "FILE")]
    draw: Option<PathBuf>,
    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

/// Keep the books.
pub fn run(options: &Options) -> Result<Done, Failure> {
    let books = if options.run.is_some() || Job::is_one(&options.fixes) {
        let job = Job::open(&options.fixes)?;
        let run = run_id(&job, options.run.as_deref())?;
        let run = job.state().run(run, &places_of(&job)?).ok_or("the run has been taken out of the job")?;
        currents::of_run(&run)?
    } else {
        currents::open(&options.fixes)?
    };
    report::show(&books, options.json)?;
    if let Some(path) = &options.draw {
        report::write_svg(path, &currents::svg(&books))?;
    }
    let verdict = if books.is_clear() { Verdict::Agree } else { Verdict::Doubt };
    Ok(Done { verdict })
}
