//! The dipole that explains a whole walk, seen by both nodes: all lanes at once.
//!
//! Seven unknowns: place, depth, moment, and the gain by which the upper node reads too much. Where the mast was is
//! known with an uncertainty of its own; every look's true place is an unknown too, with what the position sensor said
//! as its prior. Eliminated look by look (Schur's complement, exact for the linearised problem), these unknowns cost
//! nothing but put the uncertainty of the poses where it belongs. Looks that no dipole explains weigh less (Huber 1964).

use glam::{Mat3, Vec3};

use super::normal::{Matrix, Normal};
use super::ring::{Look, Ring};
use super::symmetric::Symmetric;
use super::{Dipole, Seen, boldness};
use crate::chi_square::Level;
use crate::math;

/// Place x, y, z; moment x, y, z; relative excess gain of the upper node.
pub const UNKNOWNS: usize = 7;
/// Steps of the iteration at most.
const ROUNDS: u32 = 8;
/// A place is known to this much at best, metres squared.
const LEAST_POSE_M2: f32 = 1e-10;
/// Chi-square of one look, six numbers, above which it weighs less: exceeded once in a thousand times.
const OUTLYING: f32 = Level::OnePerMille.tabled()[6 - 1];
/// The steps have settled when the next promises to lower chi-square by less than this (a fifth of
/// a sigma): it is still made, and leaves less than a hundredth.
const SETTLED: f32 = 0.05;

/// How well everything is known that neighbouring looks share, so that merging them does not make it better known.
/// From one end of the walk to the other it is taken for random.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Shared {
    /// Standard uncertainty of the ratio of the nodes' gains, the same for the whole walk.
    pub node_ratio: f32,
    /// Relative standard uncertainty of every field.
    pub field: f32,
    /// Standard uncertainty of places along each axis, metres.
    pub place_m: Vec3,
}

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
    /// Which share of the variance that the fields were given is noise; the rest is what the looks share.
    pub noise_share: f32,
    /// Linearisations it took.
    pub rounds: u32,
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

/// Fit a dipole to a walk, from `start`.
///
/// ```
/// use glam::Vec3;
/// use nullwalk_core::{field, fit::{Dipole, Look, Ring, Shared, traverse}};
/// let truth = Dipole { at_m: Vec3::new(0.1, -0.2, -1.5), moment: Vec3::new(0.2, 0.03, 0.01) };
/// let upper_m = Vec3::new(0.0, 0.0, 0.4);
/// let seen = |at_m: Vec3| {
///     Vec3::from_array(field::dipole(truth.moment.to_array(), (at_m - truth.at_m).to_array())) * 1e9
/// };
/// let mut walk = Ring::<80>::default();
/// for (y, n) in [-0.5, 0.5].into_iter().flat_map(|y| (0..40).map(move |n| (y, n))) {
///     let at_m = Vec3::new(0.1 * n as f32 - 2.0, y, 0.0);
///     let fields_nt = [seen(at_m), seen(at_m + upper_m)];
///     let (sigma_nt, pose_sigma_m) = ([0.01; 2], Vec3::ZERO);
///     walk.push(Look { at_m, upper_m, fields_nt, sigma_nt, pose_sigma_m, spread_m: Vec3::ZERO });
/// }
/// let start = Dipole { at_m: Vec3::new(0.0, 0.0, -1.2), moment: Vec3::new(0.3, 0.0, 0.0) };
/// let shared = Shared { node_ratio: 0.01, ..Shared::default() };
/// let found = traverse(&walk, start, &shared).unwrap();
/// assert!(found.dipole.at_m.distance(truth.at_m) < 1e-3 && found.sigma(2) < 0.01);
/// ```
///
/// # Errors
/// What the walk does not determine.
pub fn traverse<const N: usize>(
    walk: &Ring<N>,
    start: Dipole,
    shared: &Shared,
) -> Result<Traversed, Undetermined> {
    over::<N>(walk.looks(), start, shared)
}

