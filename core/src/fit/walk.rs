//! Least squares over a walk for any source: Levenberg-Marquardt over the source's unknowns, with every look's true
//! place, and where phases count the transmitter's phase at that moment, eliminated look by look.
//!
//! The elimination turns a look's own rows (Householder), so that nothing is subtracted that is nearly the same, however
//! poor the places are. Looks that the source does not explain weigh less (Huber 1964).

use glam::Vec3;

use super::boldness;
use super::normal::{Matrix, Normal};
use super::ring::{Look, Mergeable};
use super::symmetric::Symmetric;
use super::traverse::Shared;
use crate::math;

/// The steps have settled when the next promises to lower chi-square by less than this: a tenth of a sigma.
const SETTLED: f32 = 1e-2;
/// and the places of the looks, when they would rather lower all looks' sum of squares by less than this.
const AT_REST: f32 = 0.1;
/// Sums of squares are rounded by this share.
const ROUNDING: f32 = 1e-5;
/// What a transmitter's phase is worth beforehand, over what a look says: nothing.
const NO_PHASE: f32 = 1e-3;

/// What a source shows at a point in each of `P` parts (in phase; in quadrature), and how it changes.
pub struct Seen<const U: usize, const P: usize> {
    pub field_nt: [Vec3; P],
    /// With the observer's place.
    pub by_place: [Symmetric; P],
    /// With each unknown but the last, which is the gain of the upper node.
    pub by: [[Vec3; U]; P],
}

/// A source of `U` unknowns, the last of which is the upper node's excess gain.
pub trait Source<const U: usize, const P: usize>: Copy {
    fn seen(&self, at_m: Vec3) -> Seen<U, P>;
    fn field_nt(&self, at_m: Vec3) -> [Vec3; P];
    fn upper_gain(&self) -> f32;
    /// Each unknown less what is believed of it beforehand, and the reciprocal variance of that belief.
    fn beliefs(&self) -> [(f32, f32); U];
    fn stepped(&self, step: &[f32; U]) -> Self;
    /// How far off it is, metres.
    fn distance_m(&self, at_m: Vec3) -> f32;
    fn is_sound(&self) -> bool;
}

/// Where the iteration stands.
pub struct Search<S, const U: usize> {
    pub source: S,
    pub sums: Sums<U>,
    damping: f32,
    pub rounds: u32,
    /// Whether the source has settled.
    pub settled: bool,
    /// Whether the places have, too. Poor ones never do, and need not.
    at_rest: bool,
}

/// The looks, what they share, from which chi-square on one weighs less, and how far each was from where it was said to
/// be: known better with every round.
pub struct Walk<'a, L, const P: usize> {
    pub looks: &'a [L],
    /// The fields of a look in their parts, lower node and upper node.
    pub parts_nt: fn(&L) -> [[Vec3; 2]; P],
    pub shared: &'a Shared,
    pub outlying: f32,
    pub shifts_m: &'a mut [Vec3],
}

impl<S, const U: usize> Search<S, U> {
    /// Begin at `source`. `M` counts what each look has of its own: place, and phase where `P` is 2; `R` is 6 P + M.
    pub fn new<L: Mergeable, const P: usize, const M: usize, const R: usize>(
        source: S,
        walk: &mut Walk<'_, L, P>,
    ) -> Self
    where
        S: Source<U, P>,
    {
        let sums = Sums::of::<S, L, P, M, R>(&source, walk);
        Self { source, sums, damping: 1e-3, rounds: 0, settled: false, at_rest: false }
    }

    /// So many steps more, at most.
    pub fn go_on<L: Mergeable, const P: usize, const M: usize, const R: usize>(
        &mut self,
        walk: &mut Walk<'_, L, P>,
        rounds: u32,
    ) where
        S: Source<U, P>,
    {
        for _ in 0..rounds {
            if self.settled && self.at_rest {
                return;
            }
            self.rounds += 1;
            let Some(step) = self.sums.damped(self.damping) else {
                self.damping = self.damping.max(1e-4) * 8.0;
                continue;
            };
            let promised: f32 =
                step.iter().zip(&self.sums.normal.right).map(|(step, right)| step * right).sum();
            let next = self.source.stepped(&step);
            let tried = Sums::of::<S, L, P, M, R>(&next, walk);
            let resting = promised < SETTLED;
            // A last step may raise the sum: the places go on moving. What is no number is not accepted.
            if tried.cost < self.sums.cost + ROUNDING * self.sums.cost
                || (resting && tried.cost.is_finite())
            {
                self.settled = resting && self.damping < 0.1;
                self.at_rest = tried.restless < AT_REST;
                // In a bent valley longer steps promise much and keep little.
                let kept = (self.sums.cost - tried.cost) / promised;
                self.damping *= if kept > 0.3 {
                    0.1
                } else if resting {
                    1.0
                } else {
                    3.0
                };
                self.source = next;
                self.sums = tried;
            } else {
                self.damping = self.damping.max(1e-4) * 8.0;
            }
        }
    }

