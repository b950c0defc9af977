//! The dipole that explains a whole walk, seen by both nodes: all lanes at once.
//!
//! Seven unknowns: place, depth, moment, and the gain by which the upper node reads too much. Where the mast was is
//! known with an uncertainty of its own; every look's true place is an unknown too, with what the position sensor said
//! as its prior. Eliminated look by look (Schur's complement, exact for the linearised problem), these unknowns cost
//! nothing but put the uncertainty of the poses where it belongs. Looks that no dipole explains weigh less (Huber 1964).

use glam::{Mat3, Vec3};

use super::normal::{Matrix, Normal};
use super::ring::Look;
use super::{Dipole, Seen};
use crate::math;

/// Place x, y, z; moment x, y, z; relative excess gain of the upper node.
pub const UNKNOWNS: usize = 7;
/// Steps of the iteration at most.
const ROUNDS: usize = 12;
/// Chi-square of one look, six numbers, above which it weighs less: exceeded once in a thousand times.
const OUTLYING: f32 = 22.46;
/// The steps have settled when the next promises to lower chi-square by less than this: a twentieth of a sigma.
const SETTLED: f32 = 2.5e-3;
/// Sums of hundreds of squares are rounded by this share.
const ROUNDING: f32 = 1e-5;

/// What the walk found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Traversed {
    /// The dipole.
    pub dipole: Dipole,
    /// By which share the upper node reads too much.
    pub upper_gain: f32,
    /// Covariance of place (x, y, z, metres), moment (x, y, z, A m2) and gain.
    pub covariance: Matrix<UNKNOWNS>,
    /// Weighted sum of squared residuals.
    pub chi_square: f32,
    /// Numbers measured less numbers found.
    pub freedom: u32,
    /// Looks that no dipole explains.
    pub outliers: u32,
}

impl Traversed {
    /// Standard uncertainty of an unknown, in the order of the covariance.
    pub fn sigma(&self, unknown: usize) -> f32 {
        let variance = self.covariance.get(unknown).and_then(|row| row.get(unknown));
        math::sqrt(variance.copied().unwrap_or(f32::INFINITY))
    }
}

/// Why there is no fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Undetermined {
    /// There are fewer than four looks.
    TooFew,
    /// The walk does not tell the place.
    Place,
    /// The walk does not tell the depth.
    Depth,
    /// The walk does not tell the moment.
    Moment,
    /// The steps did not come to rest.
    Unsettled,
}

