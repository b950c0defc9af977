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
/// A look that would rather be further away than this is asked a second time.
const FAR_OFF_M: f32 = 0.05;
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
    /// Weighted sum of squared residuals, a look that no dipole explains counting no more than one just explained.
    pub chi_square: f32,
    /// Numbers measured less numbers found.
    pub freedom: u32,
    /// Looks that no dipole explains.
    pub outliers: u32,
}

impl Traversed {
    /// Chi-square over the degrees of freedom: near 1 when one dipole explains the walk.
    pub fn reduced_chi_square(&self) -> f32 {
        self.chi_square / self.freedom.max(1) as f32
    }

    /// Share of the looks that no dipole explains.
    pub fn outlying_share(&self) -> f32 {
        6.0 * self.outliers as f32 / (self.freedom + UNKNOWNS as u32 - 1) as f32
    }

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
/// let looks = [-0.5, 0.5].map(|y| core::array::from_fn::<_, 40, _>(|n| {
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
        chi_square: sums.chi_square,
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
    chi_square: f32,
    outliers: u32,
}

impl Sums {
    fn of(looks: &[Look], guess: &Guess, node_ratio_sigma: f32) -> Self {
        let mut sums = Self { normal: Normal::default(), chi_square: 0.0, outliers: 0 };
        for look in looks {
            sums.add(look, guess);
        }
        sums.normal.mirror();
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
        if look.pose_sigma_m != Vec3::ZERO {
            // About the place that this look itself prefers: far off, the first line is no line.
            shift_m =
                Eliminated::of(&OfPlace::of(look, guess, shift_m), look.pose_sigma_m, shift_m).shift_m;
            if shift_m.length_squared() > FAR_OFF_M * FAR_OFF_M {
                let place = OfPlace::of(look, guess, shift_m);
                shift_m = Eliminated::of(&place, look.pose_sigma_m, shift_m).shift_m;
            }
        }
        let mut own = Own::of(look, guess, shift_m);
        if look.pose_sigma_m != Vec3::ZERO {
            Eliminated::of(&own.place, look.pose_sigma_m, shift_m).take_from(&mut own.normal);
        }
        let own = own.normal;
        let weight = if own.cost > OUTLYING {
            self.outliers += 1;
            math::sqrt(OUTLYING / own.cost)
        } else {
            1.0
        };
        for (i, (row, own_row)) in self.normal.matrix.iter_mut().zip(&own.matrix).enumerate() {
            for (cell, own_cell) in row.iter_mut().zip(own_row).take(i + 1) {
                *cell += weight * own_cell;
            }
        }
        for (right, own_right) in self.normal.right.iter_mut().zip(&own.right) {
            *right += weight * own_right;
        }
        self.chi_square += own.cost.min(OUTLYING);
        // Huber's loss: the square within, a straight line beyond.
        self.normal.cost += if weight < 1.0 { (2.0 / weight - 1.0) * OUTLYING } else { own.cost };
    }
}

/// Both nodes' residuals in sigmas, with the factor that makes a column one in sigmas.
fn residuals(look: &Look, guess: &Guess, seen: &[Seen; 2]) -> [(Vec3, f32); 2] {
    // The transmitter's phase leaves one sign open, and a walk that loses the tone for a while may change it.
    let alike: f32 =
        seen.iter().zip(look.fields_nt).map(|(seen, field_nt)| seen.field_nt.dot(field_nt)).sum();
    let sign = if alike < 0.0 { -1.0 } else { 1.0 };
    let [lower, upper] = seen;
    let [lower_nt, upper_nt] = look.fields_nt;
    let [wl, wu] = look.sigma_nt.map(|sigma_nt| 1.0 / sigma_nt.max(1e-6));
    let gain = 1.0 + guess.upper_gain;
    [
        ((lower_nt * sign - lower.field_nt) * wl, wl),
        ((upper_nt * sign - upper.field_nt * gain) * wu, wu * gain),
    ]
}

/// Slope of the residuals by the source's place: products with each other and with the residuals.
struct OfPlace {
    products: Mat3,
    right: Vec3,
}

