//! What changes along a line: a current that fades, a lay that turns. A long straight line does neither; an end, a branch
//! or a leak does the one, a bend the other.

use glam::Vec3;

use super::wire::Axes;
use super::{Guess, Line, OUTLYING, Traced, UNKNOWNS, gain_belief};
use crate::depth::Measured;
use crate::fit::ring::{Mergeable, Ring};
use crate::fit::traverse::Shared;
use crate::fit::walk::{Search, Seen, Source, Walk};
use crate::math;

/// Unknowns of a line that changes: those of a line, its fading and its turning, and the gain of the upper node last.
const CHANGING: usize = UNKNOWNS + 2;
/// Steps: the line is known already, and what is small is linear.
const ROUNDS: u32 = 4;

/// How a line differs from a long straight one, to first order along it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Change {
    /// By which share its current grows along [`Line::along`], per metre.
    pub fading_per_m: Measured,
    /// By how much its lay turns to the left along it, radians per metre.
    pub turning_rad_per_m: Measured,
}

/// What a walk tells of changes along the line that was fitted to it. `returned_per_m` is what was believed of the soil.
///
/// It asks what chi-square cannot: chi-square adds up everything that is left over, and where places are uncertain they
/// take up most of that; here the lanes are asked for two numbers only. `None` where they do not tell them, as one lane
/// alone.
///
/// ```
/// use glam::Vec3;
/// use nullwalk_core::depth::Measured;
/// use nullwalk_core::fit::{Look, Ring, Shared, line};
/// let truth = line::Line { at_m: Vec3::new(0.0, 0.3, -1.2), along: Vec3::X, current_a: 0.01, returned_per_m: 0.0 };
/// let upper_m = Vec3::new(0.0, 0.0, 0.4);
/// let mut walk = Ring::<128>::default();
/// for (x, n) in [-0.5, 0.0, 0.5].into_iter().flat_map(|x| (0..40).map(move |n| (x, n))) {
///     let at_m = Vec3::new(x, 0.1 * n as f32 - 2.0, 0.0);
///     // Three per cent less every metre.
///     let share = 1.0 - 0.03 * x;
///     let fields_nt = [truth.field_nt(at_m) * share, truth.field_nt(at_m + upper_m) * share];
///     let (sigma_nt, pose_sigma_m) = ([0.001; 2], Vec3::ZERO);
///     walk.push(Look { at_m, upper_m, fields_nt, sigma_nt, pose_sigma_m, spread_m: Vec3::ZERO });
/// }
/// let shared = Shared { node_ratio: 0.01, ..Shared::default() };
/// let found = line::traverse(&walk, line::start(&walk).unwrap(), &shared, Measured::default()).unwrap();
/// let change = line::change(&walk, &found, &shared, Measured::default()).unwrap();
/// assert!((change.fading_per_m.value.abs() - 0.03).abs() < 0.002);
/// assert!(change.turning_rad_per_m.value.abs() < 4.0 * change.turning_rad_per_m.sigma);
/// ```
pub fn change<const N: usize, L: Mergeable>(
    walk: &Ring<N, L>,
    found: &Traced<Line, UNKNOWNS>,
    shared: &Shared,
    returned_per_m: Measured,
) -> Option<Change> {
    let mut straight = Guess::of(found.source, shared.node_ratio, returned_per_m, None);
    straight.line.returned_per_m = found.source.returned_per_m;
    straight.upper_gain = found.upper_gain;
    let guess = Changing { straight, fading: 0.0, turning: 0.0 };
    let mut shifts_m = [Vec3::ZERO; N];
    let parts_nt = |sight: &L| [sight.look().fields_nt];
    let mut walk =
        Walk { looks: walk.looks(), parts_nt, shared, outlying: OUTLYING, shifts_m: &mut shifts_m };
    let mut search = Search::new::<L, 1, 3, 9>(guess, &mut walk);
    search.go_on::<L, 1, 3, 9>(&mut walk, ROUNDS);
    let covariance = search.covariance().ok()?;
    let sigma = |unknown: usize| {
        let variance = covariance.get(unknown).and_then(|row| row.get(unknown));
        math::sqrt(variance.copied().unwrap_or(f32::INFINITY))
    };
    let Changing { fading, turning, .. } = search.source;
    (fading.is_finite() && turning.is_finite()).then_some(Change {
        fading_per_m: Measured::new(fading, sigma(6)),
        turning_rad_per_m: Measured::new(turning, sigma(7)),
    })
}

