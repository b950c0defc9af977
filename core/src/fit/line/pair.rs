//! Two conductors close together, with the current going out in the one and back in the other: a flex, a twin cable, a
//! loop laid along a pipe.

use glam::{Vec2, Vec3};
use num_complex::Complex32;

use super::wire::{Axes, SCALE_NT};
use super::{OUTLYING, ROUNDS, Traced, gain_belief, start, told};
use crate::fit::NEAREST_M2;
use crate::fit::ring::{Mergeable, Ring};
use crate::fit::symmetric::Symmetric;
use crate::fit::traverse::{Shared, Undetermined};
use crate::fit::walk::{Search, Seen, Source, Walk};

/// Unknowns of a pair: to the left, up, lay, slope, the moment's two components, gain of the upper node.
pub const PAIR_UNKNOWNS: usize = 7;

/// A long pair of conductors, far away compared with how far they are apart: its field falls with the square of the
/// distance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    /// A point midway between them, metres.
    pub at_m: Vec3,
    /// Unit vector along them.
    pub along: Vec3,
    /// Peak current times how far the conductor that carries it along `along` is from the other: to the left and up,
    /// ampere metres. Its sign means nothing.
    pub moment_a_m: Vec2,
}

/// Across a pair, with `zeta = left + i up` from its middle and `w = B_up + i B_left`, the field is `w = M/zeta^2`.
#[derive(Clone, Copy)]
struct Across {
    on_m: f32,
    /// 200/zeta^2, and its slope by zeta.
    unit: Complex32,
    slope: Complex32,
}

impl Across {
    fn of(axes: &Axes, pair_m: Vec3, at_m: Vec3) -> Self {
        let r = at_m - pair_m;
        let zeta = Complex32::new(r.dot(axes.left), r.dot(axes.up));
        let inverse = zeta.conj() / (zeta.norm_sqr() + NEAREST_M2);
        let unit = inverse * inverse * SCALE_NT;
        Self { on_m: r.dot(axes.along), unit, slope: unit * inverse * -2.0 }
    }

    fn field(axes: &Axes, w: Complex32) -> Vec3 {
        axes.up * w.re + axes.left * w.im
    }
}

impl Pair {
    fn moment(&self) -> Complex32 {
        Complex32::new(self.moment_a_m.x, self.moment_a_m.y)
    }

    /// Field at a point, nanotesla.
    ///
    /// ```
    /// use glam::{Vec2, Vec3};
    /// use nullwalk_core::{field, fit::line::Pair};
    /// let pair = Pair { at_m: Vec3::ZERO, along: Vec3::Y, moment_a_m: Vec2::new(0.01, 0.002) };
    /// // A hundredth of a metre apart, 1 A: left of the y axis is -x.
    /// let b = field::long_pair(1.0, [0.0, 1.0, 0.0], [-0.01, 0.0, 0.002], [0.3, 0.0, 1.0]).map(|b| b * 1e9);
    /// assert!(pair.field_nt(Vec3::new(0.3, 0.0, 1.0)).distance(Vec3::from_array(b)) < 1e-3);
    /// ```
    pub fn field_nt(&self, at_m: Vec3) -> Vec3 {
        let axes = Axes::of(self.along);
        Across::field(&axes, Across::of(&axes, self.at_m, at_m).unit * self.moment())
    }
}

