//! Where the source is, from one lane along it and one across.

use glam::{Vec2, Vec3};

use super::lane::{Across, Along, Spot};
use crate::depth::{self, Depth, Measured, Passing, Unusable};
use crate::field;
use crate::fit::{Dipole, Traversed, Undetermined};
use crate::frame::HEADING_SIGMA_RAD;
use crate::math;
use crate::verdict::{Clue, Clues};

/// A lane across counts when it passed within this share of the depth of the mark.
const CROSSING_SHARE: f32 = 0.4;
/// and when it ran at least this far from parallel, to the lane and to the lay: the sine of the angle.
const LEAST_CROSSING: f32 = 0.7;
/// A lane is taken to run along the lay up to this tangent of the angle between them.
const STEEPEST_SKEW: f32 = 1.5;
/// The relations between marks on a lane are good to this share of the depth.
const MODEL_SHARE: f32 = 0.002;

/// A mast rises and falls by about a centimetre with every step (common practice, no source). A window that spans half
/// a step leaves of that a place that errs by so much over the nulls' distance (an allowance of ours, set on lanes 0.5 m
/// above a level source).
const BOBBING_M2: f32 = 3e-4;

/// Without headings the mast may face this far from where it is carried: tangent (common practice, no source).
const UNKNOWN_ASIDE: f32 = 0.1;

/// A null stands off the source by this share of the depth.
const NULL_SHARE: f32 = core::f32::consts::FRAC_1_SQRT_2;

/// The source as the lanes show it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// Ground point above the source, site frame, metres.
    pub place_m: Vec2,
    /// Unit vector along the lay, site frame (its sense means nothing).
    pub lay: Vec2,
    /// Standard uncertainty of the place along and across the lay, metres.
    pub sigma_along_m: f32,
    /// The same across.
    pub sigma_across_m: f32,
    /// Tangent of the sonde's pitch, positive when the end towards `lay` is raised.
    pub pitch: Measured,
    /// Depth below the lower node as carried, by the nulls and by the vertical extrema.
    pub null_spacing: Result<Depth, Unusable>,
    /// See `null_spacing`.
    pub vertical_maxima: Result<Depth, Unusable>,
    /// Claimed uncertainty of the positions the lane was walked by, metres.
    pub pose_sigma_m: f32,
    /// Height of the lower node as carried, site frame.
    pub node_up_m: f32,
    /// Height of the source by the fit of the whole walk, site frame, metres.
    pub source_up_m: Result<Measured, Unusable>,
    /// Whether a lane across fixed the place sideways.
    pub crossed: bool,
    /// Whether the field along the walk is not that of one sonde.
    pub bent: bool,
    /// What the walk as a whole does not tell.
    pub undetermined: Option<Undetermined>,
    /// Fit of the whole walk, when there is one.
    pub fitted: Option<Traversed>,
    /// Signs of a bent field along the walk.
    pub clues: Clues,
    /// By which share of their sum the second extremum of the vertical field exceeds the first.
    asymmetry: Option<f32>,
    spacings: Spacings,
    /// How well the tilt of the mast is known: a tangent.
    tilt_sigma: f32,
}

/// What the lane along says of the depth, as soon as it is known how it passed.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Spacings {
    nulls: Measured,
    vertical: Option<Measured>,
    /// Height to which the fields were brought, above that at which the nulls were passed, metres: the extrema belong to
    /// the one, the nulls to the other.
    brought_up_m: f32,
    passing: Passing,
}

impl Spacings {
    /// Depth below the lower node as carried, by the nulls.
    fn null_spacing(&self) -> Result<Depth, Unusable> {
        depth::null_spacing(self.nulls, self.passing)
    }

    /// The same by the vertical extrema.
    fn vertical_maxima(&self) -> Result<Depth, Unusable> {
        let apart = self.vertical.ok_or(Unusable::NotMeasured)?;
        let depth = depth::vertical_maxima(apart, self.passing)?;
        Ok(Depth { depth_m: depth.depth_m - self.brought_up_m, ..depth })
    }
}

