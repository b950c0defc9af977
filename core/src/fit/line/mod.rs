//! Least-squares fits of long straight lines to the fields seen: at one instant, and along a walk.
//!
//! A line has five numbers: how far to the left it lies, how high, its lay, its slope and its current. Which way the
//! current flows is not among them, for the transmitter's sign is unknown.

mod change;
mod glimpse;
mod heights;
mod model;
mod pair;
mod poles;
mod start;
mod two;
mod wire;

use core::f32::consts::FRAC_PI_2;

use glam::Vec3;

use super::normal::{Matrix, variance};
use super::ring::{Mergeable, Ring};
use super::traverse::{Shared, Undetermined};
use super::walk::{Search, Seen, Source, Walk};
use crate::chi_square::Level;
use crate::depth::Measured;
use crate::math;
use wire::{Axes, Returned, Wire};

pub use change::{Change, change};
pub use glimpse::glimpse;
pub use heights::{Height, kind_by_heights};
pub use model::{Choice, Kind, Models};
pub use pair::{PAIR_UNKNOWNS, Pair, traverse_pair};
pub use start::start;
pub use two::{PhasorLook, TWO_UNKNOWNS, Two, quadrature, traverse_two};
pub(crate) use wire::SCALE_NT;

/// Unknowns of a line: to the left, up, lay, slope, current, what returns through the soil, gain of the upper node.
pub const UNKNOWNS: usize = 7;
/// Chi-square of one look, six numbers, above which it weighs less: exceeded once in a thousand times.
const OUTLYING: f32 = Level::OnePerMille.tabled()[6 - 1];
/// Steps of the iteration at most.
const ROUNDS: u32 = 40;
/// What neighbours too weak to be noticed do to a depth, as a share of it.
const UNNOTICED: f32 = 0.01;
/// What is left of the soil when its second order is known: over the depth, so often the cube of what returns over a depth,
/// no more by quadrature on lanes of 6 m (`tests/reference_earth_return.rs`).
const THIRD_ORDER: f32 = 1.0;

/// A long straight line in the site frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// A point of it, metres: the middle that lay and slope turn about.
    pub at_m: Vec3,
    /// Unit vector along it; which of the two, means nothing.
    pub along: Vec3,
    /// Peak current, amperes; over the square root of 2 it is the rms. Its sign means nothing.
    pub current_a: f32,
    /// What the current that returns through the soil takes off the level field at the line's own height, over the line's
    /// own field at 1 m: `k sqrt(2)/3` to first order, see [`crate::depth::soil`]; zero in free space.
    pub returned_per_m: f32,
}

impl Line {
    /// Field at a point, nanotesla.
    ///
    /// ```
    /// use glam::Vec3;
    /// use nullwalk_core::fit::line::Line;
    /// let line = Line { at_m: Vec3::ZERO, along: Vec3::Y, current_a: 0.01, returned_per_m: 0.0 };
    /// assert!((line.field_nt(Vec3::X) - Vec3::NEG_Z * 2.0).length() < 1e-5);
    /// ```
    pub fn field_nt(&self, at_m: Vec3) -> Vec3 {
        let axes = Axes::of(self.along);
        Wire::field_nt(&axes, self.at_m, at_m) * self.current_a + self.returned_nt(at_m)
    }

    /// What the current that returns through the soil adds at a point, nanotesla.
    pub(crate) fn returned_nt(&self, at_m: Vec3) -> Vec3 {
        let axes = Axes::of(self.along);
        Returned::field_nt(&axes, self.at_m, at_m, self.returned_per_m) * self.current_a
    }

    /// Direction of the lay in plan, radians counter-clockwise from the x axis, between -90 and 90 degrees.
    ///
    /// ```
    /// use glam::Vec3;
    /// use nullwalk_core::fit::line::Line;
    /// let line = Line { at_m: Vec3::ZERO, along: Vec3::new(-0.8, 0.6, 0.0), current_a: 0.01, returned_per_m: 0.0 };
    /// assert!((line.lay_rad() + 0.6435).abs() < 1e-4);
    /// ```
    pub fn lay_rad(&self) -> f32 {
        math::wrap_half_pi(math::atan2(self.along.y, self.along.x))
    }

    /// How far along the line, in plan, `from_m` is from its middle, metres.
    fn on_m(&self, from_m: Vec3) -> f32 {
        let level = self.along.truncate();
        (from_m - self.at_m).truncate().dot(level) / level.length_squared().max(1e-6)
    }
}

