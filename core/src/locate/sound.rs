//! What the headphones play: numbers only, the sounding is the board's.

use core::f32::consts::LN_2;

/// The audible tone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sound {
    /// Pitch, hertz: an octave for every 12 dB.
    pub pitch_hz: f32,
    /// Loudness, 0 to 1.
    pub loudness: f32,
}

const LOWEST_HZ: f32 = 150.0;
const HIGHEST_HZ: f32 = 2400.0;
const DB_PER_OCTAVE: f32 = 12.0;
/// Full loudness at this ratio to the noise, decibels.
const LOUD_DB: f32 = 40.0;

impl Sound {
    /// The sound for a signal `snr_db` above the noise.
    pub fn of(snr_db: f32) -> Self {
        let octaves = snr_db.clamp(0.0, 60.0) / DB_PER_OCTAVE;
        let pitch_hz = LOWEST_HZ * libm::expf(octaves * LN_2);
        Self { pitch_hz: pitch_hz.min(HIGHEST_HZ), loudness: (snr_db / LOUD_DB).clamp(0.0, 1.0) }
    }
}
