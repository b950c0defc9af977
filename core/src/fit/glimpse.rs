//! The dipole that one instant of both nodes speaks for, together with what is known beforehand.
//!
//! Six numbers for six unknowns, and badly: over a level sonde depth and a miss sideways look alike, and far off one
//! hardly tells near and deep from far and shallow, nor left from right. So what comes out is a *belief*: mean and
//! covariance over all that the source may be, with priors that keep it from wandering off.
//!
//! Points about the circle on which a level sonde can lie give the belief as a whole. Where only a few of them are left,
//! it is narrower than they stand apart; then Levenberg-Marquardt goes on from the best of either side, and each side
//! that it finds counts with its own covariance (Laplace's approximation; Kay 1993).

use glam::{Mat2, Mat3, Vec2, Vec3};

use super::circle::{Candidate, candidates};
use super::normal::{Matrix, Normal};
use super::ring::Look;
use super::{Dipole, SCALE_NT, UNKNOWNS};
use crate::depth::Measured;
use crate::math;

/// Fewer points than this, by their weights, and the belief is narrower than they stand apart.
const FEW_POINTS: f32 = 8.0;
/// Fields this much stronger than their noise are worth more than points can say, few or many.
const CLEAR: f32 = 140.0;
/// Steps of the iteration.
const ROUNDS: usize = 5;
/// A step that promises to lower chi-square by less than this is not worth it: a tenth of a sigma.
const SETTLED: f32 = 1e-2;
/// Sums of squares are rounded by this share.
const ROUNDING: f32 = 1e-5;
/// Chi-square of six numbers measured and five believed, less six found, above which this is no such dipole: exceeded
/// less than once in ten thousand times.
const UNEXPLAINED: f32 = 25.7;
/// Two ends of the iteration are one when they lie within this share of the sigma, and of the depth.
const SAME_SIGMAS: f32 = 0.3;
const SAME_SHARE: f32 = 0.02;
/// The other side is worth mentioning from this share of the belief on.
const WORTH_MENTIONING: f32 = 0.05;
/// A relative error of the depth beyond this is no relative error, logarithm squared.
const MOST_SPREAD: f32 = 1.0;

/// A positive quantity known to within a factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogNormal {
    /// Its median.
    pub median: f32,
    /// Standard deviation of its natural logarithm: for small ones the relative uncertainty.
    pub log_sigma: f32,
}

/// What is known of a source before a glimpse.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Priors {
    /// How level it lies: sigma of the pitch, radians.
    pub level_sigma_rad: f32,
    /// Depth below the lower node, metres.
    pub depth_m: LogNormal,
    /// Strength, A m2; with the bench's sigma where it was measured there.
    pub moment_a_m2: LogNormal,
    /// How far it may be, forward or back, to the left or right: sigma, metres.
    pub aside_sigma_m: f32,
}

impl Default for Priors {
    /// A drain sonde: level within ten degrees, 0.4 to 6 m deep, 0.03 to 1.4 A m2 (common practice, no source).
    fn default() -> Self {
        Self {
            level_sigma_rad: 0.175,
            depth_m: LogNormal { median: 1.5, log_sigma: 0.7 },
            moment_a_m2: LogNormal { median: 0.2, log_sigma: 1.0 },
            aside_sigma_m: 4.0,
        }
    }
}

/// What a glimpse makes one believe. Places are relative to the lower node, in the axes of the fields.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Glimpsed {
    /// The most likely dipole.
    pub dipole: Dipole,
    /// The most likely one on the other side of the field's vertical plane, where it cannot be ruled out.
    pub twin: Option<Dipole>,
    /// Where the source is: mean of the belief, metres.
    pub place_m: Vec3,
    /// Covariance of that: forward, left and up, both sides taken together, square metres.
    pub covariance: Matrix<3>,
    /// Distance in plan, metres: that of the mean place where it lies on one side, more where it may lie on two.
    pub distance_m: Measured,
    /// Direction of the lay in plan, counter-clockwise from the x axis, between -90 and 90 degrees.
    pub lay_rad: Measured,
    /// Pitch, positive when the end towards x is raised.
    pub pitch_rad: Measured,
    /// Strength, A m2.
    pub moment_a_m2: LogNormal,
}