    /// Covariance of the unknowns; the number of the first that nothing determines.
    pub fn covariance(&self) -> Result<Matrix<U>, usize> {
        self.sums.normal.covariance()
    }
}

/// The normal equations of one linearisation.
#[derive(Clone, Copy)]
pub struct Sums<const U: usize> {
    pub normal: Normal<U>,
    /// What is minimised: Huber's loss of every look, and the beliefs.
    pub cost: f32,
    /// Sum of squares, an outlying look counting as one just explained.
    pub chi_square: f32,
    pub outliers: u32,
    /// By how much the places of the looks would rather lower it.
    restless: f32,
}

impl<const U: usize> Sums<U> {
    fn of<S: Source<U, P>, L: Mergeable, const P: usize, const M: usize, const R: usize>(
        source: &S,
        walk: &mut Walk<'_, L, P>,
    ) -> Self {
        let (normal, outliers) = (Normal::NONE, 0);
        let mut sums = Self { normal, cost: 0.0, chi_square: 0.0, outliers, restless: 0.0 };
        let outlying = walk.outlying;
        for (sight, shift_m) in walk.looks.iter().zip(walk.shifts_m.iter_mut()) {
            let look = sight.look();
            let place_m = walk.shared.place_m;
            let variance_m2 = look.pose_sigma_m * look.pose_sigma_m + place_m * place_m;
            let sigma_m =
                Vec3::new(math::sqrt(variance_m2.x), math::sqrt(variance_m2.y), math::sqrt(variance_m2.z));
            let parts_nt = (walk.parts_nt)(sight);
            let mut rows =
                Rows::<U, M, R>::of(look, &parts_nt, source, walk.shared.field, sigma_m, *shift_m);
            rows.eliminate();
            sums.restless += rows.restless();
            let own = rows.preferred();
            let [x, y, z, ..] = own.as_slice() else { continue };
            let step_m = Vec3::new(*x, *y, *z) * sigma_m;
            let away_m = source.distance_m(look.at_m + *shift_m);
            *shift_m += step_m * boldness(step_m.length_squared(), away_m * away_m);
            let cost = rows.cost();
            let (weight, loss) = if cost > outlying {
                sums.outliers += 1;
                (math::sqrt(outlying / cost), 2.0 * math::sqrt(outlying * cost) - outlying)
            } else {
                (1.0, cost)
            };
            sums.cost += loss;
            sums.chi_square += cost.min(outlying);
            rows.add_to(&mut sums.normal, weight);
        }
        let mut diagonal = sums.normal.matrix.iter_mut().enumerate();
        for ((off, precision), right) in source.beliefs().iter().zip(&mut sums.normal.right) {
            if let Some((n, row)) = diagonal.next()
                && let Some(cell) = row.get_mut(n)
            {
                *cell += precision;
            }
            *right -= precision * off;
            sums.cost += precision * off * off;
            sums.chi_square += precision * off * off;
        }
        sums
    }

    fn damped(&self, damping: f32) -> Option<[f32; U]> {
        let mut damped = self.normal;
        for (n, row) in damped.matrix.iter_mut().enumerate() {
            if let Some(cell) = row.get_mut(n) {
                // An unknown that nothing depends on yet stays where it is.
                *cell += damping * *cell + f32::MIN_POSITIVE;
            }
        }
        damped.step()
    }
}

/// The rows of one look, by columns: `M` of its own, `U` of the source, and what is left over. Six for each part, lower
/// node first, then one for each belief about its own unknowns.
struct Rows<const U: usize, const M: usize, const R: usize> {
    own: [[f32; R]; M],
    by: [[f32; R]; U],
    left: [f32; R],
}

