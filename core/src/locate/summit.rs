//! The closest approach of a lane that crosses the source, from the whole flank of its peak.
//!
//! Athwart a lane across a level sonde the field is `B0 / (1 + (s - s0)^2 / D^2)^(3/2)`. So `|B|^(-2/3)` is an
//! exact parabola in `s`, and its vertex is found by linear least squares over both flanks, where a broad
//! peak is far better defined than at its top.

use glam::Vec2;

use super::step::Step;
use crate::frame::Position;
use crate::math;

/// Points are used while they hold this share of the peak: out to one depth on either side.
const LEAST_SHARE: f32 = 0.35;
/// Relative error of every point that no noise explains: sway, bob, a lane not quite across.
const GAIT: f32 = 0.01;
/// The model is good to this share of the width.
const MODEL_SHARE: f32 = 0.005;
/// At least so many points on each side.
const LEAST_POINTS: u32 = 3;

/// Where the lane came closest; `at` gives the steps about the one with index `top`.
pub fn closest_approach(
    at: impl Fn(u32) -> Option<Step>,
    top: u32,
    direction: Vec2,
    inflation: f32,
) -> Option<Position> {
    let summit = at(top)?;
    let origin = summit.position?;
    let peak = summit.field_t.y;
    let mut sums = Parabola::default();
    let mut add = |index: u32| -> Option<()> {
        let step = at(index)?;
        let share = step.field_t.y / peak;
        if share < LEAST_SHARE {
            return None;
        }
        let along_m = (step.position?.enu_m - origin.enu_m).truncate().dot(direction);
        let y = 1.0 / math::cbrt(share * share);
        let noise = step.sigma_t / (share * peak).abs();
        let relative2 = 4.0 / 9.0 * (inflation * noise * noise + GAIT * GAIT);
        sums.add(along_m, y, 1.0 / (y * y * relative2));
        Some(())
    };
    add(top)?;
    let mut side =
        |step: fn(u32, u32) -> Option<u32>| (1..).map_while(|k| add(step(top, k)?)).count() as u32;
    let (before, after) = (side(u32::checked_sub), side(u32::checked_add));
    if before.min(after) < LEAST_POINTS {
        return None;
    }
    let (vertex_m, sigma_m, width_m) = sums.vertex()?;
    let model_m = MODEL_SHARE * width_m;
    let sigma2 = sigma_m * sigma_m + model_m * model_m + origin.sigma_m * origin.sigma_m;
    Some(Position { enu_m: origin.enu_m + (direction * vertex_m).extend(0.0), sigma_m: math::sqrt(sigma2) })
}

/// Weighted sums for `y = c + b x + a x^2`.
#[derive(Default)]
struct Parabola {
    w: [f32; 5],
    y: [f32; 3],
}

impl Parabola {
    fn add(&mut self, x: f32, y: f32, weight: f32) {
        let mut power = weight;
        for (n, sum) in self.w.iter_mut().enumerate() {
            *sum += power;
            if let Some(moment) = self.y.get_mut(n) {
                *moment += power * y;
            }
            power *= x;
        }
    }

    /// Place of the vertex, its sigma, and the half width `D` at which `y` has doubled.
    fn vertex(&self) -> Option<(f32, f32, f32)> {
        let [w0, w1, w2, w3, w4] = self.w;
        let [y0, y1, y2] = self.y;
        // Cofactors of the symmetric normal matrix.
        let (c00, c01, c02) = (w2 * w4 - w3 * w3, w2 * w3 - w1 * w4, w1 * w3 - w2 * w2);
        let (c11, c12, c22) = (w0 * w4 - w2 * w2, w1 * w2 - w0 * w3, w0 * w2 - w1 * w1);
        let determinant = w0 * c00 + w1 * c01 + w2 * c02;
        let c = (c00 * y0 + c01 * y1 + c02 * y2) / determinant;
        let b = (c01 * y0 + c11 * y1 + c12 * y2) / determinant;
        let a = (c02 * y0 + c12 * y1 + c22 * y2) / determinant;
        let vertex = -0.5 * b / a;
        // d(vertex) = -(db + 2 vertex da) / (2 a)
        let variance = (c11 + 4.0 * vertex * c12 + 4.0 * vertex * vertex * c22) / determinant;
        let sigma = 0.5 * math::sqrt(variance) / a;
        let width2 = c / a - vertex * vertex;
        (a > 0.0 && width2 > 0.0 && sigma.is_finite()).then(|| (vertex, sigma, math::sqrt(width2)))
    }
}
