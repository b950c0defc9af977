//! How near the samples came to the rail.
//!
//! Every sample counts, but to compare each would cost as much as to sum it. The power of a frame, the sum of
//! the squares over its channels, is cheaper: its root is no less than the largest sample of the frame, and
//! no more than that times the square root of the number of channels. Only where this bound comes near the
//! rail are the samples themselves looked at.

use crate::frame::magnitude;
use crate::math;

/// Share of the rail from which the largest sample is known exactly.
const NEAR_RAIL: f32 = 0.5;

/// The largest sample so far, or a bound on it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Peak {
    /// Largest magnitude in the frames that came near the rail, counts.
    largest: i32,
    /// Greatest power of all other frames, square counts.
    power: f32,
}

impl Peak {
    /// Take in frames, the loudest of which has the power `loudest`.
    #[inline]
    pub fn push<const C: usize>(&mut self, frames: &[[i32; C]], loudest: f32, rail_counts: i32) {
        let near_rail = NEAR_RAIL * rail_counts as f32;
        let near_power = near_rail * near_rail;
        if loudest < near_power {
            self.power = greater(self.power, loudest);
        } else {
            self.look_closely(frames, near_power);
        }
    }

    /// Frame by frame, so that the outcome is the same however the stream is cut.
    #[cold]
    #[inline(never)]
    fn look_closely<const C: usize>(&mut self, frames: &[[i32; C]], near_power: f32) {
        for frame in frames {
            let power = frame.iter().map(|&sample| sample as f32 * sample as f32).sum();
            if power < near_power {
                self.power = greater(self.power, power);
            } else {
                self.largest = frame.iter().copied().map(magnitude).fold(self.largest, i32::max);
            }
        }
    }

    /// The peak of both.
    pub fn and(self, other: Self) -> Self {
        Self { largest: self.largest.max(other.largest), power: greater(self.power, other.power) }
    }

    /// Whether any sample touched the rail.
    pub fn is_clipped(self, rail_counts: i32) -> bool {
        self.largest >= rail_counts
    }

    /// The largest magnitude in counts, but for the last of 24 bits: exact where it comes near the rail; below
    /// that it may be too large, at most by the square root of the number of channels.
    pub fn counts(self) -> i32 {
        self.largest.max(math::sqrt(self.power) as i32)
    }
}

/// The greater of two numbers. `f32::max` minds what is not a number, at the price of a call.
pub fn greater(a: f32, b: f32) -> f32 {
    if b > a { b } else { a }
}

#[cfg(test)]
mod tests {
    extern crate std;

    use std::vec::Vec;

    use super::*;
    use crate::gain::{Ladder, Rung, Stepper};
    use proptest::prelude::*;

    const CHANNELS: usize = 3;
    const RAIL: i32 = 1 << 23;

    fn peak_of(frames: &[[i32; CHANNELS]]) -> Peak {
        let power = |frame: &[i32; CHANNELS]| frame.iter().map(|&x| x as f32 * x as f32).sum();
        let mut peak = Peak::default();
        peak.push(frames, frames.iter().map(power).fold(0.0, greater), RAIL);
        peak
    }

    /// Samples from a few counts to beyond the rail.
    fn frames() -> impl Strategy<Value = Vec<[i32; CHANNELS]>> {
        let sample = (any::<i32>(), 7_u32..31).prop_map(|(sample, shift)| sample >> shift);
        prop::collection::vec(prop::array::uniform3(sample), 1..100)
    }

    proptest! {
        #[test]
        fn a_sample_at_the_rail_is_never_missed_and_nothing_else_is_one(frames in frames()) {
            let rail = RAIL - 2;
            let touches = frames.as_flattened().iter().any(|&x| x.max(!x) >= rail);
            prop_assert_eq!(peak_of(&frames).is_clipped(rail), touches);
        }

        #[test]
        fn the_peak_is_exact_near_the_rail_and_elsewhere_a_bound(frames in frames()) {
            let largest = frames.as_flattened().iter().map(|&x| x.max(!x)).max().unwrap_or(0);
            let told = peak_of(&frames).counts();
            if largest >= RAIL / 2 {
                prop_assert_eq!(told, largest);
            } else {
                let (least, most) = (largest as f32 * 0.999_999, (largest + 1) as f32 * 1.733);
                prop_assert!((least..=most).contains(&(told as f32)), "{} for {}", told, largest);
            }
        }

        #[test]
        fn the_peak_does_not_depend_on_how_the_stream_is_cut(frames in frames(), cut: prop::sample::Index) {
            let (now, later) = frames.split_at(cut.index(frames.len()));
            prop_assert_eq!(peak_of(&frames), peak_of(now).and(peak_of(later)));
        }

        /// The share of each channel decides how far the bound is above the peak.
        #[test]
        fn a_steady_signal_never_makes_the_gain_go_up_and_down(
            shares in prop::array::uniform3(0.0_f32..1.0),
            decades in -4.0_f32..1.0,
            ratio in 2.5_f32..10.0,
            mut rung in 0_u8..4,
        ) {
            let rungs = [0, 1, 2, 3].map(|n| Rung { gain: ratio.powi(n), settle_s: 0.03 });
            let ladder = Ladder::new(&rungs, 2.5, RAIL, 1.0).unwrap();
            let mut stepper = Stepper::default();
            stepper.hold(Some(rung));
            stepper.push(&ladder, 0, rung, true, 0.1);
            stepper.hold(None);
            let (mut went_up, mut went_down) = (false, false);
            for _ in 0..100 {
                let volts = 10_f32.powf(decades);
                let sample = |share| (share * volts * ladder.rung(rung).gain * RAIL as f32) as i32;
                let frame = shares.map(|share| sample(share).clamp(-RAIL, RAIL - 1));
                stepper.push(&ladder, peak_of(&[frame]).counts(), rung, false, 0.1);
                went_up |= stepper.wanted() > rung;
                went_down |= stepper.wanted() < rung;
                rung = stepper.wanted();
            }
            prop_assert!(!(went_up && went_down));
        }
    }
}
