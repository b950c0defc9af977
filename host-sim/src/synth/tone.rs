//! A sonde's tone in the coils.

use std::f64::consts::TAU;

use glam::DVec3;
use nullwalk_core::field::dipole;
use num_complex::Complex64;

use super::coils::{Coils, Mast};
use super::emission::{Coupling, Wave, add};
use crate::site::{Ground, Sonde};

/// A sonde that sends its tone.
#[derive(Debug, Clone)]
pub(super) struct Tone<const C: usize> {
    place_m: DVec3,
    moment_a_m2: DVec3,
    frequency_hz: f64,
    drift_hz_per_s: f64,
    phase_rad: f64,
    along_t: [f64; C],
    coupling: Coupling<C>,
}

impl<const C: usize> Tone<C> {
    /// A sonde under `ground`, its carrier at `tone_hz` unless it says otherwise, heard by a mast at rest.
    pub(super) fn new(sonde: &Sonde, ground: &Ground, tone_hz: f64, coils: &Coils<C>, mast: &Mast) -> Self {
        let (sin_lay, cos_lay) = sonde.lay_deg.to_radians().sin_cos();
        let (sin_pitch, cos_pitch) = sonde.pitch_deg.to_radians().sin_cos();
        let axis = DVec3::new(sin_lay * cos_pitch, cos_lay * cos_pitch, sin_pitch);
        let mut tone = Self {
            place_m: DVec3::new(sonde.east_m, sonde.north_m, ground.up_m - sonde.depth_m),
            moment_a_m2: axis * sonde.moment_a_m2,
            frequency_hz: sonde.tone_hz.unwrap_or(tone_hz) + sonde.offset_hz,
            drift_hz_per_s: sonde.drift_hz_per_s,
            phase_rad: sonde.phase_deg.to_radians(),
            along_t: [0.0; C],
            coupling: Coupling::new([Complex64::ZERO; C]),
        };
        tone.along_t = tone.field(coils, mast);
        tone.coupling = tone.couple(coils, &tone.along_t, 1.0);
        tone
    }

    fn field(&self, coils: &Coils<C>, mast: &Mast) -> [f64; C] {
        let moment = self.moment_a_m2.to_array();
        coils.along_axes(mast, |at| DVec3::from_array(dipole(moment, (at - self.place_m).to_array())))
    }

    /// The EMF is the derivative of the flux: of `B cos(wt)`, `(i w B + dB/dt)` as a phasor. The second
    /// part is what carrying the coils through the field adds.
    fn couple(&self, coils: &Coils<C>, along_t: &[f64; C], dt_s: f64) -> Coupling<C> {
        let w = TAU * self.frequency_hz;
        let mut factors = coils.volts();
        for ((factor, now), before) in factors.iter_mut().zip(along_t).zip(&self.along_t) {
            *factor *= Complex64::new((now - before) / dt_s, w * now);
        }
        Coupling::new(factors)
    }

    /// Add the next `volts.len()` samples while the mast moves to `mast`.
    pub(super) fn add(
        &mut self,
        volts: &mut [[f64; C]],
        wave: &mut Wave,
        coils: &Coils<C>,
        mast: &Mast,
        dt_s: f64,
    ) {
        // The mean frequency of the step is that at its middle.
        let turn = TAU * (self.frequency_hz + 0.5 * self.drift_hz_per_s * dt_s) * dt_s;
        let step = Complex64::cis(turn / volts.len().max(1) as f64);
        wave.rotate(Complex64::cis(self.phase_rad), step, volts.len());

        let along_t = self.field(coils, mast);
        let coupling = self.couple(coils, &along_t, dt_s);
        add(volts, wave, &self.coupling, &coupling);

        (self.along_t, self.coupling) = (along_t, coupling);
        self.phase_rad = (self.phase_rad + turn).rem_euclid(TAU);
        self.frequency_hz += self.drift_hz_per_s * dt_s;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::Site;
    use crate::synth::pose::Pose;

    /// Carried past a sonde at 1 m/s, turning and tilting, the samples are the derivative of the flux
    /// through each coil, worked out here by differences of the flux itself.
    #[test]
    fn moving_coils_give_the_derivative_of_the_flux() {
        let mut site = Site::default();
        site.noise.calibration_error = false;
        let sonde = Sonde { depth_m: 0.6, pitch_deg: 10.0, phase_deg: 33.0, ..Sonde::default() };
        let coils = Coils::<6>::new(&site, 1);
        let pose = |t: f64| Pose {
            enu_m: DVec3::new(-0.5 + t, 0.1, 0.15),
            heading_rad: 1.2 + 0.5 * t,
            pitch_rad: 0.3 * t,
            roll_rad: -0.2 * t,
        };
        let (rate_hz, tone_hz) = (8000.0, 512.0);
        let mut tone = Tone::new(&sonde, &site.ground, tone_hz, &coils, &coils.mast(&pose(0.0)));
        let place = DVec3::new(0.0, 0.0, -0.6);
        let moment = [0.2 * 10f64.to_radians().cos(), 0.0, 0.2 * 10f64.to_radians().sin()];
        let flux = |t: f64| {
            let carrier = (TAU * tone_hz * t + 33f64.to_radians()).cos();
            coils
                .along_axes(&coils.mast(&pose(t)), |at| {
                    DVec3::from_array(dipole(moment, (at - place).to_array()))
                })
                .map(|along| 20.0 * along * carrier)
        };
        let (mut wave, mut worst, mut largest) = (Wave::default(), 0.0f64, 0.0f64);
        for step in 0..500 {
            let mut volts = [[0.0; 6]; 16];
            let end = f64::from(step + 1) * 16.0 / rate_hz;
            tone.add(&mut volts, &mut wave, &coils, &coils.mast(&pose(end)), 16.0 / rate_hz);
            // The mast began at rest, so its first step has an acceleration no person has.
            for (k, volts) in (0..).zip(&volts).filter(|_| step > 0) {
                let t = f64::from(step * 16 + k) / rate_hz;
                let (before, after) = (flux(t - 1e-6), flux(t + 1e-6));
                for c in 0..6 {
                    let expected = (after[c] - before[c]) / 2e-6;
                    worst = worst.max((volts[c] - expected).abs());
                    largest = largest.max(expected.abs());
                }
            }
        }
        // Differences over 2 us are good to (w dt)^2/6 = 2e-6; linear interpolation to about 1e-5. What
        // motion adds is about 3 v/(w d) = 1e-3 of the signal: leaving it out would show.
        assert!(worst < 2e-5 * largest, "{worst} of {largest}");
    }
}