/// A fit goes together with the closed forms within so many sigmas.
const AGREE_SIGMAS: f32 = 4.0;
/// Reduced chi-square above which no dipole explains the walk, where gait and calibration rule and where noise does.
/// Neither is underrated, gait least of all: of 500 nominal trials half stayed below 0.35.
const EXPLAINED: f32 = 0.68;
const EXPLAINED_NOISE: f32 = 1.1;
/// and share of the walk that may lie aside of it all the same (of those trials one came above 0.016).
const OUTLYING: f32 = 0.025;
/// A fit that leaves so many times more over is no help at all.
const HOPELESS: f32 = 4.0;
/// Positions wander slowly. Those of a lane do not jump about, as the fit believes, but stretch or shrink it. How slowly
/// is not known: within 6 s or within a minute. At 0.7 m/s what is a null's spacing apart is passed 2 s apart for every
/// metre of depth, and errors then differ by 0.3 to 0.8 of their sigma at 1 m. The fit reads half of that as depth at
/// most, and has two lanes along; what stretches steadily it sees itself, the better the nearer the source. So: this
/// share of their sigma for every metre of depth, and no more than that (an allowance of ours, held against trials).
const STRETCHED_PER_M: f32 = 0.115;
const STRETCHED_AT_MOST: f32 = 0.26;
/// The place above a source that no dipole explains, or to the side of a lane never crossed, is uncertain by this
/// share of the depth.
const SIDEWAYS_SHARE: f32 = 0.25;
/// Difference of the vertical extrema over their sum, for a pitch of tangent 1, to first order.
const UNEVEN: f32 = 7.0 / 6.0;
/// and how well it is measured by a walking mast.
const UNEVEN_SIGMA: f32 = 0.02;
/// Rounds of refinement: each uses the miss, the depth and the lay of the round before.
const ROUNDS: usize = 4;

/// The lane's own axis: x along it from the first null, y to its left.
struct Axis {
    origin: Vec2,
    forward: Vec2,
    left: Vec2,
}

impl Axis {
    fn along(&self, spot: &Spot) -> Option<Measured> {
        let place = spot.place?;
        let value = (place.enu_m.truncate() - self.origin).dot(self.forward);
        Some(Measured::new(value, place.sigma_m))
    }

    /// How far the forward component points aside of the lane: a tangent.
    fn aside(&self, forward: Option<Vec2>) -> Measured {
        let Some(forward) = forward else { return Measured::new(0.0, UNKNOWN_ASIDE) };
        let component = self.in_lane(forward);
        Measured::new(component.y / component.x.max(0.5), HEADING_SIGMA_RAD)
    }

    fn in_lane(&self, direction: Vec2) -> Vec2 {
        Vec2::new(direction.dot(self.forward), direction.dot(self.left))
    }

    fn to_site(&self, in_lane: Vec2) -> Vec2 {
        self.forward * in_lane.x + self.left * in_lane.y
    }
}

/// The source in the lane's axes, as one round after the other knows it better.
#[derive(Clone, Copy)]
struct Guess {
    along_m: Measured,
    left_m: Measured,
    depth_m: f32,
    /// Tangent of the angle from the lane to the lay.
    skew: f32,
    /// Tangent of the angle from the lane to the forward component.
    aside: Measured,
    pitch: Measured,
}

impl Guess {
    fn passing(&self) -> Passing {
        let miss_m = Measured::new(-self.left_m.value, self.left_m.sigma);
        Passing { miss_m, skew: self.skew, aside: self.aside, pitch: self.pitch }
    }
}

/// Two nodes, one above the other.
#[derive(Clone, Copy)]
pub struct Stacked {
    /// How far apart they are, metres.
    pub spacing_m: f32,
    /// Standard uncertainty of the ratio of their gains.
    pub ratio_sigma: f32,
}

impl Stacked {
    /// Which share of a fit's depth hangs on the ratio of the nodes, and not on where the mast was: so much of an error
    /// of the ratio is left in it.
    fn share(&self, fitted: &Traversed, depth_m: f32) -> f32 {
        let ratio_variance = self.ratio_sigma * self.ratio_sigma;
        let whole = depth::per_ratio_m(depth_m.max(0.0), self.spacing_m) * ratio_variance;
        (fitted.covariance[2][6].abs() / whole.max(f32::MIN_POSITIVE)).min(1.0)
    }
}

