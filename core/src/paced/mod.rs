//! A straight lane over a sonde, walked at an even pace where nothing says where the mast was.
//!
//! Times stand in for places. Nulls, peaks and extrema come at instants whose spacings have the ratios that a dipole
//! demands, and one known length turns seconds into metres: the pace, or the distance between two marks that the lane
//! passed. Nobody walks quite evenly nor carries a coil quite still, so every instant is uncertain
//! by what the pace may have strayed since the source, and by the sway.
//!
//! ```
//! use nullwalk_core::depth::Measured;
//! use nullwalk_core::paced::{Known, Passed, Walking, pattern};
//! // A level sonde 2 m down, passed at 0.5 m/s, eight seconds after the clock was started.
//! let at = |along_m: f32| Some(Measured::new(8.0 + along_m / 0.5, 0.01));
//! let passed = Passed { nulls: [at(-1.414), at(1.414)], peak: at(0.0), ..Passed::default() };
//! let pattern = pattern(&passed, Walking::default()).unwrap();
//! let depth = pattern.depth(Known::Pace(Measured::new(0.5, 0.02)), Measured::default()).unwrap();
//! assert!((depth.depth_m - 2.0).abs() < 0.01 && depth.sigma_m > 0.08);
//! ```

mod landmark;

use core::array::from_fn;

use crate::chi_square::{Level, upper_point};
use crate::depth::{Depth, Measured, Unusable, valid};
use crate::fit::normal::{Matrix, Normal, factor, solve};
use crate::math;
use landmark::{ALL, LANDMARKS, STEEPEST};

/// When a lane passed what it showed: seconds from any one moment, the same for all. Times are `f32`: count them from
/// near the lane. Whatever was not seen is `None`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Passed {
    /// The two nulls of the component along the lane.
    pub nulls: [Option<Measured>; 2],
    /// Its strongest peak, between them.
    pub peak: Option<Measured>,
    /// Its side peaks, outside of them.
    pub side_peaks: [Option<Measured>; 2],
    /// The null of the vertical component.
    pub vertical_null: Option<Measured>,
    /// The extrema of the vertical component, on both sides of that null.
    pub vertical_extrema: [Option<Measured>; 2],
    /// Two marks on the ground.
    pub marks: Option<[Measured; 2]>,
}

/// What is thought of the walk before anything is measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Walking {
    /// Relative standard deviation of the pace about its mean.
    pub unevenness: f32,
    /// How level the sonde is thought to lie: sigma of the tangent of its pitch.
    pub level_sigma: f32,
    /// How the coil sways while it is carried: sigma of the tangent of that angle. Nothing on a cart.
    pub sway: f32,
}

impl Default for Walking {
    /// A pace even to 5 %, a sonde level within ten degrees, and a coil that sways by 1.5 (common practice, no source).
    fn default() -> Self {
        Self { unevenness: 0.05, level_sigma: 0.176, sway: 0.026 }
    }
}

/// The one length that turns seconds into metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Known {
    /// The mean pace, metres per second.
    Pace(Measured),
    /// The distance between the two marks, metres.
    BetweenMarks(Measured),
}

/// Why instants make no pattern.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unfit {
    /// Fewer than two landmarks were passed.
    TooFew,
    /// The landmarks, or the marks, do not come in the order in which a lane passes them.
    OutOfOrder,
    /// No sonde and no pace explain them.
    NoSonde,
}

impl Unfit {
    /// The reason in words.
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::TooFew => {
                "needs two of the nulls and peaks that a lane over a sonde shows, and there are fewer"
            }
            Self::OutOfOrder => {
                "nulls, peaks or marks are not in the order in which a lane over a sonde passes them"
            }
            Self::NoSonde => "no sonde passed at an even pace shows nulls and peaks at these times",
        }
    }
}

/// A ratio of spacings, or of times at all, that the pace does not enter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shape {
    /// As passed. The sigma holds what an uneven pace may do.
    pub measured: Measured,
    /// Over a dipole of the pitch that was found.
    pub expected: f32,
}

