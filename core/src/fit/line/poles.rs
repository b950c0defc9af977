//! Where two lines may be, in closed form: a start for the fit of both.
//!
//! Across lines that lie alike, with `zeta = left + i up` and `w = B_up + i B_left`, the field is an analytic function
//! with a pole at each: `w = G1/(zeta - zeta1) + G2/(zeta - zeta2)`. So `w (zeta^2 + c zeta + b) = a zeta + e`, which is linear
//! in four complex numbers (Cauchy's interpolation by a rational function, in the sense of least squares), and the
//! lines are at the roots of the bracket. It takes the currents to be in step, or the reverse, and signs to last through
//! the walk.

use glam::{Vec2, Vec3};
use num_complex::Complex32;

use super::wire::{Axes, SCALE_NT};
use crate::fit::normal::Normal;
use crate::fit::ring::Look;
use crate::math;

/// Place of either line, as an offset from the middle to the left and up, metres, and its current, amperes.
pub struct Pole {
    pub left_up_m: Vec2,
    pub current_a: f32,
}

/// The two poles that come nearest to the fields, seen along `axes` from `middle_m`.
pub fn poles<'a>(looks: impl Iterator<Item = &'a Look>, axes: &Axes, middle_m: Vec3) -> Option<[Pole; 2]> {
    let mut sums: Normal<8> = Normal::NONE;
    for look in looks {
        let [lower, upper] = look.fields_nt;
        for (field_nt, up_m) in [(lower, Vec3::ZERO), (upper, look.upper_m)] {
            let r = look.at_m + up_m - middle_m;
            let zeta = Complex32::new(r.dot(axes.left), r.dot(axes.up));
            let w = Complex32::new(field_nt.dot(axes.up), field_nt.dot(axes.left));
            // The noise of an equation grows with the square of the distance.
            let weight = 1.0 / ((1.0 + zeta.norm_sqr()) * (1.0 + zeta.norm_sqr()));
            let [one, i] = [Complex32::new(1.0, 0.0), Complex32::i()];
            let columns = [-w * zeta, -w, zeta, one].map(|column| [column, column * i]);
            let right = w * zeta * zeta;
            let parts: [fn(Complex32) -> f32; 2] = [|z| z.re, |z| z.im];
            for part in parts {
                let row = columns.as_flattened().iter().map(|z| part(*z));
                for ((cells, total), a) in sums.matrix.iter_mut().zip(&mut sums.right).zip(row.clone()) {
                    cells.iter_mut().zip(row.clone()).for_each(|(cell, b)| *cell += weight * a * b);
                    *total += weight * a * part(right);
                }
            }
        }
    }
    let [c_re, c_im, b_re, b_im, a_re, a_im, e_re, e_im] = sums.step()?;
    let half = Complex32::new(c_re, c_im) * -0.5;
    let [b, a, e] = [(b_re, b_im), (a_re, a_im), (e_re, e_im)].map(|(re, im)| Complex32::new(re, im));
    let root = square_root(half * half - b);
    let pole = |at: Complex32, other: Complex32| {
        let residue = (a * at + e) / (at - other);
        Pole { left_up_m: Vec2::new(at.re, at.im), current_a: residue.re / SCALE_NT }
    };
    let found = [pole(half + root, half - root), pole(half - root, half + root)];
    found.iter().all(|pole| pole.left_up_m.is_finite() && pole.current_a.is_finite()).then_some(found)
}

fn square_root(z: Complex32) -> Complex32 {
    let size = math::sqrt(z.norm_sqr());
    let im = math::sqrt(0.5 * (size - z.re));
    Complex32::new(math::sqrt(0.5 * (size + z.re)), if z.im < 0.0 { -im } else { im })
}