/// How level things are before anything is measured: standard uncertainties of tangents.
#[derive(Clone, Copy)]
pub struct Levelness {
    /// How level the sonde is thought to lie.
    pub sonde_sigma: f32,
    /// How well the tilt of the mast is known. What is wrong with it stays wrong for the whole walk.
    pub mast_sigma: f32,
}

/// A mast whose tilt is wrong finds both nulls of a level sonde aside by this share of the depth, to the same side, so
/// their spacing stands.
const NULLS_TILTED: f32 = 0.75;
/// and the peak and the vertical null by this share.
const PEAK_TILTED: f32 = 1.0 / 3.0;

/// Combine the lanes. `None` without positions.
pub fn mark(along: &Along, across: Option<&Across>, level: Levelness) -> Option<Mark> {
    let [first, second] = &along.nulls;
    let (a, b) = (first.place?, second.place?);
    let origin = a.enu_m.truncate();
    let forward = (b.enu_m.truncate() - origin).try_normalize()?;
    let axis = Axis { origin, forward, left: forward.perp() };
    let bobbing_m = BOBBING_M2 / b.enu_m.distance(a.enu_m).max(f32::MIN_POSITIVE);
    let apart = Measured::new(
        b.enu_m.truncate().distance(origin),
        math::sqrt(a.sigma_m * a.sigma_m + b.sigma_m * b.sigma_m + 2.0 * bobbing_m * bobbing_m),
    );
    // Each null stands off in proportion to the depth below the node at that moment.
    let carried_higher_m = b.enu_m.z - a.enu_m.z;
    let middle_m = 0.5 * apart.value - NULL_SHARE * 0.5 * carried_higher_m;
    let middle = Measured::new(middle_m, 0.5 * apart.sigma);
    let peak = axis.along(&along.peak);
    let vertical_null = along.vertical_null.as_ref().and_then(|spot| axis.along(spot));

    let rough_m = apart.value * NULL_SHARE;
    let aside = axis.aside(along.forward);
    let field = turned(along.peak.field_t, aside.value);
    let mut guess = Guess {
        along_m: middle,
        left_m: Measured::new(0.0, SIDEWAYS_SHARE * rough_m),
        depth_m: rough_m,
        skew: field.y / if field.x == 0.0 { 1.0 } else { field.x },
        aside,
        pitch: Measured::new(0.0, level.sonde_sigma),
    };
    let mut crossed = false;
    for _ in 0..ROUNDS {
        let crossing = across.and_then(|across| crossing(&axis, across, &guess));
        crossed = crossing.is_some();
        guess.left_m = crossing.unwrap_or(guess.left_m);
        (guess.along_m, guess.pitch) = along_the_lane(&guess, middle, peak, vertical_null, level);
        if let Ok(depth) = depth::null_spacing(apart, guess.passing()) {
            guess.depth_m = depth.depth_m;
        }
        guess.skew = skew(&guess, peak.unwrap_or(middle).value, field).unwrap_or(guess.skew);
    }
    let vertical = along.vertical_extrema.as_ref().and_then(|[before, after]| {
        let (before, after) = (axis.along(before)?, axis.along(after)?);
        let sigma = math::sqrt(before.sigma * before.sigma + after.sigma * after.sigma);
        Some(Measured::new(after.value - before.value, sigma))
    });
    let node_up_m = 0.5 * (a.enu_m.z + b.enu_m.z);
    let brought_up_m = along.height_m.map_or(0.0, |height_m| height_m - node_up_m);
    let spacings = Spacings { nulls: apart, vertical, brought_up_m, passing: guess.passing() };
    Some(Mark {
        place_m: origin + axis.to_site(Vec2::new(guess.along_m.value, guess.left_m.value)),
        lay: axis.to_site(Vec2::new(1.0, guess.skew).normalize_or(Vec2::X)),
        sigma_along_m: guess.along_m.sigma,
        sigma_across_m: guess.left_m.sigma,
        pitch: guess.pitch,
        null_spacing: spacings.null_spacing(),
        vertical_maxima: spacings.vertical_maxima(),
        pose_sigma_m: along.pose_sigma_m(),
        node_up_m,
        source_up_m: Err(Unusable::NotMeasured),
        crossed,
        bent: false,
        undetermined: None,
        fitted: None,
        clues: Clues::default(),
        asymmetry: along.vertical_extrema.as_ref().map(|[before, after]| {
            let (before, after) = (before.feature.value.abs(), after.feature.value.abs());
            (after - before) / (after + before)
        }),
        spacings,
        tilt_sigma: level.mast_sigma,
    })
}

