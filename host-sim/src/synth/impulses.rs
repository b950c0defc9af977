//! Impulses: ringing bursts that arrive at random.

use std::f64::consts::{LN_10, TAU};

use glam::DVec3;
use num_complex::Complex64;
use rand::RngExt;
use rand_distr::{Exp1, UnitSphere};

use super::coils::{Coils, Mast};
use super::emission::{Coupling, Wave, add};
use super::random::{Purpose, Random, normal, stream};
use crate::site::{Impulses, Site};

/// Lowest frequency at which an impulse rings, hertz; the highest is 0.4 of the sampling rate.
const LOWEST_RING_HZ: f64 = 100.0;

/// What makes impulses, and those that still ring.
#[derive(Debug, Clone)]
pub(super) struct Crackle {
    settings: Impulses,
    sample_rate_hz: f64,
    w_tone: f64,
    frames_to_next: f64,
    ringing: Vec<Impulse>,
    random: Random,
}

#[derive(Debug, Clone)]
struct Impulse {
    direction: DVec3,
    now: Complex64,
    step: Complex64,
    frames_left: usize,
}

impl Crackle {
    /// The impulses of a site at a station.
    pub(super) fn new(settings: &Impulses, site: &Site, seed: u64, station: usize) -> Self {
        let mut crackle = Self {
            settings: *settings,
            sample_rate_hz: site.signal.sample_rate_hz,
            w_tone: TAU * site.signal.tone_hz,
            frames_to_next: 0.0,
            ringing: Vec::new(),
            random: stream(seed, station, Purpose::Impulses),
        };
        crackle.frames_to_next = crackle.gap_frames();
        crackle
    }

    /// Frames until the one after: arrivals are a Poisson process.
    fn gap_frames(&mut self) -> f64 {
        let gap: f64 = self.random.sample(Exp1);
        gap * self.sample_rate_hz / self.settings.rate_per_s
    }

    fn strike(&mut self) -> Impulse {
        let length = (self.settings.length_s * self.sample_rate_hz).max(1.0);
        let spread = self.settings.spread_db * normal(&mut self.random) / 20.0 * LN_10;
        let peak = self.w_tone * self.settings.median_t * spread.exp();
        let octaves = (0.4 * self.sample_rate_hz / LOWEST_RING_HZ).log2();
        let ring_hz = LOWEST_RING_HZ * self.random.random_range(0.0..octaves).exp2();
        // 40 dB down, a factor of 100, at the stated length; forgotten at 120 dB.
        let decay = (-2.0 * LN_10 / length).exp();
        Impulse {
            direction: DVec3::from_array(self.random.sample(UnitSphere)),
            now: Complex64::from_polar(peak, self.random.random_range(0.0..TAU)),
            step: Complex64::from_polar(decay, TAU * ring_hz / self.sample_rate_hz),
            frames_left: (3.0 * length) as usize,
        }
    }

    /// Add what rings during the next `volts.len()` samples. An impulse is short beside any movement: it
    /// is heard as the mast stands at `mast`.
    pub(super) fn add<const C: usize>(
        &mut self,
        volts: &mut [[f64; C]],
        wave: &mut Wave,
        coils: &Coils<C>,
        mast: &Mast,
    ) {
        let mut ringing = std::mem::take(&mut self.ringing);
        for impulse in &mut ringing {
            impulse.add(volts, wave, coils, mast);
        }
        let frames = volts.len() as f64;
        while self.frames_to_next < frames {
            let mut impulse = self.strike();
            let rest = volts.get_mut(self.frames_to_next as usize..).unwrap_or_default();
            impulse.add(rest, wave, coils, mast);
            ringing.push(impulse);
            self.frames_to_next += self.gap_frames();
        }
        self.frames_to_next -= frames;
        ringing.retain(|impulse| impulse.frames_left > 0);
        self.ringing = ringing;
    }
}

impl Impulse {
    fn add<const C: usize>(
        &mut self,
        volts: &mut [[f64; C]],
        wave: &mut Wave,
        coils: &Coils<C>,
        mast: &Mast,
    ) {
        let frames = volts.len();
        wave.rotate(self.now, self.step, frames);
        let mut factors = coils.volts();
        let along = coils.along_axes(mast, |_| self.direction);
        for (factor, along) in factors.iter_mut().zip(along) {
            *factor *= along;
        }
        let coupling = Coupling::new(factors);
        add(volts, wave, &coupling, &coupling);
        self.now *= self.step.powu(frames as u32);
        self.frames_left = self.frames_left.saturating_sub(frames);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn crackle(settings: Impulses) -> Crackle {
        Crackle::new(&settings, &Site::default(), 5, 0)
    }

    #[test]
    fn peaks_are_log_normal_about_the_median() {
        let mut crackle = crackle(Impulses { median_t: 3e-9, spread_db: 6.0, ..Impulses::default() });
        let mut peaks_db: Vec<f64> = (0..10_000)
            .map(|_| 20.0 * (crackle.strike().now.norm() / (TAU * 512.0 * 3e-9)).log10())
            .collect();
        peaks_db.sort_by(f64::total_cmp);
        // Standard errors of 10000 draws: 0.075 dB for the median, 0.042 dB for the deviation.
        assert!(peaks_db[5000].abs() < 0.3, "median {}", peaks_db[5000]);
        let deviation = (peaks_db.iter().map(|x| x * x).sum::<f64>() / 1e4).sqrt();
        assert!((deviation - 6.0).abs() < 0.17, "deviation {deviation}");
    }

    #[test]
    fn arrivals_have_the_stated_rate_and_ring_down_in_the_stated_time() {
        let settings = Impulses { rate_per_s: 4.0, length_s: 0.01, ..Impulses::default() };
        let mut crackle = crackle(settings);
        let gaps: f64 = (0..10_000).map(|_| crackle.gap_frames()).sum();
        // The sum of 10000 exponential gaps has a relative deviation of 1 %.
        assert!((gaps / (10_000.0 * 8000.0 / 4.0) - 1.0).abs() < 0.04);
        let impulse = crackle.strike();
        let after = impulse.now * impulse.step.powu(80);
        assert!((after.norm() / impulse.now.norm() - 0.01).abs() < 1e-6);
    }

    /// However the frames are cut into steps, an impulse looks the same.
    #[test]
    fn impulses_run_on_across_steps() {
        let settings = Impulses { rate_per_s: 20.0, ..Impulses::default() };
        let coils = Coils::<6>::new(&Site::default(), 1);
        let mast = coils.mast(&crate::synth::pose::Pose::default());
        let run = |frames_per_step: usize| {
            let (mut crackle, mut wave) = (crackle(settings), Wave::default());
            let mut volts = vec![[0.0; 6]; 8000];
            for step in volts.chunks_mut(frames_per_step) {
                crackle.add(step, &mut wave, &coils, &mast);
            }
            volts
        };
        let (short, long) = (run(16), run(1000));
        let largest = long.iter().flatten().fold(0.0f64, |a, v| a.max(v.abs()));
        assert!(largest > 0.0);
        for (a, b) in short.iter().flatten().zip(long.iter().flatten()) {
            // They are forgotten 120 dB down, at the end of a step.
            assert!((a - b).abs() < 1e-6 * largest);
        }
    }
}