impl<const U: usize, const M: usize, const R: usize> Rows<U, M, R> {
    fn of<S: Source<U, P>, const P: usize>(
        look: &Look,
        parts_nt: &[[Vec3; 2]; P],
        source: &S,
        relative: f32,
        sigma_m: Vec3,
        shift_m: Vec3,
    ) -> Self {
        let gain = 1.0 + source.upper_gain();
        let place_m = look.at_m + shift_m;
        let nodes = [(place_m, 1.0), (place_m + look.upper_m, gain)].map(|(at_m, gain)| {
            let mut seen = source.seen(at_m);
            if look.spread_m != Vec3::ZERO {
                // A stretch of the walk shows the mean of its two ends.
                let ends = source.field_nt(at_m - look.spread_m).into_iter();
                let ends = ends.zip(source.field_nt(at_m + look.spread_m)).map(|(a, b)| (a + b) * 0.5);
                seen.field_nt.iter_mut().zip(ends).for_each(|(field_nt, mean_nt)| *field_nt = mean_nt);
            }
            (seen, gain)
        });
        let measured = turned(parts_nt, &nodes);
        let weights = look.weights(relative);
        let mut rows = Self { own: [[0.0; R]; M], by: [[0.0; R]; U], left: [0.0; R] };
        let mut base = 0;
        for (part, measured) in measured.iter().enumerate() {
            for (node, (((seen, gain), weight), measured_nt)) in
                nodes.iter().zip(weights).zip(measured).enumerate()
            {
                let weighted = weight * gain;
                let field_nt = seen.field_nt.get(part).copied().unwrap_or_default();
                put(&mut rows.left, base, *measured_nt * weight - field_nt * weighted);
                let by = seen.by.get(part).into_iter().flatten();
                for (column, slope) in rows.by.iter_mut().zip(by) {
                    put(column, base, *slope * weighted);
                }
                if let Some(column) = rows.by.last_mut().filter(|_| node == 1) {
                    put(column, base, field_nt * weight);
                }
                let by_place = seen.by_place.get(part).copied().unwrap_or(Symmetric::ZERO);
                let axes = [Vec3::X * sigma_m.x, Vec3::Y * sigma_m.y, Vec3::Z * sigma_m.z];
                for (column, axis) in rows.own.iter_mut().zip(axes) {
                    put(column, base, by_place * axis * weighted);
                }
                // A turn of the phase adds to either part what the other has.
                if let (Some(column), [re, im]) = (rows.own.get_mut(3), seen.field_nt.as_slice()) {
                    put(column, base, if part == 0 { -*im } else { *re } * weighted);
                }
                base += 3;
            }
        }
        let beliefs = [shift_m.x, shift_m.y, shift_m.z].into_iter().zip([sigma_m.x, sigma_m.y, sigma_m.z]);
        let beliefs = beliefs.map(|(shift, sigma)| (1.0, if sigma > 0.0 { -shift / sigma } else { 0.0 }));
        let mut beliefs = beliefs.chain(core::iter::once((NO_PHASE, 0.0)));
        for (n, column) in rows.own.iter_mut().enumerate() {
            let (one, left) = beliefs.next().unwrap_or_default();
            if let (Some(cell), Some(rest)) = (column.get_mut(base + n), rows.left.get_mut(base + n)) {
                *cell = one;
                *rest = left;
            }
        }
        rows
    }

    /// Turn the rows so that the look's own unknowns stand in the first `M` alone.
    fn eliminate(&mut self) {
        for n in 0..M {
            let Some((column, later)) = self.own.get_mut(n..).and_then(<[_]>::split_first_mut) else {
                continue;
            };
            let norm = math::sqrt(column.iter().skip(n).map(|x| x * x).sum());
            let mut mirror = *column;
            mirror.iter_mut().take(n).for_each(|x| *x = 0.0);
            if let Some(first) = mirror.get_mut(n) {
                *first += if *first < 0.0 { -norm } else { norm };
            }
            let half = 0.5 * mirror.iter().map(|x| x * x).sum::<f32>();
            if half <= 0.0 {
                continue;
            }
            let others = later.iter_mut().chain(&mut self.by).chain([&mut self.left, column]);
            for other in others {
                let along: f32 = mirror.iter().zip(other.iter()).map(|(a, b)| a * b).sum();
                let share = along / half;
                other.iter_mut().zip(&mirror).for_each(|(x, m)| *x -= share * m);
            }
        }
    }

    /// By how much its own unknowns could lower the look's sum of squares.
    fn restless(&self) -> f32 {
        self.left.iter().take(M).map(|x| x * x).sum()
    }

