//! The currents of lines and of the transmitter's coil, all together, on a circle.

use glam::{DVec2, DVec3};
use nalgebra::{DMatrix, DVector};
use nullwalk_core::field;
use num_complex::Complex64;

use super::ray::Ray;
use crate::survey::model::{Fields, beside_nt, over_noise, turn, without};
use crate::survey::walk::{NT, Phase, Sight, Walk};

/// Rounds in which every look's phase and all currents are found in turn.
const TURNS: usize = 6;
/// From the ground down to the lines, metres: far off only the product of length and current counts.
const LEAD_M: f64 = 1.0;
/// The transmitter's coil is so high above the ground, metres (common practice, no source).
const COIL_M: f64 = 0.3;

/// Lines, the transmitter's coil, and their currents.
pub(super) struct Fit<'a> {
    pub(super) walk: &'a Walk,
    pub(super) centre_m: DVec2,
    pub(super) radius_m: f64,
    pub(super) ground_m: f64,
    pub(super) rays: Vec<Ray>,
    /// Whether the coil's own field is among the unknowns.
    pub(super) coil: bool,
    /// Currents of the rays, then of the lead down to them, then the coil's moment along east, north and up.
    pub(super) currents: Vec<Complex64>,
    pub(super) noise_nt: Vec<[f64; 2]>,
    pub(super) cost: f64,
}

impl<'a> Fit<'a> {
    pub(super) fn new(walk: &'a Walk, centre_m: DVec2, radius_m: f64) -> Self {
        let ground_m = walk.middle_m().z - walk.carried_m;
        let noise_nt = walk.sights.iter().map(|sight| sight.sigma_nt).collect();
        let mut fit = Self {
            walk,
            centre_m,
            radius_m,
            ground_m,
            rays: vec![],
            coil: false,
            currents: vec![],
            noise_nt,
            cost: f64::INFINITY,
        };
        fit.solve(&[]);
        fit
    }

    pub(super) fn rest_nt(&self) -> Vec<Fields> {
        let looks = self.walk.sights.iter().zip(&self.noise_nt);
        looks.map(|(sight, noise)| without(self.walk.phase, self.field_nt(sight), sight, *noise)).collect()
    }

    /// Templates of all unknowns at a look: rays, the lead down to them, and the coil's three moments.
    fn templates(&self, rays: &[Ray], sight: &Sight) -> Vec<[DVec3; 2]> {
        let mut templates: Vec<[DVec3; 2]> =
            rays.iter().map(|ray| ray.per_ampere_nt(sight.at_m, sight.upper_m)).collect();
        let nodes_m = [sight.at_m, sight.at_m + sight.upper_m];
        if !rays.is_empty() {
            let ground_m = self.centre_m.extend(self.ground_m);
            templates.push(nodes_m.map(|node_m| {
                let ends = [node_m - ground_m, node_m - ground_m + DVec3::Z * LEAD_M].map(|r| r.to_array());
                DVec3::from_array(field::segment(1.0, ends[0], ends[1])) * NT
            }));
        }
        if self.coil {
            let from_m = self.centre_m.extend(self.ground_m + COIL_M);
            templates.extend(DVec3::AXES.map(|axis| {
                nodes_m.map(|node_m| {
                    DVec3::from_array(field::dipole(axis.to_array(), (node_m - from_m).to_array())) * NT
                })
            }));
        }
        templates
    }

    fn field_nt(&self, sight: &Sight) -> Fields {
        sum(&self.templates(&self.rays, sight), &self.currents)
    }

    pub(super) fn noise(&self, shared: bool) -> Vec<[f64; 2]> {
        let models: Vec<Fields> = self.walk.sights.iter().map(|sight| self.field_nt(sight)).collect();
        let gradient2 = |sight: &Sight| {
            let own = self.rays.iter().zip(&self.currents).map(|(ray, current)| {
                let [lower, _] = ray.per_ampere_nt(sight.at_m, sight.upper_m);
                lower.length_squared() * current.norm_sqr() / ray.distance_m(sight).powi(2)
            });
            own.sum()
        };
        let gradients2: Vec<f64> = self.walk.sights.iter().map(gradient2).collect();
        beside_nt(self.walk, &models, &gradients2, shared)
    }