impl Shape {
    /// By how many sigmas it is off.
    pub fn off_sigmas(self) -> f32 {
        (self.measured.value - self.expected) / self.measured.sigma.max(f32::MIN_POSITIVE)
    }
}

/// How far the instants are from those of any dipole passed at an even pace.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Misfit {
    /// Weighted sum of squares of what is left.
    pub chi_square: f32,
    /// Degrees of freedom: landmarks less three.
    pub freedom: u8,
}

impl Misfit {
    /// Whether one lane in a hundred over a sonde, or fewer, would be so far off.
    pub fn is_gross(self) -> bool {
        self.chi_square > upper_point(usize::from(self.freedom), Level::OnePerCent)
    }
}

/// A lane in time, with everything in it that needs no length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pattern {
    /// When the lane passed above the source.
    pub overhead_s: Measured,
    /// In how long the pace covers the depth.
    pub depth_s: Measured,
    /// Tangent of the pitch: positive when the end ahead is raised.
    pub pitch: Measured,
    /// Share of the way from the first mark to the second at which the source lies.
    pub between_marks: Option<Measured>,
    /// Spacing of the vertical extrema over that of the nulls: 0.7071 over a level sonde.
    pub vertical_over_nulls: Option<Shape>,
    /// Spacing of the side peaks over that of the nulls: 1.7321.
    pub sides_over_nulls: Option<Shape>,
    /// How far the peak lies behind the middle of the nulls, over half their spacing: zero over a level sonde, and
    /// 0.59 of the tangent of the pitch over another.
    pub asymmetry: Option<Shape>,
    /// How far it is from the pattern of a dipole at an even pace; `None` with fewer than four landmarks, which tell
    /// nothing of that.
    pub misfit: Option<Misfit>,
    /// Distance between the marks, in depths.
    marks_apart: Option<Measured>,
}

impl Pattern {
    /// From the height at which the coil was carried down to the source.
    ///
    /// `miss_m` is how far the lane passed aside of the source: it makes everything lie further apart, as it does to a
    /// deeper source.
    ///
    /// # Errors
    /// When the times are not those of one sonde, the length is not there, or the result is too uncertain.
    pub fn depth(&self, known: Known, miss_m: Measured) -> Result<Depth, Unusable> {
        if self.misfit.is_some_and(Misfit::is_gross) {
            return Err(Unusable::Uneven);
        }
        let relative = |m: Measured| m.sigma / m.value;
        let (away_m, length, times) = match known {
            Known::Pace(pace) => (self.depth_s.value * pace.value, relative(pace), relative(self.depth_s)),
            Known::BetweenMarks(apart_m) => {
                let apart = self.marks_apart.ok_or(Unusable::NotMeasured)?;
                (apart_m.value / apart.value, relative(apart_m), relative(apart))
            }
        };
        // What a pitch does is of second order, 9/16 of its square to the nulls, where the fit sees the first alone.
        let curved = self.pitch.sigma * self.pitch.sigma;
        let (miss2, miss2_variance) = miss_m.squared();
        let below = |miss2: f32| math::sqrt(away_m * away_m - miss2);
        let depth_m = below(miss2);
        let from_miss = below(miss2 + math::sqrt(miss2_variance)) - depth_m;
        let scaled = away_m * math::sqrt([length, times, curved].map(|s| s * s).iter().sum());
        valid(depth_m, math::sqrt(scaled * scaled + from_miss * from_miss))
    }
}

/// Landmarks, then marks.
const EVENTS: usize = LANDMARKS + 2;
/// Instant overhead, time for a depth, pitch, share of the way between the marks, marks apart in depths.
const UNKNOWNS: usize = 5;
/// A pace stays like itself for so long, seconds (common practice, no source).
const MEMORY_S: f32 = 3.0;
/// No instant is known better than this share of the time for a depth.
const FLOOR: f32 = 3e-4;
/// Landmarks closer than this, in depths, may change places over a tilted sonde.
const APART: f32 = 0.3;
/// Steps of the fit; from a level start four do up to 30 degrees.
const STEPS: usize = 12;
/// The fit has settled when no unknown moves by more, in depths.
const SETTLED: f32 = 1e-4;