impl Mark {
    /// Depth of the source below the ground, by the fit of the whole walk.
    pub(super) fn below(&self, ground_up_m: f32) -> Result<Depth, Unusable> {
        let Measured { value, sigma } = self.source_up_m?;
        depth::valid(ground_up_m - value, sigma)
    }

    /// Where a dipole is to be sought that explains the walk: here, this deep, of such strength.
    pub(super) fn start(&self, field_t: f32) -> Dipole {
        let depth_m = self.null_spacing.map_or(1.0, |d| d.depth_m);
        let strength = field_t.abs() * 1e7 * depth_m * depth_m * depth_m;
        Dipole {
            at_m: self.place_m.extend(self.node_up_m - depth_m),
            moment: self.lay.extend(0.0) * strength,
        }
    }

    /// The mark, knowing what the fit of the whole walk says.
    ///
    /// A fit that explains the walk gives place and lay where it knows them better; and where the two do not go
    /// together, because then the lane across was not one over this source. One that does not is no help, but a warning.
    pub(super) fn refined(self, fitted: &Traversed, nodes: Option<Stacked>) -> Self {
        let flat = fitted.dipole.moment.truncate();
        let moved = fitted.dipole.at_m.truncate() - self.place_m;
        let worse = fitted.reduced_chi_square().max(1.0);
        let pose_m = self.pose_sigma_m;
        let fit_sigma_m = fitted.sigma(0).max(fitted.sigma(1)) * worse;
        let sigma_m = math::sqrt(fit_sigma_m * fit_sigma_m + pose_m * pose_m);
        let lay = flat.normalize_or(self.lay);
        let off_along = moved.dot(lay).abs() / (AGREE_SIGMAS * (self.sigma_along_m + sigma_m));
        let off_across = moved.dot(lay.perp()).abs() / (AGREE_SIGMAS * (self.sigma_across_m + sigma_m));
        let steepness = fitted.dipole.moment.z / flat.length().max(f32::MIN_POSITIVE);
        let explained = EXPLAINED + (EXPLAINED_NOISE - EXPLAINED) * fitted.noise_share;
        let mark = Self { fitted: Some(*fitted), ..self }
            .with_clue(Clue::Residuals, fitted.reduced_chi_square() / explained)
            .with_clue(Clue::Outliers, fitted.outlying_share() / OUTLYING)
            .with_clue(Clue::PeakOffNull, off_along)
            .with_asymmetry(if lay.dot(self.lay) < 0.0 { -steepness } else { steepness });
        if fitted.reduced_chi_square() >= HOPELESS * EXPLAINED
            || fitted.outlying_share() >= HOPELESS * OUTLYING
        {
            return Self { bent: true, ..mark.doubted() };
        }
        let near = off_along < 1.0 && off_across < 1.0;
        let mark = if near { mark.pitched(fitted, worse) } else { mark };
        let fit_m = fitted.sigma(2) * worse;
        let depth_m = self.node_up_m - fitted.dipole.at_m.z;
        let stretched = (STRETCHED_PER_M * depth_m.max(0.0)).min(STRETCHED_AT_MOST);
        let by_nodes = nodes.map_or(0.0, |nodes| nodes.share(fitted, depth_m));
        let stretched_m = stretched * self.pose_sigma_m * (1.0 - by_nodes);
        let up_sigma_m = math::sqrt(fit_m * fit_m + stretched_m * stretched_m);
        let source_up_m = Ok(Measured::new(fitted.dipole.at_m.z, up_sigma_m));
        if near && sigma_m > self.sigma_along_m.max(self.sigma_across_m) {
            return Self { source_up_m, ..mark };
        }
        let fitted = Self {
            place_m: fitted.dipole.at_m.truncate(),
            lay,
            sigma_along_m: sigma_m,
            sigma_across_m: sigma_m,
            pitch: Measured::new(steepness, self.pitch.sigma),
            source_up_m,
            ..mark
        };
        if near {
            let sigma_along_m = sigma_m.min(self.sigma_along_m);
            let sigma_across_m = sigma_m.min(self.sigma_across_m);
            Self { sigma_along_m, sigma_across_m, ..fitted }
        } else {
            Self { crossed: false, ..fitted }
        }
    }

