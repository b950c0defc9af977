//! Lines under a lawn, in 64-bit floats: what a walk over them shows, with noise, places that are off, and soil.

use std::f64::consts::{PI, TAU};

use glam::Vec3;
use nullwalk_core::fit::Look;
use nullwalk_core::fit::line::PhasorLook;
use nullwalk_core::frame::HEADING_SIGMA_RAD;
use num_complex::Complex64;

use crate::draws::Noise;

pub const SPACING_M: f64 = 0.4;
/// Height of the lower node above the ground.
pub const FOOT_M: f64 = 0.15;
/// 5 pT per root hertz, ten looks a second.
pub const SIGMA_NT: f64 = 5e-3 * 3.162_277_66;
/// By which share every component is off on its own: a mast that sways.
pub const FIELD_SIGMA: f64 = 0.005;
pub const POSE_M: f64 = 0.02;
pub const RATIO_SIGMA: f64 = 0.003;
/// By which angle the compass turns all fields of a walk, radians.
const HEADING_SIGMA: f64 = HEADING_SIGMA_RAD as f64;

type Phasor = [Complex64; 3];

/// A long line: to the left (along y) and up at x = 0, with lay and slope. In soil that conducts, its current returns there.
#[derive(Clone, Copy)]
pub struct Wire {
    pub left_m: f64,
    pub up_m: f64,
    pub lay: f64,
    pub slope: f64,
    pub current_a: Complex64,
    /// `sqrt(w mu0 sigma)`, per metre.
    pub k_per_m: f64,
}

impl Wire {
    /// Depth below the ground at the point abreast of a place, and that point.
    pub fn depth_abreast_m(&self, [x, y]: [f64; 2]) -> f64 {
        let on = x * self.lay.cos() + (y - self.left_m) * self.lay.sin();
        -self.up_m - on * self.slope.tan()
    }

    /// How far to the left of a place it passes, at right angles to its lay.
    pub fn left_of_m(&self, [x, y]: [f64; 2]) -> f64 {
        x * self.lay.sin() - (y - self.left_m) * self.lay.cos()
    }

    pub fn field_nt(&self, at: [f64; 3]) -> Phasor {
        let axis = [self.lay.cos() * self.slope.cos(), self.lay.sin() * self.slope.cos(), self.slope.sin()];
        let r = [at[0], at[1] - self.left_m, at[2] - self.up_m];
        let on: f64 = r.iter().zip(axis).map(|(r, a)| r * a).sum();
        let p = [0, 1, 2].map(|n| r[n] - on * axis[n]);
        let left = [-self.lay.sin(), self.lay.cos(), 0.0];
        let aside: f64 = p.iter().zip(left).map(|(p, l)| p * l).sum();
        let above_axis =
            [-self.lay.cos() * self.slope.sin(), -self.lay.sin() * self.slope.sin(), self.slope.cos()];
        let above: f64 = p.iter().zip(above_axis).map(|(p, u)| p * u).sum();
        // Per 200 nT m: level to the right, and up, as straight above and to the left of a current along the axis.
        let r2 = aside * aside + above * above;
        let mut level = Complex64::new(above / r2, 0.0);
        let mut up = Complex64::new(aside / r2, 0.0);
        if self.k_per_m > 0.0 {
            // The ground is at z = 0.
            let (more_level, more_up) =
                returned(aside, at[2].max(0.0), above - at[2].max(0.0), self.k_per_m);
            level += more_level;
            up += more_up;
        }
        let scale = self.current_a * 200.0;
        [0, 1, 2].map(|n| (above_axis[n] * up - left[n] * level) * scale)
    }
}