/// Find the sonde and the pace that explain the instants best.
///
/// Least squares by Gauss and Newton. Between two instants the pace may have strayed, and the further they are apart
/// the more: `s t` at first and `s sqrt(t * 3 s)` in the end, for an unevenness of `s`.
///
/// # Errors
/// When there are too few instants, or no sonde explains them.
pub fn pattern(passed: &Passed, walking: Walking) -> Result<Pattern, Unfit> {
    let lane = Lane::new(passed, walking)?;
    // First without any belief in a level sonde, which is no measurement and must not count as a misfit.
    let free = lane.fit(lane.start, 0.0);
    let weight = 1.0 / (walking.level_sigma * walking.level_sigma).max(1e-6);
    let freedom = lane.landmarks().saturating_sub(3);
    let misfit = match free {
        Some((unknowns, _)) => {
            (freedom > 0).then(|| Misfit { chi_square: lane.chi_square(&unknowns), freedom })
        }
        None if freedom > 0 => return Err(Unfit::NoSonde),
        None => None,
    };
    let start = free.map_or(lane.start, |(unknowns, _)| unknowns);
    let (unknowns, normal) = lane.fit(start, weight).ok_or(Unfit::NoSonde)?;
    let covariance = normal.covariance().map_err(|_| Unfit::NoSonde)?;
    let [overhead_s, depth_s, pitch, share, apart] = from_fn(|n| {
        let variance = covariance.get(n).and_then(|row| row.get(n));
        Measured::new(unknowns.get(n).copied().unwrap_or(0.0), math::sqrt(variance.copied().unwrap_or(0.0)))
    });
    let marked = |m: Measured| passed.marks.map(|_| m);
    let shape = |weights: [f32; LANDMARKS]| lane.shape(weights, pitch.value);
    Ok(Pattern {
        overhead_s,
        depth_s,
        pitch,
        between_marks: marked(share),
        vertical_over_nulls: shape([0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -1.0, 1.0]),
        sides_over_nulls: shape([0.0, 0.0, 0.0, -1.0, 1.0, 0.0, 0.0, 0.0]),
        asymmetry: shape([-1.0, -1.0, 2.0, 0.0, 0.0, 0.0, 0.0, 0.0]),
        misfit,
        marks_apart: marked(apart),
    })
}

/// The instants of a lane with their covariance.
struct Lane {
    times: [Option<f32>; EVENTS],
    covariance: Matrix<EVENTS>,
    /// Its Cholesky factor.
    lower: Matrix<EVENTS>,
    start: [f32; UNKNOWNS],
}

impl Lane {
    fn new(passed: &Passed, walking: Walking) -> Result<Self, Unfit> {
        let Walking { unevenness, sway, .. } = walking;
        let Passed {
            nulls: [a, b], peak, side_peaks: [c, d], vertical_null, vertical_extrema: [e, f], ..
        } = *passed;
        let [first, second] = passed.marks.map_or([None, None], |marks| marks.map(Some));
        let events = [a, b, peak, c, d, vertical_null, e, f, first, second];
        let times = events.map(|event| event.map(|m| m.value));
        if times.iter().take(LANDMARKS).flatten().count() < 2 {
            return Err(Unfit::TooFew);
        }
        if !in_order(&times) {
            return Err(Unfit::OutOfOrder);
        }
        let start = start(&times).ok_or(Unfit::TooFew)?;
        let [overhead_s, depth_s, ..] = start;
        // How far the walk may have strayed in a time t from where an even pace has it: s t / sqrt(1 + t/memory), so
        // that neighbouring instants stray together. As s^2/(1 + t/memory)^3 is a correlation (Polya's criterion: it
        // is convex and falls to nothing), its second integral is the variance of a process that there can be.
        let strayed2 = |t: f32| unevenness * unevenness * t * t / (1.0 + t.abs() / MEMORY_S);
        let carried2 = |swayed: f32| (FLOOR * FLOOR + sway * sway * swayed * swayed) * depth_s * depth_s;
        let swayed = ALL.iter().map(|landmark| landmark.swayed).chain([0.0; 2]);
        let mut covariance = [[0.0; EVENTS]; EVENTS];
        for (i, ((row, one), swayed)) in covariance.iter_mut().zip(&events).zip(swayed).enumerate() {
            for (j, (cell, other)) in row.iter_mut().zip(&events).enumerate() {
                *cell = match (one, other) {
                    (Some(one), Some(other)) => {
                        let (a, b) = (one.value - overhead_s, other.value - overhead_s);
                        let own = if i == j { one.sigma * one.sigma + carried2(swayed) } else { 0.0 };
                        0.5 * (strayed2(a) + strayed2(b) - strayed2(a - b)) + own
                    }
                    // An instant that is not there has its own row, and says nothing in it.
                    _ if i == j => 1.0,
                    _ => 0.0,
                };
            }
        }
        let lower = factor(&covariance).map_err(|_| Unfit::NoSonde)?;
        Ok(Self { times, covariance, lower, start })
    }

