//! The demonstrations: a drain run located station by station, and a yard before digging.

use std::path::{Path, PathBuf};

use super::locate::{Wish, locate_site, open};
use super::{Done, Failure, report, yard};
use crate::sheet::{self, Brief};

#[derive(clap::Args)]
pub struct Options {
    /// Which demonstration
    #[arg(value_enum, default_value_t = Story::DrainRun)]
    story: Story,
    /// Folder for what it writes: out/ and the story's name, if not said
    #[arg(long)]
    out: Option<PathBuf>,
    /// Which randomness
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Story {
    /// A drain located station by station
    DrainRun,
    /// A yard before digging: drain, live power, a water service and its neighbour
    Yard,
}

impl Default for Options {
    fn default() -> Self {
        Self { story: Story::DrainRun, out: None, seed: 1 }
    }
}

const STORY: &str = "\
A drain backs up, and the camera has seen where. A beacon is pushed up the pipe to four places in turn; a
technician with the mast listens, walks towards it, passes both nulls, crosses the pipe, and holds still over
the mark. Everything here is simulated: samples, noise, hum, gait. The instrument knows none of the truth.

";
const NEXT: &str = "
Next: nullwalk sites, nullwalk record drain-run DIR, nullwalk replay DIR/station-1, nullwalk demo yard
";

pub fn run(options: &Options) -> Result<Done, Failure> {
    let folder = |name: &str| options.out.clone().unwrap_or_else(|| PathBuf::from("out").join(name));
    match options.story {
        Story::DrainRun => drain_run(&folder("drain-run"), options.seed),
        Story::Yard => yard::run(&folder("yard"), options.seed),
    }
}

fn drain_run(out: &Path, seed: u64) -> Result<Done, Failure> {
    report::print(STORY)?;
    let site = open("drain-run")?;
    let run = locate_site(&site, &Wish { seed, ..Wish::default() })?;
    report::tell(&run, false)?;
    report::make_folder(out)?;
    let brief = Brief::from(run.clone());
    for name in ["sheet.html", "sheet.pdf"] {
        report::write_sheet(&brief, &sheet::Options::default(), &out.join(name), false)?;
    }
    report::keep(&run, None, &out.join("drain-run.job"))?;
    report::print(NEXT)?;
    Ok(Done::with(&run))
}
