//! Amplifier and converter: from volts at the coil to counts.

use std::f64::consts::TAU;

use nullwalk_core::error::ConfigError;
use nullwalk_core::gain::Ladder;
use num_complex::Complex64;
use rand::RngExt;

use super::random::{Purpose, Random, stream};
use crate::site::Site;

/// The first-order high-pass of an AC-coupled amplifier, seen relative to the tone: the coils' calibrated
/// gain and phase contain its value there.
#[derive(Debug, Clone, Copy)]
pub(super) struct HighPass {
    corner_hz: f64,
    at_tone: Complex64,
}

impl HighPass {
    pub(super) fn new(corner_hz: f64, tone_hz: f64) -> Self {
        Self { corner_hz, at_tone: Self::plain(corner_hz, tone_hz) }
    }

    /// Its response at a frequency; 1 at the tone.
    pub(super) fn at(&self, frequency_hz: f64) -> Complex64 {
        Self::plain(self.corner_hz, frequency_hz) / self.at_tone
    }

    fn plain(corner_hz: f64, frequency_hz: f64) -> Complex64 {
        let jf = Complex64::new(0.0, frequency_hz);
        jf / (corner_hz + jf)
    }
}

/// After a change of rung every channel is thrown off by up to this fraction of full scale.
const THROW: f64 = 0.25;
/// By the end of the settling time the throw has decayed by e to this power: to 1e-5 of full scale.
const SETTLING_DECAY: f64 = 10.0;
/// Meanwhile it rings through this many turns.
const SETTLING_TURNS: f64 = 3.0;

/// Amplifier and converter of all channels.
#[derive(Debug, Clone)]
pub(super) struct Chain<const C: usize> {
    ladder: Ladder,
    counts_per_volt: f64,
    sample_rate_hz: f64,
    rail: f64,
    lowest: f64,
    highest: f64,
    rung: u8,
    wanted: u8,
    settling: Complex64,
    settling_step: Complex64,
    throw: [f64; C],
    random: Random,
}

impl<const C: usize> Chain<C> {
    /// The chain of a site's instrument, on its lowest rung.
    ///
    /// # Errors
    /// As [`Ladder::new`].
    pub(super) fn new(site: &Site, seed: u64, station: usize) -> Result<Self, ConfigError> {
        let front_end = &site.front_end;
        let full_scale = f64::from(front_end.full_scale_counts);
        let rail_fraction = site.noise.true_rail_fraction.unwrap_or(front_end.rail_fraction);
        Ok(Self {
            ladder: front_end.ladder()?,
            counts_per_volt: full_scale / front_end.full_scale_v,
            sample_rate_hz: site.signal.sample_rate_hz,
            rail: full_scale * rail_fraction,
            lowest: -full_scale,
            highest: full_scale - 1.0,
            rung: 0,
            wanted: 0,
            settling: Complex64::ZERO,
            settling_step: Complex64::ZERO,
            throw: [0.0; C],
            random: stream(seed, station, Purpose::Settling),
        })
    }

    /// The rung in force.
    pub(super) fn rung(&self) -> u8 {
        self.rung
    }

    /// Ask for a rung; numbers above the ladder mean its top.
    pub(super) fn set_rung(&mut self, rung: u8) {
        self.wanted = rung.min(self.ladder.top());
    }

    /// Begin a block: the rung that was asked for comes into force, with a transient.
    pub(super) fn begin_block(&mut self) {
        if self.wanted == self.rung {
            return;
        }
        self.rung = self.wanted;
        let frames = f64::from(self.ladder.rung(self.rung).settle_s) * self.sample_rate_hz;
        if frames < 1.0 {
            return;
        }
        self.settling = Complex64::ONE;
        self.settling_step =
            Complex64::from_polar((-SETTLING_DECAY / frames).exp(), TAU * SETTLING_TURNS / frames);
        for throw in &mut self.throw {
            *throw = -self.lowest * self.random.random_range(-THROW..THROW);
        }
    }

    /// Amplify, clip and convert.
    pub(super) fn convert(&mut self, volts: &[[f64; C]], counts: &mut [[i32; C]]) {
        let gain = self.counts_per_volt * f64::from(self.ladder.rung(self.rung).gain);
        // Clipping first at the amplifier's rail, then at the converter's range, is one clamp.
        let (low, high) = (self.lowest.max(-self.rail), self.highest.min(self.rail));
        for (volts, counts) in volts.iter().zip(counts) {
            for c in 0..C {
                let level = volts[c] * gain + self.throw[c] * self.settling.re;
                counts[c] = round(level.clamp(low, high));
            }
            self.settling *= self.settling_step;
        }
        if self.settling.norm_sqr() < 1e-30 {
            self.settling = Complex64::ZERO;
        }
    }
}

/// Nearest integer, halves to even, for |x| below 2^31.
///
/// Adding 1.5 * 2^52 leaves no room for a fraction, and the integer in the low bits of the sum, negative
/// ones in two's complement: much faster than calling `round` where the processor has no such instruction.
fn round(x: f64) -> i32 {
    (x + 6_755_399_441_055_744.0).to_bits() as i32
}