impl Glimpsed {
    /// Depth below the lower node, metres.
    pub fn depth_m(&self) -> Measured {
        let [_, _, [_, _, variance]] = self.covariance;
        Measured::new(-self.place_m.z, math::sqrt(variance))
    }

    /// Angle to the source in plan, counter-clockwise from the x axis, radians; `None` where it may lie anywhere around.
    pub fn bearing_rad(&self) -> Option<Measured> {
        let aside_m = self.place_m.truncate();
        let [[xx, xy, _], [_, yy, _], _] = self.covariance;
        let across =
            sigma_along(aside_m.perp(), Mat2::from_cols_array_2d(&[[xx, xy], [xy, yy]])) / aside_m.length();
        (across < 1.0).then(|| Measured::new(math::atan2(aside_m.y, aside_m.x), across))
    }
}

/// What one look says of the source, given `priors`; place and spread of the look do not matter, and its axes may be
/// any with z up. `node_ratio_sigma` is how well the ratio of the nodes' gains is known. `None` where no such dipole
/// makes these fields.
///
/// ```
/// use glam::Vec3;
/// use nullwalk_core::{field, fit::{Look, Priors, glimpse}};
/// // Seen from 1.2 m behind a sonde 1.5 m deep, 0.3 m to the side of it.
/// let (source_m, moment) = (Vec3::new(1.2, 0.3, -1.5), [0.2, 0.02, 0.0]);
/// let upper_m = Vec3::new(0.0, 0.0, 0.4);
/// let fields_nt = [Vec3::ZERO, upper_m]
///     .map(|at_m| Vec3::from_array(field::dipole(moment, (at_m - source_m).to_array())) * 1e9);
/// let look = Look {
///     at_m: Vec3::ZERO,
///     upper_m,
///     fields_nt,
///     sigma_nt: [0.016; 2],
///     pose_sigma_m: Vec3::ZERO,
///     spread_m: Vec3::ZERO,
/// };
/// let seen = glimpse(&look, &Priors::default(), 0.003).unwrap();
/// assert!(seen.place_m.distance(source_m) < 0.2 && seen.depth_m().sigma < 0.2);
/// let bearing = seen.bearing_rad().unwrap();
/// assert!((bearing.value - 0.245).abs() < 2.0 * bearing.sigma);
/// ```
pub fn glimpse(look: &Look, priors: &Priors, node_ratio_sigma: f32) -> Option<Glimpsed> {
    let frame = Frame::of(look, node_ratio_sigma)?;
    let mut sums = Sums::default();
    let mut best = [None, None];
    candidates(&frame, priors, |candidate| {
        sums.add(candidate.log_share, &Part::point(candidate));
        let [left, right] = &mut best;
        let best = if candidate.left { left } else { right };
        let share = candidate.log_share;
        if best.is_none_or(|(most, _)| share > most) {
            *best = Some((share, candidate.dipole));
        }
    });
    let [lower, _] = frame.fields_nt;
    let [sigma_nt, _] = frame.sigma_nt;
    if sums.points() < FEW_POINTS || lower.length() > CLEAR * sigma_nt {
        let [left, mut right] = best.map(|best| best.and_then(|(_, start)| frame.mode(priors, start)));
        if let (Some(one), Some(other)) = (&left, &right)
            && one.is(other)
        {
            right = None;
        }
        sums = Sums::default();
        for mode in [&left, &right].into_iter().flatten() {
            sums.add(mode.log_share, &mode.part);
        }
        best = [left, right].map(|mode| mode.map(|mode| (mode.log_share, mode.part.dipole)));
    }
    frame.back(&sums, best)
}

/// A look turned so that the lower node's field lies forward and up: the fields' common sign and the frame's heading
/// mean nothing, and left and right are mirror images.
pub struct Frame {
    pub fields_nt: [Vec3; 2],
    pub sigma_nt: [f32; 2],
    pub upper_m: Vec3,
    pub ratio_sigma: f32,
    /// Direction of the horizontal field.
    forward: Vec2,
}

impl Frame {
    /// `None` without a field.
    fn of(look: &Look, ratio_sigma: f32) -> Option<Self> {
        let [lower, _] = look.fields_nt;
        let sign = if lower.z < 0.0 { -1.0 } else { 1.0 };
        let forward = (lower.truncate() * sign).normalize_or(Vec2::X);
        let turned = |v: Vec3| Vec2::new(forward.x, -forward.y).rotate(v.truncate()).extend(v.z);
        let finite = look.fields_nt.iter().all(|field_nt| field_nt.is_finite());
        (finite && lower.length_squared() > 0.0).then(|| Self {
            fields_nt: look.fields_nt.map(|field_nt| turned(field_nt) * sign),
            sigma_nt: look.sigma_nt.map(|sigma_nt| sigma_nt.max(1e-6)),
            upper_m: turned(look.upper_m),
            ratio_sigma,
            forward,
        })
    }

