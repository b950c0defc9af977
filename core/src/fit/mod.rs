//! Least-squares fit of a dipole to the fields seen along one lane.
//!
//! Six unknowns: the source's place and depth, and its moment. Levenberg-Marquardt from a start near the
//! answer, a fixed number of steps, the normal equations solved by Cholesky's factorisation. Closed forms give
//! the start and stay the judges of depth; the fit uses every step of the lane and places the source better.

use glam::Vec3;

use crate::math;

/// Place (x, y), height and moment (x, y, z).
const UNKNOWNS: usize = 6;
/// Steps of the iteration: from a closed-form start it settles in four.
const ROUNDS: usize = 8;
/// The field of 1 A m2 at 1 m, in nanotesla.
const SCALE_NT: f32 = 100.0;

/// One field vector of the lane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Where, metres.
    pub at_m: Vec3,
    /// The field there, tesla.
    pub field_t: Vec3,
    /// Standard uncertainty of each component, tesla.
    pub sigma_t: f32,
}

/// A dipole and how well it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dipole {
    /// Where, metres.
    pub at_m: Vec3,
    /// Moment, A m2.
    pub moment: Vec3,
}

/// A fitted dipole with the standard uncertainty of its place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fitted {
    /// The dipole.
    pub dipole: Dipole,
    /// Standard uncertainty of each coordinate, metres.
    pub sigma_m: Vec3,
    /// Sum of squared residuals in sigmas, over the number of residuals less six: near 1 when the dipole fits.
    pub reduced_chi_square: f32,
}

/// Fit a dipole to samples, from `start`. `None` when there are fewer than ten samples, or they do not
/// determine the six unknowns.
///
/// ```
/// use glam::Vec3;
/// use nullwalk_core::{field, fit::{self, Dipole, Sample}};
/// let truth = Dipole { at_m: Vec3::new(0.1, -0.2, -1.0), moment: Vec3::new(0.2, 0.03, 0.01) };
/// let samples = (-20..=20).map(|n| {
///     let at_m = Vec3::new(0.1 * n as f32, 0.0, 0.0);
///     let field = field::dipole(truth.moment.to_array(), (at_m - truth.at_m).to_array());
///     Sample { at_m, field_t: Vec3::from_array(field), sigma_t: 1e-11 }
/// });
/// let start = Dipole { at_m: Vec3::new(0.0, 0.0, -1.2), moment: Vec3::new(0.3, 0.0, 0.0) };
/// let found = fit::dipole(samples, start).unwrap();
/// assert!(found.dipole.at_m.distance(truth.at_m) < 1e-4);
/// ```
pub fn dipole<S: Iterator<Item = Sample> + Clone>(samples: S, start: Dipole) -> Option<Fitted> {
    let mut best = start;
    let mut damping = 1e-3;
    let mut normal = Normal::of(samples.clone(), best);
    if normal.count < 10 {
        return None;
    }
    for _ in 0..ROUNDS {
        let Some(step) = normal.step(damping) else { break };
        let [x, y, z, mx, my, mz] = step;
        let next =
            Dipole { at_m: best.at_m + Vec3::new(x, y, z), moment: best.moment + Vec3::new(mx, my, mz) };
        let tried = Normal::of(samples.clone(), next);
        if tried.cost < normal.cost {
            best = next;
            normal = tried;
            damping *= 0.1;
        } else {
            damping *= 10.0;
        }
    }
    let freedom = (3 * normal.count).saturating_sub(UNKNOWNS).max(1) as f32;
    let variance = normal.variances()?;
    let [x, y, z, ..] = variance.map(math::sqrt);
    let sound = best.at_m.is_finite() && best.moment.is_finite();
    sound.then_some(Fitted {
        dipole: best,
        sigma_m: Vec3::new(x, y, z),
        reduced_chi_square: normal.cost / freedom,
    })
}

/// The normal equations of one linearisation.
struct Normal {
    matrix: [[f32; UNKNOWNS]; UNKNOWNS],
    right: [f32; UNKNOWNS],
    cost: f32,
    count: usize,
}

