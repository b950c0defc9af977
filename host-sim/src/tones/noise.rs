//! The noise at each tone, from a capture made while no transmitter was on.

use nullwalk_core::error::ConfigError;
use nullwalk_core::tone::Tone;
use nullwalk_core::tuning::{Candidate, lowest_workable};
use serde::Serialize;

use super::Row;
use crate::capture::{Capture, CaptureError};
use crate::stats::median;
use crate::with_channels;

/// Why the noise could not be measured.
#[derive(Debug, thiserror::Error)]
pub enum NoiseError {
    /// The capture cannot be read.
    #[error(transparent)]
    Capture(#[from] CaptureError),
    /// A tone does not fit.
    #[error("{0}")]
    Tone(#[from] ConfigError),
    /// Without nodes there is no tesla.
    #[error(
        "{0}: its coils form no nodes, so its noise is not known in tesla; describe [array] in capture.toml"
    )]
    NoNodes(String),
    /// The plan is for another rate.
    #[error("{path}: sampled at {found_hz} Hz, the plan is for {wanted_hz}; say --rate {found_hz}")]
    Rate {
        /// The capture.
        path: String,
        /// Its rate.
        found_hz: f64,
        /// The plan's.
        wanted_hz: f32,
    },
}

/// What the noise allows.
#[derive(Debug, Clone, Serialize)]
pub struct Lowest {
    /// Amplitude of the field expected, tesla.
    pub signal_t: f32,
    /// Ratio asked for, decibels.
    pub wanted_snr_db: f32,
    /// Noise and ratio at each tone that can be used.
    pub tones: Vec<Heard>,
    /// The lowest tone that reaches the ratio, hertz.
    pub lowest_hz: Option<f32>,
    /// The one with the best ratio, hertz.
    pub best_hz: Option<f32>,
}

/// The noise at a tone.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct Heard {
    /// The tone, hertz.
    pub tone_hz: f32,
    /// Standard deviation of each part of a component's phasor at the noisier node, tesla; the median over time.
    pub sigma_t: f32,
    /// Ratio of the signal expected to that, decibels.
    pub snr_db: f32,
}

/// Measure the noise at every usable tone and choose the lowest that reaches the ratio.
///
/// # Errors
/// When the capture cannot be read, is of another rate, or its coils form no nodes.
pub fn lowest(
    rows: &[Row],
    rate_hz: f32,
    capture: &Capture,
    signal_t: f32,
    wanted_snr_db: f32,
) -> Result<Lowest, NoiseError> {
    let signal = &capture.description.signal;
    let path = || capture.path.display().to_string();
    if (signal.sample_rate_hz - f64::from(rate_hz)).abs() > 1e-3 * f64::from(rate_hz) {
        return Err(NoiseError::Rate { path: path(), found_hz: signal.sample_rate_hz, wanted_hz: rate_hz });
    }
    let mut candidates = Vec::new();
    for row in rows {
        let Some(usable) = &row.usable else { continue };
        let sigma_t =
            with_channels!(signal.channels, C => sigma_t::<C>(capture, usable.lands_hz, row.tone_hz));
        let sigma_t = sigma_t.unwrap_or_else(|| Err(NoiseError::NoNodes(path())))?;
        candidates.push(Candidate { tone_hz: row.tone_hz, signal: signal_t, sigma: sigma_t });
    }
    let (lowest, best) = match lowest_workable(&candidates, wanted_snr_db) {
        Ok(lowest) => (Some(lowest), lowest_workable(&candidates, f32::INFINITY).err().flatten()),
        Err(best) => (None, best),
    };
    let heard = |c: &Candidate| Heard { tone_hz: c.tone_hz, sigma_t: c.sigma, snr_db: c.snr_db() };
    Ok(Lowest {
        signal_t,
        wanted_snr_db,
        tones: candidates.iter().map(heard).collect(),
        lowest_hz: lowest.map(|c| c.tone_hz),
        best_hz: best.map(|c| c.tone_hz),
    })
}

/// Median over the capture of the noise at the noisier node.
fn sigma_t<const C: usize>(capture: &Capture, lands_hz: f32, tone_hz: f32) -> Result<f32, NoiseError> {
    let no_nodes = || NoiseError::NoNodes(capture.path.display().to_string());
    let array = capture.array.as_ref().ok_or_else(no_nodes)?;
    let tone = Tone::new(lands_hz, capture.description.signal.sample_rate_hz as f32)?;
    let mut state = tone.start::<C>();
    let mut reader = capture.reader::<C>()?;
    let mut sigmas_t = Vec::new();
    reader.each_block(|block, _| {
        tone.push(&mut state, &capture.ladder, block, |phasors| {
            let nodes = array.fields(tone_hz, phasors);
            sigmas_t.extend(nodes.iter().map(|node| f64::from(node.sigma_t)).reduce(f64::max));
        });
    })?;
    Ok(median(&mut sigmas_t) as f32)
}
