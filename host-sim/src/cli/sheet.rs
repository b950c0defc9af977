//! The dig sheet of a run.

use std::path::PathBuf;

use super::job::{places_of, run_id};
use super::{Done, Failure, report};
use crate::job::Job;
use crate::quantity::length;
use crate::sheet::{Brief, Options, Paper, Units};

#[derive(clap::Args)]
pub struct SheetOptions {
    /// The job, as kept by `locate --job`
    job: PathBuf,
    /// Which of its runs; may be left out where there is one
    #[arg(long)]
    run: Option<String>,
    /// Where to write the sheet; PDF if its name ends so, else HTML
    #[arg(long, default_value = "sheet.html")]
    out: PathBuf,
    /// Write PDF, whatever the name
    #[arg(long)]
    pdf: bool,
    #[command(flatten)]
    look: Look,
    /// Number of the utility notification, in place of the job's
    #[arg(long)]
    ticket: Option<String>,
    /// From when it holds
    #[arg(long)]
    valid_from: Option<String>,
    /// Until when it holds
    #[arg(long)]
    valid_until: Option<String>,
    /// Who is responsible on site
    #[arg(long)]
    responsible: Option<String>,
    /// Who located
    #[arg(long)]
    located_by: Option<String>,
    /// When
    #[arg(long)]
    recorded: Option<String>,
    /// With which instrument
    #[arg(long)]
    instrument: Option<String>,
    /// When it was last calibrated
    #[arg(long)]
    calibrated: Option<String>,
    /// Distance beyond the outer edge that your local law asks for, as "18 in"
    #[arg(long)]
    tolerance: Option<String>,
}

/// Paper and units.
#[derive(clap::Args, Clone, Copy, Default)]
pub struct Look {
    /// What the sheet is printed on
    #[arg(long, value_enum, default_value_t)]
    paper: Paper,
    /// Which units come first
    #[arg(long, value_enum, default_value_t)]
    units: Units,
}

impl From<Look> for Options {
    fn from(look: Look) -> Self {
        Self { paper: look.paper, units: look.units }
    }
}

pub fn run(options: &SheetOptions) -> Result<Done, Failure> {
    let job = Job::open(&options.job)?;
    let id = run_id(&job, options.run.as_deref())?;
    let places = places_of(&job)?;
    let mut brief = Brief::of_job(job.state(), &places, id).unwrap_or_default();
    let (ticket, run) = (&mut brief.ticket, &mut brief.run);
    for (field, given) in [
        (&mut ticket.number, &options.ticket),
        (&mut ticket.valid_from, &options.valid_from),
        (&mut ticket.valid_until, &options.valid_until),
        (&mut ticket.responsible, &options.responsible),
        (&mut run.made.by, &options.located_by),
        (&mut run.recorded, &options.recorded),
        (&mut run.made.instrument, &options.instrument),
        (&mut run.made.calibrated, &options.calibrated),
    ] {
        if let Some(given) = given {
            field.clone_from(given);
        }
    }
    if let Some(text) = &options.tolerance {
        run.tolerance_zone.legal_m = length(text).map_err(|e| format!("--tolerance {text:?}: {e}"))?.value;
    }
    report::write_sheet(&brief, &options.look.into(), &options.out, options.pdf)?;
    Ok(Done::with(&brief.run))
}