impl Normal {
    fn of(samples: impl Iterator<Item = Sample>, d: Dipole) -> Self {
        let mut normal =
            Self { matrix: [[0.0; UNKNOWNS]; UNKNOWNS], right: [0.0; UNKNOWNS], cost: 0.0, count: 0 };
        for sample in samples {
            normal.add(&sample, d);
        }
        normal
    }

    fn add(&mut self, sample: &Sample, d: Dipole) {
        let r = sample.at_m - d.at_m;
        let r2 = r.length_squared().max(1e-4);
        let u = r / math::sqrt(r2);
        let k = SCALE_NT / (r2 * math::sqrt(r2));
        let mu = d.moment.dot(u);
        let model = k * (3.0 * mu * u - d.moment);
        let residual = sample.field_t * 1e9 - model;
        let weight = 1.0 / (sample.sigma_t * 1e9).max(1e-6);
        // Derivatives by the source's place, one axis after the other: the field's gradient, negated.
        let gradient = k / math::sqrt(r2);
        let by_place = |axis: Vec3| {
            let (ua, ma) = (u.dot(axis), d.moment.dot(axis));
            -3.0 * gradient * (axis * mu + u * ma + d.moment * ua - 5.0 * mu * ua * u)
        };
        let by_moment = |axis: Vec3| k * (3.0 * u.dot(axis) * u - axis);
        let columns = [
            by_place(Vec3::X),
            by_place(Vec3::Y),
            by_place(Vec3::Z),
            by_moment(Vec3::X),
            by_moment(Vec3::Y),
            by_moment(Vec3::Z),
        ];
        let w2 = weight * weight;
        for ((row, right), a) in self.matrix.iter_mut().zip(&mut self.right).zip(&columns) {
            *right += w2 * a.dot(residual);
            for (cell, b) in row.iter_mut().zip(&columns) {
                *cell += w2 * a.dot(*b);
            }
        }
        self.cost += w2 * residual.length_squared();
        self.count += 1;
    }

    /// The damped step.
    fn step(&self, damping: f32) -> Option<[f32; UNKNOWNS]> {
        let mut damped = self.matrix;
        for (n, row) in damped.iter_mut().enumerate() {
            row[n] *= 1.0 + damping;
        }
        Some(solve(&factor(damped)?, self.right))
    }

    /// Diagonal of the inverse: the variances of the unknowns.
    fn variances(&self) -> Option<[f32; UNKNOWNS]> {
        let lower = factor(self.matrix)?;
        let mut variances = [0.0; UNKNOWNS];
        for (n, variance) in variances.iter_mut().enumerate() {
            let mut unit = [0.0; UNKNOWNS];
            unit[n] = 1.0;
            *variance = solve(&lower, unit)[n];
        }
        Some(variances)
    }
}

type Matrix = [[f32; UNKNOWNS]; UNKNOWNS];

/// Cholesky factor of a symmetric positive definite matrix.
fn factor(matrix: Matrix) -> Option<Matrix> {
    let mut lower = [[0.0; UNKNOWNS]; UNKNOWNS];
    for i in 0..UNKNOWNS {
        for j in 0..=i {
            let known: f32 = lower[i].iter().zip(&lower[j]).take(j).map(|(a, b)| a * b).sum();
            let sum = matrix[i][j] - known;
            if i == j {
                // An unknown that nothing determines leaves only rounding of its own size.
                if sum.is_nan() || sum <= 1e-6 * matrix[i][i].abs() {
                    return None;
                }
                lower[i][i] = math::sqrt(sum);
            } else {
                lower[i][j] = sum / lower[j][j];
            }
        }
    }
    Some(lower)
}

/// Solve with a Cholesky factor, forwards and backwards.
fn solve(lower: &Matrix, right: [f32; UNKNOWNS]) -> [f32; UNKNOWNS] {
    let mut x = right;
    for i in 0..UNKNOWNS {
        let known: f32 = lower[i].iter().zip(&x).take(i).map(|(a, b)| a * b).sum();
        x[i] = (x[i] - known) / lower[i][i];
    }
    for i in (0..UNKNOWNS).rev() {
        let known: f32 = lower.iter().zip(&x).skip(i + 1).map(|(row, b)| row[i] * b).sum();
        x[i] = (x[i] - known) / lower[i][i];
    }
    x
}