    /// Go on from a dipole to the best one near it.
    fn mode(&self, priors: &Priors, start: Dipole) -> Option<Mode> {
        let mut best = Guess::of(start);
        let mut normal = best.normal(self, priors);
        let mut damping = 1e-3;
        for _ in 0..ROUNDS {
            let Some(step) = normal.step(damping) else { break };
            let promised: f32 = step.iter().zip(&normal.right).map(|(step, right)| step * right).sum();
            if damping < 0.1 && promised < SETTLED {
                break;
            }
            let next = best.stepped(step, self)?;
            let tried = next.normal(self, priors);
            if tried.cost < normal.cost + ROUNDING * normal.cost {
                best = next;
                normal = tried;
                damping *= 0.1;
            } else {
                damping = damping.max(1e-4) * 8.0;
            }
        }
        (normal.cost < UNEXPLAINED).then(|| Mode::of(&best, &normal)).flatten()
    }

    /// The moment that suits both nodes best with the dipole at a place, by linear least squares.
    fn moment_at(&self, at_m: Vec3) -> Option<Vec3> {
        // Of one node `G = k (3 u u' - 1)` and so `G'G = k^2 (3 u u' + 1)`; all in units of the lower one.
        let mut matrix = Mat3::ZERO;
        let mut right = Vec3::ZERO;
        let mut unit = None;
        let nodes = [Vec3::ZERO, self.upper_m].into_iter().zip(self.fields_nt).zip(self.sigma_nt);
        for ((node_m, field_nt), sigma_nt) in nodes {
            let r = node_m - at_m;
            let r2 = r.length_squared().max(1e-4);
            let u = r / math::sqrt(r2);
            let k = SCALE_NT / (r2 * math::sqrt(r2));
            let weight = k / sigma_nt;
            let weight = weight / *unit.get_or_insert(weight);
            let weight = weight * weight;
            matrix += (Mat3::IDENTITY + outer(u) * 3.0) * weight;
            right += (3.0 * u.dot(field_nt) * u - field_nt) * (weight / k);
        }
        let moment = matrix.inverse() * right;
        moment.is_finite().then_some(moment)
    }

    /// The belief in the axes of the look.
    fn back(&self, sums: &Sums, best: [Option<(f32, Dipole)>; 2]) -> Option<Glimpsed> {
        let turned = |v: Vec3| self.forward.rotate(v.truncate()).extend(v.z);
        let turned_dipole =
            |dipole: Dipole| Dipole { at_m: turned(dipole.at_m), moment: turned(dipole.moment) };
        let belief = sums.mean()?;
        let turn = Mat3::from_cols(turned(Vec3::X), turned(Vec3::Y), Vec3::Z);
        let covariance = turn * belief.spread * turn.transpose();
        let (likely, twin) = match best {
            [Some(left), Some(right)] if left.0 > right.0 => (left, Some(right)),
            [Some(left), Some(right)] => (right, Some(left)),
            [left, right] => (left.or(right)?, None),
        };
        // The moment's sense is as unknown as the fields' sign: its forward end is the one nearer to the x axis.
        let (sin, cos) = math::sin_cos(belief.lay.value);
        let lay = turned(Vec3::new(cos, sin, 0.0));
        let (lay, raised) = if lay.x < 0.0 { (-lay, -1.0) } else { (lay, 1.0) };
        let found = Glimpsed {
            dipole: turned_dipole(likely.1),
            twin: twin
                .filter(|twin| math::exp(twin.0 - likely.0) > WORTH_MENTIONING)
                .map(|(_, dipole)| turned_dipole(dipole)),
            place_m: turned(belief.place_m),
            covariance: covariance.transpose().to_cols_array_2d(),
            distance_m: belief.distance,
            lay_rad: Measured::new(math::atan2(lay.y, lay.x), belief.lay.sigma),
            pitch_rad: Measured::new(raised * belief.pitch.value, belief.pitch.sigma),
            moment_a_m2: LogNormal {
                median: math::exp(belief.moment.value),
                log_sigma: belief.moment.sigma,
            },
        };
        found.place_m.is_finite().then_some(found)
    }
}

