//! From a dipole near what one glimpse shows to the best one: Levenberg-Marquardt over place and depth. The moment,
//! linear in the fields, is suited to each place anew, so that the iteration follows bent valleys.

use glam::{Mat2, Mat3, Vec2, Vec3};

use super::belief::{Belief, Mean, outer};
use super::given::{Frame, Known};
use super::symmetric::Symmetric;
use super::{Dipole, SCALE_NT, Seen, coarse};
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
        let nearness = coarse::recip_sqrt(r.length_squared());
        let u = r * nearness;
        let k = SCALE_NT * nearness * nearness * nearness;
        (k, (Symmetric::square_of(u) * 3.0).plus(1.0), u * (3.0 * u.dot(field_nt)) - field_nt)
    };
    let (lower_k, lower, lower_right) = of_node(-at_m, lower_nt);
    let (upper_k, upper, upper_right) = of_node(frame.upper_m - at_m, upper_nt);
    let weight = upper_k * lower_sigma_nt / (lower_k * upper_sigma_nt);
    let weight = weight * weight;
    (lower + upper * weight).inverse() * (lower_right / lower_k + upper_right * (weight / upper_k))
}

/// What a node saw, in sigmas: what is left of it, and how it changes with place and moment. By place: aside in units of
/// the depth, and the logarithm of the depth; by moment: relative to its strength.
struct Node {
    residual: Vec3,
    by_place: Mat3,
    by_moment: Mat3,
}

impl Node {
    fn of(
        field_nt: Vec3,
        node_m: Vec3,
        dipole: &Dipole,
        strength: f32,
        in_sigmas: impl Fn(Vec3, f32) -> Vec3,
    ) -> Self {
        let Seen { field_nt: expected_nt, by_place, by_moment, .. } = dipole.seen_here_from(node_m);
        let at_m = dipole.at_m;
        // Moving the source does the opposite of moving the node.
        let Mat3 { x_axis: x, y_axis: y, .. } = by_place.matrix();
        let Mat3 { x_axis: mx, y_axis: my, z_axis: mz } = by_moment.matrix();
        Self {
            residual: in_sigmas(field_nt - expected_nt, 1.0),
            by_place: Mat3::from_cols(
                in_sigmas(x, at_m.z),
                in_sigmas(y, at_m.z),
                in_sigmas(by_place * at_m, -1.0),
            ),
            by_moment: Mat3::from_cols(
                in_sigmas(mx, strength),
                in_sigmas(my, strength),
                in_sigmas(mz, strength),
            ),
        }
    }
}

/// The equations of the next step in place and depth. The moment is eliminated by projection: the difference of two
/// large matrices, which is the same, would drown in rounding what little the nodes tell apart.
struct Line {
    matrix: Symmetric,
    right: Vec3,
    /// How the moment follows the place, and the inverse of its own matrix.
    following: Mat3,
    moments: Symmetric,
    cost: f32,
    attitude: Attitude,
}

