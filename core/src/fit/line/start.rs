//! Where the fit of a line begins: a closed form over the whole walk.

use glam::Vec3;

use super::Line;
use super::wire::{Axes, SCALE_NT};
use crate::fit::normal::Normal;
use crate::fit::ring::{Look, Mergeable, Ring};
use crate::math;

/// Fields weaker than so many times their noise do not count.
const CLEAR: f32 = 5.0;

/// A line to begin with: `None` where no look shows more than noise, or no line below the walk makes such fields.
///
/// Across the line, `B/B^2` is linear in place (inversion in a circle): with n and t the components of the field
/// up and to the left, `left = left0 + G n/B^2` and `up = up0 - G t/B^2`, where G is the field at unit distance. Three
/// unknowns, two equations for each node at each look, weighted by `B^4/sigma^2`. The lay is at right angles to the axis
/// of the horizontal fields; the slope is taken for zero.
pub fn start<const N: usize, L: Mergeable>(walk: &Ring<N, L>) -> Option<Line> {
    of(walk.looks().iter().map(Mergeable::look))
}

/// Of any looks.
pub fn of<'a>(looks: impl Iterator<Item = &'a Look> + Clone) -> Option<Line> {
    let clear = |look: &&Look| {
        let ([field_nt, _], [sigma_nt, _]) = (look.fields_nt, look.sigma_nt);
        field_nt.length_squared() > CLEAR * CLEAR * sigma_nt * sigma_nt
    };
    let (mut count, mut middle_m, mut strongest) = (0.0, Vec3::ZERO, 0.0_f32);
    for look in looks.clone().filter(clear) {
        let [lower, _] = look.fields_nt;
        count += 1.0;
        middle_m += look.at_m;
        strongest = strongest.max(lower.length_squared());
    }
    if count < 1.0 {
        return None;
    }
    middle_m /= count;
    let axes = Axes::of(lay(looks.clone())?);
    let mut sums: Normal<3> = Normal::NONE;
    for look in looks.clone().filter(clear) {
        let [lower, upper] = look.fields_nt;
        // Below the walk, with the current along the axis, horizontal fields point to the right.
        let sign = if lower.dot(axes.left) > 0.0 { -1.0 } else { 1.0 };
        for (field_nt, sigma_nt, up_m) in
            [(lower, look.sigma_nt[0], Vec3::ZERO), (upper, look.sigma_nt[1], look.upper_m)]
        {
            let squared = field_nt.length_squared() + f32::MIN_POSITIVE;
            let inverted = field_nt * (sign * strongest / squared);
            let weight = squared / (strongest * (sigma_nt * sigma_nt + 1e-6 * squared));
            let weight = weight * squared / strongest;
            let place_m = look.at_m + up_m - middle_m;
            let rows = [
                ([1.0, 0.0, inverted.dot(axes.up)], place_m.dot(axes.left)),
                ([0.0, 1.0, -inverted.dot(axes.left)], place_m.dot(axes.up)),
            ];
            for (row, right) in rows {
                for ((cells, total), a) in sums.matrix.iter_mut().zip(&mut sums.right).zip(row) {
                    cells.iter_mut().zip(row).for_each(|(cell, b)| *cell += weight * a * b);
                    *total += weight * a * right;
                }
            }
        }
    }
    let [left, up, at_unit] = sums.step()?;
    let current_a = at_unit * strongest / SCALE_NT;
    let sound = left.is_finite() && up < 0.0 && current_a > 0.0 && current_a.is_finite();
    let at_m = middle_m + axes.left * left + Vec3::Z * up;
    sound.then_some(Line { at_m, along: axes.along, current_a, returned_per_m: 0.0 })
}

/// Along the line, at right angles to the axis of the horizontal fields.
pub fn lay<'a>(looks: impl Iterator<Item = &'a Look>) -> Option<Vec3> {
    // At twice their angle, directions without a sense add up.
    let (mut cos2, mut sin2) = (0.0, 0.0);
    for look in looks {
        let [lower, _] = look.fields_nt;
        cos2 += lower.x * lower.x - lower.y * lower.y;
        sin2 += 2.0 * lower.x * lower.y;
    }
    let (sin, cos) = math::sin_cos(0.5 * math::atan2(sin2, cos2));
    (cos2 != 0.0 || sin2 != 0.0).then_some(Vec3::new(sin, -cos, 0.0))
}

/// The look whose lower node shows the strongest field.
pub fn strongest<'a>(looks: impl Iterator<Item = &'a Look>) -> Option<&'a Look> {
    let strength = |look: &Look| {
        let [lower, _] = look.fields_nt;
        lower.length_squared()
    };
    looks.max_by(|a, b| strength(a).total_cmp(&strength(b)))
}

/// Depth of a source straight below a look, by the nodes' ratio, where fields fall with that power of the distance; 0.3
/// to 5 m.
pub fn depth_below(look: &Look, power: f32) -> f32 {
    let [lower, upper] = look.fields_nt.map(|field_nt| field_nt.length() + f32::MIN_POSITIVE);
    let root = math::exp(math::ln(lower / upper) / power);
    (look.upper_m.z / (root - 1.0).max(0.01)).clamp(0.3, 5.0)
}