impl OfPlace {
    /// In the middle of the look: enough to tell where it would rather be.
    fn of(look: &Look, guess: &Guess, shift_m: Vec3) -> Self {
        let place_m = look.at_m + shift_m;
        let seen = [place_m, place_m + look.upper_m].map(|place_m| guess.dipole.seen_from(place_m));
        let (mut products, mut right) = (Mat3::ZERO, Vec3::ZERO);
        for (seen, (residual, weight)) in seen.iter().zip(residuals(look, guess, &seen)) {
            let [x, y, z, ..] = seen.columns;
            let slope = Mat3::from_cols(x * weight, y * weight, z * weight).transpose();
            products += slope * slope.transpose();
            right += slope * residual;
        }
        Self { products, right }
    }
}

/// The sums of one look.
struct Own {
    normal: Normal<UNKNOWNS>,
    place: OfPlace,
}

impl Own {
    fn of(look: &Look, guess: &Guess, shift_m: Vec3) -> Self {
        let place_m = look.at_m + shift_m;
        let seen = [place_m, place_m + look.upper_m].map(|place_m| guess.along(place_m, look.spread_m));
        let mut normal: Normal<UNKNOWNS> = Normal::default();
        let nodes = seen.iter().zip(residuals(look, guess, &seen)).zip(look.sigma_nt);
        for (n, ((seen, (residual, weight)), sigma_nt)) in nodes.enumerate() {
            let [x, y, z, mx, my, mz] = seen.columns.map(|column| column * weight);
            let by_gain = if n == 1 { seen.field_nt / sigma_nt.max(1e-6) } else { Vec3::ZERO };
            let columns = [x, y, z, mx, my, mz, by_gain];
            let Normal { matrix, right, cost } = &mut normal;
            for (i, ((row, right), a)) in matrix.iter_mut().zip(right).zip(&columns).enumerate() {
                *right += a.dot(residual);
                // Symmetric: half of it is enough.
                for (cell, b) in row.iter_mut().zip(&columns).take(i + 1) {
                    *cell += a.dot(*b);
                }
            }
            *cost += residual.length_squared();
        }
        let [[xx, ..], [xy, yy, ..], [xz, yz, zz, ..], ..] = normal.matrix;
        let columns = [Vec3::new(xx, xy, xz), Vec3::new(xy, yy, yz), Vec3::new(xz, yz, zz)];
        let [x, y, z, ..] = normal.right;
        let [a, b, c] = columns;
        let place = OfPlace { products: Mat3::from_cols(a, b, c), right: Vec3::new(x, y, z) };
        Self { normal, place }
    }
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
    products: Mat3,
}

impl Eliminated {
    fn of(own: &OfPlace, sigma_m: Vec3, shifted_m: Vec3) -> Self {
        let prior = 1.0 / (sigma_m * sigma_m).max(Vec3::splat(1e-10));
        let inverse = (own.products + Mat3::from_diagonal(prior)).inverse();
        let slope = own.right + prior * shifted_m;
        Self {
            inverse,
            slope,
            shift_m: shifted_m - inverse * slope,
            prior,
            shifted_m,
            products: own.products,
        }
    }

    /// Take the place out of the sums, of which the lower half counts.
    fn take_from(&self, own: &mut Normal<UNKNOWNS>) {
        let mut coupled = own.matrix.map(|[x, y, z, ..]| Vec3::new(x, y, z));
        for (row, column) in
            coupled.iter_mut().zip([self.products.x_axis, self.products.y_axis, self.products.z_axis])
        {
            *row = column;
        }
        let rows = own.matrix.iter_mut().zip(&mut own.right);
        for (i, ((row, right), a)) in rows.zip(&coupled).enumerate() {
            let reduced = self.inverse * *a;
            *right -= reduced.dot(self.slope);
            for (cell, b) in row.iter_mut().zip(&coupled).take(i + 1) {
                *cell -= reduced.dot(*b);
            }
        }
        own.cost +=
            self.shifted_m.dot(self.prior * self.shifted_m) - self.slope.dot(self.inverse * self.slope);
    }
}