    /// How many landmarks were passed.
    fn landmarks(&self) -> u8 {
        self.times.iter().take(LANDMARKS).flatten().fold(0, |count, _| count + 1)
    }

    /// What is left of the instants, and how their model changes with each unknown.
    fn linearised(&self, unknowns: &[f32; UNKNOWNS]) -> [Row; EVENTS] {
        let [overhead_s, depth_s, pitch, share, apart] = *unknowns;
        let mut rows = [Row::default(); EVENTS];
        for ((row, time), landmark) in rows.iter_mut().zip(self.times).zip(&ALL) {
            if let Some(time) = time {
                let (place, by_pitch) = landmark.place(pitch);
                *row = Row {
                    left: time - overhead_s - depth_s * place,
                    slopes: [1.0, place, depth_s * by_pitch, 0.0, 0.0],
                };
            }
        }
        let marks = rows.iter_mut().zip(self.times).skip(LANDMARKS);
        for ((row, time), way) in marks.zip([-share, 1.0 - share]) {
            if let Some(time) = time {
                let place = apart * way;
                *row = Row {
                    left: time - overhead_s - depth_s * place,
                    slopes: [1.0, place, 0.0, -depth_s * apart, depth_s * way],
                };
            }
        }
        rows
    }

    /// Weighted sum of squares of what the unknowns leave over.
    fn chi_square(&self, unknowns: &[f32; UNKNOWNS]) -> f32 {
        let left = self.linearised(unknowns).map(|row| row.left);
        dot(&left, &solve(&self.lower, left))
    }

    /// The equations for the next step. `level` is the weight of the belief that the sonde lies level.
    fn normal(&self, unknowns: &[f32; UNKNOWNS], level: f32) -> Normal<UNKNOWNS> {
        let rows = self.linearised(unknowns);
        let left = rows.map(|row| row.left);
        let columns: [[f32; EVENTS]; UNKNOWNS] =
            from_fn(|n| rows.map(|row| row.slopes.get(n).copied().unwrap_or(0.0)));
        let mut normal = Normal::NONE;
        let sums = normal.matrix.iter_mut().zip(&mut normal.right);
        for ((row, right), column) in sums.zip(&columns) {
            let weighted = solve(&self.lower, *column);
            *right = dot(&weighted, &left);
            *row = columns.map(|other| dot(&weighted, &other));
        }
        let [_, _, pitch, ..] = *unknowns;
        let [_, _, by_pitch, ..] = &mut normal.right;
        *by_pitch -= level * pitch;
        let [.., marks, _] = self.times;
        // Without marks nothing tells of them; they stay where they are.
        let held = if marks.is_some() { 0.0 } else { 1.0 };
        for (n, (row, weight)) in normal.matrix.iter_mut().zip([0.0, 0.0, level, held, held]).enumerate() {
            if let Some(cell) = row.get_mut(n) {
                *cell += weight;
            }
        }
        normal
    }

