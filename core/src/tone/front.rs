//! The full-rate stage: products with a table of the tone, summed over boxcars.
//!
//! The table always starts at phase zero; the phase at which each boxcar really began is put right
//! afterwards by one rotation, so the oscillator costs nothing per sample.

use num_complex::Complex32;

use super::peak::{Peak, greater};
use crate::math;

/// The longest boxcar: 5 ms at 48 kHz.
const LONGEST: usize = 240;
/// Boxcars per second that the stage aims at. Signals a multiple of this away from the tone fold onto it; a
/// multiple of 100 Hz keeps every harmonic of 50 and 60 Hz at least 8 Hz away from 512 Hz after folding.
const BOXCAR_RATE_HZ: f32 = 200.0;

/// Table of the nominal tone over one boxcar.
#[derive(Debug, Clone)]
pub struct Front {
    table: [[f32; 2]; LONGEST],
    length: usize,
    /// What a sum is worth as an amplitude, in counts.
    pub unit: f32,
    /// Nominal tone as turns of 2^32 per boxcar, and the boxcar's duration.
    pub turns_per_boxcar: u32,
    pub boxcar_s: f32,
}

/// Running sums of the boxcar in progress, and its largest sample.
#[derive(Debug, Clone)]
pub struct FrontState<const C: usize> {
    pub sums: [Complex32; C],
    pub peak: Peak,
    frames: usize,
}

impl<const C: usize> Default for FrontState<C> {
    fn default() -> Self {
        Self { sums: [Complex32::ZERO; C], peak: Peak::default(), frames: 0 }
    }
}

impl<const C: usize> FrontState<C> {
    pub fn frames(&self) -> usize {
        self.frames
    }
}

impl Front {
    pub fn new(tone_hz: f32, rate_hz: f32) -> Self {
        let length = ((rate_hz / BOXCAR_RATE_HZ) as usize).clamp(1, LONGEST);
        let turns_per_sample = turns_per_sample(tone_hz, rate_hz);
        let mut table = [[0.0; 2]; LONGEST];
        let mut phase = 0_u32;
        for entry in table.iter_mut().take(length) {
            let (s, c) = math::sin_cos_turn(phase);
            *entry = [c, -s];
            phase = phase.wrapping_add(turns_per_sample);
        }
        let unit = 2.0 / length as f32;
        Self {
            table,
            length,
            unit,
            turns_per_boxcar: turns_per_sample.wrapping_mul(length as u32),
            boxcar_s: length as f32 / rate_hz,
        }
    }

    pub fn length(&self) -> usize {
        self.length
    }

    pub fn is_full<const C: usize>(&self, state: &FrontState<C>) -> bool {
        state.frames >= self.length
    }

    /// Take in as many frames as the boxcar has room for; return the rest.
    pub fn accumulate<'a, const C: usize>(
        &self,
        state: &mut FrontState<C>,
        frames: &'a [[i32; C]],
        rail_counts: i32,
    ) -> &'a [[i32; C]] {
        let table = self.table.get(state.frames..self.length).unwrap_or(&[]);
        let (now, later) = frames.split_at_checked(table.len()).unwrap_or((frames, &[]));
        let loudest = sum_channels(table, now, &mut state.sums);
        state.peak.push(now, loudest, rail_counts);
        state.frames += now.len();
        later
    }

    /// The same for one channel of the frames.
    pub fn accumulate_channel<'a, const C: usize>(
        &self,
        state: &mut FrontState<1>,
        frames: &'a [[i32; C]],
        channel: usize,
    ) -> &'a [[i32; C]] {
        let table = self.table.get(state.frames..self.length).unwrap_or(&[]);
        let (now, later) = frames.split_at_checked(table.len()).unwrap_or((frames, &[]));
        let [sum] = &mut state.sums;
        for (frame, [cosine, minus_sine]) in now.iter().zip(table) {
            let sample = frame.get(channel).copied().unwrap_or(0) as f32;
            sum.re += sample * cosine;
            sum.im += sample * minus_sine;
        }
        state.frames += now.len();
        later
    }

    /// Count a frame that never came.
    pub fn skip<const C: usize>(&self, state: &mut FrontState<C>) {
        state.frames += 1;
    }
}

/// Frequency as turns of 2^32 per sample, to a millihertz and without 64-bit floats.
fn turns_per_sample(tone_hz: f32, rate_hz: f32) -> u32 {
    let millihertz = |hz: f32| (hz * 1000.0 + 0.5) as u64;
    let turns = (millihertz(tone_hz) << 32).checked_div(millihertz(rate_hz));
    turns.unwrap_or(0) as u32
}

/// The whole work per sample and channel: three multiplications. Frame by frame, so that the table is read
/// once for all channels; and in floats, of which a Cortex-M4F has enough registers to keep every sum in one.
/// Sums always grow sample by sample from the boxcar's first, so however the stream is cut, their rounding is
/// the same. Returns the greatest power of a frame, the sum of its squares.
#[inline(always)]
fn sum_channels<const C: usize>(table: &[[f32; 2]], frames: &[[i32; C]], sums: &mut [Complex32; C]) -> f32 {
    let mut growing = *sums;
    let mut loudest = 0.0;
    for (frame, [cosine, minus_sine]) in frames.iter().zip(table) {
        let mut power = 0.0;
        for (sum, &sample) in growing.iter_mut().zip(frame) {
            let sample = sample as f32;
            sum.re += sample * cosine;
            sum.im += sample * minus_sine;
            power += sample * sample;
        }
        loudest = greater(loudest, power);
    }
    *sums = growing;
    loudest
}
