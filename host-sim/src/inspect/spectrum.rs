//! Welch's averaged spectrum (Welch 1967, IEEE Trans. Audio Electroacoust. 15:70) of all channels and
//! their cross spectra: Hann window, half overlap, bins of about 1 Hz.

use std::f64::consts::TAU;
use std::sync::Arc;

use nullwalk_core::frame::Block;
use num_complex::Complex64;
use realfft::{RealFftPlanner, RealToComplex};
use serde::Serialize;

use crate::capture::{Capture, Description};
use crate::equipment::{ArrayFile, FrontEnd};

/// Shorter segments than this show nothing.
const SHORTEST_SEGMENT: usize = 64;

/// What the levels of a spectrum are in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Unit {
    /// Picotesla along the coil.
    Picotesla,
    /// Counts of the converter, divided by the gain of the rung.
    Counts,
}

impl Unit {
    /// For the axis of a plot.
    pub fn label(self) -> &'static str {
        match self {
            Self::Picotesla => "dB re 1 pT",
            Self::Counts => "dB re 1 count at gain 1",
        }
    }
}

/// An averaged spectrum. Levels are the peak amplitude a sine in the middle of a bin would have.
#[derive(Debug, Clone)]
pub struct Spectrum {
    /// Distance of two bins, hertz.
    pub bin_hz: f64,
    /// Segments averaged.
    pub segments: usize,
    /// What levels are in.
    pub unit: Unit,
    /// Squared amplitude by channel, then by bin from 0 Hz.
    pub power: Vec<Vec<f64>>,
    /// What to draw: one curve for each node, or for each channel where there are no nodes.
    pub traces: Vec<Trace>,
    /// Cross power of channels `(i, j)`, i < j, by bin, in the order of [`Spectrum::pair`].
    pub(super) cross: Vec<Vec<Complex64>>,
}

/// One curve of a spectrum.
#[derive(Debug, Clone)]
pub struct Trace {
    /// What it shows.
    pub label: String,
    /// Squared amplitude by bin from 0 Hz.
    pub power: Vec<f64>,
}

impl Spectrum {
    /// Power of all channels together, by bin.
    pub fn total(&self) -> Vec<f64> {
        sum(self.power.iter())
    }

    /// Where the cross power of two channels stands, the lower number first.
    pub(super) fn pair(i: usize, j: usize) -> usize {
        j * (j - 1) / 2 + i
    }

    /// Cross power of any two channels: the mean of the first times the conjugate of the second.
    pub(super) fn cross(&self, i: usize, j: usize, bin: usize) -> Complex64 {
        let at = |i, j| self.cross.get(Self::pair(i, j)).and_then(|s| s.get(bin)).copied();
        match i.cmp(&j) {
            std::cmp::Ordering::Less => at(i, j).unwrap_or_default(),
            std::cmp::Ordering::Greater => at(j, i).unwrap_or_default().conj(),
            std::cmp::Ordering::Equal => {
                let power = self.power.get(i).and_then(|p| p.get(bin));
                Complex64::from(power.copied().unwrap_or_default())
            }
        }
    }
}

fn sum<'a>(spectra: impl Iterator<Item = &'a Vec<f64>>) -> Vec<f64> {
    spectra.fold(Vec::new(), |mut total, one| {
        total.resize(one.len(), 0.0);
        total.iter_mut().zip(one).for_each(|(t, p)| *t += p);
        total
    })
}

/// Gathers a spectrum block by block.
pub(super) struct Welch<'c, const C: usize> {
    capture: &'c Capture,
    fft: Arc<dyn RealToComplex<f64>>,
    window: Vec<f64>,
    /// Frames of the current stretch that are not done with, at a gain of 1.
    pending: Vec<[f64; C]>,
    rung: u8,
    next: u64,
    /// Frames to leave out while the front end settles.
    settling: u64,
    segments: usize,
    power: Vec<Vec<f64>>,
    cross: Vec<Vec<Complex64>>,
}

impl<'c, const C: usize> Welch<'c, C> {
    /// For a capture whose longest steady stretch is this many frames; `None` where that is too short.
    pub fn new(capture: &'c Capture, longest_stretch: u64) -> Option<Self> {
        let one_second = capture.description.signal.sample_rate_hz.round() as u64;
        let length = (one_second.min(longest_stretch) & !1) as usize;
        if length < SHORTEST_SEGMENT {
            return None;
        }
        let hann = |n| 0.5 - 0.5 * (TAU * n as f64 / length as f64).cos();
        let bins = length / 2 + 1;
        Some(Self {
            capture,
            fft: RealFftPlanner::new().plan_fft_forward(length),
            window: (0..length).map(hann).collect(),
            pending: Vec::with_capacity(length),
            rung: 0,
            next: 0,
            settling: 0,
            segments: 0,
            power: vec![vec![0.0; bins]; C],
            cross: vec![vec![Complex64::default(); bins]; C * (C - 1) / 2],
        })
    }