/// What soil does to the field of a line `depth` down, seen from `height` above the ground, over that of free space at 1 m:
/// `2 Int [l/(l+u) e^(-l h - u d) - e^(-l (h+d))/2] (cos, sin)(l y) dl`, `u = sqrt(l^2 + i k^2)` (Wait 1951).
pub fn returned(y: f64, height: f64, depth: f64, k: f64) -> (Complex64, Complex64) {
    const STEPS: u32 = 120;
    let most = 14.0 / (height + depth);
    let (mut level, mut up) = (Complex64::default(), Complex64::default());
    // l = most t^3, by Simpson's rule: what matters is near k.
    for n in 0..=STEPS {
        let t = f64::from(n) / f64::from(STEPS);
        let weight = match n {
            0 | STEPS => 1.0,
            n if n % 2 == 1 => 4.0,
            _ => 2.0,
        } / (3.0 * f64::from(STEPS));
        let l = most * t * t * t;
        let u = Complex64::new(l * l, k * k).sqrt();
        let with = l / (l + u) * (-l * height - u * depth).exp();
        let both = (with - 0.5 * (-l * (height + depth)).exp()) * (2.0 * weight * 3.0 * most * t * t);
        level += both * (l * y).cos();
        up += both * (l * y).sin();
    }
    (level, up)
}

/// Three lanes across, half a metre apart, at 0.6 m/s and ten looks a second.
pub fn lanes(length_m: f64) -> Vec<[f64; 3]> {
    let steps = (length_m / 0.06) as u32;
    let lane = |x: f64| (0..=steps).map(move |n| [x, 0.06 * f64::from(n) - 0.5 * length_m, FOOT_M]);
    [-0.5, 0.0, 0.5].into_iter().flat_map(lane).collect()
}

fn vector(x: &[f64]) -> Vec3 {
    Vec3::new(x[0] as f32, x[1] as f32, x[2] as f32)
}

/// The looks of a walk, each turned by its common phase as the instrument does.
pub fn looks(
    field_nt: &dyn Fn([f64; 3]) -> Phasor,
    places: &[[f64; 3]],
    pose_m: f64,
    noise: &mut Noise,
) -> Vec<PhasorLook> {
    let gain = RATIO_SIGMA * noise.next();
    let (compass_sin, compass_cos) = (HEADING_SIGMA * noise.next()).sin_cos();
    let start = TAU * noise.uniform();
    let mut last = 0.0;
    let mut seen = Vec::new();
    for (n, &at) in places.iter().enumerate() {
        let lower = field_nt(at);
        let upper = field_nt([at[0], at[1], at[2] + SPACING_M]).map(|b| b * (1.0 + gain));
        // The transmitter's own phase turns slowly.
        let turn = Complex64::from_polar(1.0, start + 0.003 * n as f64);
        let mut z: Vec<Complex64> = Vec::new();
        for node in [lower, upper] {
            let size = node.iter().map(|b| b.norm_sqr()).sum::<f64>().sqrt();
            // In phase with the field: a sway turns the whole ellipse.
            let along = node.iter().max_by(|a, b| a.norm().total_cmp(&b.norm())).map_or(0.0, |b| b.arg());
            let sway = Complex64::from_polar(FIELD_SIGMA * size, along);
            let [x, y, up] = node;
            let seen = [x * compass_cos - y * compass_sin, x * compass_sin + y * compass_cos, up];
            z.extend(seen.map(|b| {
                let noise_nt = Complex64::new(noise.next(), noise.next()) * SIGMA_NT;
                (b + sway * noise.next()) * turn + noise_nt
            }));
        }
        let half = 0.5 * z.iter().map(|z| z * z).sum::<Complex64>().arg();
        let phase = half - PI * ((half - last) / PI).round();
        last = phase;
        z.iter_mut().for_each(|z| *z *= Complex64::from_polar(1.0, -phase));
        let [re, im]: [Vec<f64>; 2] = [z.iter().map(|z| z.re).collect(), z.iter().map(|z| z.im).collect()];
        let claimed = [at[0] + pose_m * noise.next(), at[1] + pose_m * noise.next(), at[2]];
        seen.push(PhasorLook {
            look: Look {
                at_m: vector(&claimed),
                upper_m: Vec3::Z * SPACING_M as f32,
                fields_nt: [vector(&re), vector(&re[3..])],
                sigma_nt: [SIGMA_NT as f32; 2],
                pose_sigma_m: Vec3::new(pose_m as f32, pose_m as f32, 0.0),
                spread_m: Vec3::ZERO,
            },
            quadrature_nt: [vector(&im), vector(&im[3..])],
        });
    }
    seen
}