impl Line {
    fn of(guess: &Guess, frame: &Frame, known: &Known) -> Self {
        let dipole = guess.dipole;
        let attitude = Attitude::of(dipole.moment);
        let Attitude { strength, log_strength, outward, raised } = attitude;
        let [lower_nt, upper_nt] = frame.fields_nt;
        let [lower, upper] = frame.sigma_nt.map(|sigma_nt| 1.0 / sigma_nt);
        let lower = Node::of(lower_nt, Vec3::ZERO, &dipole, strength, |v, times| v * (lower * times));
        // A wrong ratio of the gains makes the upper field too long or too short: along it, less is known.
        let upper = Node::of(upper_nt, frame.upper_m, &dipole, strength, |v, times| {
            (v - frame.along * frame.uncertain.dot(v)) * (upper * times)
        });
        let moment_off = known.log_moment - log_strength;
        let mut moment =
            Symmetric::square_of(outward) * known.strong + Symmetric::square_of(raised) * known.level;
        let mut moment_right = outward * (moment_off * known.strong) - raised * (outward.z * known.level);
        let mut coupling = Mat3::ZERO;
        let mut right = Vec3::ZERO;
        for Node { residual, by_place, by_moment } in [&lower, &upper] {
            let turned = by_moment.transpose();
            moment = moment + Symmetric::product(*by_moment, *by_moment);
            coupling += turned * *by_place;
            moment_right += turned * *residual;
            right += by_place.transpose() * *residual;
        }
        let moments = moment.inverse();
        let following = moments.matrix() * coupling;
        let turned = following.transpose();
        let mut matrix = Symmetric::square_of(turned * outward) * known.strong
            + Symmetric::square_of(turned * raised) * known.level;
        for Node { by_place, by_moment, .. } in [&lower, &upper] {
            let left = *by_place - *by_moment * following;
            matrix = matrix + Symmetric::product(left, left);
        }
        let mut line = Self {
            matrix,
            right: right - turned * moment_right,
            following,
            moments,
            cost: lower.residual.length_squared()
                + upper.residual.length_squared()
                + moment_off * moment_off * known.strong
                + outward.z * outward.z * known.level,
            attitude,
        };
        line.believe(guess, known);
        line
    }

    /// Add what was believed of the place beforehand.
    fn believe(&mut self, guess: &Guess, known: &Known) {
        let Vec3 { x, y, z } = guess.dipole.at_m;
        for (slope, off_m) in [(Vec3::new(-z, 0.0, x), x), (Vec3::new(0.0, -z, y), y)] {
            self.matrix = self.matrix + Symmetric::square_of(slope) * known.near;
            self.right -= slope * (off_m * known.near);
            self.cost += off_m * off_m * known.near;
        }
        let off = known.log_depth - guess.log_depth;
        self.matrix.diagonal.z += known.deep;
        self.right.z += off * known.deep;
        self.cost += off * off * known.deep;
    }

    /// The next step in place and depth, and by how much it promises to lower the cost.
    fn step(&self, damping: f32) -> (Vec3, f32) {
        let diagonal = self.matrix.diagonal * (1.0 + damping);
        let step = Symmetric { diagonal, ..self.matrix }.inverse() * self.right;
        (step, step.dot(self.right))
    }

    /// What one believes of the source about the dipole where the iteration came to rest.
    fn mode(&self, guess: &Guess) -> Mode {
        let places = self.matrix.inverse().matrix();
        let moments = self.moments.matrix() + self.following * places * self.following.transpose();
        let Attitude { log_strength, outward, raised, .. } = self.attitude;
        let flat2 = (1.0 - outward.z * outward.z).max(1e-6);
        let sideways = Vec3::new(-outward.y, outward.x, 0.0) / flat2;
        // Belief is spread evenly over place, logarithm of the strength, lay and sine of the pitch.
        let determinants = coarse::ln(self.matrix.matrix().determinant())
            - coarse::ln(self.moments.matrix().determinant());
        let log_share = 2.0 * guess.log_depth - 0.5 * (self.cost + determinants);
        let variance = |slope: Vec3| slope.dot(moments * slope);
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
                distance: distance(aside_m, spread),
                lay: Mean::new(math::atan2(outward.y, outward.x), variance(sideways)),
                pitch: Mean::new(
                    forward * math::atan2(outward.z, math::sqrt(flat2)),
                    variance(raised) / flat2,
                ),
                log_moment: Mean::new(log_strength, variance(outward)),
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
        let reciprocal = coarse::recip_sqrt(strength2);
        let (strength, outward) = (strength2 * reciprocal, moment * reciprocal);
        let raised = Vec3::Z - outward * outward.z;
        Self { strength, log_strength: coarse::ln(strength), outward, raised }
    }
}

/// Distance in plan, and its variance along the way there.
fn distance(aside_m: Vec2, spread: Mat3) -> Mean {
    let distance2 = aside_m.length_squared();
    let nearness = math::recip_sqrt(distance2);
    let along = aside_m * nearness;
    Mean::new(distance2 * nearness, along.dot(Mat2::from_mat3(spread) * along))
}
