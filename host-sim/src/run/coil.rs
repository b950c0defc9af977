//! Recordings whose coils form no nodes: the tone, its peaks and its nulls on each channel.

use nullwalk_core::error::ConfigError;
use nullwalk_core::extrema::{Extrema, Feature, Prominence};
use nullwalk_core::frame::{Block, SampleSource};
use nullwalk_core::gain::Ladder;
use nullwalk_core::tone::Tone;
use num_complex::Complex32;
use serde::Serialize;

use super::BLOCK;
use crate::equipment::Signal;

/// What one channel of a recording shows.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct CoilFeatures {
    /// Channel, counted from zero.
    pub channel: usize,
    /// Length of the recording, seconds.
    pub duration_s: f64,
    /// Best signal-to-noise ratio, decibels.
    pub best_snr_db: f32,
    /// Offset of the carrier from nominal at that moment, hertz.
    pub carrier_offset_hz: f32,
    /// Peaks, troughs and nulls, in order of time.
    pub features: Vec<TimedFeature>,
}

/// A feature with its time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TimedFeature {
    /// `peak`, `trough` or `null`.
    pub kind: &'static str,
    /// Seconds since the recording began.
    pub time_s: f64,
    /// Standard uncertainty of that, seconds.
    pub sigma_s: f64,
    /// Amplitude at the coil, volts (peak); its sign is relative to the transmitter's unknown phase.
    pub value_v: f32,
}

/// Listen to every channel by itself.
///
/// # Errors
/// The outer one when the tone does not fit the rate, the inner one when the source fails.
pub fn listen_to_coils<const C: usize, S: SampleSource<C>>(
    signal: &Signal,
    ladder: &Ladder,
    source: &mut S,
) -> Result<Result<Vec<CoilFeatures>, S::Error>, ConfigError> {
    let tone = Tone::new(signal.tone_hz as f32, signal.sample_rate_hz as f32)?;
    let mut coils: Vec<Coil> = (0..C).map(|channel| Coil::new(channel, &tone)).collect();
    let mut state = tone.start::<C>();
    let mut frames = vec![[0; C]; BLOCK];
    let mut end = 0;
    loop {
        let info = match source.read(&mut frames) {
            Ok(Some(info)) => info,
            Ok(None) => break,
            Err(error) => return Ok(Err(error)),
        };
        let frames = frames.get(..info.frames).unwrap_or_default();
        let block = Block { frames, start: info.start, rung: info.rung };
        end = info.start + info.frames as u64;
        tone.push(&mut state, ladder, &block, |phasors| {
            for (n, coil) in coils.iter_mut().enumerate() {
                let (value, sigma) = (phasors.value_v[n], phasors.sigma_v[n]);
                coil.push(value, sigma, phasors.snr_db(n), phasors.carrier_offset_hz, phasors.centre);
            }
        });
    }
    let duration_s = end as f64 / f64::from(tone.rate_hz());
    Ok(Ok(coils.into_iter().map(|coil| CoilFeatures { duration_s, ..coil.found }).collect()))
}

/// One coil's signed signal.
struct Coil {
    search: Extrema,
    /// Phase of the transmitter as this coil last saw it.
    phase_rad: f32,
    first_centre: Option<u64>,
    rate_hz: f64,
    hop_samples: f64,
    found: CoilFeatures,
}

impl Coil {
    fn new(channel: usize, tone: &Tone) -> Self {
        Self {
            search: Extrema::new(Prominence::default(), tone.response().overlap()),
            phase_rad: 0.0,
            first_centre: None,
            rate_hz: f64::from(tone.rate_hz()),
            hop_samples: f64::from(tone.hop_samples()),
            found: CoilFeatures { channel, ..CoilFeatures::default() },
        }
    }

    fn push(&mut self, value: Complex32, sigma: f32, snr_db: f32, offset_hz: f32, centre: u64) {
        if self.first_centre.is_none() {
            // Before the tone is clear its phase is noise, and so would be the sign.
            if snr_db < 10.0 {
                return;
            }
            self.first_centre = Some(centre);
            self.phase_rad = value.arg();
        }
        if snr_db > self.found.best_snr_db {
            self.found.best_snr_db = snr_db;
            self.found.carrier_offset_hz = offset_hz;
        }
        let turned = value * Complex32::from_polar(1.0, -self.phase_rad);
        // The carrier's phase wanders slowly; half turns are sign changes of the field and must stay.
        if snr_db > 15.0 {
            self.phase_rad += 0.3 * (turned.im / turned.re).atan();
        }
        let (first, rate_hz, hop) = (self.first_centre.unwrap_or(0), self.rate_hz, self.hop_samples);
        let features = &mut self.found.features;
        self.search.push(turned.re, sigma, |feature| {
            features.push(timed(&feature, first as f64, hop, rate_hz));
        });
    }
}

fn timed(feature: &Feature, first: f64, hop_samples: f64, rate_hz: f64) -> TimedFeature {
    let samples = (f64::from(feature.index) + f64::from(feature.fraction)) * hop_samples;
    TimedFeature {
        kind: feature.kind.name(),
        time_s: (first + samples) / rate_hz,
        sigma_s: f64::from(feature.sigma_samples) * hop_samples / rate_hz,
        value_v: feature.value,
    }
}