/// A source that was fitted to a walk or a glimpse, with `U` unknowns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Traced<S, const U: usize> {
    /// What explains the fields best.
    pub source: S,
    /// By which share the upper node reads too much.
    pub upper_gain: f32,
    /// Covariance of the unknowns, in metres, radians and amperes; the last is the gain.
    pub covariance: Matrix<U>,
    /// Weighted sum of squared residuals, a look that the source does not explain counting no more than one just
    /// explained.
    pub chi_square: f32,
    /// Numbers measured or believed, less numbers found.
    pub freedom: u32,
    /// Share of the looks that the source does not explain.
    pub outlying_share: f32,
    /// Linearisations it took.
    pub rounds: u32,
}

impl<S, const U: usize> Traced<S, U> {
    /// Chi-square over the degrees of freedom: near 1 when the source explains the walk.
    pub fn reduced_chi_square(&self) -> f32 {
        self.chi_square / self.freedom.max(1) as f32
    }

    /// Standard uncertainty of an unknown, in the order of the covariance.
    pub fn sigma(&self, unknown: usize) -> f32 {
        let variance = self.covariance.get(unknown).and_then(|row| row.get(unknown));
        math::sqrt(variance.copied().unwrap_or(f32::INFINITY))
    }

    /// Standard uncertainty of a sum of unknowns, each so many times.
    fn sigma_of(&self, times: [f32; U]) -> f32 {
        math::sqrt(variance(&self.covariance, times))
    }
}

impl Traced<Line, UNKNOWNS> {
    /// Depth of the line below a place, abreast of it, metres.
    pub fn depth_below_m(&self, place_m: Vec3) -> Measured {
        let Line { at_m, along, .. } = self.source;
        let on_m = self.source.on_m(place_m);
        let steep = along.z / along.truncate().length().max(1e-3);
        let rise = on_m * (1.0 + steep * steep);
        let depth_m = place_m.z - at_m.z - along.z * on_m;
        Measured::new(depth_m, self.sigma_of([0.0, 1.0, 0.0, rise, 0.0, 0.0, 0.0]))
    }

    /// [`Self::depth_below_m`] with what the fit leaves of the soil in its sigma: the third order of what returns.
    pub fn depth_in_soil_m(&self, place_m: Vec3) -> Measured {
        let depth = self.depth_below_m(place_m);
        let share = self.source.returned_per_m * depth.value;
        let third_m = THIRD_ORDER * share * share * share * depth.value;
        depth.widened(third_m)
    }

    /// The depth to be reckoned with where a neighbour may lie: [`Self::depth_in_soil_m`] with 1 % of the depth added to
    /// its sigma.
    ///
    /// So much a neighbour with a few per cent of the current moves it, and no chi-square shows. With the 1 %, one site in a
    /// thousand is off by more than twice the 95 % range and silent; with noise alone it is fifteen (a second line half to
    /// three depths away with any share of the current up to a half and any phase).
    ///
    /// ```
    /// use glam::Vec3;
    /// use nullwalk_core::fit::line::{Line, Traced};
    /// let source = Line { at_m: Vec3::NEG_Z * 2.0, along: Vec3::X, current_a: 0.01, returned_per_m: 0.0 };
    /// let (covariance, upper_gain) = ([[0.0; 7]; 7], 0.0);
    /// let (chi_square, freedom, outlying_share, rounds) = (700.0, 700, 0.0, 3);
    /// let found = Traced { source, upper_gain, covariance, chi_square, freedom, outlying_share, rounds };
    /// let depth = found.stated_depth_m(Vec3::ZERO);
    /// assert!(depth.value == 2.0 && (depth.sigma - 0.02).abs() < 1e-6);
    /// ```
    pub fn stated_depth_m(&self, place_m: Vec3) -> Measured {
        let depth = self.depth_in_soil_m(place_m);
        depth.widened(UNNOTICED * depth.value)
    }

    /// How far to the left of a place the line passes, seen along [`Line::along`], metres.
    pub fn left_of_m(&self, place_m: Vec3) -> Measured {
        let axes = Axes::of(self.source.along);
        let on_m = self.source.on_m(place_m);
        let left_m = axes.left.dot(self.source.at_m - place_m);
        Measured::new(left_m, self.sigma_of([1.0, 0.0, on_m, 0.0, 0.0, 0.0, 0.0]))
    }

    /// Direction of the lay in plan, as [`Line::lay_rad`].
    pub fn lay_rad(&self) -> Measured {
        Measured::new(self.source.lay_rad(), self.sigma(2).min(FRAC_PI_2))
    }

    /// Peak current without a sign, amperes; the calibration's scale is not in its sigma.
    pub fn current_a(&self) -> Measured {
        Measured::new(self.source.current_a.abs(), self.sigma(4))
    }
}