    pub fn add(&mut self, block: &Block<'_, C>) {
        if block.rung != self.rung && self.next > 0 {
            let settle_s = f64::from(self.capture.ladder.rung(block.rung).settle_s);
            let rate_hz = self.capture.description.signal.sample_rate_hz;
            self.settling = (settle_s * rate_hz).ceil() as u64;
        }
        if block.rung != self.rung || block.start != self.next {
            self.pending.clear();
        }
        self.rung = block.rung;
        self.next = block.start + block.frames.len() as u64;
        let scale = f64::from(self.capture.ladder.rung(block.rung).gain).recip();
        for frame in block.frames {
            if self.settling > 0 {
                self.settling -= 1;
                continue;
            }
            self.pending.push(frame.map(|count| f64::from(count) * scale));
            if self.pending.len() == self.window.len() {
                self.add_segment();
                self.pending.drain(..self.window.len() / 2);
            }
        }
    }

    fn add_segment(&mut self) {
        // Scaled so that a sine gives its peak amplitude: twice over the window's sum, half its length.
        let scale = 4.0 / self.window.len() as f64;
        let spectra: [Vec<Complex64>; C] = std::array::from_fn(|channel| {
            let mut input: Vec<f64> = (self.pending.iter().zip(&self.window))
                .map(|(frame, w)| frame.get(channel).copied().unwrap_or_default() * w * scale)
                .collect();
            let mut output = self.fft.make_output_vec();
            // Fails only when a length is wrong, and both are made for this transform.
            let _ = self.fft.process(&mut input, &mut output);
            output
        });
        for (j, spectrum) in spectra.iter().enumerate() {
            if let Some(power) = self.power.get_mut(j) {
                power.iter_mut().zip(spectrum).for_each(|(p, z)| *p += z.norm_sqr());
            }
            for (i, other) in spectra.iter().enumerate().take(j) {
                if let Some(cross) = self.cross.get_mut(Spectrum::pair(i, j)) {
                    let products = other.iter().zip(spectrum).map(|(a, b)| a * b.conj());
                    cross.iter_mut().zip(products).for_each(|(c, p)| *c += p);
                }
            }
        }
        self.segments += 1;
    }

    /// The average; `None` where settling left no whole segment.
    pub fn finish(self) -> Option<Spectrum> {
        if self.segments == 0 {
            return None;
        }
        let bin_hz = self.capture.description.signal.sample_rate_hz / self.window.len() as f64;
        let Description { front_end, array, .. } = &self.capture.description;
        let coils = picotesla_per_count(front_end, array, C);
        let unit = if coils.is_some() { Unit::Picotesla } else { Unit::Counts };
        let at_1_hz = coils.unwrap_or_else(|| vec![1.0; C]);
        // A coil's voltage rises with frequency, so the same count is less field at a higher one.
        let slope = |bin: usize| match unit {
            Unit::Picotesla if bin > 0 => (bin as f64 * bin_hz).recip(),
            Unit::Picotesla => 0.0,
            Unit::Counts => 1.0,
        };
        let scale = |bin: usize, coil: f64| coil * slope(bin).powi(2) / self.segments as f64;
        let power: Vec<Vec<f64>> = (self.power.iter().zip(&at_1_hz))
            .map(|(power, c)| power.iter().enumerate().map(|(bin, p)| p * scale(bin, c * c)).collect())
            .collect();
        let mut cross = self.cross;
        for (j, cj) in at_1_hz.iter().enumerate() {
            for (i, ci) in at_1_hz.iter().enumerate().take(j) {
                if let Some(cross) = cross.get_mut(Spectrum::pair(i, j)) {
                    cross.iter_mut().enumerate().for_each(|(bin, z)| *z *= scale(bin, ci * cj));
                }
            }
        }
        let traces = traces(self.capture, unit, &power);
        Some(Spectrum { bin_hz, segments: self.segments, unit, power, traces, cross })
    }
}

/// For each channel the field amplitude that gives one count at a gain of 1, at 1 Hz. `None` unless all
/// channels have a coil.
pub fn picotesla_per_count(front_end: &FrontEnd, array: &ArrayFile, channels: usize) -> Option<Vec<f64>> {
    let volts_per_count = front_end.full_scale_v / f64::from(front_end.full_scale_counts);
    let coils: Vec<_> = array.node.iter().flat_map(|node| &node.coil).collect();
    (0..channels)
        .map(|channel| {
            let coil = coils.iter().find(|coil| usize::from(coil.channel) == channel)?;
            Some(1e12 * volts_per_count / (TAU * coil.turns_area_m2 * coil.gain))
        })
        .collect()
}

fn traces(capture: &Capture, unit: Unit, power: &[Vec<f64>]) -> Vec<Trace> {
    if unit == Unit::Counts {
        let label = |channel| format!("channel {channel}");
        let trace =
            |(channel, power): (usize, &Vec<f64>)| Trace { label: label(channel), power: power.clone() };
        return power.iter().enumerate().map(trace).collect();
    }
    ["lower node", "upper node"]
        .into_iter()
        .zip(&capture.description.array.node)
        .map(|(label, node)| Trace {
            label: label.to_owned(),
            power: sum(node.coil.iter().filter_map(|coil| power.get(usize::from(coil.channel)))),
        })
        .collect()
}
