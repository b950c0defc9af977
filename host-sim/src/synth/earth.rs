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
