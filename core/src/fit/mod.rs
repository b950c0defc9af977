//! Least-squares fit of a dipole to the fields seen along one lane.
//!
//! Six unknowns: the source's place and depth, and its moment. Levenberg-Marquardt from a start near the
//! answer, a fixed number of steps, the normal equations solved by Cholesky's factorisation. Closed forms give
//! the start and stay the judges of depth; the fit uses every step of the lane and places the source better.

mod normal;
mod ring;
mod traverse;

use glam::Vec3;

use crate::math;

use normal::Normal;
pub use ring::{Look, Ring};
pub use traverse::{Traversed, UNKNOWNS as TRAVERSE_UNKNOWNS, Undetermined, traverse};

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

/// The field of a dipole at a point, and how it changes with each unknown.
struct Seen {
    field_nt: Vec3,
    /// By place x, y, z and by moment x, y, z.
    columns: [Vec3; UNKNOWNS],
}

impl Dipole {
    fn seen_from(&self, at_m: Vec3) -> Seen {
        let r = at_m - self.at_m;
        let r2 = r.length_squared().max(1e-4);
        let u = r / math::sqrt(r2);
        let k = SCALE_NT / (r2 * math::sqrt(r2));
        let mu = self.moment.dot(u);
        // By the source's place, one axis after the other: the field's gradient, negated.
        let gradient = k / math::sqrt(r2);
        let by_place = |axis: Vec3| {
            let (ua, ma) = (u.dot(axis), self.moment.dot(axis));
            -3.0 * gradient * (axis * mu + u * ma + self.moment * ua - 5.0 * mu * ua * u)
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
        Seen { field_nt: k * (3.0 * mu * u - self.moment), columns }
    }
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
    let mut lane = Lane::of(samples.clone(), best);
    if lane.count < 10 {
        return None;
    }
    for _ in 0..ROUNDS {
        let Some([x, y, z, mx, my, mz]) = lane.normal.step(damping) else { break };
        let next =
            Dipole { at_m: best.at_m + Vec3::new(x, y, z), moment: best.moment + Vec3::new(mx, my, mz) };
        let tried = Lane::of(samples.clone(), next);
        if tried.normal.cost < lane.normal.cost {
            best = next;
            lane = tried;
            damping *= 0.1;
        } else {
            damping *= 10.0;
        }
    }
    let freedom = (3 * lane.count).saturating_sub(UNKNOWNS).max(1) as f32;
    let covariance = lane.normal.covariance().ok()?;
    let [x, y, z] = [0, 1, 2].map(|n| math::sqrt(covariance[n][n]));
    let sound = best.at_m.is_finite() && best.moment.is_finite();
    sound.then_some(Fitted {
        dipole: best,
        sigma_m: Vec3::new(x, y, z),
        reduced_chi_square: lane.normal.cost / freedom,
    })
}

/// The normal equations about a dipole, and how many samples stand in them.
struct Lane {
    normal: Normal<UNKNOWNS>,
    count: usize,
}

impl Lane {
    fn of(samples: impl Iterator<Item = Sample>, dipole: Dipole) -> Self {
        let mut lane = Self { normal: Normal::default(), count: 0 };
        for sample in samples {
            lane.add(&sample, dipole);
        }
        lane
    }

    fn add(&mut self, sample: &Sample, dipole: Dipole) {
        let Seen { field_nt, columns } = dipole.seen_from(sample.at_m);
        let residual = sample.field_t * 1e9 - field_nt;
        let weight = 1.0 / (sample.sigma_t * 1e9).max(1e-6);
        let w2 = weight * weight;
        let Normal { matrix, right, cost } = &mut self.normal;
        for ((row, right), a) in matrix.iter_mut().zip(right).zip(&columns) {
            *right += w2 * a.dot(residual);
            for (cell, b) in row.iter_mut().zip(&columns) {
                *cell += w2 * a.dot(*b);
            }
        }
        *cost += w2 * residual.length_squared();
        self.count += 1;
    }
}
