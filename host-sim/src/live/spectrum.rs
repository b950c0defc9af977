//! The spectrum of the last second of samples.

use std::collections::VecDeque;
use std::f64::consts::TAU;
use std::sync::Arc;

use num_complex::Complex64;
use realfft::{RealFftPlanner, RealToComplex};

use crate::equipment::{ArrayFile, FrontEnd};
use crate::inspect::{Unit, picotesla_per_count};

/// A spectrum, of the lower node's coils together or of all channels.
#[derive(Debug, Clone, PartialEq)]
pub struct Spectrum {
    /// Distance of two bins, hertz.
    pub bin_hz: f64,
    /// What levels are in.
    pub unit: Unit,
    /// Level by bin from 0 Hz: the amplitude that a sine in the middle of a bin would have.
    pub level_db: Vec<f64>,
}

/// Keeps the last second of samples.
pub struct Listener<const C: usize> {
    rate_hz: f64,
    unit: Unit,
    /// For each channel, what one count at a gain of 1 stands for at 1 Hz; nothing for channels that are left out.
    weights: [f64; C],
    fft: Arc<dyn RealToComplex<f64>>,
    window: Vec<f64>,
    samples: VecDeque<[f64; C]>,
    next: u64,
}

impl<const C: usize> Listener<C> {
    /// For samples at `rate_hz` of what is described.
    pub fn new(rate_hz: f64, front_end: &FrontEnd, array: &ArrayFile) -> Self {
        let length = (rate_hz.round() as usize).max(2) & !1;
        let picotesla = picotesla_per_count(front_end, array, C);
        let lower: Vec<usize> =
            array.node.iter().take(1).flat_map(|n| &n.coil).map(|c| c.channel.into()).collect();
        let weights = std::array::from_fn(|channel| match &picotesla {
            Some(coils) if lower.contains(&channel) => coils.get(channel).copied().unwrap_or_default(),
            Some(_) => 0.0,
            None => 1.0,
        });
        let hann = |n| 0.5 - 0.5 * (TAU * n as f64 / length as f64).cos();
        Self {
            rate_hz,
            unit: if picotesla.is_some() { Unit::Picotesla } else { Unit::Counts },
            weights,
            fft: RealFftPlanner::new().plan_fft_forward(length),
            window: (0..length).map(hann).collect(),
            samples: VecDeque::with_capacity(length),
            next: 0,
        }
    }

    /// Take samples in, the first of which has the number `start`, taken at a gain of `gain`.
    pub fn push(&mut self, frames: &[[i32; C]], start: u64, gain: f32) {
        if start != self.next {
            self.samples.clear();
        }
        self.next = start + frames.len() as u64;
        let scale = f64::from(gain).recip();
        for frame in frames {
            if self.samples.len() == self.window.len() {
                self.samples.pop_front();
            }
            self.samples.push_back(frame.map(|count| f64::from(count) * scale));
        }
    }

    /// The spectrum, once there was a whole second without a gap.
    pub fn spectrum(&self) -> Option<Spectrum> {
        if self.samples.len() < self.window.len() {
            return None;
        }
        let bin_hz = self.rate_hz / self.window.len() as f64;
        let mut power = vec![0.0; self.window.len() / 2 + 1];
        for (channel, weight) in self.weights.iter().enumerate().filter(|(_, weight)| **weight > 0.0) {
            for (sum, z) in power.iter_mut().zip(self.transform(channel)) {
                *sum += z.norm_sqr() * weight * weight;
            }
        }
        // A coil's voltage rises with frequency, so the same count is less field at a higher one.
        let slope = |bin: usize| match self.unit {
            Unit::Picotesla => (bin.max(1) as f64 * bin_hz).recip(),
            Unit::Counts => 1.0,
        };
        let level = |(bin, power): (usize, &f64)| 10.0 * (power * slope(bin).powi(2)).max(1e-30).log10();
        let level_db = power.iter().enumerate().map(level).collect();
        Some(Spectrum { bin_hz, unit: self.unit, level_db })
    }

    fn transform(&self, channel: usize) -> Vec<Complex64> {
        // Scaled so that a sine gives its peak amplitude: twice over the window's sum, half its length.
        let scale = 4.0 / self.window.len() as f64;
        let mut input: Vec<f64> = (self.samples.iter().zip(&self.window))
            .map(|(frame, w)| frame.get(channel).copied().unwrap_or_default() * w * scale)
            .collect();
        let mut output = self.fft.make_output_vec();
        // Fails only when a length is wrong, and both are made for this transform.
        let _ = self.fft.process(&mut input, &mut output);
        output
    }
}
