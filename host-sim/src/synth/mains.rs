//! Hum: the harmonics of one wandering grid, from everywhere and from a cable.

use std::f64::consts::TAU;

use glam::DVec3;
use num_complex::Complex64;
use rand::RngExt;

use super::coils::{Coils, Mast};
use super::emission::{Coupling, Wave, add};
use super::front_end::HighPass;
use super::random::{Purpose, Random, Wander, stream};
use crate::site::{Ground, HumLine, Mains, Site};

/// Harmonics above this fraction of the Nyquist frequency are left to the converter's filter.
const PASS_BAND: f64 = 0.95;

/// The grid and everything that hums with it.
#[derive(Debug, Clone)]
pub(super) struct Hum<const C: usize> {
    frequency_hz: f64,
    wander: Wander,
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
}

#[derive(Debug, Clone, Copy)]
enum Shape {
    /// The same everywhere.
    Uniform(DVec3),
    /// Around a straight cable: a point on it, its direction, its current.
    Line { at_m: DVec3, along: DVec3, current_a: f64 },
}

impl Shape {
    /// The field of the first harmonic (for `Uniform`, of one tesla) at a place.
    fn field(&self, place: DVec3) -> DVec3 {
        match *self {
            Self::Uniform(direction) => direction,
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
        coils: &Coils<C>,
        mast: &Mast,
        (seed, station): (u64, usize),
    ) -> Self {
        let mut random = stream(seed, station, Purpose::Mains);
        let highest_hz = 0.5 * site.signal.sample_rate_hz * PASS_BAND;
        let filter = HighPass::new(site.noise.high_pass_hz, site.signal.tone_hz);
        let mut harmonics = |scale: f64| -> Vec<Complex64> {
            (1u32..)
                .zip(&mains.harmonics_t)
                .map(|(n, &amplitude_t)| (f64::from(n) * mains.frequency_hz, amplitude_t))
                .take_while(|&(f, _)| f < highest_hz)
                .map(|(f, amplitude_t)| {
                    let emf = TAU * f * amplitude_t * scale;
                    filter.at(f) * Complex64::from_polar(emf, random.random_range(0.0..TAU))
                })
                .collect()
        };
        let mut fields = vec![(harmonics(1.0), uniform(mains))];
        if let Some(line) = &mains.line {
            // A shape with a current of its own carries the first harmonic; the others stand to it.
            let first_t = mains.harmonics_t.first().copied().unwrap_or(1.0);
            fields.push((harmonics(first_t.recip()), around(line, &site.ground)));
        }
        let combs = fields
            .into_iter()
            .map(|(harmonics, shape)| Comb {
                harmonics,
                shape,
                coupling: couple(&shape, coils, mast),
            })
            .collect();
        Self {
            frequency_hz: mains.frequency_hz,
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
        let frequency_hz = self.frequency_hz + self.wander.step(dt_s, &mut self.random);
        let turn = TAU * frequency_hz * dt_s;
        let step = Complex64::cis(turn / volts.len().max(1) as f64);
        fundamental.rotate(Complex64::cis(self.phase_rad), step, volts.len());
        self.phase_rad = (self.phase_rad + turn).rem_euclid(TAU);

        for comb in &mut self.combs {
            power_series(&comb.harmonics, fundamental, wave);
            let coupling = couple(&comb.shape, coils, mast);
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

fn couple<const C: usize>(shape: &Shape, coils: &Coils<C>, mast: &Mast) -> Coupling<C> {
    let mut factors = coils.volts();
    let along = coils.along_axes(mast, |place| shape.field(place));
    for (factor, along) in factors.iter_mut().zip(along) {
        *factor *= along;
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