/// Fit a pair to a walk.
///
/// It begins beneath the strongest look, at the depth that the two nodes' ratio gives where fields fall with the square of
/// the distance.
///
/// ```
/// use glam::{Vec2, Vec3};
/// use nullwalk_core::fit::{Look, Ring, Shared, line::{self, Pair}};
/// let truth = Pair { at_m: Vec3::new(0.0, 0.2, -1.1), along: Vec3::X, moment_a_m: Vec2::new(0.003, 0.001) };
/// let upper_m = Vec3::new(0.0, 0.0, 0.4);
/// let mut walk = Ring::<80>::default();
/// for (x, n) in [-0.5, 0.5].into_iter().flat_map(|x| (0..40).map(move |n| (x, n))) {
///     let at_m = Vec3::new(x, 0.1 * n as f32 - 2.0, 0.0);
///     let fields_nt = [truth.field_nt(at_m), truth.field_nt(at_m + upper_m)];
///     let (sigma_nt, pose_sigma_m) = ([0.001; 2], Vec3::ZERO);
///     walk.push(Look { at_m, upper_m, fields_nt, sigma_nt, pose_sigma_m, spread_m: Vec3::ZERO });
/// }
/// let found = line::traverse_pair(&walk, &Shared { node_ratio: 0.01, ..Shared::default() }).unwrap();
/// assert!((found.source.at_m.z + 1.1).abs() < 1e-3);
/// ```
///
/// # Errors
/// As [`super::traverse()`].
pub fn traverse_pair<const N: usize, L: Mergeable>(
    walk: &Ring<N, L>,
    shared: &Shared,
) -> Result<Traced<Pair, PAIR_UNKNOWNS>, Undetermined> {
    let looks = walk.looks();
    let seen = || looks.iter().map(Mergeable::look);
    let along = start::of(seen()).map_or_else(|| start::lay(seen()), |line| Some(line.along));
    let axes = Axes::of(along.ok_or(Undetermined::TooFew)?);
    let look = start::strongest(seen()).ok_or(Undetermined::TooFew)?;
    let depth_m = start::depth_below(look, 2.0);
    let pair_m = look.at_m - Vec3::Z * depth_m;
    let [field_nt, _] = look.fields_nt;
    let w = Complex32::new(field_nt.dot(axes.up), field_nt.dot(axes.left));
    let moment = w / Across::of(&axes, pair_m, look.at_m).unit;
    let moment_a_m = Vec2::new(moment.re, moment.im);
    let pair = Pair { at_m: pair_m, along: axes.along, moment_a_m };
    let mut shifts_m = [Vec3::ZERO; N];
    let parts_nt = |sight: &L| [sight.look().fields_nt];
    let mut walk = Walk { looks, parts_nt, shared, outlying: OUTLYING, shifts_m: &mut shifts_m };
    let guess = Guess { pair, upper_gain: 0.0, ratio_sigma: shared.node_ratio };
    let mut search = Search::new::<L, 1, 3, 9>(guess, &mut walk);
    search.go_on::<L, 1, 3, 9>(&mut walk, 2 * ROUNDS);
    let Guess { pair, upper_gain, .. } = search.source;
    told(&search, 6 * looks.len(), 1).map(|numbers| numbers.of(pair, upper_gain))
}

/// A pair as the fit moves it.
#[derive(Clone, Copy)]
struct Guess {
    pair: Pair,
    upper_gain: f32,
    ratio_sigma: f32,
}

impl Source<PAIR_UNKNOWNS, 1> for Guess {
    fn seen(&self, at_m: Vec3) -> Seen<PAIR_UNKNOWNS, 1> {
        let axes = Axes::of(self.pair.along);
        let Across { on_m, unit, slope } = Across::of(&axes, self.pair.at_m, at_m);
        let moment = self.pair.moment();
        let (field_nt, slope) = (Across::field(&axes, unit * moment), slope * moment);
        let by_place = (Symmetric::square_of(axes.left) - Symmetric::square_of(axes.up)) * slope.im
            + Symmetric::products_of(axes.left, axes.up) * slope.re;
        let [lay, rise] = axes.by_turns(field_nt, by_place, on_m);
        let [by_left, by_up] = [unit, unit * Complex32::i()].map(|w| Across::field(&axes, w));
        let places = [axes.left, Vec3::Z].map(|axis| by_place * -axis);
        let [left, up] = places;
        Seen {
            field_nt: [field_nt],
            by_place: [by_place],
            by: [[left, up, lay, rise, by_left, by_up, Vec3::ZERO]],
        }
    }

    fn field_nt(&self, at_m: Vec3) -> [Vec3; 1] {
        [self.pair.field_nt(at_m)]
    }

    fn upper_gain(&self) -> f32 {
        self.upper_gain
    }

    fn beliefs(&self) -> [(f32, f32); PAIR_UNKNOWNS] {
        let none = (0.0, 0.0);
        [none, none, none, none, none, none, gain_belief(self.upper_gain, self.ratio_sigma)]
    }

    fn stepped(&self, [left, up, lay, slope, by_left, by_up, gain]: &[f32; PAIR_UNKNOWNS]) -> Self {
        let Pair { at_m, along, moment_a_m } = self.pair;
        let axes = Axes::of(along);
        let pair = Pair {
            at_m: at_m + axes.left * *left + Vec3::Z * *up,
            along: axes.turned(*lay, *slope),
            moment_a_m: moment_a_m + Vec2::new(*by_left, *by_up),
        };
        Self { pair, upper_gain: self.upper_gain + gain, ..*self }
    }

    fn distance_m(&self, at_m: Vec3) -> f32 {
        (at_m - self.pair.at_m).cross(self.pair.along).length()
    }

    fn is_sound(&self) -> bool {
        self.pair.at_m.is_finite() && self.pair.moment_a_m.is_finite()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::walk::tests::assert_slopes;

    /// Every slope against differences of the field.
    #[test]
    fn slopes_are_those_of_the_field() {
        let pair = Pair {
            at_m: Vec3::new(0.3, -0.2, -1.4),
            along: Vec3::new(0.8, -0.6, 0.0),
            moment_a_m: Vec2::new(0.3, -0.2),
        };
        let guess = Guess { pair, upper_gain: 0.0, ratio_sigma: 0.01 };
        assert_slopes(&guess, Vec3::new(1.7, 0.9, 0.2), 3e-3);
    }
}
