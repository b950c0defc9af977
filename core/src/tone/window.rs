//! The window that weighs boxcars into a phasor, and its published response.
//!
//! Base: the 4-term Blackman-Harris window (Harris 1978, Proc. IEEE 66:51) over 0.4 s, whose side lobes are
//! 92 dB down from 10 Hz off. A mast that walks through a field sees it change within those 0.4 s, and any
//! all-positive window reads a peak too low. So the window is flattened: `(1 + 2c) w(t) - c w(t - 0.1 s)
//! - c w(t + 0.1 s)`, with `c` such that the second moment vanishes and a quadratic change leaves no bias.

use core::f32::consts::{PI, TAU};

use num_complex::Complex32;

use crate::math;

/// Boxcars from one output to the next.
pub const HOP_BOXCARS: usize = 20;
/// Hops that one window spans.
pub const HOPS: usize = 6;
const TAPS: usize = HOP_BOXCARS * HOPS;
pub(super) const BASE_TAPS: usize = TAPS - 2 * HOP_BOXCARS;

/// One boxcar of every hop of one channel.
pub type History = [[Complex32; HOP_BOXCARS]; HOPS];

/// The weights, oldest boxcar first; they sum to one.
#[derive(Debug, Clone)]
pub struct Window {
    taps: [[f32; HOP_BOXCARS]; HOPS],
    boxcar_rate_hz: f32,
}

/// Weight `k` of the base window.
pub(super) fn blackman_harris(k: usize) -> f32 {
    let x = TAU * (k as f32 + 0.5) / BASE_TAPS as f32;
    let cosine = |n: f32| math::sin_cos(n * x).1;
    0.358_75 - 0.488_29 * cosine(1.0) + 0.141_28 * cosine(2.0) - 0.011_68 * cosine(3.0)
}

impl Window {
    pub(super) fn new(boxcar_rate_hz: f32) -> Self {
        let mut base = [0.0; BASE_TAPS];
        let (mut sum, mut moment) = (0.0, 0.0);
        for (k, weight) in base.iter_mut().enumerate() {
            *weight = blackman_harris(k);
            let from_centre = k as f32 + 0.5 - 0.5 * BASE_TAPS as f32;
            sum += *weight;
            moment += *weight * from_centre * from_centre;
        }
        let flattening = moment / sum / (2.0 * (HOP_BOXCARS * HOP_BOXCARS) as f32);
        let base_at = |k: usize| base.get(k).copied().unwrap_or(0.0);
        let mut taps = [[0.0; HOP_BOXCARS]; HOPS];
        for (n, tap) in taps.as_flattened_mut().iter_mut().enumerate() {
            // Indices below the base wrap far above it, where it is zero too.
            let middle = base_at(n.wrapping_sub(HOP_BOXCARS));
            let sides = base_at(n) + base_at(n.wrapping_sub(2 * HOP_BOXCARS));
            *tap = ((1.0 + 2.0 * flattening) * middle - flattening * sides) / sum;
        }
        Self { taps, boxcar_rate_hz }
    }

    /// The weights in order of time.
    pub fn taps(&self) -> &[f32] {
        self.taps.as_flattened()
    }

    /// Boxcars per second.
    pub fn boxcar_rate_hz(&self) -> f32 {
        self.boxcar_rate_hz
    }

