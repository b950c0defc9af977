//! The demonstration: a drain run located station by station.

use std::path::PathBuf;

use super::locate::{Wish, locate_site, open};
use super::{Done, Failure, report};
use crate::sheet::{self, Brief};

#[derive(clap::Args)]
pub struct Options {
    /// Folder for the job and the dig sheet
    #[arg(long, default_value = "out/drain-run")]
    out: PathBuf,
    /// Which randomness
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

impl Default for Options {
    fn default() -> Self {
        Self { out: PathBuf::from("out/drain-run"), seed: 1 }
    }
}

const STORY: &str = "\
A drain backs up, and the camera has seen where. A beacon is pushed up the pipe to four places in turn; a
technician with the mast listens, walks towards it, passes both nulls, crosses the pipe, and holds still over
the mark. Everything here is simulated: samples, noise, hum, gait. The instrument knows none of the truth.

";
const NEXT: &str = "
Next: nullwalk sites, nullwalk record drain-run DIR, nullwalk replay DIR/station-1
";

pub fn run(options: &Options) -> Result<Done, Failure> {
    report::print(STORY)?;
    let site = open("drain-run")?;
    let run = locate_site(&site, &Wish { seed: options.seed, ..Wish::default() })?;
    report::tell(&run, false)?;
    std::fs::create_dir_all(&options.out)
        .map_err(|e| format!("{}: cannot be made: {e}", options.out.display()))?;
    let brief = Brief::from(run.clone());
    for name in ["sheet.html", "sheet.pdf"] {
        report::write_sheet(&brief, &sheet::Options::default(), &options.out.join(name), false)?;
    }
    report::keep(&run, None, &options.out.join("drain-run.job"))?;
    report::print(NEXT)?;
    Ok(Done::with(&run))
}
