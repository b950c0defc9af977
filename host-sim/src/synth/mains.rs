//! Hum: the harmonics of one wandering grid, from everywhere, from a cable, and from lines that carry its currents.

use std::f64::consts::TAU;

use glam::DVec3;
use num_complex::Complex64;
use rand::RngExt;

use super::coils::{Coils, Mast};
use super::emission::{Coupling, Wave, add};
use super::emitter::Emitter;
use super::front_end::HighPass;
use super::random::{Purpose, Random, Wander, stream};
use crate::site::{Ground, HumLine, Line, Mains, Site, Station};

/// Harmonics above this fraction of the Nyquist frequency are left to the converter's filter.
const PASS_BAND: f64 = 0.95;

/// The grid and everything that hums with it.
#[derive(Debug, Clone)]
pub(super) struct Hum<const C: usize> {
    frequency_hz: f64,
    drift_hz_per_s: f64,
    wander: Wander,
    time_s: f64,
    phase_rad: f64,
    combs: Vec<Comb<C>>,
    random: Random,
}

/// One field that hums: its harmonics and its shape in space.
#[derive(Debug, Clone)]
struct Comb<const C: usize> {
    /// `i w B` of each harmonic and its fixed phase, from the first on.
    harmonics: Vec<Complex64>,
    shape: Shape,
    coupling: Coupling<C>,
    /// The line that carries it, where its load comes and goes.
    load: Option<Line>,
}

#[derive(Debug, Clone)]
enum Shape {
    /// The same everywhere.
    Uniform(DVec3),
    /// Around a straight cable: a point on it, its direction, its current.
    Line { at_m: DVec3, along: DVec3, current_a: f64 },
    /// Around a conductor with ends, of one ampere.
    Wire(Emitter),
}

impl Shape {
    /// The field of the first harmonic (for `Uniform`, of one tesla) at a place.
    fn field(&self, place: DVec3) -> DVec3 {
        match *self {
            Self::Uniform(direction) => direction,
            Self::Wire(ref emitter) => emitter.field(place),
            Self::Line { at_m, along, current_a } => {
                // B = mu0 I / (2 pi r), around the wire: Ampere's law, Griffiths ch. 5.
                let away = (place - at_m).reject_from_normalized(along);
                along.cross(away) * (2e-7 * current_a / away.length_squared().max(1e-4))
            }
        }
    }
}

impl<const C: usize> Hum<C> {
    /// The hum of a site at a station, heard by a mast at rest.
    pub(super) fn new(
        mains: &Mains,
        site: &Site,
        here: &Station,
        coils: &Coils<C>,
        mast: &Mast,
        (seed, station): (u64, usize),
    ) -> Self {
        let mut random = stream(seed, station, Purpose::Mains);
        let highest_hz = 0.5 * site.signal.sample_rate_hz * PASS_BAND;
        let filter = HighPass::new(site.noise.high_pass_hz, site.signal.tone_hz);
        // Of so much field or current: `i w` of each, and a phase.
        let comb = |amplitudes: &[f64], scale: f64, random: &mut Random| -> Vec<Complex64> {
            (1u32..)
                .zip(amplitudes)
                .map(|(n, &amplitude)| (f64::from(n) * mains.frequency_hz, amplitude))
                .take_while(|&(f, _)| f < highest_hz)
                .map(|(f, amplitude)| {
                    let emf = TAU * f * amplitude * scale;
                    filter.at(f) * Complex64::from_polar(emf, random.random_range(0.0..TAU))
                })
                .collect()
        };
        let mut combs: Vec<Comb<C>> = Vec::new();
        let mut hum = |harmonics, shape: Shape, load: Option<Line>| {
            let coupling = couple(&shape, coils, mast, loaded(load.as_ref(), 0.0));
            combs.push(Comb { harmonics, shape, coupling, load });
        };
        hum(comb(&mains.harmonics_t, 1.0, &mut random), uniform(mains), None);
        if let Some(line) = &mains.line {
            // A shape with a current of its own carries the first harmonic; the others stand to it.
            let first_t = mains.harmonics_t.first().copied().unwrap_or(1.0);
            let harmonics = comb(&mains.harmonics_t, first_t.recip(), &mut random);
            hum(harmonics, around(line, &site.ground), None);
        }
        // The wiring is the same at every station, and so are the phases in it.
        let mut wiring = stream(seed, 0, Purpose::Loads);
        for line in site.line.iter().chain(&here.line).filter(|line| !line.mains_a.is_empty()) {
            let harmonics = comb(&line.mains_a, 1.0, &mut wiring);
            hum(harmonics, Shape::Wire(Emitter::wire(line, &site.ground)), Some(line.clone()));
        }
        Self {
            frequency_hz: mains.frequency_hz,
            drift_hz_per_s: mains.drift_hz_per_s,
            time_s: 0.0,
            wander: Wander::new(mains.wander_hz, mains.wander_s, &mut random),
            phase_rad: 0.0,
            combs,
            random,
        }
    }

