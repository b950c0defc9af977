//! The noise floor, from the same window at eight frequencies beside the tone.

use super::window::{History, Window};
use crate::math;

/// Offsets from the tone, hertz, used above and below it: outside the window's main lobe, and one noise
/// bandwidth apart.
const OFFSETS_HZ: [f32; 4] = [11.0, 15.0, 19.0, 23.0];
const LISTENERS: usize = 2 * OFFSETS_HZ.len();
/// Mains harmonics may stand on some of the eight. The third smallest is used: five may be spoilt.
const RANK: usize = 2;
/// Mean of the third smallest of eight exponential variates of mean one: 1/8 + 1/7 + 1/6.
const RANK_MEAN: f32 = 0.434_523_8;
/// Share of each new estimate in the running one.
const SMOOTHING: f32 = 0.1;

/// Powers beside the tone, and the floor they make.
#[derive(Debug, Clone)]
pub struct Floor<const C: usize> {
    power: [[f32; LISTENERS]; C],
    floor: [f32; C],
    turn: usize,
    /// How many turns were taken, until all listeners have spoken.
    heard: usize,
}

impl<const C: usize> Default for Floor<C> {
    fn default() -> Self {
        Self { power: [[0.0; LISTENERS]; C], floor: [0.0; C], turn: 0, heard: 0 }
    }
}

impl<const C: usize> Floor<C> {
    /// Listen at the next pair of offsets; one pair a hop is enough for a floor that changes slowly.
    pub fn listen(&mut self, window: &Window, history: &[History; C], oldest: usize) {
        let to_floor = window.flattened_noise / RANK_MEAN;
        let turn = self.turn % OFFSETS_HZ.len();
        let shifted = window.shifted(OFFSETS_HZ[turn]);
        let first = self.heard < OFFSETS_HZ.len();
        for ((power, floor), history) in self.power.iter_mut().zip(&mut self.floor).zip(history) {
            let pair = shifted.power(history, oldest);
            power[2 * turn] = pair[0];
            power[2 * turn + 1] = pair[1];
            let mut sorted = [0.0; LISTENERS];
            // Until all have spoken, those that have stand in for the rest.
            for (n, s) in sorted.iter_mut().enumerate() {
                *s = if first { power[n % (2 * turn + 2)] } else { power[n] };
            }
            sorted.sort_unstable_by(f32::total_cmp);
            let fresh = sorted[RANK] * to_floor;
            *floor = if first { fresh } else { *floor + SMOOTHING * (fresh - *floor) };
        }
        self.turn = (turn + 1) % OFFSETS_HZ.len();
        self.heard = (self.heard + 1).min(OFFSETS_HZ.len());
    }

    /// Standard deviation of the real (and of the imaginary) part of each channel's phasor.
    pub fn sigma(&self) -> [f32; C] {
        self.floor.map(|power| math::sqrt(0.5 * power))
    }
}
