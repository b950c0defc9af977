//! The window that weighs boxcars into a phasor, and its published response.
//!
//! Base: the 4-term Blackman-Harris window (Harris 1978, Proc. IEEE 66:51) over 0.4 s, whose side lobes are
//! 92 dB down from 10 Hz off. A mast that walks through a field sees it change within those 0.4 s, and any
//! all-positive window reads a peak too low. So the window is flattened: `(1 + 2c) w(t) - c w(t - 0.1 s)
//! - c w(t + 0.1 s)`, with `c` such that the second moment vanishes and a quadratic change leaves no bias.
//!
//! As 0.1 s is one hop, only the base window is ever summed: three of its outputs in a row make one of the
//! flattened window's.

use core::f32::consts::{PI, TAU};

use num_complex::Complex32;

use crate::math;

/// Boxcars from one output to the next.
pub const HOP_BOXCARS: usize = 20;
/// Hops that one window spans.
pub const HOPS: usize = 6;
const TAPS: usize = HOP_BOXCARS * HOPS;
/// Hops that the base window spans.
pub(super) const BASE_HOPS: usize = HOPS - 2;
pub(super) const BASE_TAPS: usize = HOP_BOXCARS * BASE_HOPS;

/// Boxcars of one channel, as a ring of hops.
pub(super) type History = [[Complex32; HOP_BOXCARS]; BASE_HOPS];

/// One weight for every boxcar of the base window, oldest first.
type Weights = [[f32; HOP_BOXCARS]; BASE_HOPS];

/// The weights of the base window and of the flattened one; each sum to one.
#[derive(Debug, Clone)]
pub struct Window {
    base: Weights,
    flattening: f32,
    taps: [f32; TAPS],
    /// Variance of white noise in the flattened window over that in the base window.
    pub(super) flattened_noise: f32,
    boxcar_rate_hz: f32,
}

/// Weight `k` of the base window.
pub(super) fn blackman_harris(k: usize) -> f32 {
    let x = TAU * (k as f32 + 0.5) / BASE_TAPS as f32;
    let cosine = |n: f32| math::sin_cos(n * x).1;
    0.358_75 - 0.488_29 * cosine(1.0) + 0.141_28 * cosine(2.0) - 0.011_68 * cosine(3.0)
}

/// Variance of white noise of variance one behind a filter with these weights.
fn noise(weights: &[f32]) -> f32 {
    weights.iter().map(|weight| weight * weight).sum()
}

impl Window {
    pub(super) fn new(boxcar_rate_hz: f32) -> Self {
        let mut base = [[0.0; HOP_BOXCARS]; BASE_HOPS];
        let (mut sum, mut moment) = (0.0, 0.0);
        for (k, weight) in base.as_flattened_mut().iter_mut().enumerate() {
            *weight = blackman_harris(k);
            let from_centre = k as f32 + 0.5 - 0.5 * BASE_TAPS as f32;
            sum += *weight;
            moment += *weight * from_centre * from_centre;
        }
        let flattening = moment / sum / (2.0 * (HOP_BOXCARS * HOP_BOXCARS) as f32);
        base.as_flattened_mut().iter_mut().for_each(|weight| *weight /= sum);
        let base_at = |k: usize| base.as_flattened().get(k).copied().unwrap_or(0.0);
        let mut taps = [0.0; TAPS];
        for (n, tap) in taps.iter_mut().enumerate() {
            // Indices below the base wrap far above it, where it is zero too.
            let middle = base_at(n.wrapping_sub(HOP_BOXCARS));
            let sides = base_at(n) + base_at(n.wrapping_sub(2 * HOP_BOXCARS));
            *tap = (1.0 + 2.0 * flattening) * middle - flattening * sides;
        }
        let flattened_noise = noise(&taps) / noise(base.as_flattened());
        Self { base, flattening, taps, flattened_noise, boxcar_rate_hz }
    }

    /// The weights of the whole window in order of time.
    pub fn taps(&self) -> &[f32] {
        &self.taps
    }

    /// See [`Overlap::fourth_moment`].
    fn fourth_moment(&self) -> f32 {
        let from_middle = |n: usize| (n as f32 + 0.5 - 0.5 * TAPS as f32) / HOP_BOXCARS as f32;
        let part = |(n, tap): (usize, &f32)| {
            let hops2 = from_middle(n) * from_middle(n);
            tap * hops2 * hops2
        };
        self.taps.iter().enumerate().map(part).sum()
    }

    /// Boxcars per second.
    pub fn boxcar_rate_hz(&self) -> f32 {
        self.boxcar_rate_hz
    }

