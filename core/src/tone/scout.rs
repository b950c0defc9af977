//! Which other tone is on the air: asked while the one that is set is not heard.
//!
//! One channel at a time, one candidate at a time, a 0.4 s window is compared with its neighbours 15 Hz
//! either side. A candidate must stand out twice running before it is named.

use core::f32::consts::TAU;

use num_complex::Complex32;

use super::front::{Front, FrontState};
use super::window::{BASE_TAPS, blackman_harris};
use crate::frame::Block;
use crate::math;

/// Frequencies that sondes and transmitters commonly use (common practice, no source).
pub const CANDIDATES_HZ: [f32; 3] = [512.0, 640.0, 8192.0];

const NEIGHBOUR_HZ: f32 = 15.0;
/// A tone stands out when its power is this many times the stronger neighbour's.
const OUTSTANDING: f32 = 100.0;

/// A tone found where none was asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StrayTone {
    /// Its nominal frequency, hertz.
    pub tone_hz: f32,
    /// Ratio to the noise beside it, decibels.
    pub snr_db: f32,
}

/// The search in progress.
#[derive(Debug, Clone)]
pub struct Scout {
    rate_hz: f32,
    tuned_hz: f32,
    candidate: usize,
    channel: usize,
    front: Option<Front>,
    sums: FrontState<1>,
    boxcar: usize,
    phase: u32,
    /// Weighted sums at the neighbour below, the candidate, and the neighbour above.
    lines: [Complex32; 3],
    confirmed: bool,
}

impl Scout {
    /// A search in samples at `rate_hz` for anything but `tuned_hz`.
    pub fn new(tuned_hz: f32, rate_hz: f32) -> Self {
        let mut scout = Self {
            rate_hz,
            tuned_hz,
            candidate: CANDIDATES_HZ.len(),
            channel: 0,
            front: None,
            sums: FrontState::default(),
            boxcar: 0,
            phase: 0,
            lines: [Complex32::ZERO; 3],
            confirmed: false,
        };
        scout.next_candidate(1);
        scout
    }

    /// Take a block in; the tone that was confirmed during it, if any.
    pub fn push<const C: usize>(&mut self, block: &Block<'_, C>) -> Option<StrayTone> {
        let mut frames = block.frames;
        let mut found = None;
        while !frames.is_empty() {
            let front = self.front.as_ref()?;
            frames = front.accumulate_channel(&mut self.sums, frames, self.channel % C);
            if front.is_full(&self.sums) {
                found = self.finish_boxcar(C).or(found);
            }
        }
        found
    }

    fn finish_boxcar(&mut self, channels: usize) -> Option<StrayTone> {
        let front = self.front.as_ref()?;
        let [sum] = self.sums.sums;
        let z = sum * (front.unit * blackman_harris(self.boxcar));
        let (s, c) = math::sin_cos_turn(self.phase);
        let z = z * Complex32::new(c, -s);
        let (s, c) = math::sin_cos(TAU * NEIGHBOUR_HZ * front.boxcar_s * self.boxcar as f32);
        let turn = Complex32::new(c, s);
        for (line, z) in self.lines.iter_mut().zip([z * turn, z, z * turn.conj()]) {
            *line += z;
        }
        self.phase = self.phase.wrapping_add(front.turns_per_boxcar);
        self.sums = FrontState::default();
        self.boxcar += 1;
        if self.boxcar < BASE_TAPS {
            return None;
        }
        self.judge(channels)
    }

    fn judge(&mut self, channels: usize) -> Option<StrayTone> {
        let [below, tone, above] = self.lines.map(|z| z.norm_sqr());
        self.boxcar = 0;
        self.lines = [Complex32::ZERO; 3];
        let beside = below.max(above).max(f32::MIN_POSITIVE);
        if tone < OUTSTANDING * beside {
            self.confirmed = false;
            self.next_candidate(channels);
            return None;
        }
        let tone_hz = CANDIDATES_HZ.get(self.candidate).copied()?;
        let snr_db = 0.5 * math::db(tone / beside);
        core::mem::replace(&mut self.confirmed, true).then_some(StrayTone { tone_hz, snr_db })
    }

    /// Go on to the next usable candidate, and to the next channel after the last of them.
    fn next_candidate(&mut self, channels: usize) {
        let nyquist_hz = 0.5 * self.rate_hz - super::NYQUIST_MARGIN_HZ;
        for _ in 0..CANDIDATES_HZ.len() {
            self.candidate += 1;
            if self.candidate >= CANDIDATES_HZ.len() {
                self.candidate = 0;
                self.channel = (self.channel + 1) % channels.max(1);
            }
            let candidate_hz = CANDIDATES_HZ.get(self.candidate).copied().unwrap_or(0.0);
            let own = (candidate_hz - self.tuned_hz).abs() < 2.0 * NEIGHBOUR_HZ;
            if !own && candidate_hz < nyquist_hz {
                self.front = Some(Front::new(candidate_hz, self.rate_hz));
                self.sums = FrontState::default();
                self.phase = 0;
                return;
            }
        }
        self.front = None;
    }
}
