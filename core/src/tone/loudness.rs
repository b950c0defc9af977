//! How near the samples come to the rail.
//!
//! Every sample counts, but to compare the magnitude of each costs as much as to sum it. A frame's power, the
//! sum of the squares of all its channels, is cheaper: no sample of the frame is larger than its square root,
//! and the largest is no smaller than that over the square root of the number of channels. Only where this
//! bound comes near the rail are the samples themselves looked at.

use crate::math;

/// Share of the rail from which the largest sample is known exactly.
const NEAR_RAIL: f32 = 0.5;

/// The loudest of the frames so far.
#[derive(Debug, Clone, Copy, Default)]
pub struct Loudness {
    /// Largest magnitude in the frames that came near the rail, counts.
    largest: i32,
    /// Greatest power of all other frames, square counts.
    power: f32,
}

impl Loudness {
    /// Take in frames of which the greatest power is `loudest`.
    #[inline]
    pub fn take<const C: usize>(&mut self, loudest: f32, frames: &[[i32; C]], rail_counts: i32) {
        let near_rail = NEAR_RAIL * rail_counts as f32;
        if loudest < near_rail * near_rail {
            self.power = if loudest > self.power { loudest } else { self.power };
        } else {
            self.look_closely(frames, near_rail * near_rail);
        }
    }

    /// Frame by frame, so that the outcome is the same however the stream is cut.
    #[cold]
    #[inline(never)]
    fn look_closely<const C: usize>(&mut self, frames: &[[i32; C]], near_rail: f32) {
        for frame in frames {
            let power = frame.iter().map(|&sample| sample as f32 * sample as f32).sum();
            if power < near_rail {
                self.power = self.power.max(power);
            } else {
                // Magnitude without overflow: -1 counts as 0.
                self.largest = frame.iter().map(|x| x ^ (x >> 31)).fold(self.largest, i32::max);
            }
        }
    }

    /// Both together.
    pub fn and(self, other: Self) -> Self {
        Self { largest: self.largest.max(other.largest), power: self.power.max(other.power) }
    }

    /// Whether any sample touched the rail.
    pub fn is_clipped(self, rail_counts: i32) -> bool {
        self.largest >= rail_counts
    }

    /// The largest magnitude, exact near the rail, elsewhere at most the square root of the number of channels
    /// too large.
    pub fn peak(self) -> i32 {
        self.largest.max(math::sqrt(self.power) as i32)
    }
}
