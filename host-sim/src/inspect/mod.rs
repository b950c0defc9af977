//! A look into a capture: what its channels carry, how they stand against the rail, what the spectrum
//! holds, and what looks wrong with the wiring.
//!
//! [`inspect`] makes a [`Report`]. It shows as text of 100 columns, serialises for machines, and its
//! [`Spectrum`] draws itself with [`spectrum_svg`].

mod levels;
mod lines;
mod spectrum;
mod svg;
#[cfg(test)]
mod tests;
mod text;
mod wiring;

use std::path::PathBuf;

use serde::Serialize;

use crate::capture::{Capture, CaptureError, Content, Description, FieldRecording, Notice};
use crate::stats::median;
use crate::with_channels;

pub use levels::{Channel, Gap, RungSpan, RungUse};
pub use lines::{Line, LineKind, Mains, Tone};
pub use spectrum::{Spectrum, Trace, Unit, picotesla_per_count};
pub use svg::spectrum_svg;
pub use wiring::Suspicion;

/// What was found in a capture.
#[derive(Debug, Clone, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Report {
    /// Raw samples.
    Samples(Box<SamplesReport>),
    /// Phasors that are already demodulated.
    Field(FieldReport),
}

/// What was found in raw samples.
#[derive(Debug, Clone, Serialize)]
pub struct SamplesReport {
    /// The capture.
    pub path: PathBuf,
    /// How it was made.
    pub description: Description,
    /// Frames in it.
    pub frames: u64,
    /// Time from the first sample to the last, gaps included, seconds.
    pub duration_s: f64,
    /// Readings of where the mast was.
    pub mast_readings: usize,
    /// One for each channel.
    pub channels: Vec<Channel>,
    /// Time and level on each rung that was used.
    pub rungs: Vec<RungUse>,
    /// Which rung was in force when.
    pub rung_spans: Vec<RungSpan>,
    /// Where samples were lost.
    pub gaps: Vec<Gap>,
    /// The spectrum. Too long for a report in text: take it from here to draw it.
    #[serde(skip)]
    pub spectrum: Option<Spectrum>,
    /// The tone, if it stands out of the noise within 3 Hz of its nominal frequency.
    pub tone: Option<Tone>,
    /// The power grid's comb, if there is one.
    pub mains: Option<Mains>,
    /// The strongest lines, strongest first.
    pub lines: Vec<Line>,
    /// What looks wrong.
    pub suspicions: Vec<Suspicion>,
    /// What was odd while reading.
    pub notices: Vec<Notice>,
}

/// What was found in phasors.
#[derive(Debug, Clone, Serialize)]
pub struct FieldReport {
    /// The capture.
    pub path: PathBuf,
    /// Rows in it.
    pub rows: usize,
    /// Rows a second.
    pub rate_hz: f64,
    /// Time from the first row to the last, seconds.
    pub duration_s: f64,
    /// Rows that tell something of where the mast was.
    pub mast_readings: usize,
    /// Largest field at each node, lower first, tesla.
    pub peak_t: Vec<f64>,
    /// Median standard uncertainty of a component, tesla.
    pub sigma_t: f64,
    /// What was odd while reading.
    pub notices: Vec<Notice>,
}

/// Looks into a capture. Raw samples are read twice: for their levels, then for their spectrum.
///
/// # Errors
/// When the samples cannot be read.
pub fn inspect(capture: &Capture) -> Result<Report, CaptureError> {
    match &capture.content {
        Content::Field(field) => Ok(Report::Field(inspect_field(capture, field))),
        Content::Samples { wav, .. } => {
            let found = capture.description.signal.channels;
            with_channels!(found, C => inspect_samples::<C>(capture)).unwrap_or_else(|| {
                let file = wav.clone();
                Err(CaptureError::Channels { file, found, wanted: 8, remedy: "keep at most 8 channels" })
            })
        }
    }
}

fn inspect_samples<const C: usize>(capture: &Capture) -> Result<Report, CaptureError> {
    let signal = &capture.description.signal;
    let mut levels = levels::Levels::<C>::new(capture);
    let mut reader = capture.reader::<C>()?;
    reader.each_block(|block, mast| levels.add(block, mast.is_some()))?;
    let notices = [capture.notices.clone(), reader.notices()].concat();
    let levels = levels.finish();

    let mut welch = spectrum::Welch::<C>::new(capture, levels.longest_stretch);
    if let Some(welch) = &mut welch {
        capture.reader::<C>()?.each_block(|block, _| welch.add(block))?;
    }
    let spectrum = welch.and_then(spectrum::Welch::finish);
    let found = spectrum.as_ref().map(|s| lines::find(s, signal.tone_hz)).unwrap_or_default();
    let mut suspicions = wiring::from_levels(&levels.channels);
    if let Some(spectrum) = &spectrum {
        suspicions.extend(wiring::from_spectrum(spectrum, &levels.channels, capture, signal.tone_hz));
    }
    Ok(Report::Samples(Box::new(SamplesReport {
        path: capture.path.clone(),
        description: capture.description.clone(),
        frames: levels.frames,
        duration_s: levels.duration_s,
        mast_readings: levels.mast_readings,
        channels: levels.channels,
        rungs: levels.rungs,
        rung_spans: levels.rung_spans,
        gaps: levels.gaps,
        spectrum,
        tone: found.tone,
        mains: found.mains,
        lines: found.lines,
        suspicions,
        notices,
    })))
}

fn inspect_field(capture: &Capture, field: &FieldRecording) -> FieldReport {
    let magnitude = |node: &[num_complex::Complex32; 3]| {
        node.iter().map(|z| f64::from(z.re).powi(2) + f64::from(z.im).powi(2)).sum::<f64>().sqrt()
    };
    let lower = field.rows.iter().map(|row| magnitude(&row.lower_t)).fold(0.0, f64::max);
    let upper = field.rows.iter().filter_map(|row| row.upper_t.as_ref().map(magnitude)).reduce(f64::max);
    let mut sigmas: Vec<f64> = field.rows.iter().map(|row| row.sigma_t.into()).collect();
    let time_s = |row: Option<&crate::capture::FieldRow>| row.map_or(0.0, |row| row.time_s);
    FieldReport {
        path: capture.path.clone(),
        rows: field.rows.len(),
        rate_hz: field.rate_hz,
        duration_s: time_s(field.rows.last()) - time_s(field.rows.first()),
        mast_readings: field.rows.iter().filter(|row| row.mast.is_some()).count(),
        peak_t: std::iter::once(lower).chain(upper).collect(),
        sigma_t: median(&mut sigmas),
        notices: capture.notices.clone(),
    }
}

/// Decibels of a power ratio.
fn power_db(ratio: f64) -> f64 {
    10.0 * ratio.log10()
}

/// Decibels of an amplitude ratio.
fn amplitude_db(ratio: f64) -> f64 {
    20.0 * ratio.log10()
}