/// Fit a dipole to looks, from `start`. `node_ratio_sigma` is how well the ratio of the nodes' gains is known.
///
/// ```
/// use glam::Vec3;
/// use nullwalk_core::{field, fit::{Dipole, Look, traverse}};
/// let truth = Dipole { at_m: Vec3::new(0.1, -0.2, -1.5), moment: Vec3::new(0.2, 0.03, 0.01) };
/// let upper_m = Vec3::new(0.0, 0.0, 0.4);
/// let seen = |at_m: Vec3| {
///     Vec3::from_array(field::dipole(truth.moment.to_array(), (at_m - truth.at_m).to_array())) * 1e9
/// };
/// let mut looks = [-0.5, 0.5].map(|y| core::array::from_fn::<_, 40, _>(|n| {
///     let at_m = Vec3::new(0.1 * n as f32 - 2.0, y, 0.0);
///     let fields_nt = [seen(at_m), seen(at_m + upper_m)];
///     Look { at_m, upper_m, fields_nt, sigma_nt: [0.01; 2], pose_sigma_m: Vec3::ZERO, spread_m: Vec3::ZERO }
/// }));
/// let start = Dipole { at_m: Vec3::new(0.0, 0.0, -1.2), moment: Vec3::new(0.3, 0.0, 0.0) };
/// let found = traverse(looks.as_flattened(), start, 0.01).unwrap();
/// assert!(found.dipole.at_m.distance(truth.at_m) < 1e-3 && found.sigma(2) < 0.01);
/// ```
///
/// # Errors
/// What the looks do not determine.
pub fn traverse(looks: &[Look], start: Dipole, node_ratio_sigma: f32) -> Result<Traversed, Undetermined> {
    if looks.len() < 4 {
        return Err(Undetermined::TooFew);
    }
    let mut best = Guess { dipole: start, upper_gain: 0.0 };
    let mut sums = Sums::of(looks, &best, node_ratio_sigma);
    let mut damping = 1e-3;
    let mut settled = false;
    for _ in 0..ROUNDS {
        let Some(step) = sums.normal.step(damping) else { break };
        // What the equations promise. The cost itself is rounded too coarsely to tell the last steps apart.
        let promised: f32 = step.iter().zip(&sums.normal.right).map(|(step, right)| step * right).sum();
        if damping < 0.1 && promised < SETTLED {
            settled = true;
            break;
        }
        let next = best.stepped(step);
        let tried = Sums::of(looks, &next, node_ratio_sigma);
        if tried.normal.cost < sums.normal.cost + ROUNDING * sums.normal.cost {
            best = next;
            sums = tried;
            damping *= 0.1;
        } else {
            damping *= 10.0;
        }
    }
    let covariance = sums.normal.covariance().map_err(|unknown| match unknown {
        0 | 1 => Undetermined::Place,
        2 => Undetermined::Depth,
        _ => Undetermined::Moment,
    })?;
    let sound = best.dipole.at_m.is_finite() && best.dipole.moment.is_finite();
    if !(settled && sound) {
        return Err(Undetermined::Unsettled);
    }
    Ok(Traversed {
        dipole: best.dipole,
        upper_gain: best.upper_gain,
        covariance,
        chi_square: sums.normal.cost,
        freedom: (6 * looks.len() as u32).saturating_sub(UNKNOWNS as u32 - 1),
        outliers: sums.outliers,
    })
}

/// All unknowns but the poses.
#[derive(Clone, Copy)]
struct Guess {
    dipole: Dipole,
    upper_gain: f32,
}

impl Guess {
    fn stepped(&self, [x, y, z, mx, my, mz, gain]: [f32; UNKNOWNS]) -> Self {
        let Dipole { at_m, moment } = self.dipole;
        let dipole = Dipole { at_m: at_m + Vec3::new(x, y, z), moment: moment + Vec3::new(mx, my, mz) };
        Self { dipole, upper_gain: self.upper_gain + gain }
    }

    /// The field that a stretch of the walk shows: the mean of its two ends of equal spread.
    fn along(&self, at_m: Vec3, spread_m: Vec3) -> Seen {
        if spread_m == Vec3::ZERO {
            return self.dipole.seen_from(at_m);
        }
        let (a, b) = (self.dipole.seen_from(at_m - spread_m), self.dipole.seen_from(at_m + spread_m));
        let mut columns = a.columns;
        for (a, b) in columns.iter_mut().zip(b.columns) {
            *a = (*a + b) * 0.5;
        }
        Seen { field_nt: (a.field_nt + b.field_nt) * 0.5, columns }
    }
}

/// The normal equations of one linearisation.
struct Sums {
    normal: Normal<UNKNOWNS>,
    outliers: u32,
}

impl Sums {
    fn of(looks: &[Look], guess: &Guess, node_ratio_sigma: f32) -> Self {
        let mut sums = Self { normal: Normal::default(), outliers: 0 };
        for look in looks {
            sums.add(look, guess);
        }
        let prior = 1.0 / (node_ratio_sigma * node_ratio_sigma).max(1e-8);
        let [.., [.., gain]] = &mut sums.normal.matrix;
        *gain += prior;
        let [.., right] = &mut sums.normal.right;
        *right -= prior * guess.upper_gain;
        sums.normal.cost += prior * guess.upper_gain * guess.upper_gain;
        sums
    }

