//! A whole capture through the instrument.

use nullwalk_core::error::ConfigError;
use nullwalk_core::locate::Settings;
use thiserror::Error;

use super::{Outcome, instrument_with, locate, locate_phasors_with, station};
use crate::book::{Provenance, Run};
use crate::capture::{Capture, CaptureError, Content, Notice};
use crate::with_channels;

/// Why a capture cannot be located from.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum Unlocated {
    /// Its coils form no nodes.
    #[error("its coils form no nodes, so it has no place; `nullwalk replay` says what each coil heard")]
    NoNodes,
    /// It has none, or too many.
    #[error("the capture must have 1 to 8 channels")]
    Channels,
    /// What it says of the instrument cannot be.
    #[error(transparent)]
    Config(#[from] ConfigError),
    /// It cannot be read.
    #[error(transparent)]
    Capture(#[from] CaptureError),
}

/// Locate from a capture with nodes. Gives what was odd in its samples, too.
///
/// # Errors
/// When it has no nodes, or cannot be read.
pub fn locate_capture(capture: &Capture, settings: Settings) -> Result<(Outcome, Vec<Notice>), Unlocated> {
    let array = capture.array.clone().ok_or(Unlocated::NoNodes)?;
    let signal = &capture.description.signal;
    if let Content::Field(recording) = &capture.content {
        let settings = signal.settings(settings);
        return Ok((locate_phasors_with(array, recording, settings)?, Vec::new()));
    }
    let channels = signal.channels;
    let located = with_channels!(channels, C => {
        let instrument = instrument_with::<C>(signal, capture.ladder.clone(), array, settings)?;
        let mut reader = capture.reader::<C>()?;
        let outcome = locate(&instrument, &mut reader, None, |_| ())?;
        (outcome, reader.notices())
    });
    located.ok_or(Unlocated::Channels)
}

/// A run of one station, of this name, that a capture gave.
pub fn of_capture(capture: &Capture, name: &str, outcome: &Outcome) -> Run {
    let description = &capture.description;
    let mut found = station(1, name, &description.signal, outcome);
    name.clone_into(&mut found.capture);
    Run {
        title: name.to_owned(),
        description: description.made.note.clone(),
        made: Provenance {
            by: description.made.by.clone(),
            calibrated: description.array.calibration.note.clone(),
            ..Provenance::default()
        },
        stations: vec![found],
        ..Run::default()
    }
}
