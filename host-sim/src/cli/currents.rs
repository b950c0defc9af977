//! Bookkeeping of the current along a run.

use std::path::PathBuf;

use super::{Done, Failure, report};
use crate::book::Verdict;
use crate::survey::currents;

#[derive(clap::Args)]
pub struct Options {
    /// A CSV table of fixes: at_m, current_ma; and as known name, run, sigma_ma, phase_deg, phase_sigma_deg, depth_m,
    /// depth_sigma_m, leaves_at_m
    table: PathBuf,
    /// Draw current against distance, as SVG
    #[arg(long, value_name = "FILE")]
    draw: Option<PathBuf>,
    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

/// Keep the books.
pub fn run(options: &Options) -> Result<Done, Failure> {
    let books = currents::open(&options.table)?;
    if options.json {
        report::json(&books)?;
    } else {
        report::print(&books.to_string())?;
    }
    if let Some(path) = &options.draw {
        report::write(path, currents::svg(&books).as_bytes())?;
        report::wrote("drawing", path);
    }
    let verdict = if books.is_clear() { Verdict::Agree } else { Verdict::Doubt };
    Ok(Done { verdict })
}