/// A dipole as the iteration moves it: how far aside in units of the depth, so that depth scales it all.
#[derive(Clone, Copy)]
struct Guess {
    aside: Vec2,
    log_depth: f32,
    moment: Vec3,
}

impl Guess {
    fn of(dipole: Dipole) -> Self {
        let depth_m = -dipole.at_m.z;
        Self {
            aside: dipole.at_m.truncate() / depth_m,
            log_depth: math::ln(depth_m),
            moment: dipole.moment,
        }
    }

    fn dipole(&self) -> Dipole {
        Dipole { at_m: self.aside.extend(-1.0) * math::exp(self.log_depth), moment: self.moment }
    }

    /// One step on. The moment is not stepped but suited to the new place: so the iteration follows bent valleys.
    fn stepped(&self, [x, y, scale, ..]: [f32; UNKNOWNS], frame: &Frame) -> Option<Self> {
        let short = 1.0 / x.abs().max(y.abs()).max(scale.abs()).max(1.0);
        let next = Self {
            aside: self.aside + Vec2::new(x, y) * short,
            log_depth: self.log_depth + scale * short,
            ..*self
        };
        let moment = frame.moment_at(next.dipole().at_m)?;
        Some(Self { moment, ..next })
    }

    /// The equations of the next step, all numbers in sigmas: what the nodes saw and what was believed.
    fn normal(&self, frame: &Frame, priors: &Priors) -> Normal<UNKNOWNS> {
        let dipole = self.dipole();
        let Dipole { at_m, moment } = dipole;
        let depth_m = -at_m.z;
        let mut normal = Normal::default();
        let [lower, upper] = frame.fields_nt;
        // A wrong ratio of the gains makes the upper field too long or too short: along it, less is known.
        let [_, upper_sigma_nt] = frame.sigma_nt;
        let wrong = frame.ratio_sigma * upper.length() / upper_sigma_nt;
        let along = upper.normalize_or_zero();
        let less = 1.0 - 1.0 / math::sqrt(1.0 + wrong * wrong);
        let nodes = [(Vec3::ZERO, lower, 0.0), (frame.upper_m, upper, less)];
        for ((node_m, field_nt, less), sigma_nt) in nodes.into_iter().zip(frame.sigma_nt) {
            let in_sigmas = |v: Vec3| (v - along * (less * along.dot(v))) / sigma_nt;
            let seen = dipole.seen_from(node_m);
            let [x, y, z, mx, my, mz] = seen.columns;
            let deeper = x * at_m.x + y * at_m.y + z * at_m.z;
            let columns = [x * depth_m, y * depth_m, deeper, mx, my, mz].map(in_sigmas);
            normal.add(&columns, in_sigmas(field_nt - seen.field_nt));
        }
        let near = 1.0 / priors.aside_sigma_m;
        normal.believe(&[depth_m * near, 0.0, at_m.x * near, 0.0, 0.0, 0.0], -at_m.x * near);
        normal.believe(&[0.0, depth_m * near, at_m.y * near, 0.0, 0.0, 0.0], -at_m.y * near);
        let deep = 1.0 / priors.depth_m.log_sigma;
        let off = math::ln(priors.depth_m.median) - self.log_depth;
        normal.believe(&[0.0, 0.0, deep, 0.0, 0.0, 0.0], off * deep);
        let strong = 1.0 / priors.moment_a_m2.log_sigma;
        let Attitude { strength, pitch_rad, by_moment, .. } = Attitude::of(moment);
        let outward = moment / (strength * strength) * strong;
        let off = math::ln(priors.moment_a_m2.median / strength);
        normal.believe(&[0.0, 0.0, 0.0, outward.x, outward.y, outward.z], off * strong);
        let level = 1.0 / priors.level_sigma_rad;
        let raised = by_moment * level;
        normal.believe(&[0.0, 0.0, 0.0, raised.x, raised.y, raised.z], -pitch_rad * level);
        normal.mirror();
        normal
    }
}

/// How a moment points.
struct Attitude {
    strength: f32,
    flat: f32,
    pitch_rad: f32,
    /// How the pitch changes with the moment.
    by_moment: Vec3,
}