    /// The values that its own unknowns would rather have: backwards through the triangle.
    fn preferred(&self) -> [f32; M] {
        let mut found = [0.0; M];
        for n in (0..M).rev() {
            let later = self.own.iter().zip(&found).skip(n + 1);
            let known: f32 = later.map(|(column, x)| column.get(n).map_or(0.0, |cell| cell * x)).sum();
            let pivot = self.own.get(n).and_then(|column| column.get(n)).copied().unwrap_or(1.0);
            let left = self.left.get(n).copied().unwrap_or(0.0);
            if let Some(cell) = found.get_mut(n) {
                *cell = (left - known) / pivot;
            }
        }
        found
    }

    fn cost(&self) -> f32 {
        self.left.iter().skip(M).map(|x| x * x).sum()
    }

    fn add_to(&self, normal: &mut Normal<U>, weight: f32) {
        let product =
            |a: &[f32; R], b: &[f32; R]| -> f32 { a.iter().zip(b).skip(M).map(|(a, b)| a * b).sum() };
        for ((row, right), column) in normal.matrix.iter_mut().zip(&mut normal.right).zip(&self.by) {
            for (cell, other) in row.iter_mut().zip(&self.by) {
                *cell += weight * product(column, other);
            }
            *right += weight * product(column, &self.left);
        }
    }
}

/// What was measured, by parts and nodes, turned as a whole to come nearest to what the source shows: the phase of the
/// transmitter is unknown, and where there is but one part, its sign.
fn turned<const U: usize, const P: usize>(
    measured: &[[Vec3; 2]; P],
    nodes: &[(Seen<U, P>, f32); 2],
) -> [[Vec3; 2]; P] {
    let [(lower, _), (upper, _)] = nodes;
    let alike = |part: &[Vec3; 2], of: usize| {
        let [a, b] = part;
        let field = |seen: &Seen<U, P>| seen.field_nt.get(of).copied().unwrap_or_default();
        a.dot(field(lower)) + b.dot(field(upper))
    };
    if let [re, im] = measured.as_slice() {
        // The sum of z times the conjugate of what it should be.
        let (c, s) = (alike(re, 0) + alike(im, 1), alike(im, 0) - alike(re, 1));
        let size = math::recip_sqrt(c * c + s * s + f32::MIN_POSITIVE);
        let (c, s) = (c * size, s * size);
        let mut turned = *measured;
        if let [to_re, to_im] = turned.as_mut_slice() {
            for (((a, b), re), im) in to_re.iter_mut().zip(to_im).zip(re).zip(im) {
                (*a, *b) = (*re * c + *im * s, *im * c - *re * s);
            }
        }
        return turned;
    }
    let sign = if measured.first().is_some_and(|part| alike(part, 0) < 0.0) { -1.0 } else { 1.0 };
    measured.map(|part| part.map(|field_nt| field_nt * sign))
}

fn put<const R: usize>(column: &mut [f32; R], base: usize, v: Vec3) {
    column.iter_mut().skip(base).zip(v.to_array()).for_each(|(cell, x)| *cell = x);
}

#[cfg(test)]
pub mod tests {
    use super::*;

    /// That what a source of one part shows at a place changes as it says, to this share: with its unknowns, and with
    /// the place.
    pub fn assert_slopes<const U: usize>(source: &impl Source<U, 1>, at_m: Vec3, to: f32) {
        let field_nt = |at_m| source.field_nt(at_m)[0];
        let Seen { field_nt: [seen_nt], by_place: [by_place], by: [by] } = source.seen(at_m);
        assert!((seen_nt - field_nt(at_m)).length() < 1e-4);
        let h = 2e-3;
        for (unknown, by) in by.iter().enumerate().take(U - 1) {
            let after = |h: f32| {
                let mut step = [0.0; U];
                step[unknown] = h;
                source.stepped(&step).field_nt(at_m)[0]
            };
            let by_step = (after(h) - after(-h)) / (2.0 * h);
            assert!((*by - by_step).length() < to * by_step.length(), "{unknown}: {by} {by_step}");
        }
        for axis in [Vec3::X, Vec3::Y, Vec3::Z] {
            let by_step = (field_nt(at_m + axis * h) - field_nt(at_m - axis * h)) / (2.0 * h);
            let own = by_place * axis;
            assert!((own - by_step).length() < to * seen_nt.length(), "{axis}: {own} {by_step}");
        }
    }
}