    /// Currents by least squares and every look's phase, in turn, from given currents.
    pub(super) fn linear(
        &self,
        rays: &[Ray],
        currents: &[Complex64],
    ) -> (Vec<Complex64>, f64, Option<DMatrix<f64>>) {
        let count = rays.len() + usize::from(!rays.is_empty()) + if self.coil { 3 } else { 0 };
        let rows: Vec<Vec<[DVec3; 2]>> =
            self.walk.sights.iter().map(|sight| self.templates(rays, sight)).collect();
        let weight = |noise: &[f64; 2], node: usize| 1.0 / (noise[node] * noise[node]);
        let mut matrix = DMatrix::zeros(count, count);
        for (row, noise) in rows.iter().zip(&self.noise_nt) {
            for i in 0..count {
                for j in 0..=i {
                    let both = [0, 1].map(|k| weight(noise, k) * row[i][k].dot(row[j][k]));
                    matrix[(i, j)] += both[0] + both[1];
                }
            }
        }
        matrix.fill_upper_triangle_with_lower_triangle();
        let turns = if self.walk.phase == Phase::Free { TURNS } else { 1 };
        let Some(decomposed) = matrix.clone().cholesky().filter(|_| count > 0) else {
            return (vec![Complex64::ZERO; count], self.power(), None);
        };
        let mut currents = currents.to_vec();
        let mut cost = f64::INFINITY;
        for _ in 0..turns {
            let mut right = [DVector::zeros(count), DVector::zeros(count)];
            for ((row, noise), sight) in rows.iter().zip(&self.noise_nt).zip(&self.walk.sights) {
                let model = sum(row, &currents);
                let back = turn(self.walk.phase, &model, sight, *noise).conj();
                for (i, template) in row.iter().enumerate() {
                    for (k, (shown, seen)) in template.iter().zip(&sight.field_nt).enumerate() {
                        let own = shown.to_array().into_iter().zip(seen).map(|(g, z)| z * g);
                        let z = own.sum::<Complex64>() * back * weight(noise, k);
                        right[0][i] += z.re;
                        right[1][i] += z.im;
                    }
                }
            }
            let [re, im] = right.map(|right| decomposed.solve(&right));
            currents = re.iter().zip(im.iter()).map(|(re, im)| Complex64::new(*re, *im)).collect();
            cost = 0.0;
            for ((row, noise), sight) in rows.iter().zip(&self.noise_nt).zip(&self.walk.sights) {
                cost += over_noise(&without(self.walk.phase, sum(row, &currents), sight, *noise), noise);
            }
        }
        (currents, cost, Some(decomposed.inverse()))
    }

    /// All that was seen, over its noise.
    fn power(&self) -> f64 {
        let looks = self.walk.sights.iter().zip(&self.noise_nt);
        looks.map(|(sight, noise)| over_noise(&sight.field_nt, noise)).sum()
    }

    pub(super) fn solve(&mut self, begin: &[Complex64]) {
        let (currents, cost, _) = self.linear(&self.rays, begin);
        (self.currents, self.cost) = (currents, cost);
    }

    /// Standard deviation of a line's bearing (radians), depth (metres): from how the cost rises as either is moved.
    pub(super) fn sigmas(&self, n: usize) -> [f64; 2] {
        [false, true].map(|deeper| {
            let depth_m = self.ground_m - self.rays[n].from_m.z;
            let step = if deeper { 0.03 * depth_m } else { 0.03 * depth_m / self.radius_m };
            let rise: f64 = [step, -step]
                .map(|by| {
                    let mut rays = self.rays.clone();
                    if deeper {
                        rays[n].from_m.z -= by
                    } else {
                        rays[n].bearing_rad += by
                    }
                    (self.linear(&rays, &self.currents).1 - self.cost).max(1e-6)
                })
                .iter()
                .sum();
            step / (0.5 * rise).sqrt()
        })
    }
}

fn sum(row: &[[DVec3; 2]], currents: &[Complex64]) -> Fields {
    let mut sum = [[Complex64::ZERO; 3]; 2];
    for (template, current) in row.iter().zip(currents) {
        for (node, g) in sum.iter_mut().zip(template) {
            node.iter_mut().zip(g.to_array()).for_each(|(cell, x)| *cell += current * x);
        }
    }
    sum
}