    /// The unknowns that explain the instants best, with the equations there; `None` where nothing does.
    fn fit(&self, start: [f32; UNKNOWNS], level: f32) -> Option<([f32; UNKNOWNS], Normal<UNKNOWNS>)> {
        let mut unknowns = start;
        for _ in 0..STEPS {
            let [overhead_s, depth_s, pitch, share, apart] = unknowns;
            let [later, longer, steeper, on, wider] = self.normal(&unknowns, level).step()?;
            let moved = [later / depth_s, longer / depth_s, steeper, on, wider / apart];
            unknowns = [
                overhead_s + later,
                (depth_s + longer).max(0.5 * depth_s).min(2.0 * depth_s),
                (pitch + steeper).clamp(-STEEPEST, STEEPEST),
                share + on,
                (apart + wider).max(0.5 * apart).min(2.0 * apart),
            ];
            if moved.iter().all(|moved| moved.abs() < SETTLED) {
                return Some((unknowns, self.normal(&unknowns, level)));
            }
        }
        None
    }

    /// A sum of landmarks over the spacing of the nulls.
    fn shape(&self, weights: [f32; LANDMARKS], pitch: f32) -> Option<Shape> {
        let weight = |n: usize| weights.get(n).copied().unwrap_or(0.0);
        let [Some(before), Some(after), ..] = self.times else { return None };
        if (0..LANDMARKS).any(|n| weight(n) != 0.0 && self.times.get(n).copied().flatten().is_none()) {
            return None;
        }
        let sum = |values: [f32; LANDMARKS]| dot(&values, &weights);
        let mut times = [0.0; LANDMARKS];
        for (own, time) in times.iter_mut().zip(self.times) {
            *own = time.unwrap_or(0.0);
        }
        let apart_s = after - before;
        let value = sum(times) / apart_s;
        let places = ALL.map(|landmark| landmark.place(pitch).0);
        let [behind, ahead, ..] = places;
        let expected = sum(places) / (ahead - behind);
        let spacing = |n: usize| {
            if n == 0 {
                -1.0
            } else if n == 1 {
                1.0
            } else {
                0.0
            }
        };
        let slopes: [f32; EVENTS] = from_fn(|n| (weight(n) - value * spacing(n)) / apart_s);
        let variance = dot(&slopes, &self.covariance.map(|row| dot(&row, &slopes)));
        Some(Shape { measured: Measured::new(value, math::sqrt(variance)), expected })
    }
}

/// One instant, linearised.
#[derive(Clone, Copy, Default)]
struct Row {
    left: f32,
    slopes: [f32; UNKNOWNS],
}

fn dot<const N: usize>(a: &[f32; N], b: &[f32; N]) -> f32 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Whether landmarks that no tilt can swap come in their order, and the marks in theirs.
fn in_order(times: &[Option<f32>; EVENTS]) -> bool {
    let landmarks =
        || times.iter().zip(&ALL).filter_map(|(time, landmark)| time.map(|t| (t, landmark.level)));
    let [.., first, second] = *times;
    landmarks().all(|(one, here)| landmarks().all(|(other, there)| there - here < APART || other > one))
        && first.zip(second).is_none_or(|(first, second)| second > first)
}

/// Pace and overhead of a level sonde, by a straight line through the landmarks; `None` where they give no pace.
fn start(times: &[Option<f32>; EVENTS]) -> Option<[f32; UNKNOWNS]> {
    let seen = || times.iter().zip(&ALL).filter_map(|(time, landmark)| time.map(|t| (t, landmark.level)));
    let count = seen().fold(0.0, |count, _| count + 1.0);
    let (time, place) =
        seen().fold((0.0, 0.0), |(t, u), (time, level)| (t + time / count, u + level / count));
    let (up, across) = seen().fold((0.0, 0.0), |(up, across), (t, u)| {
        (up + (t - time) * (u - place), across + (u - place) * (u - place))
    });
    let depth_s = up / across;
    let overhead_s = time - depth_s * place;
    let [.., first, second] = *times;
    let (share, apart) = first.zip(second).map_or((0.5, 1.0), |(first, second)| {
        ((overhead_s - first) / (second - first), (second - first) / depth_s)
    });
    (depth_s > 0.0 && depth_s.is_finite()).then_some([overhead_s, depth_s, 0.0, share, apart])
}
