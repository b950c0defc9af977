//! From a dipole near what one glimpse shows to the best one: Levenberg-Marquardt over place and depth. The moment,
//! linear in the fields, is suited to each place anew, so that the iteration follows bent valleys.

use glam::{Mat2, Mat3, Vec2, Vec3};

use super::belief::{Belief, outer, sigma_along};
use super::glimpse::{Frame, Known};
use super::{Dipole, SCALE_NT, Seen};
use crate::depth::Measured;
use crate::math;

/// A step that promises to lower chi-square by less than this is not worth it: a tenth of a sigma.
const SETTLED: f32 = 1e-2;
/// Sums of squares are rounded by this share.
const ROUNDING: f32 = 1e-5;
/// Chi-square of six numbers measured and five believed, less six found, above which this is no such dipole: exceeded
/// less than once in ten thousand times.
const UNEXPLAINED: f32 = 25.7;
/// A relative error of the depth beyond this is no relative error, logarithm squared.
const MOST_SPREAD: f32 = 1.0;

/// Where the iteration came to rest.
pub struct Mode {
    /// Logarithm of its share of the belief.
    pub log_share: f32,
    pub dipole: Dipole,
    pub belief: Belief,
}

impl Mode {
    /// Go on from a dipole to the best one near it, so many steps at most; `None` where none explains the fields.
    pub fn near(start: Dipole, frame: &Frame, known: &Known, rounds: usize) -> Option<Self> {
        let mut best = Guess::of(start);
        let mut line = Line::of(&best, frame, known);
        let mut damping = 1e-3;
        for _ in 0..rounds {
            let (step, promised) = line.step(damping);
            if damping < 0.1 && promised < SETTLED {
                break;
            }
            let next = best.stepped(step, frame);
            let tried = Line::of(&next, frame, known);
            // What is no number is not accepted either.
            if tried.cost < line.cost + ROUNDING * line.cost {
                best = next;
                line = tried;
                damping *= 0.1;
            } else {
                damping = damping.max(1e-4) * 8.0;
            }
        }
        (line.cost < UNEXPLAINED).then(|| line.mode(&best))
    }
}

/// A dipole as the iteration moves it: how far aside in units of the depth, so that depth scales it all.
#[derive(Clone, Copy)]
struct Guess {
    aside: Vec2,
    log_depth: f32,
    dipole: Dipole,
}

impl Guess {
    fn of(dipole: Dipole) -> Self {
        let depth_m = -dipole.at_m.z;
        Self { aside: dipole.at_m.truncate() / depth_m, log_depth: math::ln(depth_m), dipole }
    }

    fn stepped(&self, step: Vec3, frame: &Frame) -> Self {
        let step = step / step.abs().max_element().max(1.0);
        let (aside, log_depth) = (self.aside + step.truncate(), self.log_depth + step.z);
        let at_m = aside.extend(-1.0) * math::exp(log_depth);
        Self { aside, log_depth, dipole: Dipole { at_m, moment: moment_at(at_m, frame) } }
    }
}

/// The moment that suits both nodes best with the dipole at a place, by linear least squares.
fn moment_at(at_m: Vec3, frame: &Frame) -> Vec3 {
    // Of one node `G = k (3 u u' - 1)` and so `G'G = k^2 (3 u u' + 1)`; all in units of the lower one.
    let [lower_nt, upper_nt] = frame.fields_nt;
    let [lower_sigma_nt, upper_sigma_nt] = frame.sigma_nt;
    let of_node = |r: Vec3, field_nt: Vec3| {
        let r2 = r.length_squared().max(1e-4);
        let nearness = math::inverse_sqrt(r2);
        let nearness2 = nearness * nearness;
        let k = SCALE_NT * nearness * nearness2;
        let three = r * (3.0 * nearness2);
        let products = Mat3::IDENTITY + Mat3::from_cols(three * r.x, three * r.y, three * r.z);
        (k, products, three * r.dot(field_nt) - field_nt)
    };
    let (lower_k, lower, lower_right) = of_node(-at_m, lower_nt);
    let (upper_k, upper, upper_right) = of_node(frame.upper_m - at_m, upper_nt);
    let weight = upper_k * lower_sigma_nt / (lower_k * upper_sigma_nt);
    let weight = weight * weight;
    (lower + upper * weight).inverse() * (lower_right / lower_k + upper_right * (weight / upper_k))
}

