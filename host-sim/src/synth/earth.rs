//! The slow voltages of coils that turn in the Earth's field, behind the amplifier's high-pass.

use std::f64::consts::PI;

use glam::DVec3;

use super::coils::{Coils, Mast};
use crate::site::{Earth, Noise};

/// The Earth's field in every coil, and what its change has made of the high-pass so far.
#[derive(Debug, Clone)]
pub(super) struct EarthEmf<const C: usize> {
    field_t: DVec3,
    corner_hz: f64,
    along_t: [f64; C],
    emf_v: [f64; C],
    filtered_v: [f64; C],
}

impl<const C: usize> EarthEmf<C> {
    /// A mast at rest, which makes no voltage.
    pub(super) fn new(noise: &Noise, coils: &Coils<C>, mast: &Mast) -> Self {
        let Earth { field_t, dip_deg } = noise.earth;
        let (sin_dip, cos_dip) = dip_deg.to_radians().sin_cos();
        let field_t = DVec3::new(0.0, cos_dip, -sin_dip) * field_t;
        Self {
            field_t,
            corner_hz: noise.high_pass_hz,
            along_t: coils.along_axes(mast, |_| field_t),
            emf_v: [0.0; C],
            filtered_v: [0.0; C],
        }
    }

    /// Add what moving to `mast` makes.
    pub(super) fn add(&mut self, volts: &mut [[f64; C]], coils: &Coils<C>, mast: &Mast, dt_s: f64) {
        let along_t = coils.along_axes(mast, |_| self.field_t);
        let factors = coils.volts();
        // First-order high-pass, bilinear transform (Oppenheim and Schafer, ch. 7).
        let corner = PI * self.corner_hz * dt_s;
        let part = 1.0 / volts.len().max(1) as f64;
        let (mut now, mut slope) = (self.filtered_v, [0.0; C]);
        for c in 0..C {
            // Turning is so slow that a coil's phase at the tone means nothing; its gain does.
            let emf = factors[c].norm() * (along_t[c] - self.along_t[c]) / dt_s;
            let passed = (1.0 - corner) * self.filtered_v[c] + emf - self.emf_v[c];
            self.emf_v[c] = emf;
            self.filtered_v[c] = passed / (1.0 + corner);
            slope[c] = (self.filtered_v[c] - now[c]) * part;
        }
        self.along_t = along_t;
        for frame in volts {
            for c in 0..C {
                frame[c] += now[c];
                now[c] += slope[c];
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use super::*;
    use crate::site::Site;
    use crate::synth::pose::Pose;

    /// A horizontal coil that turns about the vertical at 10 turns a second in 20 uT (horizontal part)
    /// gives NA B w behind a high-pass of 20 Hz: 1/sqrt(1 + (20/10)^2) of 20 m2 x 20 uT x 2 pi 10/s.
    #[test]
    fn a_turning_coil_gives_the_textbook_voltage() {
        let mut site = Site::default();
        site.noise.calibration_error = false;
        site.noise.earth = Earth { field_t: 40e-6, dip_deg: 60.0 };
        let coils = Coils::<6>::new(&site, 1);
        let mast = |t: f64| coils.mast(&Pose { heading_rad: TAU * 10.0 * t, ..Pose::default() });
        let mut earth = EarthEmf::new(&site.noise, &coils, &mast(0.0));
        let (dt_s, mut largest) = (0.002, [0.0f64; 6]);
        for step in 1..=500 {
            let mut volts = [[0.0; 6]; 16];
            earth.add(&mut volts, &coils, &mast(f64::from(step) * dt_s), dt_s);
            if step > 250 {
                for frame in volts {
                    for (largest, v) in largest.iter_mut().zip(frame) {
                        *largest = largest.max(f64::abs(v));
                    }
                }
            }
        }
        let expected = 20.0 * 20e-6 * TAU * 10.0 / 5f64.sqrt();
        for (channel, largest) in largest.into_iter().enumerate() {
            let expected = if channel % 3 == 2 { 0.0 } else { expected };
            assert!((largest - expected).abs() < 0.01 * 0.01, "{channel}: {largest}, not {expected}");
        }
    }
}