    /// Add the next `volts.len()` samples while the mast moves to `mast`.
    pub(super) fn add(
        &mut self,
        volts: &mut [[f64; C]],
        [fundamental, wave]: [&mut Wave; 2],
        coils: &Coils<C>,
        mast: &Mast,
        dt_s: f64,
    ) {
        let drift_hz = self.drift_hz_per_s * (self.time_s + 0.5 * dt_s);
        let frequency_hz = self.frequency_hz + drift_hz + self.wander.step(dt_s, &mut self.random);
        self.time_s += dt_s;
        let turn = TAU * frequency_hz * dt_s;
        let step = Complex64::cis(turn / volts.len().max(1) as f64);
        fundamental.rotate(Complex64::cis(self.phase_rad), step, volts.len());
        self.phase_rad = (self.phase_rad + turn).rem_euclid(TAU);

        for comb in &mut self.combs {
            power_series(&comb.harmonics, fundamental, wave);
            let coupling = couple(&comb.shape, coils, mast, loaded(comb.load.as_ref(), self.time_s));
            add(volts, wave, &comb.coupling, &coupling);
            comb.coupling = coupling;
        }
    }
}

fn uniform(mains: &Mains) -> Shape {
    let (sin_bearing, cos_bearing) = mains.bearing_deg.to_radians().sin_cos();
    let (sin_up, cos_up) = mains.elevation_deg.to_radians().sin_cos();
    Shape::Uniform(DVec3::new(sin_bearing * cos_up, cos_bearing * cos_up, sin_up))
}

fn around(line: &HumLine, ground: &Ground) -> Shape {
    let (sin_bearing, cos_bearing) = line.bearing_deg.to_radians().sin_cos();
    Shape::Line {
        at_m: DVec3::new(line.east_m, line.north_m, ground.up_m - line.depth_m),
        along: DVec3::new(sin_bearing, cos_bearing, 0.0),
        current_a: line.current_a,
    }
}

/// How much of its current flows.
fn loaded(load: Option<&Line>, time_s: f64) -> f64 {
    if load.is_none_or(|line| line.is_loaded(time_s)) { 1.0 } else { 0.0 }
}

fn couple<const C: usize>(shape: &Shape, coils: &Coils<C>, mast: &Mast, share: f64) -> Coupling<C> {
    let mut factors = coils.volts();
    let along = coils.along_axes(mast, |place| shape.field(place));
    for (factor, along) in factors.iter_mut().zip(along) {
        *factor *= along * share;
    }
    Coupling::new(factors)
}

/// The sum of `c[n] z^(n+1)` for every sample z of a wave, by Horner's rule: all harmonics of a grid from
/// one oscillator.
fn power_series(coefficients: &[Complex64], z: &Wave, sum: &mut Wave) {
    let frames = z.re.len();
    for part in [&mut sum.re, &mut sum.im] {
        part.clear();
        part.resize(frames, 0.0);
    }
    for c in coefficients.iter().rev() {
        let samples = sum.re.iter_mut().zip(&mut sum.im).zip(z.re.iter().zip(&z.im));
        for ((re, im), (z_re, z_im)) in samples {
            let (a, b) = (*re + c.re, *im + c.im);
            *re = a * z_re - b * z_im;
            *im = a * z_im + b * z_re;
        }
    }
}