/// All numbers in sigmas, as they change with place, depth and moment, to first order. By place: aside in units of the
/// depth, and the logarithm of the depth; by moment: relative to its strength.
struct Line {
    place: Mat3,
    place_right: Vec3,
    coupling: Mat3,
    moment: Mat3,
    moment_right: Vec3,
    cost: f32,
    attitude: Attitude,
}

impl Line {
    fn of(guess: &Guess, frame: &Frame, known: &Known) -> Self {
        let dipole = guess.dipole;
        let at_m = dipole.at_m;
        let attitude = Attitude::of(dipole.moment);
        let mut line = Self {
            place: Mat3::ZERO,
            place_right: Vec3::ZERO,
            coupling: Mat3::ZERO,
            moment: Mat3::ZERO,
            moment_right: Vec3::ZERO,
            cost: 0.0,
            attitude,
        };
        let [lower_nt, upper_nt] = frame.fields_nt;
        let [lower, upper] = frame.sigma_nt.map(|sigma_nt| 1.0 / sigma_nt);
        line.add(lower_nt, &dipole, Vec3::ZERO, |v| v * lower);
        // A wrong ratio of the gains makes the upper field too long or too short: along it, less is known.
        line.add(upper_nt, &dipole, frame.upper_m, |v| (v - frame.along * frame.uncertain.dot(v)) * upper);
        line.believe(guess, at_m, known);
        line
    }

    /// Add what a node saw.
    fn add(&mut self, field_nt: Vec3, dipole: &Dipole, node_m: Vec3, in_sigmas: impl Fn(Vec3) -> Vec3) {
        let Seen { field_nt: expected_nt, columns: [x, y, z, mx, my, mz] } = dipole.seen_from(node_m);
        let at_m = dipole.at_m;
        let deeper = in_sigmas(x * at_m.x + y * at_m.y + z * at_m.z);
        let by_place = Mat3::from_cols(in_sigmas(x * -at_m.z), in_sigmas(y * -at_m.z), deeper);
        let by_moment =
            Mat3::from_cols(in_sigmas(mx), in_sigmas(my), in_sigmas(mz)) * self.attitude.strength;
        let residual = in_sigmas(field_nt - expected_nt);
        let (turned_place, turned_moment) = (by_place.transpose(), by_moment.transpose());
        self.place += turned_place * by_place;
        self.coupling += turned_place * by_moment;
        self.moment += turned_moment * by_moment;
        self.place_right += turned_place * residual;
        self.moment_right += turned_moment * residual;
        self.cost += residual.length_squared();
    }

    /// Add what was believed beforehand.
    fn believe(&mut self, guess: &Guess, at_m: Vec3, known: &Known) {
        let Known { near, deep, log_depth, strong, log_moment, level } = *known;
        let depth_m = -at_m.z;
        for (slope, value) in
            [(Vec3::new(depth_m, 0.0, at_m.x), at_m.x), (Vec3::new(0.0, depth_m, at_m.y), at_m.y)]
        {
            self.place += outer(slope) * near;
            self.place_right -= slope * (value * near);
            self.cost += value * value * near;
        }
        let off = log_depth - guess.log_depth;
        self.place.z_axis.z += deep;
        self.place_right.z += off * deep;
        self.cost += off * off * deep;
        let off = log_moment - self.attitude.log_strength;
        let Attitude { outward, raised, .. } = self.attitude;
        self.moment += outer(outward) * strong + outer(raised) * level;
        self.moment_right += outward * (off * strong) - raised * (outward.z * level);
        self.cost += off * off * strong + outward.z * outward.z * level;
    }

