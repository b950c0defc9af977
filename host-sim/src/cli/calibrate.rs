//! Calibration: from the captures of a plan to an `[array]` section.

use std::path::{Path, PathBuf};

use serde::Serialize;

use super::{Done, Failure, report};
use crate::book::Verdict;
use crate::calibrate::{CalibrateError, Plan, Refusal, calibrate, load_array, to_toml};
use crate::capture::{Capture, Content};
use crate::equipment::ArrayFile;

#[derive(clap::Args)]
pub struct Options {
    /// The plan: which captures there are, and how the mast lay in each
    plan: PathBuf,
    /// Write the calibrated array here, for `--array` or to paste into a capture.toml or site file
    #[arg(long)]
    out: Option<PathBuf>,
    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

/// What stands in place of a calibration.
#[derive(Serialize)]
struct Refused<'a> {
    refused: &'a [Refusal],
}

pub fn run(options: &Options) -> Result<Done, Failure> {
    let (plan, notices) = Plan::load(&options.plan)?;
    report::notices(&notices);
    let (found, notices) = match calibrate(&plan) {
        Ok(done) => done,
        Err(CalibrateError::Refused(reasons)) => return refuse(&reasons, options.json),
        Err(error) => return Err(error.into()),
    };
    report::capture_notices(&notices);
    report::show(&found, options.json)?;
    if let Some(path) = &options.out {
        report::write(path, to_toml(&found.array)?.as_bytes())?;
        report::wrote("array", path);
    }
    Ok(Done::WORK)
}

fn refuse(reasons: &[Refusal], json: bool) -> Result<Done, Failure> {
    if json {
        report::json(&Refused { refused: reasons })?;
    } else {
        let lines: String = reasons.iter().map(|r| format!("  {}\n", r.text)).collect();
        report::print(&format!("REFUSED: no calibration from these recordings\n{lines}"))?;
    }
    Ok(Done { verdict: Verdict::Refuse })
}

/// Take this array in place of a capture's own.
pub fn believe(capture: &mut Capture, array: ArrayFile) -> Result<(), Failure> {
    if matches!(capture.content, Content::Field(_)) {
        return Err(
            "--array: the capture holds fields, in which the coils' calibration is used already".into()
        );
    }
    capture.array = array.array()?;
    capture.description.array = array;
    Ok(())
}

/// The array that a file describes, for the `--array` option of other commands.
pub fn array_of(file: Option<&Path>) -> Result<Option<ArrayFile>, Failure> {
    let Some(file) = file else { return Ok(None) };
    let (array, notices) = load_array(file)?;
    // A site or a whole description may stand in the file: what else it says is nobody's business here.
    report::notices(&notices.into_iter().filter(|n| n.text.contains("`array")).collect::<Vec<_>>());
    Ok(Some(array))
}