impl Attitude {
    fn of(moment: Vec3) -> Self {
        let strength = moment.length().max(1e-6);
        let flat = moment.truncate().length().max(1e-3 * strength);
        let upwards = Vec3::Z - moment * (moment.z / (strength * strength));
        Self { strength, flat, pitch_rad: math::atan2(moment.z, flat), by_moment: upwards / flat }
    }
}

/// Where the iteration came to rest.
struct Mode {
    log_share: f32,
    part: Part,
}

impl Mode {
    fn of(guess: &Guess, normal: &Normal<UNKNOWNS>) -> Option<Self> {
        let covariance = normal.covariance().ok()?;
        let Attitude { strength, flat, pitch_rad, by_moment } = Attitude::of(guess.moment);
        // Belief is spread evenly over place, logarithm of the strength, lay and pitch.
        let log_share = -0.5 * normal.cost - normal.log_root_determinant()? + 2.0 * guess.log_depth
            - math::ln(strength * strength * flat);
        let [a, b, c, mx, my, mz] = covariance;
        let moments = Mat3::from_cols_array_2d(&[mx, my, mz].map(|[_, _, _, x, y, z]| [x, y, z]));
        let sigma = |slope: Vec3| math::sqrt(slope.dot(moments * slope));
        let m = guess.moment;
        let forward = if m.x < 0.0 { -1.0 } else { 1.0 };
        // The depth is log-normal, and everything aside is so many depths.
        let [_, _, spread, ..] = c;
        let spread = spread.min(MOST_SPREAD);
        let depth_m = math::exp(guess.log_depth + 0.5 * spread);
        let with_depth = Vec3::new(a[2], b[2], 0.0);
        let asides = Mat3::from_cols(Vec3::new(a[0], a[1], 0.0), Vec3::new(b[0], b[1], 0.0), Vec3::ZERO);
        let mean = guess.aside.extend(-1.0) + with_depth;
        let growth = math::exp_m1(spread);
        let crossed = Mat3::from_cols(mean * with_depth.x, mean * with_depth.y, Vec3::ZERO);
        let more = crossed + crossed.transpose() + outer(with_depth);
        let place_m = mean * depth_m;
        let spread = (outer(mean) * growth + (asides + more) * (1.0 + growth)) * (depth_m * depth_m);
        let aside_m = place_m.truncate();
        let distance = Measured::new(aside_m.length(), sigma_along(aside_m, Mat2::from_mat3(spread)));
        Some(Self {
            log_share,
            part: Part {
                dipole: guess.dipole(),
                place_m,
                spread,
                distance,
                pitch: Measured::new(forward * pitch_rad, sigma(by_moment)),
                moment: Measured::new(math::ln(strength), sigma(m / (strength * strength))),
                lay_sigma: sigma(Vec3::new(-m.y, m.x, 0.0) / (flat * flat)),
            },
        })
    }

    /// Whether both sides have come to one place, the vertical plane of the field.
    fn is(&self, other: &Self) -> bool {
        let apart_m = self.part.place_m.distance(other.part.place_m);
        let sigma_m = math::sqrt(self.part.spread.x_axis.x + self.part.spread.y_axis.y);
        apart_m < SAME_SIGMAS * sigma_m + SAME_SHARE * -self.part.place_m.z
    }
}

/// One of the things that the source may be, with what is uncertain about it.
struct Part {
    dipole: Dipole,
    place_m: Vec3,
    spread: Mat3,
    /// Positive when the end towards the frame's x axis is raised.
    distance: Measured,
    pitch: Measured,
    /// Logarithm of the strength.
    moment: Measured,
    lay_sigma: f32,
}

impl Part {
    /// A point: what it stands for is its neighbours' to show.
    fn point(candidate: &Candidate) -> Self {
        let Candidate { dipole, pitch_rad, log_moment, distance_m, .. } = *candidate;
        let forward = if dipole.moment.x < 0.0 { -1.0 } else { 1.0 };
        Self {
            dipole,
            place_m: dipole.at_m,
            spread: Mat3::ZERO,
            distance: Measured::new(distance_m, 0.0),
            pitch: Measured::new(forward * pitch_rad, 0.0),
            moment: Measured::new(log_moment, 0.0),
            lay_sigma: 0.0,
        }
    }
}