/// The same over at most `N` looks. Of looks alone: made for two kinds of them, its loop takes a tenth more instructions.
pub(super) fn over<const N: usize>(
    looks: &[Look],
    start: Dipole,
    shared: &Shared,
) -> Result<Traversed, Undetermined> {
    if looks.len() < 4 {
        return Err(Undetermined::TooFew);
    }
    // How far each look was from where it was said to be: known better with every round.
    let mut shifts_m = [Vec3::ZERO; N];
    let mut best = Guess { dipole: start, upper_gain: 0.0 };
    let mut sums = Sums::NONE;
    let (mut rounds, mut settled) = (0, false);
    while rounds < ROUNDS && !settled {
        rounds += 1;
        sums = Sums::of(looks, &best, shared, &mut shifts_m);
        let Some(step) = sums.normal.step() else { break };
        // What the equations promise. The cost itself is rounded too coarsely to tell the last steps apart.
        let promised: f32 = step.iter().zip(&sums.normal.right).map(|(step, right)| step * right).sum();
        best = best.stepped(step);
        settled = promised < SETTLED;
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
        noise_share: looks.iter().map(|look| look.noise_share(shared.field)).sum::<f32>()
            / looks.len() as f32,
        rounds,
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

    /// The field that a stretch of the walk shows: the mean of its two ends of equal spread. How it changes is taken
    /// from the middle.
    fn along(&self, at_m: Vec3, spread_m: Vec3) -> Seen {
        let seen = self.dipole.seen_from(at_m);
        if spread_m == Vec3::ZERO {
            return seen;
        }
        let ends_nt = self.dipole.field_nt(at_m - spread_m) + self.dipole.field_nt(at_m + spread_m);
        Seen { field_nt: ends_nt * 0.5, ..seen }
    }
}

/// The normal equations of one linearisation.
struct Sums {
    normal: Normal<UNKNOWNS>,
    chi_square: f32,
    outliers: u32,
}

impl Sums {
    const NONE: Self = Self { normal: Normal::NONE, chi_square: 0.0, outliers: 0 };

    /// About the places said and `shifts_m`, which become those that the looks then prefer.
    fn of(looks: &[Look], guess: &Guess, shared: &Shared, shifts_m: &mut [Vec3]) -> Self {
        let (mut blocks, mut chi_square, mut outliers) = (Blocks::EMPTY, 0.0, 0);
        for (look, shift_m) in looks.iter().zip(shifts_m) {
            let variance_m2 = look.pose_sigma_m * look.pose_sigma_m + shared.place_m * shared.place_m;
            let (own, step_m) =
                Blocks::of(look, guess, shared.field, *shift_m).without_pose(variance_m2, *shift_m);
            let away2 = (look.at_m + *shift_m).distance_squared(guess.dipole.at_m);
            *shift_m += step_m * boldness(step_m.length_squared(), away2);
            let outlying = own.cost > OUTLYING;
            // Huber's loss: the square within, a straight line beyond.
            let weight = if outlying { math::sqrt(OUTLYING / own.cost) } else { 1.0 };
            outliers += u32::from(outlying);
            chi_square += if outlying { OUTLYING } else { own.cost };
            blocks.add(&own, weight);
        }
        let prior = 1.0 / (shared.node_ratio * shared.node_ratio + 1e-8);
        blocks.gain += prior;
        blocks.right_gain -= prior * guess.upper_gain;
        Self { normal: blocks.normal(), chi_square, outliers }
    }
}

/// Blocks of the normal equations: by the place of the mast, the moment, and the gain of the upper node. The place of
/// the source does what that of the mast does, with the opposite sign.
#[derive(Debug, Clone, Copy)]
struct Blocks {
    place: Symmetric,
    /// A row for each axis of the place, a column for each of the moment.
    place_moment: Mat3,
    moment: Symmetric,
    place_gain: Vec3,
    moment_gain: Vec3,
    gain: f32,
    right_place: Vec3,
    right_moment: Vec3,
    right_gain: f32,
    /// Sum of squared residuals.
    cost: f32,
}

impl Blocks {
    /// Nothing taken in yet. (The default of a matrix is the identity.)
    const EMPTY: Self = Self {
        place: Symmetric::ZERO,
        place_moment: Mat3::ZERO,
        moment: Symmetric::ZERO,
        place_gain: Vec3::ZERO,
        moment_gain: Vec3::ZERO,
        gain: 0.0,
        right_place: Vec3::ZERO,
        right_moment: Vec3::ZERO,
        right_gain: 0.0,
        cost: 0.0,
    };

    /// Of one look, displaced by `shift_m`.
    // In a frame of its own, as `seen_from` is.
    #[inline(never)]
    fn of(look: &Look, guess: &Guess, relative: f32, shift_m: Vec3) -> Self {
        let place_m = look.at_m + shift_m;
        let [lower, upper] = [place_m, place_m + look.upper_m].map(|at_m| guess.along(at_m, look.spread_m));
        let [lower_nt, upper_nt] = look.fields_nt;
        // The transmitter's phase leaves one sign open, and a walk that loses the tone for a while may change it.
        let alike = lower.field_nt.dot(lower_nt) + upper.field_nt.dot(upper_nt);
        let sign = if alike < 0.0 { -1.0 } else { 1.0 };
        let gain = 1.0 + guess.upper_gain;
        let [weight, upper_weight] = look.weights(relative);
        let by_gain = upper.field_nt * upper_weight;
        let weighted = upper_weight * gain;
        let residual = (lower_nt * sign - lower.field_nt) * weight;
        let upper_residual = upper_nt * sign * upper_weight - upper.field_nt * weighted;
        let (weight2, upper_weight2) = (weight * weight, weighted * weighted);
        let (at, upper_at) = (lower.by_place.matrix(), upper.by_place.matrix());
        Self {
            place: Symmetric::product(at, at) * weight2
                + Symmetric::product(upper_at, upper_at) * upper_weight2,
            place_moment: at * (lower.by_moment * weight2).matrix()
                + upper_at * (upper.by_moment * upper_weight2).matrix(),
            moment: lower.moment_squared(weight2) + upper.moment_squared(upper_weight2),
            place_gain: upper.by_place * by_gain * weighted,
            moment_gain: upper.by_moment * by_gain * weighted,
            gain: by_gain.length_squared(),
            right_place: lower.by_place * residual * weight + upper.by_place * upper_residual * weighted,
            right_moment: lower.by_moment * residual * weight + upper.by_moment * upper_residual * weighted,
            right_gain: by_gain.dot(upper_residual),
            cost: residual.length_squared() + upper_residual.length_squared(),
        }
    }

    /// The true place of the look, known to `variance_m2` about what was said, eliminated; and how far the look itself
    /// would rather be from where it is displaced to.
    fn without_pose(&self, variance_m2: Vec3, shift_m: Vec3) -> (Self, Vec3) {
        let prior = 1.0 / (variance_m2 + LEAST_POSE_M2);
        let known = Symmetric { diagonal: self.place.diagonal + prior, ..self.place };
        let freed = known.inverse().matrix();
        let kept = |matrix: Mat3| {
            Mat3::from_cols(matrix.x_axis * prior, matrix.y_axis * prior, matrix.z_axis * prior)
        };
        let moment_freed = freed * self.place_moment;
        let gain_freed = freed * self.place_gain;
        let held = prior * shift_m;
        let slope = self.right_place - held;
        let step_m = freed * slope;
        let reduced = Self {
            place: Symmetric::product(kept(freed).transpose(), self.place.matrix()),
            place_moment: kept(moment_freed),
            moment: self.moment - Symmetric::product(self.place_moment, moment_freed),
            place_gain: prior * gain_freed,
            moment_gain: self.moment_gain - self.place_moment.transpose() * gain_freed,
            gain: self.gain - self.place_gain.dot(gain_freed),
            right_place: prior * (shift_m + step_m),
            right_moment: self.right_moment - self.place_moment.transpose() * step_m,
            right_gain: self.right_gain - self.place_gain.dot(step_m),
            cost: self.cost + shift_m.dot(held) - slope.dot(step_m),
        };
        (reduced, step_m)
    }

    /// Add the sums of a look that counts by `weight`. What each costs is counted elsewhere.
    fn add(&mut self, own: &Self, weight: f32) {
        self.place = self.place + own.place * weight;
        self.place_moment += own.place_moment * weight;
        self.moment = self.moment + own.moment * weight;
        self.place_gain += own.place_gain * weight;
        self.moment_gain += own.moment_gain * weight;
        self.gain += own.gain * weight;
        self.right_place += own.right_place * weight;
        self.right_moment += own.right_moment * weight;
        self.right_gain += own.right_gain * weight;
    }

    /// By the place of the source.
    fn normal(&self) -> Normal<UNKNOWNS> {
        let [[xx, xy, xz], [_, yy, yz], [_, _, zz]] = self.place.matrix().to_cols_array_2d();
        let [[xu, yu, zu], [xv, yv, zv], [xw, yw, zw]] = (-self.place_moment).to_cols_array_2d();
        let [[uu, uv, uw], [_, vv, vw], [_, _, ww]] = self.moment.matrix().to_cols_array_2d();
        let [xg, yg, zg] = (-self.place_gain).to_array();
        let [ug, vg, wg] = self.moment_gain.to_array();
        let [x, y, z] = (-self.right_place).to_array();
        let [u, v, w] = self.right_moment.to_array();
        Normal {
            matrix: [
                [xx, xy, xz, xu, xv, xw, xg],
                [xy, yy, yz, yu, yv, yw, yg],
                [xz, yz, zz, zu, zv, zw, zg],
                [xu, yu, zu, uu, uv, uw, ug],
                [xv, yv, zv, uv, vv, vw, vg],
                [xw, yw, zw, uw, vw, ww, wg],
                [xg, yg, zg, ug, vg, wg, self.gain],
            ],
            right: [x, y, z, u, v, w, self.right_gain],
        }
    }
}
