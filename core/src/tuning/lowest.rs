//! The lowest tone that is heard well enough.

use crate::math;

/// A tone that could be used, the signal expected and the noise measured there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate {
    /// Frequency, hertz.
    pub tone_hz: f32,
    /// Amplitude expected (peak), in any unit,
    pub signal: f32,
    /// and the standard deviation of each part of a phasor there, in the same unit: what [`crate::tone::Phasors`] calls
    /// sigma, with the transmitter off.
    pub sigma: f32,
}

impl Candidate {
    /// Ratio of signal to noise, decibels, as [`crate::tone::Phasors::snr_db`] has it; 0 without noise.
    ///
    /// ```
    /// let candidate = nullwalk_core::tuning::Candidate { tone_hz: 512.0, signal: 10.0, sigma: 1.0 };
    /// assert!((candidate.snr_db() - 16.99).abs() < 0.01);
    /// ```
    pub fn snr_db(&self) -> f32 {
        if self.sigma > 0.0 {
            math::db(self.signal.abs() / (core::f32::consts::SQRT_2 * self.sigma))
        } else {
            0.0
        }
    }
}

/// The lowest of the candidates that reaches a ratio of signal to noise; if none does, the best of them as an error. That
/// one is absent where nothing was measured: a candidate counts only when its numbers are finite and its noise above zero.
///
/// Low is better wherever it is heard: it couples less into neighbours and reads less shallow in conducting ground.
///
/// ```
/// use nullwalk_core::tuning::{Candidate, lowest_workable};
/// // 0.2 nT of a line's field; noise in picotesla falls with frequency.
/// let heard = |tone_hz, sigma| Candidate { tone_hz, signal: 200.0, sigma };
/// let tones = [heard(8192.0, 4.0), heard(512.0, 60.0), heard(1024.0, 25.0), heard(32_768.0, 3.0)];
/// assert_eq!(lowest_workable(&tones, 20.0).unwrap().tone_hz, 8192.0);
/// assert_eq!(lowest_workable(&tones, 10.0).unwrap().tone_hz, 1024.0);
/// assert_eq!(lowest_workable(&tones, 60.0).unwrap_err().unwrap().tone_hz, 32_768.0);
/// ```
///
/// # Errors
/// When no candidate reaches the ratio.
pub fn lowest_workable(
    candidates: &[Candidate],
    wanted_snr_db: f32,
) -> Result<Candidate, Option<Candidate>> {
    let measured = || {
        let known =
            |c: &&Candidate| c.sigma > 0.0 && [c.tone_hz, c.signal, c.sigma].iter().all(|x| x.is_finite());
        candidates.iter().filter(known).copied()
    };
    let workable = measured().filter(|candidate| candidate.snr_db() >= wanted_snr_db);
    workable
        .min_by(|a, b| a.tone_hz.total_cmp(&b.tone_hz))
        .ok_or_else(|| measured().max_by(|a, b| a.snr_db().total_cmp(&b.snr_db())))
}