    /// The mark with spacings of a sonde pitched as the fit of the whole walk says, where it says it better.
    fn pitched(mut self, fitted: &Traversed, worse: f32) -> Self {
        let flat = fitted.dipole.moment.truncate();
        let ahead = if flat.dot(self.lay) < 0.0 { -flat.length() } else { flat.length() };
        let fit_sigma = fitted.sigma(5) * worse / flat.length();
        let sigma = math::sqrt(fit_sigma * fit_sigma + self.tilt_sigma * self.tilt_sigma);
        if sigma < self.spacings.passing.pitch.sigma {
            self.spacings.passing.pitch = Measured::new(fitted.dipole.moment.z / ahead, sigma);
            self.null_spacing = self.spacings.null_spacing();
            self.vertical_maxima = self.spacings.vertical_maxima();
        }
        self
    }

    /// With what the two extrema of the vertical field say about a sonde of this pitch: to first order they differ by
    /// 7/6 of its tangent (exactly 1.0017/0.8587).
    fn with_asymmetry(self, pitch: f32) -> Self {
        let Some(asymmetry) = self.asymmetry else { return self };
        let off = (asymmetry - UNEVEN * pitch).abs();
        let known = UNEVEN_SIGMA + UNEVEN * (self.pitch.sigma + pitch * pitch);
        self.with_clue(Clue::Asymmetry, off / (AGREE_SIGMAS * known))
    }

    fn with_clue(mut self, clue: Clue, score: f32) -> Self {
        if let Some(slot) = self.clues.get_mut(clue as usize) {
            *slot = Some(score);
        }
        self
    }

    /// The mark where the walk as a whole does not tell something.
    pub(super) fn undetermined(self, what: Undetermined) -> Self {
        Self { undetermined: Some(what), ..self.doubted() }
    }

    /// The mark where no dipole explains the walk.
    fn doubted(self) -> Self {
        let doubt_m = SIDEWAYS_SHARE * self.null_spacing.map_or(1.0, |d| d.depth_m);
        Self {
            sigma_along_m: self.sigma_along_m.max(doubt_m),
            sigma_across_m: self.sigma_across_m.max(doubt_m),
            ..self
        }
    }
}

/// How far to the left of the lane the source lies, by a lane that crosses it.
///
/// A crossing that misses the source by `p` and is not square to the lay, by an angle of cotangent `c`, comes
/// closest `p c` short of the source.
fn crossing(axis: &Axis, across: &Across, guess: &Guess) -> Option<Measured> {
    let closest = axis.in_lane(across.place.enu_m.truncate() - axis.origin);
    let course = axis.in_lane(across.direction);
    let beside_m = closest.x - guess.along_m.value;
    if beside_m.abs() > CROSSING_SHARE * guess.depth_m || course.y.abs() < LEAST_CROSSING {
        return None;
    }
    let lay = Vec2::new(1.0, guess.skew).normalize_or(Vec2::X);
    if lay.perp_dot(course).abs() < LEAST_CROSSING {
        return None;
    }
    let source = Vec2::new(guess.along_m.value, guess.left_m.value);
    let miss_m = (closest - source).dot(course.perp());
    let cotangent = lay.dot(course) / lay.dot(course.perp());
    let reach_m = closest.dot(course) + miss_m * cotangent;
    let left_m = (reach_m - guess.along_m.value * course.x) / course.y;
    let slant_m = guess.along_m.sigma * course.x;
    let sigma2 = across.place.sigma_m * across.place.sigma_m + slant_m * slant_m;
    left_m.is_finite().then(|| Measured::new(left_m, math::sqrt(sigma2) / course.y.abs()))
}