    /// Hops of a ring whose oldest is `oldest`, each with its weights, in order of time.
    fn aged<'a, const N: usize>(
        weights: &'a [[f32; N]; HOPS],
        history: &'a [[Complex32; N]; HOPS],
        oldest: usize,
    ) -> impl Iterator<Item = (&'a f32, &'a Complex32)> {
        weights.iter().enumerate().flat_map(move |(age, w)| w.iter().zip(&history[(oldest + age) % HOPS]))
    }

    /// The weighted sum of a channel's boxcars.
    pub(super) fn weigh(&self, history: &History, oldest: usize) -> Complex32 {
        let (mut re, mut im) = (0.0, 0.0);
        for (weight, z) in Self::aged(&self.taps, history, oldest) {
            re += weight * z.re;
            im += weight * z.im;
        }
        Complex32::new(re, im)
    }

    /// The weights times a cosine and a sine of `offset_hz`, which move it beside the tone.
    pub(super) fn shifted(&self, offset_hz: f32) -> ShiftedTaps {
        let (s, c) = math::sin_cos(TAU * offset_hz / self.boxcar_rate_hz);
        let step = Complex32::new(c, s);
        let mut turn = Complex32::new(1.0, 0.0);
        let mut shifted =
            ShiftedTaps { cosine: [[0.0; HOP_BOXCARS]; HOPS], sine: [[0.0; HOP_BOXCARS]; HOPS] };
        let both = shifted.cosine.as_flattened_mut().iter_mut().zip(shifted.sine.as_flattened_mut());
        for ((cosine, sine), tap) in both.zip(self.taps()) {
            *cosine = tap * turn.re;
            *sine = tap * turn.im;
            turn *= step;
        }
        shifted
    }
}

/// A window moved to a pair of frequencies either side of the tone.
pub struct ShiftedTaps {
    cosine: [[f32; HOP_BOXCARS]; HOPS],
    sine: [[f32; HOP_BOXCARS]; HOPS],
}

impl ShiftedTaps {
    /// Power of a channel at the frequency above and the one below the tone.
    pub(super) fn power(&self, history: &History, oldest: usize) -> [f32; 2] {
        let (mut a, mut b, mut c, mut d) = (0.0, 0.0, 0.0, 0.0);
        for age in 0..HOPS {
            let boxcars = &history[(oldest + age) % HOPS];
            for ((z, cosine), sine) in boxcars.iter().zip(&self.cosine[age]).zip(&self.sine[age]) {
                a += cosine * z.re;
                b += sine * z.re;
                c += cosine * z.im;
                d += sine * z.im;
            }
        }
        let above = Complex32::new(a + d, c - b);
        let below = Complex32::new(a - d, c + b);
        [above.norm_sqr(), below.norm_sqr()]
    }
}

/// What the tone path does to signals: gain over frequency, noise bandwidth, settling.
#[derive(Debug, Clone, Copy)]
pub struct Response<'a> {
    window: &'a Window,
    boxcar: usize,
    rate_hz: f32,
}

impl<'a> Response<'a> {
    pub(super) fn new(window: &'a Window, boxcar: usize, rate_hz: f32) -> Self {
        Self { window, boxcar, rate_hz }
    }

    /// Equivalent noise bandwidth, hertz, two-sided about the tone: white noise of density `n` per root
    /// hertz gives each of the phasor's parts a variance of `n^2` times this.
    pub fn noise_bandwidth_hz(&self) -> f32 {
        let squares: f32 = self.window.taps().iter().map(|w| w * w).sum();
        squares * self.window.boxcar_rate_hz()
    }

    /// Amplitude gain for a steady signal `offset_hz` away from the tracked carrier.
    pub fn gain(&self, offset_hz: f32) -> f32 {
        let shifted = self.window.shifted(offset_hz);
        let sum = |taps: &[[f32; HOP_BOXCARS]; HOPS]| taps.as_flattened().iter().sum::<f32>();
        let (re, im) = (sum(&shifted.cosine), sum(&shifted.sine));
        let half_turns = PI * offset_hz / self.rate_hz;
        let droop = if half_turns.abs() < 1e-6 {
            1.0
        } else {
            let length = self.boxcar as f32;
            math::sin_cos(half_turns * length).0 / (length * math::sin_cos(half_turns).0)
        };
        math::sqrt(re * re + im * im) * droop.abs()
    }

    /// Output after a unit step, `after_s` seconds from the step to the end of the window.
    pub fn step(&self, after_s: f32) -> f32 {
        let newest = (after_s * self.window.boxcar_rate_hz()).clamp(0.0, TAPS as f32) as usize;
        self.window.taps().iter().rev().take(newest).sum()
    }

    /// Successive outputs share most of their window. Fits over many of them may treat each as independent
    /// when they multiply its variance by this.
    pub fn overlap_inflation(&self) -> f32 {
        self.window.boxcar_rate_hz() / (HOP_BOXCARS as f32 * self.noise_bandwidth_hz())
    }
}
