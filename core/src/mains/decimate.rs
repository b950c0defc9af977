//! From the converter's rate to some 2000 samples a second: three running sums and their differences (Hogenauer 1981, IEEE
//! ASSP-29:155), in whole numbers that may wrap, because only differences count.

use crate::frame::magnitude;
use crate::math;

/// Samples a second that the decimator aims at: the 19 half orders of a 60 Hz grid end at 576 Hz.
const AIM_HZ: f32 = 2000.0;
/// Sums one behind the other.
const STAGES: usize = 3;
/// After a start, so many outputs are not yet whole.
pub const NOT_YET_WHOLE: u32 = STAGES as u32;
/// Bits of a sample, sign included.
const SAMPLE_BITS: u32 = 24;

/// How much is decimated.
#[derive(Debug, Clone, Copy)]
pub struct Decimation {
    /// Samples to one output.
    pub factor: usize,
    /// Bits taken off each sample, so that a full-scale output fits 32 bits.
    shift: u32,
    /// What one count of an output is worth in counts of the converter.
    pub unit: f32,
}

/// Running sums and their last differences, of every channel.
#[derive(Debug, Clone)]
pub struct Decimator<const C: usize> {
    sums: [[i32; STAGES]; C],
    last: [[i32; STAGES]; C],
    /// Frames summed since the last output.
    frames: usize,
    /// Magnitude of the largest sample since it was last taken.
    largest: i32,
}

impl<const C: usize> Default for Decimator<C> {
    fn default() -> Self {
        Self { sums: [[0; STAGES]; C], last: [[0; STAGES]; C], frames: 0, largest: 0 }
    }
}

impl Decimation {
    pub fn new(rate_hz: f32) -> Self {
        let factor = ((rate_hz / AIM_HZ) as usize).clamp(2, 24);
        let gain = (factor * factor * factor) as u32;
        // Sums grow by the bits of the gain, and 31 of 32 hold a magnitude.
        let grown = SAMPLE_BITS - 1 + (u32::BITS - (gain - 1).leading_zeros());
        let shift = grown.saturating_sub(31);
        let unit = (1_u32 << shift) as f32 / gain as f32;
        Self { factor, shift, unit }
    }

    /// What a signal of `hz` is multiplied by, at a sampling rate in hertz.
    pub fn gain(&self, hz: f32, rate_hz: f32) -> f32 {
        let half_turns = core::f32::consts::PI * hz / rate_hz;
        let length = self.factor as f32;
        let one = math::sin_cos(half_turns * length).0 / (length * math::sin_cos(half_turns).0);
        one * one * one
    }

    /// Sum frames up to the next output; the rest of them, and the output if it fell due.
    pub fn take<'a, const C: usize>(
        &self,
        state: &mut Decimator<C>,
        frames: &'a [[i32; C]],
    ) -> (&'a [[i32; C]], Option<[f32; C]>) {
        let wanted = self.factor.saturating_sub(state.frames);
        let (now, later) = frames.split_at_checked(wanted).unwrap_or((frames, &[]));
        let mut largest = state.largest;
        for (channel, sums) in state.sums.iter_mut().enumerate() {
            let [mut first, mut second, mut third] = *sums;
            for sample in now.iter().filter_map(|frame| frame.get(channel)) {
                let size = magnitude(*sample);
                if size > largest {
                    largest = size;
                }
                first = first.wrapping_add(sample >> self.shift);
                second = second.wrapping_add(first);
                third = third.wrapping_add(second);
            }
            *sums = [first, second, third];
        }
        state.largest = largest;
        state.frames += now.len();
        if state.frames < self.factor {
            return (later, None);
        }
        state.frames = 0;
        let mut output = [0.0; C];
        for (output, (sums, last)) in output.iter_mut().zip(state.sums.iter().zip(&mut state.last)) {
            let [.., mut value] = *sums;
            for last in last {
                let difference = value.wrapping_sub(*last);
                *last = value;
                value = difference;
            }
            *output = value as f32 * self.unit;
        }
        (later, Some(output))
    }
}

impl<const C: usize> Decimator<C> {
    /// Frames summed since the last output.
    pub fn frames(&self) -> usize {
        self.frames
    }

    /// Magnitude of the largest sample since it was last asked for.
    pub fn take_largest(&mut self) -> i32 {
        core::mem::take(&mut self.largest)
    }
}