/// Place along the lane, and pitch.
///
/// The nulls' middle, the peak and the vertical null each stand off the source by a share of the rise
/// `d * pitch`, and by what miss, skew and an aside component add, which is known. So two unknowns remain.
fn along_the_lane(
    guess: &Guess,
    middle: Measured,
    peak: Option<Measured>,
    vertical_null: Option<Measured>,
    level: Levelness,
) -> (Measured, Measured) {
    let depth_m = guess.depth_m;
    let q2 = guess.pitch.value * guess.pitch.value;
    let kt = guess.aside.value * guess.skew;
    let middle_share = 1.5 / (2.0 - kt);
    let peak_share = 1.0 / (3.0 + q2 + kt);
    let null_share = if q2 > 1e-3 { (math::sqrt(9.0 + 8.0 * q2) - 3.0) / (2.0 * q2) } else { 2.0 / 3.0 };
    let from_skew = -guess.left_m.value * guess.skew;
    let from_both = -guess.left_m.value * (guess.skew + guess.aside.value);
    let known = |sigma_m: f32, tilted: f32| {
        let tilted_m = tilted * level.mast_sigma * depth_m;
        math::sqrt(sigma_m * sigma_m + tilted_m * tilted_m) + MODEL_SHARE * depth_m
    };
    let mut fit = TwoUnknowns::default();
    fit.add(-middle_share, middle.value + middle_share * from_both, known(middle.sigma, NULLS_TILTED));
    if let Some(p) = peak {
        fit.add(-peak_share, p.value + from_both / (3.0 + kt), known(p.sigma, PEAK_TILTED));
    }
    if let Some(v) = vertical_null {
        fit.add(-null_share, v.value + from_skew, known(v.sigma, PEAK_TILTED));
    }
    let (source, rise) = fit.solve(depth_m * level.sonde_sigma);
    (source, Measured::new(rise.value / depth_m, rise.sigma / depth_m))
}

/// A field of the lane's own frame, seen along the axis through the nulls.
fn turned(field: Vec3, aside: f32) -> Vec3 {
    let component = Vec2::new(1.0, aside).normalize_or(Vec2::X);
    component.rotate(field.truncate()).extend(field.z)
}

/// Skew of the dipole that makes the field seen at a place on the lane.
fn skew(guess: &Guess, at_m: f32, field: Vec3) -> Option<f32> {
    let r = [at_m - guess.along_m.value, -guess.left_m.value, guess.depth_m];
    let [x, y, _] = field::dipole_moment((field * 1e9).to_array(), r);
    let skew = y / x;
    (skew.abs() < STEEPEST_SKEW).then_some(skew)
}

/// Weighted least squares for `seen = source + share * rise`.
#[derive(Default)]
struct TwoUnknowns {
    w: f32,
    wx: f32,
    wxx: f32,
    wy: f32,
    wxy: f32,
}

impl TwoUnknowns {
    fn add(&mut self, share: f32, seen: f32, sigma: f32) {
        let w = 1.0 / (sigma * sigma).max(1e-10);
        self.w += w;
        self.wx += w * share;
        self.wxx += w * share * share;
        self.wy += w * seen;
        self.wxy += w * share * seen;
    }

    /// Source and rise, the rise held near zero by a prior.
    fn solve(&self, rise_sigma: f32) -> (Measured, Measured) {
        let wxx = self.wxx + 1.0 / (rise_sigma * rise_sigma).max(1e-10);
        let determinant = (self.w * wxx - self.wx * self.wx).max(f32::MIN_POSITIVE);
        let source = (wxx * self.wy - self.wx * self.wxy) / determinant;
        let rise = (self.w * self.wxy - self.wx * self.wy) / determinant;
        (
            Measured::new(source, math::sqrt(wxx / determinant)),
            Measured::new(rise, math::sqrt(self.w / determinant)),
        )
    }
}