    fn add(&mut self, look: &Look, guess: &Guess) {
        let mut shift_m = Vec3::ZERO;
        let mut own = own_sums(look, guess, shift_m);
        if look.pose_sigma_m != Vec3::ZERO {
            // Once more about the place that this look itself prefers: far off, the first line is no line.
            shift_m = Eliminated::of(&own, look.pose_sigma_m, shift_m).shift_m;
            own = own_sums(look, guess, shift_m);
            Eliminated::of(&own, look.pose_sigma_m, shift_m).take_from(&mut own);
        }
        let weight = if own.cost > OUTLYING {
            self.outliers += 1;
            math::sqrt(OUTLYING / own.cost)
        } else {
            1.0
        };
        for (row, own_row) in self.normal.matrix.iter_mut().zip(&own.matrix) {
            for (cell, own_cell) in row.iter_mut().zip(own_row) {
                *cell += weight * own_cell;
            }
        }
        for (right, own_right) in self.normal.right.iter_mut().zip(&own.right) {
            *right += weight * own_right;
        }
        // Huber's loss: the square within, a straight line beyond.
        self.normal.cost += if weight < 1.0 { (2.0 / weight - 1.0) * OUTLYING } else { own.cost };
    }
}

/// The sums of one look whose place is shifted.
fn own_sums(look: &Look, guess: &Guess, shift_m: Vec3) -> Normal<UNKNOWNS> {
    let mut own: Normal<UNKNOWNS> = Normal::default();
    let places = [look.at_m + shift_m, look.at_m + shift_m + look.upper_m];
    let gains = [1.0, 1.0 + guess.upper_gain];
    let nodes = places.into_iter().zip(gains).zip(look.fields_nt).zip(look.sigma_nt);
    for (n, (((place_m, gain), field_nt), sigma_nt)) in nodes.enumerate() {
        let seen = guess.along(place_m, look.spread_m);
        let weight = 1.0 / sigma_nt.max(1e-6);
        let residual = (field_nt - seen.field_nt * gain) * weight;
        let [x, y, z, mx, my, mz] = seen.columns.map(|column| column * (gain * weight));
        let by_gain = if n == 1 { seen.field_nt * weight } else { Vec3::ZERO };
        let columns = [x, y, z, mx, my, mz, by_gain];
        let Normal { matrix, right, cost } = &mut own;
        for ((row, right), a) in matrix.iter_mut().zip(right).zip(&columns) {
            *right += a.dot(residual);
            for (cell, b) in row.iter_mut().zip(&columns) {
                *cell += a.dot(*b);
            }
        }
        *cost += residual.length_squared();
    }
    own
}

/// The true place of one look, eliminated. Moving the mast is moving the source the other way, so what the place
/// does to the field stands already in the first three columns.
struct Eliminated {
    inverse: Mat3,
    /// Slope of the cost by the place.
    slope: Vec3,
    /// The shift that this look itself prefers.
    shift_m: Vec3,
    prior: Vec3,
    shifted_m: Vec3,
}

impl Eliminated {
    fn of(own: &Normal<UNKNOWNS>, sigma_m: Vec3, shifted_m: Vec3) -> Self {
        let prior = 1.0 / (sigma_m * sigma_m).max(Vec3::splat(1e-10));
        let [a, b, c, ..] = own.matrix.map(|[x, y, z, ..]| Vec3::new(x, y, z));
        let inverse = (Mat3::from_cols(a, b, c) + Mat3::from_diagonal(prior)).inverse();
        let [x, y, z, ..] = own.right;
        let slope = Vec3::new(x, y, z) + prior * shifted_m;
        Self { inverse, slope, shift_m: shifted_m - inverse * slope, prior, shifted_m }
    }

    fn take_from(&self, own: &mut Normal<UNKNOWNS>) {
        let coupled = own.matrix.map(|[x, y, z, ..]| Vec3::new(x, y, z));
        for ((row, right), a) in own.matrix.iter_mut().zip(&mut own.right).zip(&coupled) {
            let reduced = self.inverse * *a;
            *right -= reduced.dot(self.slope);
            for (cell, b) in row.iter_mut().zip(&coupled) {
                *cell -= reduced.dot(*b);
            }
        }
        own.cost +=
            self.shifted_m.dot(self.prior * self.shifted_m) - self.slope.dot(self.inverse * self.slope);
    }
}
