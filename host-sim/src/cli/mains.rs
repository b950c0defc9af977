//! Passive mains in a capture or WAV file.

use std::path::PathBuf;

use serde::Serialize;

use super::{Done, Failure, report};
use crate::capture::Capture;
use crate::mains::{self, LoadTest, Report};

/// Printed below whatever was heard.
const CAUTION: &str = "\
What is heard of live power is no permission to dig. Follow local codes and licensed practice, have all
utilities notified and marked, and expose with safe means. A cable without load, one whose currents
balance, and one for direct current make no field that is heard here.
";

#[derive(clap::Args)]
pub struct Options {
    /// A capture's folder, or a WAV file
    capture: PathBuf,
    /// Another, made at the same place with a large load switched on: what changed?
    #[arg(long, value_name = "CAPTURE")]
    during: Option<PathBuf>,
    /// Draw the frequency over time; PNG if the name ends so, else SVG
    #[arg(long, value_name = "FILE")]
    draw: Option<PathBuf>,
    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

#[derive(Serialize)]
struct Both<'a> {
    #[serde(flatten)]
    report: &'a Report,
    #[serde(skip_serializing_if = "Option::is_none")]
    load_test: Option<&'a LoadTest>,
    caution: &'a str,
}

/// Follow the grid, and compare.
pub fn run(options: &Options) -> Result<Done, Failure> {
    let capture = Capture::open(&options.capture)?;
    let (found, notices) = mains::look(&capture)?;
    report::capture_notices(&notices);
    let load_test = match &options.during {
        Some(path) => Some(mains::load_test(&capture, &Capture::open(path)?)?),
        None => None,
    };
    if options.json {
        report::json(&Both { report: &found, load_test: load_test.as_ref(), caution: CAUTION })?;
    } else {
        let compared = load_test.as_ref().map_or(String::new(), |test| format!("\n{test}"));
        report::print(&format!("{found}{compared}\n{CAUTION}"))?;
    }
    if let Some(path) = &options.draw {
        let svg = mains::frequency_svg(&found)
            .ok_or("--draw: no frequency was measured, so there is nothing to draw")?;
        report::write_drawing("drawing", "frequency.svg", svg, path)?;
    }
    Ok(Done::WORK)
}