    /// The boxcars of one channel, weighed with the base window.
    pub(super) fn weigh(&self, history: &History, oldest: usize) -> Complex32 {
        let (mut re, mut im) = (0.0, 0.0);
        for (age, weights) in self.base.iter().enumerate() {
            for (weight, z) in weights.iter().zip(&history[(oldest + age) % BASE_HOPS]) {
                re += weight * z.re;
                im += weight * z.im;
            }
        }
        Complex32::new(re, im)
    }

    /// What the flattened window makes of three outputs of the base window in a row.
    pub(super) fn flatten(&self, [before, middle, after]: [Complex32; 3]) -> Complex32 {
        middle + (middle + middle - before - after) * self.flattening
    }

    /// The base window times a cosine and a sine of `offset_hz`, which move it beside the tone.
    pub(super) fn shifted(&self, offset_hz: f32) -> Shifted {
        let (s, c) = math::sin_cos(TAU * offset_hz / self.boxcar_rate_hz);
        let step = Complex32::new(c, s);
        let mut turn = Complex32::new(1.0, 0.0);
        let mut shifted = Shifted([[Complex32::ZERO; HOP_BOXCARS]; BASE_HOPS]);
        for (weight, base) in shifted.0.as_flattened_mut().iter_mut().zip(self.base.as_flattened()) {
            *weight = turn * base;
            turn *= step;
        }
        shifted
    }
}

/// The base window moved to a pair of frequencies either side of the tone.
pub(super) struct Shifted([[Complex32; HOP_BOXCARS]; BASE_HOPS]);

impl Shifted {
    /// Power of a channel at the frequency above and the one below the tone.
    pub fn power(&self, history: &History, oldest: usize) -> [f32; 2] {
        let (mut a, mut b, mut c, mut d) = (0.0, 0.0, 0.0, 0.0);
        for (age, weights) in self.0.iter().enumerate() {
            for (weight, z) in weights.iter().zip(&history[(oldest + age) % BASE_HOPS]) {
                a += weight.re * z.re;
                b += weight.im * z.re;
                c += weight.re * z.im;
                d += weight.im * z.im;
            }
        }
        let above = Complex32::new(a + d, c - b);
        let below = Complex32::new(a - d, c + b);
        [above.norm_sqr(), below.norm_sqr()]
    }

    /// What a steady signal of amplitude one at the frequency above the tone's is taken for.
    fn gain(&self) -> f32 {
        let sum: Complex32 = self.0.as_flattened().iter().sum();
        math::sqrt(sum.norm_sqr())
    }
}

/// What windows that overlap do to the values they make.
///
/// ```
/// let overlap = nullwalk_core::tone::Tone::new(512.0, 8000.0).unwrap().response().overlap();
/// assert!((overlap.inflation - 1.438).abs() < 0.01 && (overlap.fourth_moment + 0.613).abs() < 0.01);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Overlap {
    /// Successive values share noise. Fits over many of them may treat each as independent when they multiply its
    /// variance by this, at least 1.
    pub inflation: f32,
    /// Fourth moment of the window about its middle, in steps from value to value to the fourth. The second is zero, so
    /// a signal comes out with a 24th of this times its fourth derivative added.
    pub fourth_moment: f32,
}

impl Overlap {
    /// Values that were each measured at an instant.
    pub const NONE: Self = Self { inflation: 1.0, fourth_moment: 0.0 };
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
        noise(self.window.taps()) * self.window.boxcar_rate_hz()
    }

    /// Amplitude gain for a steady signal `offset_hz` away from the tracked carrier.
    pub fn gain(&self, offset_hz: f32) -> f32 {
        let base = self.window.shifted(offset_hz).gain();
        let hop_rad = TAU * offset_hz * HOP_BOXCARS as f32 / self.window.boxcar_rate_hz();
        let flattened = 1.0 + 2.0 * self.window.flattening * (1.0 - math::sin_cos(hop_rad).1);
        let half_turns = PI * offset_hz / self.rate_hz;
        let droop = if half_turns.abs() < 1e-6 {
            1.0
        } else {
            let length = self.boxcar as f32;
            math::sin_cos(half_turns * length).0 / (length * math::sin_cos(half_turns).0)
        };
        base * (flattened * droop).abs()
    }

    /// Output after a unit step, `after_s` seconds from the step to the end of the window.
    pub fn step(&self, after_s: f32) -> f32 {
        let newest = (after_s * self.window.boxcar_rate_hz()).clamp(0.0, TAPS as f32) as usize;
        self.window.taps().iter().rev().take(newest).sum()
    }

    /// What windows that overlap do to successive outputs.
    pub fn overlap(&self) -> Overlap {
        let inflation = self.window.boxcar_rate_hz() / (HOP_BOXCARS as f32 * self.noise_bandwidth_hz());
        Overlap { inflation: inflation.max(1.0), fourth_moment: self.window.fourth_moment() }
    }
}
