//! Captures: locate from one, or look into one.

use std::path::PathBuf;

use nullwalk_core::frame::MastReading;

use super::calibrate::{array_of, believe};
use super::coils::{self, Walk};
use super::{Done, Failure, name_of, report};
use crate::capture::{Capture, Content};
use crate::inspect;
use crate::with_channels;
use crate::{pictures, run};

#[derive(clap::Args)]
pub struct Options {
    /// A capture's folder, or a WAV file
    capture: PathBuf,
    /// Take the [array] of this file in place of the capture's, as from `nullwalk calibrate`
    #[arg(long)]
    array: Option<PathBuf>,
    #[command(flatten)]
    length: coils::Length,
    #[command(flatten)]
    coils: coils::Coils,
    #[command(flatten)]
    delivery: report::Delivery,
    /// Folder for pictures of the walk and the samples
    #[arg(long)]
    pictures: Option<PathBuf>,
}

#[derive(clap::Args)]
pub struct InspectOptions {
    /// A capture's folder, or a WAV file
    capture: PathBuf,
    /// Print the report as JSON
    #[arg(long)]
    json: bool,
    /// Draw the spectrum; PNG if the name ends so, else SVG
    #[arg(long)]
    spectrum: Option<PathBuf>,
}

pub fn run(options: &Options) -> Result<Done, Failure> {
    let walk = options.length.walk()?;
    let mut capture = Capture::open(&options.capture)?;
    if let Some(array) = array_of(options.array.as_deref())? {
        believe(&mut capture, array)?;
    }
    report::capture_notices(&capture.notices);
    if let Some(folder) = &options.pictures {
        super::pictures::write(&pictures::of_capture(&capture)?, folder, false)?;
    }
    if capture.array.is_some() {
        options.coils.must_be_absent()?;
        if walk.length.is_some() && has_positions(&capture) {
            eprintln!("notice: the capture says where the mast was, so the pace is not used");
        }
    }
    let name = name_of(&options.capture);
    if capture.array.is_none() {
        return coils_only(&capture, walk, options);
    }
    let (outcome, notices) = run::locate_capture(&capture, walk.settings())?;
    report::capture_notices(&notices);
    let run = run::of_capture(&capture, &name, &outcome);
    options.delivery.deliver(&run, Some(&options.capture))?;
    Ok(Done::with(&run))
}

/// Whether anything in a capture says where the mast was.
fn has_positions(capture: &Capture) -> bool {
    let placed = |mast: &Option<MastReading>| mast.is_some_and(|mast| mast.position.is_some());
    match &capture.content {
        Content::Samples { track, .. } => track.rows().iter().any(|row| placed(&row.mast)),
        Content::Field(recording) => recording.rows.iter().any(|row| placed(&row.mast)),
    }
}

/// A recording without nodes has no place, but its tone, peaks and nulls are worth seeing, and may give a depth.
fn coils_only(capture: &Capture, walk: Walk, options: &Options) -> Result<Done, Failure> {
    let channels = capture.description.signal.channels;
    let heard = with_channels!(channels, C => {
        let mut reader = capture.reader::<C>()?;
        let signal = &capture.description.signal;
        let heard = run::listen_to_coils::<C, _>(signal, &capture.ladder, &mut reader)??;
        report::capture_notices(&reader.notices());
        heard
    })
    .ok_or("the capture must have 1 to 8 channels")?;
    coils::tell(&heard, walk, &options.coils, options.delivery.json)
}

pub fn inspect(options: &InspectOptions) -> Result<Done, Failure> {
    let capture = Capture::open(&options.capture)?;
    let found = inspect::inspect(&capture)?;
    report::show(&found, options.json)?;
    if let Some(path) = &options.spectrum {
        let drawn = match &found {
            inspect::Report::Samples(samples) => inspect::spectrum_svg(samples),
            inspect::Report::Field(_) => None,
        };
        let svg = drawn.ok_or("there is no spectrum to draw: the capture holds no raw samples")?;
        report::write_drawing("spectrum", "spectrum.svg", svg, path)?;
    }
    Ok(Done::WORK)
}
