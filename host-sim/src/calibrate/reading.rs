//! From a capture to one complex reading for each coil.

use nullwalk_core::frame::{Block, SampleSource};
use nullwalk_core::tone::{Phasors, Tone};
use num_complex::{Complex32, Complex64};

use super::CalibrateError;
use crate::capture::{Capture, Content};
use crate::equipment::ArrayFile;
use crate::with_channels;

/// Share of the recording, in its middle, that is used: hands have let go, the carrier is tracked.
const MIDDLE: std::ops::Range<f64> = 0.2..0.8;
/// Fewer outputs than this are no average.
const FEWEST_OUTPUTS: usize = 10;
/// Frames asked for at a time.
const BLOCK: usize = 4096;

/// What one coil read in one attitude.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoilReading {
    /// Field along the coil's axis, tesla, as its nominal gain and phase have it. All coils of a recording
    /// share one arbitrary phase.
    pub field_t: Complex64,
    /// Standard uncertainty of its real (and of its imaginary) part, from noise.
    pub sigma_t: f64,
}

/// What all coils read in one attitude, node by node in the order of the array.
pub type Reading = Vec<CoilReading>;

/// The reading of a capture.
///
/// # Errors
/// When the capture cannot be read, holds no raw samples of nodes, or too little of it is undisturbed.
pub fn read(capture: &Capture) -> Result<Reading, CalibrateError> {
    let unfit = |problem| CalibrateError::Recording { path: capture.path.clone(), problem };
    if capture.array.is_none() || !matches!(capture.content, Content::Samples { .. }) {
        return Err(unfit("holds no raw samples of 3-axis nodes"));
    }
    let channels = capture.description.signal.channels;
    let reading = with_channels!(channels, C => read_channels::<C>(capture)?);
    reading.flatten().ok_or_else(|| {
        unfit("is undisturbed for less than a second in its middle three fifths; record 10 s or more, unclipped")
    })
}

fn read_channels<const C: usize>(capture: &Capture) -> Result<Option<Reading>, CalibrateError> {
    let signal = &capture.description.signal;
    let tone = Tone::new(signal.tone_hz as f32, signal.sample_rate_hz as f32)?;
    let mut state = tone.start::<C>();
    let mut source = capture.reader::<C>()?;
    let mut frames = vec![[0; C]; BLOCK];
    let mut outputs: Vec<Phasors<C>> = Vec::new();
    let mut end = 0;
    while let Some(info) = source.read(&mut frames)? {
        let frames = frames.get(..info.frames).unwrap_or_default();
        let block = Block { frames, start: info.start, rung: info.rung };
        tone.push(&mut state, &capture.ladder, &block, |phasors| outputs.push(*phasors));
        end = info.start + info.frames as u64;
    }
    outputs.retain(|o| {
        let marks = o.marks;
        MIDDLE.contains(&(o.centre as f64 / end as f64)) && !(marks.clipped || marks.settling || marks.gap)
    });
    if outputs.len() < FEWEST_OUTPUTS {
        return Ok(None);
    }
    let inflation = f64::from(tone.response().overlap().inflation);
    let (volts, sigma_v) = average(&outputs, inflation);
    let offset_hz =
        outputs.iter().map(|o| f64::from(o.carrier_offset_hz)).sum::<f64>() / outputs.len() as f64;
    let omega = std::f64::consts::TAU * (signal.tone_hz + offset_hz);
    Ok(Some(in_tesla(&capture.description.array, omega, &volts, &sigma_v)))
}

/// The mean of phasors after each was turned back by how far it leads the strongest one as a whole, with
/// the standard uncertainty of its parts. Successive outputs overlap: `inflation` says how much.
fn average<const C: usize>(outputs: &[Phasors<C>], inflation: f64) -> ([Complex64; C], [f64; C]) {
    let wide = |z: Complex32| Complex64::new(f64::from(z.re), f64::from(z.im));
    let power = |o: &Phasors<C>| o.value_v.iter().map(|z| z.norm_sqr()).sum::<f32>();
    let strongest = outputs.iter().max_by(|a, b| power(a).total_cmp(&power(b)));
    let reference = strongest.map_or([Complex64::ZERO; C], |o| o.value_v.map(wide));
    let turned: Vec<[Complex64; C]> = outputs
        .iter()
        .map(|o| {
            let value = o.value_v.map(wide);
            let lead: Complex64 = value.iter().zip(&reference).map(|(z, r)| z * r.conj()).sum();
            value.map(|z| z * Complex64::cis(-lead.arg()))
        })
        .collect();
    let n = outputs.len() as f64;
    let mut mean = [Complex64::ZERO; C];
    let mut sigma = [0.0; C];
    for c in 0..C {
        mean[c] = turned.iter().map(|z| z[c]).sum::<Complex64>() / n;
        // Whichever is worse: the noise beside the tone, or how much the readings really scattered.
        let floor = outputs.iter().map(|o| f64::from(o.sigma_v[c]).powi(2)).sum::<f64>() / n;
        let scatter = turned.iter().map(|z| (z[c] - mean[c]).norm_sqr()).sum::<f64>() / (2.0 * (n - 1.0));
        sigma[c] = (floor.max(scatter) * inflation / n).sqrt();
    }
    (mean, sigma)
}

/// V = i w N A gain e^{i phase} B, as the capture format has it.
fn in_tesla(array: &ArrayFile, omega: f64, volts: &[Complex64], sigma_v: &[f64]) -> Reading {
    let coils = array.node.iter().flat_map(|node| &node.coil);
    coils
        .map(|coil| {
            let channel = usize::from(coil.channel);
            let volts_per_tesla = omega * coil.turns_area_m2 * coil.gain;
            let back = Complex64::cis(-coil.phase_deg.to_radians()) / (Complex64::i() * volts_per_tesla);
            CoilReading {
                field_t: volts.get(channel).copied().unwrap_or_default() * back,
                sigma_t: sigma_v.get(channel).copied().unwrap_or_default() / volts_per_tesla,
            }
        })
        .collect()
}