/// Weighted sums over parts, each weight a share of the greatest one so far.
struct Sums {
    greatest: Option<f32>,
    weight: f32,
    squares: f32,
    /// Place of the first part. All sums are about it: squares of metres would drown millimetres.
    about_m: Vec3,
    place: Vec3,
    products: Mat3,
    distance: Moments,
    pitch: Moments,
    moment: Moments,
    /// Twice the lay, as a direction: a line has no sense.
    lay: Vec2,
}

/// Sums of a number and of its square, about its first value.
#[derive(Default, Clone, Copy)]
struct Moments {
    about: Option<f32>,
    first: f32,
    second: f32,
}

impl Moments {
    fn add(&mut self, weight: f32, of: Measured) {
        let off = of.value - *self.about.get_or_insert(of.value);
        self.first += weight * off;
        self.second += weight * (off * off + of.sigma * of.sigma);
    }

    fn mean(&self, weight: f32) -> Measured {
        let off = self.first / weight;
        Measured::new(self.about.unwrap_or_default() + off, math::sqrt(self.second / weight - off * off))
    }
}

/// Mean of all parts.
struct Belief {
    place_m: Vec3,
    spread: Mat3,
    lay: Measured,
    distance: Measured,
    pitch: Measured,
    moment: Measured,
}

impl Default for Sums {
    fn default() -> Self {
        Self {
            greatest: None,
            weight: 0.0,
            squares: 0.0,
            about_m: Vec3::ZERO,
            place: Vec3::ZERO,
            // A matrix that is left to its default is no sum of nothing.
            products: Mat3::ZERO,
            distance: Moments::default(),
            pitch: Moments::default(),
            moment: Moments::default(),
            lay: Vec2::ZERO,
        }
    }
}

impl Sums {
    fn add(&mut self, log_share: f32, part: &Part) {
        if self.greatest.is_none() {
            self.about_m = part.place_m;
        }
        let greatest = *self.greatest.get_or_insert(log_share);
        if log_share > greatest {
            self.scale(math::exp(greatest - log_share));
            self.greatest = Some(log_share);
        }
        let weight = math::exp((log_share - greatest).min(0.0));
        self.weight += weight;
        self.squares += weight * weight;
        let off_m = part.place_m - self.about_m;
        self.place += off_m * weight;
        self.products += (part.spread + outer(off_m)) * weight;
        self.distance.add(weight, part.distance);
        self.pitch.add(weight, part.pitch);
        self.moment.add(weight, part.moment);
        let Vec3 { x, y, .. } = part.dipole.moment;
        // Blurred by its sigma: the mean of cos 2(a + e) is exp(-2 sigma^2) cos 2a.
        let blurred = weight * math::exp(-2.0 * part.lay_sigma * part.lay_sigma);
        self.lay +=
            Vec2::new(x * x - y * y, 2.0 * x * y) * (blurred / (x * x + y * y).max(f32::MIN_POSITIVE));
    }

    fn scale(&mut self, by: f32) {
        self.weight *= by;
        self.squares *= by * by;
        self.place *= by;
        self.products *= by;
        for moments in [&mut self.distance, &mut self.pitch, &mut self.moment] {
            moments.first *= by;
            moments.second *= by;
        }
        self.lay *= by;
    }

    /// How many points of equal weight would be as many.
    fn points(&self) -> f32 {
        self.weight * self.weight / self.squares
    }

    fn mean(&self) -> Option<Belief> {
        if self.weight <= 0.0 {
            return None;
        }
        let off_m = self.place / self.weight;
        let lay = self.lay / self.weight;
        let blur = lay.length().clamp(1e-3, 1.0);
        Some(Belief {
            place_m: self.about_m + off_m,
            spread: self.products * self.weight.recip() - outer(off_m),
            lay: Measured::new(0.5 * math::atan2(lay.y, lay.x), math::sqrt(-0.5 * math::ln(blur))),
            distance: self.distance.mean(self.weight),
            pitch: self.pitch.mean(self.weight),
            moment: self.moment.mean(self.weight),
        })
    }
}

/// Standard deviation along a direction.
fn sigma_along(direction: Vec2, covariance: Mat2) -> f32 {
    let direction = direction.normalize_or(Vec2::X);
    math::sqrt(direction.dot(covariance * direction))
}

fn outer(v: Vec3) -> Mat3 {
    Mat3::from_cols(v * v.x, v * v.y, v * v.z)
}
