//! A walk around a transmitter.

use std::path::PathBuf;

use glam::DVec2;

use super::carried::Carried;
use super::sweep::numbers;
use super::{Done, Failure, report};
use crate::book::Verdict;
use crate::run::Listen;
use crate::survey::{self, Around, Phase, Walk};

#[derive(clap::Args)]
pub struct Options {
    /// Captures walked around the transmitter, at about 7.6 m (25 ft)
    #[arg(required = true)]
    captures: Vec<PathBuf>,
    /// Where the transmitter stands, metres in the captures' site frame
    #[arg(long, value_name = "EAST,NORTH", allow_hyphen_values = true)]
    centre: String,
    /// Which way the line that you mean leaves, degrees clockwise from north [default: the largest current]
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    target: Option<f64>,
    /// What the transmitter says that it sends, milliamperes peak
    #[arg(long, value_name = "MA", allow_negative_numbers = true)]
    sent: Option<f64>,
    /// Whether all fields share the transmitter's phase
    #[arg(long, value_enum, default_value = "free")]
    phase: Phase,
    /// The chance that a circle over nothing finds something
    #[arg(long, value_name = "SHARE", default_value = "0.01")]
    false_alarm: f64,
    #[command(flatten)]
    carried: Carried,
    /// Draw bearings and currents, as SVG
    #[arg(long, value_name = "FILE")]
    draw: Option<PathBuf>,
    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

/// Take the currents apart.
pub fn run(options: &Options) -> Result<Done, Failure> {
    let centre_m = DVec2::from_array(numbers("--centre", &options.centre)?);
    if !(1e-4..=0.2).contains(&options.false_alarm) {
        return Err(format!("--false-alarm: {} cannot be; give 0.0001 to 0.2", options.false_alarm).into());
    }
    if let Some(deg) = options.target.filter(|deg| !(-360.0..=360.0).contains(deg)) {
        return Err(
            format!("--target: {deg} cannot be; give -360 to 360 degrees, clockwise from north").into()
        );
    }
    if options.sent.is_some_and(|sent| !(sent > 0.0 && sent.is_finite())) {
        return Err("--sent: must be above 0 mA".into());
    }
    let around = Around {
        centre_m,
        target_deg: options.target,
        sent_ma: options.sent,
        false_alarm: options.false_alarm,
    };
    let (walk, notices) =
        Walk::open(&options.captures, Listen::Tone, options.phase, options.carried.carried)?;
    report::capture_notices(&notices);
    let circle = survey::circle(&walk, &around)?;
    report::show(&circle, options.json)?;
    if let Some(path) = &options.draw {
        report::write_svg(path, &survey::circle_svg(&circle))?;
    }
    let verdict = if circle.is_clear() { Verdict::Agree } else { Verdict::Doubt };
    Ok(Done { verdict })
}