    /// The place alone, the moment eliminated (Schur's complement): matrix, right side, and how the moment follows.
    fn eliminated(&self) -> (Mat3, Vec3, Mat3) {
        let following = self.coupling * self.moment.inverse();
        (
            self.place - following * self.coupling.transpose(),
            self.place_right - following * self.moment_right,
            following,
        )
    }

    /// The next step in place and depth, and by how much it promises to lower the cost.
    fn step(&self, damping: f32) -> (Vec3, f32) {
        let (matrix, right, _) = self.eliminated();
        let diagonal = Vec3::new(matrix.x_axis.x, matrix.y_axis.y, matrix.z_axis.z);
        let step = (matrix + Mat3::from_diagonal(diagonal * damping)).inverse() * right;
        (step, step.dot(right))
    }

    /// What one believes of the source about the dipole where the iteration came to rest.
    fn mode(&self, guess: &Guess) -> Mode {
        let (matrix, _, following) = self.eliminated();
        let places = matrix.inverse();
        let moments = self.moment.inverse() + following.transpose() * places * following;
        let Attitude { log_strength, outward, raised, .. } = self.attitude;
        let flat2 = (1.0 - outward.z * outward.z).max(1e-6);
        let sideways = Vec3::new(-outward.y, outward.x, 0.0) / flat2;
        // Belief is spread evenly over place, logarithm of the strength, lay and sine of the pitch.
        let determinants = math::ln(matrix.determinant()) + math::ln(self.moment.determinant());
        let log_share = 2.0 * guess.log_depth - 0.5 * (self.cost + determinants);
        let sigma = |slope: Vec3| math::sqrt(slope.dot(moments * slope));
        let forward = if outward.x < 0.0 { -1.0 } else { 1.0 };
        // The depth is log-normal, and everything aside is so many depths.
        let [a, b, deeper] = [places.x_axis, places.y_axis, places.z_axis];
        let spread = deeper.z.clamp(0.0, MOST_SPREAD);
        let depth_m = math::exp(guess.log_depth + 0.5 * spread);
        let with_depth = Vec3::new(deeper.x, deeper.y, 0.0);
        let asides = Mat3::from_cols(Vec3::new(a.x, a.y, 0.0), Vec3::new(b.x, b.y, 0.0), Vec3::ZERO);
        let mean = guess.aside.extend(-1.0) + with_depth;
        let growth = math::exp_m1(spread);
        let crossed = Mat3::from_cols(mean * with_depth.x, mean * with_depth.y, Vec3::ZERO);
        let more = crossed + crossed.transpose() + outer(with_depth);
        let spread = (outer(mean) * growth + (asides + more) * (1.0 + growth)) * (depth_m * depth_m);
        let place_m = mean * depth_m;
        let aside_m = place_m.truncate();
        Mode {
            log_share,
            dipole: guess.dipole,
            belief: Belief {
                place_m,
                spread,
                distance: Measured::new(aside_m.length(), sigma_along(aside_m, Mat2::from_mat3(spread))),
                lay: Measured::new(math::atan2(outward.y, outward.x), sigma(sideways)),
                pitch: Measured::new(
                    forward * math::atan2(outward.z, math::sqrt(flat2)),
                    sigma(raised) * math::inverse_sqrt(flat2),
                ),
                log_moment: Measured::new(log_strength, sigma(outward)),
            },
        }
    }
}

/// How a moment points, and how that changes with a small moment added, in units of its strength.
#[derive(Clone, Copy)]
struct Attitude {
    strength: f32,
    log_strength: f32,
    /// How the logarithm of the strength changes: the direction itself.
    outward: Vec3,
    /// How the sine of the pitch changes. The sine stands for the pitch: sondes are hardly ever steep.
    raised: Vec3,
}

impl Attitude {
    fn of(moment: Vec3) -> Self {
        let strength2 = moment.length_squared() + 1e-12;
        let reciprocal = math::inverse_sqrt(strength2);
        let (strength, outward) = (strength2 * reciprocal, moment * reciprocal);
        let raised = Vec3::Z - outward * outward.z;
        Self { strength, log_strength: math::ln(strength), outward, raised }
    }
}
