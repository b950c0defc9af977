//! The frequency plan.

use std::path::PathBuf;

use clap::ValueEnum;
use nullwalk_core::grid::Grid;
use nullwalk_core::tuning::{Filter, FrontEnd, PRESETS_HZ};
use serde::Serialize;

use super::{Done, Failure, report};
use crate::capture::Capture;
use crate::tones::{self, Lowest, Row};

#[derive(clap::Args)]
pub struct Options {
    /// A tone in hertz; may be given more than once [default: those in common use]
    #[arg(long, value_name = "HZ")]
    tone: Vec<f32>,
    /// Samples a second
    #[arg(long, value_name = "HZ", default_value = "8000")]
    rate: f32,
    /// What stands between coil and samples
    #[arg(long, value_enum, default_value = "direct")]
    front: Front,
    /// Corners of the band-pass before converter or mixer, in hertz
    #[arg(long, num_args = 2, value_names = ["LOW", "HIGH"])]
    band: Option<Vec<f32>>,
    /// Corner of the low-pass before the converter, in hertz [default: a delta-sigma converter's own sinc filter]
    #[arg(long, value_name = "HZ")]
    low_pass: Option<f32>,
    /// Poles of either filter; of the sinc filter, its boxcars [default: 4, and 3]
    #[arg(long, value_name = "N")]
    order: Option<u8>,
    /// The oscillator of the mixer, in hertz
    #[arg(long, value_name = "HZ")]
    oscillator: Option<f32>,
    /// The grid where you work; harmonics of the other are told of but refuse nothing
    #[arg(long, value_enum, default_value = "both")]
    grid: Choice,
    /// A capture made while no transmitter was on: find the lowest tone that its noise allows
    #[arg(long, value_name = "CAPTURE", requires = "signal")]
    noise: Option<PathBuf>,
    /// The field expected at the mast, nanotesla (peak)
    #[arg(long, value_name = "NT", requires = "noise")]
    signal: Option<f32>,
    /// The ratio of signal to noise to reach, decibels
    #[arg(long, value_name = "DB", default_value = "20")]
    snr: f32,
    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Front {
    /// Tones below half the sampling rate
    Direct,
    /// Tones above it, behind a band-pass
    Undersampled,
    /// Tones mixed with an oscillator
    Mixed,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Choice {
    #[value(name = "50")]
    Fifty,
    #[value(name = "60")]
    Sixty,
    Both,
}

const POLES: u8 = 4;
const SINC_BOXCARS: u8 = 3;

impl Options {
    fn front(&self) -> Result<FrontEnd, Failure> {
        let order = self.order.unwrap_or(POLES);
        let guard = match self.low_pass {
            Some(corner_hz) => Filter::LowPass { corner_hz, order },
            None => Filter::Sinc { order: self.order.unwrap_or(SINC_BOXCARS) },
        };
        let band = || match self.band.as_deref() {
            Some(&[low_hz, high_hz]) => Ok(Filter::BandPass { low_hz, high_hz, order }),
            _ => Err("--band: give the corners of the band-pass, or everything else folds onto the tone"),
        };
        let unused = match self.front {
            Front::Direct => [("--band", self.band.is_some()), ("--oscillator", self.oscillator.is_some())],
            Front::Undersampled => {
                [("--low-pass", self.low_pass.is_some()), ("--oscillator", self.oscillator.is_some())]
            }
            Front::Mixed => [("", false); 2],
        };
        if let Some((option, _)) = unused.iter().find(|(_, given)| *given) {
            return Err(format!("{option}: such a front end has none; see --front").into());
        }
        Ok(match self.front {
            Front::Direct => FrontEnd::Direct { guard },
            Front::Undersampled => FrontEnd::Undersampled { band: band()? },
            Front::Mixed => {
                let oscillator_hz = self.oscillator.ok_or("--oscillator: say at what frequency it runs")?;
                FrontEnd::Mixed { band: band()?, oscillator_hz, guard }
            }
        })
    }
}

#[derive(Serialize)]
struct Report<'a> {
    rate_hz: f32,
    tones: &'a [Row],
    #[serde(skip_serializing_if = "Option::is_none")]
    noise: Option<&'a Lowest>,
}

/// Plan every tone that was asked for.
pub fn run(options: &Options) -> Result<Done, Failure> {
    let grids = match options.grid {
        Choice::Fifty => vec![Grid::Fifty],
        Choice::Sixty => vec![Grid::Sixty],
        Choice::Both => Grid::BOTH.to_vec(),
    };
    let front = options.front()?;
    let tones = if options.tone.is_empty() { &PRESETS_HZ[..] } else { &options.tone };
    let rows: Vec<Row> = tones.iter().map(|&hz| tones::row(hz, options.rate, &front, &grids)).collect();
    let lowest = match (&options.noise, options.signal) {
        (Some(path), Some(signal_nt)) => {
            if !(signal_nt > 0.0 && signal_nt.is_finite()) {
                return Err("--signal: must be above 0 nT".into());
            }
            let capture = Capture::open(path)?;
            report::capture_notices(&capture.notices);
            Some(tones::lowest(&rows, options.rate, &capture, 1e-9 * signal_nt, options.snr)?)
        }
        _ => None,
    };
    if options.json {
        report::json(&Report { rate_hz: options.rate, tones: &rows, noise: lowest.as_ref() })?;
    } else {
        report::print(&tones::text(&rows, lowest.as_ref()))?;
    }
    if rows.iter().all(|row| row.usable.is_none()) {
        return Err("no tone can be used; the reasons stand above".into());
    }
    Ok(Done::WORK)
}