/// Fit a long line to a walk, from `start`: see [`start()`].
///
/// Unknown are offset, depth, lay, slope, current, what returns through the soil, and the gain of the upper node. Of the
/// last two something is believed beforehand: that the gain is what calibration says, and `returned_per_m`, from
/// [`crate::depth::soil::returned_per_m`] (nothing, without doubt: [`Measured::default`]). With it the depth of a line
/// in conducting ground comes out right to second order: [`Traced::depth_in_soil_m`] has what is left. A bend is not known to it: chi-square tells.
///
/// ```
/// use glam::Vec3;
/// use nullwalk_core::depth::Measured;
/// use nullwalk_core::fit::{Look, Ring, Shared, line};
/// let truth = line::Line { at_m: Vec3::new(0.0, 0.3, -1.2), along: Vec3::X, current_a: 0.01, returned_per_m: 0.0 };
/// let upper_m = Vec3::new(0.0, 0.0, 0.4);
/// let mut walk = Ring::<80>::default();
/// for (x, n) in [-0.5, 0.5].into_iter().flat_map(|x| (0..40).map(move |n| (x, n))) {
///     let at_m = Vec3::new(x, 0.1 * n as f32 - 2.0, 0.0);
///     let fields_nt = [truth.field_nt(at_m), truth.field_nt(at_m + upper_m)];
///     let (sigma_nt, pose_sigma_m) = ([0.01; 2], Vec3::ZERO);
///     walk.push(Look { at_m, upper_m, fields_nt, sigma_nt, pose_sigma_m, spread_m: Vec3::ZERO });
/// }
/// let shared = Shared { node_ratio: 0.01, ..Shared::default() };
/// let found = line::traverse(&walk, line::start(&walk).unwrap(), &shared, Measured::default()).unwrap();
/// let depth = found.depth_below_m(Vec3::ZERO);
/// assert!((depth.value - 1.2).abs() < 1e-3 && depth.sigma < 0.01);
/// assert!((found.current_a().value - 0.01).abs() < 1e-5);
/// ```
///
/// # Errors
/// What the walk does not determine; of a line, [`Undetermined::Moment`] is the current, or the gain.
pub fn traverse<const N: usize, L: Mergeable>(
    walk: &Ring<N, L>,
    start: Line,
    shared: &Shared,
    returned_per_m: Measured,
) -> Result<Traced<Line, UNKNOWNS>, Undetermined> {
    let guess = Guess::of(start, shared.node_ratio, returned_per_m, None);
    traced::<N, L>(walk.looks(), guess, shared)
}

fn traced<const N: usize, L: Mergeable>(
    looks: &[L],
    start: Guess,
    shared: &Shared,
) -> Result<Traced<Line, UNKNOWNS>, Undetermined> {
    let mut shifts_m = [Vec3::ZERO; N];
    let parts_nt = |sight: &L| [sight.look().fields_nt];
    let mut walk = Walk { looks, parts_nt, shared, outlying: OUTLYING, shifts_m: &mut shifts_m };
    let mut search = Search::new::<L, 1, 3, 9>(start, &mut walk);
    search.go_on::<L, 1, 3, 9>(&mut walk, ROUNDS);
    let beliefs = if start.level_sigma_rad.is_some() { 3 } else { 2 };
    let Guess { line, upper_gain, .. } = search.source;
    told(&search, 6 * looks.len(), beliefs).map(|numbers| numbers.of(line, upper_gain))
}

/// What a search found, but for the source.
struct Numbers<const U: usize> {
    covariance: Matrix<U>,
    chi_square: f32,
    freedom: u32,
    outlying_share: f32,
    rounds: u32,
}

impl<const U: usize> Numbers<U> {
    fn of<S>(self, source: S, upper_gain: f32) -> Traced<S, U> {
        let Self { covariance, chi_square, freedom, outlying_share, rounds } = self;
        Traced { source, upper_gain, covariance, chi_square, freedom, outlying_share, rounds }
    }
}

/// Of so many numbers measured, and believed.
fn told<S: Source<U, P>, const U: usize, const P: usize>(
    search: &Search<S, U>,
    measured: usize,
    beliefs: usize,
) -> Result<Numbers<U>, Undetermined> {
    let covariance = search.covariance().map_err(|unknown| match unknown {
        0 | 2 | 3 => Undetermined::Place,
        1 => Undetermined::Depth,
        _ => Undetermined::Moment,
    })?;
    if !(search.settled && search.source.is_sound()) {
        return Err(Undetermined::Unsettled);
    }
    let looks = (measured / (6 * P)).max(1) as f32;
    Ok(Numbers {
        covariance,
        chi_square: search.sums.chi_square,
        freedom: (measured + beliefs).saturating_sub(U) as u32,
        outlying_share: search.sums.outliers as f32 / looks,
        rounds: search.rounds,
    })
}

