//! What is out of step, and how much of it the soil explains.
//!
//! A current that returns through soil takes `k sqrt(2)/3` off the level field in step with the line, and as much a quarter
//! of a turn behind it (the constant of [`crate::depth::soil`] is `(2/3) sqrt(i) k`): a field without sources in the air,
//! so to first order a level one, to second order one that grows evenly with height and way aside. Whatever else is out of
//! step comes from another line.

use glam::Vec3;

use super::regress::Regress;
use crate::depth::Measured;
use crate::fit::line::{Line, PhasorLook, SCALE_NT};
use crate::math;

/// What is out of step with a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OutOfStep {
    /// A level field behind the line's, over the line's own field at 1 m: that of the soil, as
    /// [`Line::returned_per_m`].
    pub level_per_m: Measured,
    /// What of it grows with height and way aside, per metre.
    pub growing_per_m2: Measured,
    /// What is left over beside these, as chi-square.
    pub chi_square: f32,
    /// Its degrees of freedom.
    pub freedom: u32,
}

/// `relative` is the share of every field that it may err by. `None` where the walk does not tell.
pub fn out_of_step(looks: &[PhasorLook], line: &Line, relative: f32) -> Option<OutOfStep> {
    let left = Vec3::new(-line.along.y, line.along.x, 0.0).normalize_or(Vec3::Y);
    let (mut sums, mut total) = (Regress::<2>::NONE, 0.0);
    for sight in looks {
        let seen = Turned::of(sight, line);
        let scale_nt = SCALE_NT * line.current_a;
        let nodes = sight.look.nodes_m().map(|at_m| {
            let from_m = at_m - line.at_m;
            let (aside_m, above_m) = (from_m.dot(left), from_m.z - line.along.z * from_m.dot(line.along));
            // Both point to the right where the line's own field does: what is behind it is negative.
            [left * scale_nt, (left * above_m - Vec3::Z * aside_m) * scale_nt]
        });
        let [constant, growing] = [0, 1].map(|n| seen.without_line(nodes.map(|of| pick(of, n))));
        for (node, left_over) in seen.behind_nt.iter().enumerate() {
            let sigma_nt = sight.look.sigma_nt.get(node).copied().unwrap_or_default();
            let field2 = seen.model_nt.get(node).map_or(0.0, |b| b.length_squared());
            let variance = sigma_nt * sigma_nt + relative * relative * field2 + f32::MIN_POSITIVE;
            let of = |vectors: &[Vec3; 2]| vectors.get(node).copied().unwrap_or_default();
            let (a, b) = (of(&constant).to_array(), of(&growing).to_array());
            for ((value, a), b) in left_over.to_array().into_iter().zip(a).zip(b) {
                // In units of the noise, so that rows of any look are alike.
                let sigma = math::recip_sqrt(variance);
                sums.push([a * sigma, b * sigma], value * sigma, 1.0);
                total += value * value * sigma * sigma;
            }
        }
    }
    let ([level, growing], covariance) = sums.solved(2)?;
    let [[level2, _], [_, growing2]] = covariance;
    let explained = sums.explained([level, growing]);
    Some(OutOfStep {
        level_per_m: Measured::new(level, math::sqrt(level2)),
        growing_per_m2: Measured::new(growing, math::sqrt(growing2)),
        chi_square: (total - explained).max(0.0),
        freedom: (5 * looks.len() as u32).saturating_sub(2),
    })
}

fn pick(of: [Vec3; 2], n: usize) -> Vec3 {
    of.get(n).copied().unwrap_or_default()
}

/// A look turned so that nothing in quadrature lies along the line's own field.
struct Turned {
    model_nt: [Vec3; 2],
    behind_nt: [Vec3; 2],
}

impl Turned {
    fn of(sight: &PhasorLook, line: &Line) -> Self {
        let PhasorLook { look, quadrature_nt } = sight;
        let model_nt = look.nodes_m().map(|at_m| line.field_nt(at_m));
        let along = |fields: &[Vec3; 2]| fields.iter().zip(&model_nt).map(|(a, b)| a.dot(*b)).sum::<f32>();
        let (c, s) = (along(&look.fields_nt), along(quadrature_nt));
        let size = math::recip_sqrt(c * c + s * s + f32::MIN_POSITIVE);
        let (cos, sin) = (c * size, s * size);
        let [a, b] = look.fields_nt;
        let [c, d] = *quadrature_nt;
        Self { model_nt, behind_nt: [c * cos - a * sin, d * cos - b * sin] }
    }

    /// Fields less what of them lies along the line's own: that the turning has taken.
    fn without_line(&self, fields_nt: [Vec3; 2]) -> [Vec3; 2] {
        let [a, b] = self.model_nt;
        let [c, d] = fields_nt;
        let share = (a.dot(c) + b.dot(d)) / (a.length_squared() + b.length_squared() + f32::MIN_POSITIVE);
        [c - a * share, d - b * share]
    }
}
