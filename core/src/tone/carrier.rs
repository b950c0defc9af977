//! The oscillator at the boxcar rate: it turns each boxcar back to the carrier's phase, and follows the
//! carrier by how far the outputs' phase advances from one to the next.

use core::f32::consts::{PI, TAU};

use num_complex::Complex32;

use super::CARRIER_RANGE_HZ;
use super::front::Front;
use super::window::HOP_BOXCARS;
use crate::math;

/// Share of each measured error that is put right.
const LOOP_GAIN: f32 = 0.3;
/// The tone steers the oscillator only when its power is this many times the noise's, over all channels.
const STEERING_SNR: f32 = 12.0;

/// After so many steady outputs the loop is locked, and half a turn of phase is taken for what it then is: a field
/// that changed its sign at a null, not a carrier 5 Hz away.
const LOCKED: u8 = 5;

/// Phase and frequency of the tracked carrier.
#[derive(Debug, Clone, Copy)]
pub struct Carrier {
    phase: u32,
    nominal_turns: u32,
    offset_turns: i32,
    offset_hz: f32,
    boxcar_s: f32,
    steady: u8,
}

impl Carrier {
    pub fn new(front: &Front) -> Self {
        Self {
            phase: 0,
            nominal_turns: front.turns_per_boxcar,
            offset_turns: 0,
            offset_hz: 0.0,
            boxcar_s: front.boxcar_s,
            steady: 0,
        }
    }

    pub fn offset_hz(&self) -> f32 {
        self.offset_hz
    }

    /// e^{-i phase} at the start of the current boxcar.
    pub fn rotation(&self) -> Complex32 {
        let (s, c) = math::sin_cos_turn(self.phase);
        Complex32::new(c, -s)
    }

    fn turns_per_boxcar(&self) -> u32 {
        self.nominal_turns.wrapping_add_signed(self.offset_turns)
    }

    pub fn advance(&mut self) {
        self.phase = self.phase.wrapping_add(self.turns_per_boxcar());
    }

    /// What boxcars will be one hop later.
    pub fn forecast(&self) -> Forecast {
        let (s, c) = math::sin_cos_turn(self.turns_per_boxcar().wrapping_mul(HOP_BOXCARS as u32));
        Forecast { mains: Complex32::new(c, -s) }
    }

    /// Steer towards the frequency at which the phase stands still.
    pub fn track<const C: usize>(
        &mut self,
        earlier: &[Complex32; C],
        now: &[Complex32; C],
        sigma: &[f32; C],
    ) {
        let mut advance = Complex32::ZERO;
        let mut power = 0.0;
        for ((before, now), sigma) in earlier.iter().zip(now).zip(sigma) {
            let variance = sigma * sigma;
            if variance > 0.0 {
                advance += now * before.conj() / variance;
                power += now.norm_sqr() / variance;
            }
        }
        if power < STEERING_SNR * 2.0 * C as f32 {
            return;
        }
        let turned = math::atan2(advance.im, advance.re);
        let folded = math::wrap_half_pi(turned);
        let error_rad = if self.steady >= LOCKED { folded } else { turned };
        self.steady = if folded.abs() < 0.25 * PI { self.steady.saturating_add(1).min(LOCKED) } else { 0 };
        let error_hz = error_rad / (TAU * self.boxcar_s * HOP_BOXCARS as f32);
        self.offset_hz = (self.offset_hz + LOOP_GAIN * error_hz).clamp(-CARRIER_RANGE_HZ, CARRIER_RANGE_HZ);
        self.offset_turns = (self.offset_hz * self.boxcar_s * 4_294_967_296.0) as i32;
    }
}

/// How a boxcar changes within one hop: the tone stays, all else is mains, which repeats in the samples and
/// so turns backwards against the oscillator.
#[derive(Clone, Copy)]
pub struct Forecast {
    mains: Complex32,
}

impl Forecast {
    /// The boxcar one hop after `boxcar`.
    pub fn one_hop_on(self, boxcar: Complex32, tone: Complex32) -> Complex32 {
        (boxcar - tone) * self.mains + tone
    }
}