/// A line that changes, as the fit moves it: a parabola in plan, straight as seen from each place.
#[derive(Clone, Copy)]
struct Changing {
    straight: Guess,
    fading: f32,
    turning: f32,
}

impl Changing {
    /// The straight line that touches it abreast of a place, with how far along that is.
    fn abreast(&self, at_m: Vec3) -> (Guess, f32) {
        let line = self.straight.line;
        let axes = Axes::of(line.along);
        let on_m = line.along.dot(at_m - line.at_m);
        let touching = Line {
            at_m: line.at_m + line.along * on_m + axes.left * (0.5 * self.turning * on_m * on_m),
            along: axes.turned(self.turning * on_m, 0.0),
            current_a: line.current_a * (1.0 + self.fading * on_m),
            ..line
        };
        (Guess { line: touching, ..self.straight }, on_m)
    }
}

impl Source<CHANGING, 1> for Changing {
    fn seen(&self, at_m: Vec3) -> Seen<CHANGING, 1> {
        let (guess, on_m) = self.abreast(at_m);
        let Seen { field_nt, by_place, by: [[left, up, lay, slope, by_current, returned, _]] } =
            guess.seen(at_m);
        let share = 1.0 + self.fading * on_m;
        let turning = left * (0.5 * on_m * on_m) + lay * on_m;
        let [all_nt] = field_nt;
        let fading = all_nt * (on_m / share);
        Seen {
            field_nt,
            by_place,
            by: [[
                left,
                up,
                lay + left * on_m,
                slope + up * on_m,
                by_current * share,
                returned,
                fading,
                turning,
                Vec3::ZERO,
            ]],
        }
    }

    fn field_nt(&self, at_m: Vec3) -> [Vec3; 1] {
        let (guess, _) = self.abreast(at_m);
        [guess.line.field_nt(at_m)]
    }

    fn upper_gain(&self) -> f32 {
        self.straight.upper_gain
    }

    fn beliefs(&self) -> [(f32, f32); CHANGING] {
        let [left, up, lay, slope, current, returned, _] = self.straight.beliefs();
        let none = (0.0, 0.0);
        let gain = gain_belief(self.straight.upper_gain, self.straight.ratio_sigma);
        [left, up, lay, slope, current, returned, none, none, gain]
    }

    fn stepped(&self, step: &[f32; CHANGING]) -> Self {
        let [left, up, lay, slope, current, returned, fading, turning, gain] = *step;
        let straight = self.straight.stepped(&[left, up, lay, slope, current, returned, gain]);
        Self { straight, fading: self.fading + fading, turning: self.turning + turning }
    }

    fn distance_m(&self, at_m: Vec3) -> f32 {
        self.straight.distance_m(at_m)
    }

    fn is_sound(&self) -> bool {
        self.straight.is_sound()
    }
}

#[cfg(test)]
mod tests {
    use super::super::wire::SCALE_NT;
    use super::*;

    /// Every slope against differences of the field.
    #[test]
    fn slopes_are_those_of_the_field() {
        let along = Vec3::new(0.8, -0.6, 0.0);
        let line = Line { at_m: Vec3::new(0.3, -0.2, -1.4), along, current_a: 0.7, returned_per_m: 0.0 };
        let straight = Guess::of(line, 0.01, Measured::default(), None);
        let guess = Changing { straight, fading: 0.01, turning: 0.01 };
        let at_m = Vec3::new(1.7, 0.9, 0.2);
        let seen = guess.seen(at_m);
        let h = 2e-3;
        for (unknown, by) in seen.by[0].iter().enumerate().take(CHANGING - 1) {
            let mut step = [0.0; CHANGING];
            step[unknown] = h;
            let more = guess.stepped(&step).field_nt(at_m)[0];
            step[unknown] = -h;
            let by_step = (more - guess.stepped(&step).field_nt(at_m)[0]) / (2.0 * h);
            // Lay and slope turn what fades a little, too: a few per cent of a metre's change.
            let off = (*by - by_step).length();
            assert!(off < 0.03 * by_step.length() + 0.01 * SCALE_NT * 0.7, "{unknown}: {by} {by_step}");
        }
    }
}