/// How well the nodes' gains are known, as the weight of a belief.
fn gain_belief(upper_gain: f32, ratio_sigma: f32) -> (f32, f32) {
    (upper_gain, 1.0 / (ratio_sigma * ratio_sigma + 1e-8))
}

/// A line as the fit moves it.
#[derive(Clone, Copy)]
struct Guess {
    line: Line,
    upper_gain: f32,
    ratio_sigma: f32,
    /// What is believed to return through the soil.
    returned_per_m: Measured,
    /// How level it is believed to lie, if anything is believed.
    level_sigma_rad: Option<f32>,
}

impl Guess {
    fn of(line: Line, ratio_sigma: f32, returned_per_m: Measured, level_sigma_rad: Option<f32>) -> Self {
        let line = Line { returned_per_m: returned_per_m.value, ..line };
        Self { line, upper_gain: 0.0, ratio_sigma, returned_per_m, level_sigma_rad }
    }
}

impl Source<UNKNOWNS, 1> for Guess {
    fn seen(&self, at_m: Vec3) -> Seen<UNKNOWNS, 1> {
        let Line { at_m: wire_m, along, current_a, returned_per_m } = self.line;
        let axes = Axes::of(along);
        let wire = Wire::seen(&axes, wire_m, at_m);
        let [left, up, lay, slope] = wire.by_own(&axes).map(|slope| slope * current_a);
        let soil = Returned::seen(&axes, wire_m, at_m, returned_per_m);
        let [soil_left, soil_up, soil_lay, soil_slope] = soil.by_own(&axes).map(|slope| slope * current_a);
        let all_nt = wire.field_nt + soil.field_nt;
        let by_own = [left + soil_left, up + soil_up, lay + soil_lay, slope + soil_slope];
        let [left, up, lay, slope] = by_own;
        Seen {
            field_nt: [all_nt * current_a],
            by_place: [(wire.by_place + soil.by_place) * current_a],
            by: [[left, up, lay, slope, all_nt, soil.by_returned * current_a, Vec3::ZERO]],
        }
    }

    fn field_nt(&self, at_m: Vec3) -> [Vec3; 1] {
        [self.line.field_nt(at_m)]
    }

    fn upper_gain(&self) -> f32 {
        self.upper_gain
    }

    fn beliefs(&self) -> [(f32, f32); UNKNOWNS] {
        let precision = self.level_sigma_rad.map_or(0.0, |sigma| 1.0 / (sigma * sigma).max(1e-8));
        let slope = (self.line.along.z, precision);
        let Measured { value, sigma } = self.returned_per_m;
        let returned = (self.line.returned_per_m - value, 1.0 / (sigma * sigma + 1e-10));
        let none = (0.0, 0.0);
        [none, none, none, slope, none, returned, gain_belief(self.upper_gain, self.ratio_sigma)]
    }

    fn stepped(&self, step: &[f32; UNKNOWNS]) -> Self {
        let [left, up, lay, slope, current, returned, gain] = step;
        let Line { at_m, along, current_a, returned_per_m } = self.line;
        let axes = Axes::of(along);
        let at_m = at_m + axes.left * *left + Vec3::Z * *up;
        let (current_a, returned_per_m) = (current_a + current, returned_per_m + returned);
        let line = Line { at_m, along: axes.turned(*lay, *slope), current_a, returned_per_m };
        Self { line, upper_gain: self.upper_gain + gain, ..*self }
    }

    fn distance_m(&self, at_m: Vec3) -> f32 {
        (at_m - self.line.at_m).cross(self.line.along).length()
    }

    fn is_sound(&self) -> bool {
        self.line.at_m.is_finite() && self.line.current_a.is_finite()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fit::walk::tests::assert_slopes;

    /// Every slope against differences of the field.
    #[test]
    fn slopes_are_those_of_the_field() {
        let along = Vec3::new(0.8, -0.55, 0.12).normalize();
        let line = Line { at_m: Vec3::new(0.3, -0.2, -1.4), along, current_a: 0.7, returned_per_m: 0.0 };
        // In clay: more of it, and what is left out of the slope with the place shows.
        let guess = Guess::of(line, 0.01, Measured::new(0.06, 0.02), None);
        assert_slopes(&guess, Vec3::new(1.7, 0.9, 0.2), 2e-3);
    }
}
