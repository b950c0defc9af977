//! From a dipole near what one glimpse shows to the best one: Levenberg-Marquardt over place and depth. The moment,
//! linear in the fields, is suited to each place anew, so that the iteration follows bent valleys.

use glam::{Mat2, Mat3, Vec2, Vec3};

use super::belief::{Belief, outer, sigma_along};
use super::glimpse::{Frame, Priors};
use super::{Dipole, SCALE_NT};
use crate::depth::Measured;
use crate::math;

/// Steps of the iteration.
const ROUNDS: usize = 5;
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
    /// Go on from a dipole to the best one near it; `None` where none explains the fields.
    pub fn near(start: Dipole, frame: &Frame, priors: &Priors) -> Option<Self> {
        let mut best = Guess::of(start);
        let mut line = Line::of(&best, frame, priors);
        let mut damping = 1e-3;
        for _ in 0..ROUNDS {
            let (step, promised) = line.step(damping);
            if damping < 0.1 && promised < SETTLED {
                break;
            }
            let next = best.stepped(step, frame);
            let tried = Line::of(&next, frame, priors);
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
    moment: Vec3,
}

impl Guess {
    fn of(Dipole { at_m, moment }: Dipole) -> Self {
        let depth_m = -at_m.z;
        Self { aside: at_m.truncate() / depth_m, log_depth: math::ln(depth_m), moment }
    }

    fn dipole(&self) -> Dipole {
        Dipole { at_m: self.aside.extend(-1.0) * math::exp(self.log_depth), moment: self.moment }
    }

    fn stepped(&self, step: Vec3, frame: &Frame) -> Self {
        let step = step / step.abs().max_element().max(1.0);
        let moved =
            Self { aside: self.aside + step.truncate(), log_depth: self.log_depth + step.z, ..*self };
        Self { moment: moment_at(moved.dipole().at_m, frame), ..moved }
    }
}

/// The moment that suits both nodes best with the dipole at a place, by linear least squares.
fn moment_at(at_m: Vec3, frame: &Frame) -> Vec3 {
    // Of one node `G = k (3 u u' - 1)` and so `G'G = k^2 (3 u u' + 1)`; all in units of the lower one.
    let [lower_nt, upper_nt] = frame.fields_nt;
    let [lower_sigma_nt, upper_sigma_nt] = frame.sigma_nt;
    let of_node = |r: Vec3, field_nt: Vec3| {
        let r2 = r.length_squared().max(1e-4);
        let k = SCALE_NT / (r2 * math::sqrt(r2));
        let three = r * (3.0 / r2);
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
    fn of(guess: &Guess, frame: &Frame, priors: &Priors) -> Self {
        let dipole = guess.dipole();
        let at_m = dipole.at_m;
        let depth_m = -at_m.z;
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
        // A wrong ratio of the gains makes the upper field too long or too short: along it, less is known.
        let nodes = [(Vec3::ZERO, Vec3::ZERO), (frame.upper_m, frame.uncertain)];
        for (((node_m, uncertain), field_nt), sigma_nt) in
            nodes.into_iter().zip(frame.fields_nt).zip(frame.sigma_nt)
        {
            let weight = 1.0 / sigma_nt;
            let in_sigmas = |v: Vec3| (v - frame.along * uncertain.dot(v)) * weight;
            let seen = dipole.seen_from(node_m);
            let [x, y, z, mx, my, mz] = seen.columns;
            let deeper = x * at_m.x + y * at_m.y + z * at_m.z;
            let by_place =
                Mat3::from_cols(in_sigmas(x * depth_m), in_sigmas(y * depth_m), in_sigmas(deeper));
            let by_moment = Mat3::from_cols(in_sigmas(mx), in_sigmas(my), in_sigmas(mz));
            let by_moment = by_moment * line.attitude.strength;
            let residual = in_sigmas(field_nt - seen.field_nt);
            let (turned_place, turned_moment) = (by_place.transpose(), by_moment.transpose());
            line.place += turned_place * by_place;
            line.coupling += turned_place * by_moment;
            line.moment += turned_moment * by_moment;
            line.place_right += turned_place * residual;
            line.moment_right += turned_moment * residual;
            line.cost += residual.length_squared();
        }
        line.believe(guess, at_m, priors);
        line
    }

    /// Add what was believed beforehand.
    fn believe(&mut self, guess: &Guess, at_m: Vec3, priors: &Priors) {
        let near = 1.0 / (priors.aside_sigma_m * priors.aside_sigma_m);
        let depth_m = -at_m.z;
        for (slope, value) in
            [(Vec3::new(depth_m, 0.0, at_m.x), at_m.x), (Vec3::new(0.0, depth_m, at_m.y), at_m.y)]
        {
            self.place += outer(slope) * near;
            self.place_right -= slope * (value * near);
            self.cost += value * value * near;
        }
        let deep = 1.0 / (priors.depth_m.log_sigma * priors.depth_m.log_sigma);
        let off = math::ln(priors.depth_m.median) - guess.log_depth;
        self.place.z_axis.z += deep;
        self.place_right.z += off * deep;
        self.cost += off * off * deep;
        let strong = 1.0 / (priors.moment_a_m2.log_sigma * priors.moment_a_m2.log_sigma);
        let level = 1.0 / (priors.level_sigma_rad * priors.level_sigma_rad);
        let off = math::ln(priors.moment_a_m2.median) - self.attitude.log_strength;
        let Attitude { outward, raised, pitch_rad, .. } = self.attitude;
        self.moment += outer(outward) * strong + outer(raised) * level;
        self.moment_right += outward * (off * strong) - raised * (pitch_rad * level);
        self.cost += off * off * strong + pitch_rad * pitch_rad * level;
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
        let Attitude { log_strength, outward, raised, sideways, pitch_rad, flat, .. } = self.attitude;
        // Belief is spread evenly over place, logarithm of the strength, lay and pitch.
        let log_share = 2.0 * guess.log_depth
            - 0.5 * (self.cost + math::ln(matrix.determinant()) + math::ln(self.moment.determinant()))
            - math::ln(flat);
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
            dipole: guess.dipole(),
            belief: Belief {
                place_m,
                spread,
                distance: Measured::new(aside_m.length(), sigma_along(aside_m, Mat2::from_mat3(spread))),
                lay: Measured::new(math::atan2(guess.moment.y, guess.moment.x), sigma(sideways)),
                pitch: Measured::new(forward * pitch_rad, sigma(raised)),
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
    pitch_rad: f32,
    /// Cosine of the pitch.
    flat: f32,
    /// How the logarithm of the strength changes, the pitch, and the lay.
    outward: Vec3,
    raised: Vec3,
    sideways: Vec3,
}

impl Attitude {
    fn of(moment: Vec3) -> Self {
        let strength = moment.length().max(1e-6);
        let outward = moment / strength;
        let flat = math::sqrt(1.0 - outward.z * outward.z).max(1e-3);
        Self {
            strength,
            log_strength: math::ln(strength),
            pitch_rad: math::atan2(outward.z, flat),
            flat,
            outward,
            raised: (Vec3::Z - outward * outward.z) / flat,
            sideways: Vec3::new(-outward.y, outward.x, 0.0) / (flat * flat),
        }
    }
}
