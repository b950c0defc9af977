//! Where a level sonde can be that makes the field seen at one node.
//!
//! `m = (1.5 (B.u) u - B) r^3` turns a field round into the moment that makes it. With the source straight below at
//! depth 1 and the node aside by (x, y), the moment is level where `1.5 (B.r) = Bz r^2`, that is on the circle
//! `x^2 + y^2 - 1.5 x Bh/Bz - 1/2 = 0` about a point ahead along the horizontal field. Depth only scales it. All around
//! the circle the lower node is satisfied; it is for the upper node, and for what is known beforehand, to choose.
//! Places on and beside the circle stand here for all that the source may be.

use glam::{Mat3, Vec2, Vec3};

use super::belief::{Belief, line, outer};
use super::glimpse::{Frame, LogNormal, Priors};
use super::{Dipole, SCALE_NT};
use crate::depth::Measured;
use crate::math;

/// Points about half the circle: the other half is its mirror image. A rank-1 lattice in the unit square (step 8 of 21,
/// Fibonacci numbers) lets few points do: the first coordinate goes round, as the tangent of its quarter turns, the
/// second goes beside the circle, as a quantile of the normal distribution. Third is what the point stands for.
const LATTICE: [[f32; 3]; 21] = [
    [0.037_42, -1.980_75, 7.121_29],
    [0.112_67, -0.241_04, 1.042_55],
    [0.189_21, 0.791_64, 1.416_97],
    [0.267_95, -0.967_42, 1.711_36],
    [0.349_92, 0.119_65, 1.130_50],
    [0.436_30, 1.465_23, 3.482_34],
    [0.528_52, -0.497_20, 1.447_65],
    [0.628_34, 0.497_20, 1.578_33],
    [0.738_03, -1.465_23, 4.518_95],
    [0.860_57, -0.119_65, 1.753_08],
    [1.000_00, 0.967_42, 3.193_44],
    [1.162_02, -0.791_64, 3.215_19],
    [1.354_95, 0.241_04, 2.919_49],
    [1.591_49, 1.980_75, 25.123_23],
    [1.892_09, -0.366_11, 4.897_47],
    [2.292_02, 0.637_48, 7.662_32],
    [2.857_84, -1.179_76, 18.385_33],
    [3.732_05, 0.0, 14.928_20],
    [5.285_13, 1.179_76, 58.025_70],
    [8.875_25, -0.637_48, 97.742_87],
    [26.725_56, 0.366_11, 764.832_63],
];
/// Share of the field by which coarse points may miss what the nodes see.
const COARSE: f32 = 0.02;
/// A field less steep than this is taken for one of this steepness: the circle becomes a line.
const LEAST_STEEP: f32 = 0.05;
/// Points lie so much farther beside the circle than the level sigma asks.
const WIDER: f32 = 1.2;
/// and at most this share of the radius from it.
const WIDEST: f32 = 0.45;
/// Gauss-Hermite: three depths, so many sigmas apart, with the logarithms of their weights 1/6, 2/3, 1/6.
const APART: f32 = 1.732_050_8;
const LOG_WEIGHTS: [f32; 3] = [-1.791_759_5, -0.405_465_1, -1.791_759_5];

/// Terms this much below the greatest, as logarithms, are nothing.
const NOTHING: f32 = 16.0;

/// The belief as points stand for it, on both sides of the field's vertical plane.
pub struct Scan {
    /// How many points of equal weight would be as many.
    pub points: f32,
    pub belief: Belief,
    /// The best dipole on either side, with the logarithm of its share.
    pub best: [(f32, Dipole); 2],
}

/// Go about the circle, in the frame of the lower node's field. `None` where nothing can be believed.
pub fn scan(frame: &Frame, priors: &Priors) -> Option<Scan> {
    let circle = Circle::of(frame, priors);
    let mut sums = Sums::default();
    let mut best: [Option<(f32, Dipole)>; 2] = [None, None];
    for [quarter, beside, area] in LATTICE {
        let point = circle.at(quarter, beside, area);
        for (mirrored, best) in [1.0, -1.0].into_iter().zip(&mut best) {
            let side = Side::of(&point, mirrored, &circle);
            sums.add(&side);
            if best.is_none_or(|(share, _)| side.greatest > share) {
                *best = Some((side.greatest, side.dipole(&circle)));
            }
        }
    }
    let [Some(left), Some(right)] = best else { return None };
    let points = sums.weight * sums.weight / sums.squares;
    (sums.weight > 0.0).then(|| Scan { points, belief: sums.mean(), best: [left, right] })
}

/// The circle of a level sonde, in units of the depth, and what the weights of its points need.
struct Circle {
    /// Lower field in nanotesla, its horizontal and vertical share, and the upper field over its strength.
    field_nt: f32,
    flat: f32,
    steep: f32,
    upper: Vec3,
    upper_m: Vec3,
    centre: f32,
    radius: f32,
    /// Least distance from the point above the source; its square and that of the greatest, root of their ratio.
    inner: f32,
    inner2: f32,
    outer2: f32,
    skew: f32,
    /// How far beside the circle a level sonde can be, before the point's own geometry.
    wide: f32,
    /// Variances of the lower field's noise and of the difference to the upper field, relative.
    noise: f32,
    upper_noise: f32,
    /// Logarithms: of depth and moment as believed, the moment over the one that makes this field at 1 m, and that.
    log_depth: f32,
    log_moment: f32,
    log_field: f32,
    /// Variances of pitch and logarithm of the moment; reciprocals of those of the place and of the depth's logarithm.
    pitch: f32,
    moment: f32,
    near: f32,
    deep: f32,
}

impl Circle {
    fn of(frame: &Frame, priors: &Priors) -> Self {
        let [lower_nt, upper_nt] = frame.fields_nt;
        let field_nt = lower_nt.length();
        let flat = (lower_nt.x / field_nt).max(1e-3);
        let steep = (lower_nt.z / field_nt).max(LEAST_STEEP * flat);
        let centre = 0.75 * flat / steep;
        let radius = math::sqrt(centre * centre + 0.5);
        let (inner, outer) = (0.5 / (radius + centre), radius + centre);
        let [lower, upper] = frame.sigma_nt.map(|sigma_nt| sigma_nt / field_nt);
        let noise = lower * lower + COARSE * COARSE;
        let pitch = priors.level_sigma_rad * priors.level_sigma_rad;
        let log_field = math::ln(field_nt / SCALE_NT);
        let variance = |of: LogNormal| of.log_sigma * of.log_sigma;
        Self {
            field_nt,
            flat,
            steep,
            upper: upper_nt / field_nt,
            upper_m: frame.upper_m,
            centre,
            radius,
            inner,
            inner2: inner * inner,
            outer2: outer * outer,
            skew: math::sqrt(inner / outer),
            wide: 0.5 * WIDER * math::sqrt((pitch + noise) / (0.5625 * flat * flat + 0.5 * steep * steep)),
            noise,
            upper_noise: noise + upper * upper + frame.ratio_sigma * frame.ratio_sigma,
            log_depth: math::ln(priors.depth_m.median),
            log_moment: math::ln(priors.moment_a_m2.median) - log_field,
            log_field,
            pitch,
            moment: variance(priors.moment_a_m2),
            near: 1.0 / (priors.aside_sigma_m * priors.aside_sigma_m),
            deep: 1.0 / variance(priors.depth_m),
        }
    }

    /// The point so far round and so far beside.
    fn at(&self, quarter: f32, beside: f32, area: f32) -> Point {
        let g = self.skew * quarter;
        let part = 1.0 / (1.0 + g * g);
        let (cos, sin) = ((1.0 - g * g) * part, 2.0 * g * part);
        let distance2 = (self.inner2 + self.outer2 * g * g) * part + 1.0;
        let moment2 = (1.0 - self.steep * self.steep * distance2 * (1.0 / 3.0)).max(0.25);
        // As far beside as the pitch of the sonde, and noise, may push it.
        let wide = (self.wide * distance2 * math::sqrt(moment2)).min(WIDEST * self.radius);
        let out = (wide * beside).max(-0.98 * self.radius);
        let aside =
            Vec2::new(self.centre * (1.0 - cos) - (self.inner + out) * cos, (self.radius + out) * sin);
        let area = (self.radius + out) * wide * self.skew * area * part;
        // The moment that makes the lower node's field.
        let r = aside.extend(1.0);
        let distance2 = r.length_squared();
        let field = Vec3::new(self.flat, 0.0, self.steep);
        let moment = r * (1.5 * field.dot(r) / distance2) - field;
        let moment2 = moment.length_squared();
        let sine = (moment.z / math::sqrt(moment2)).clamp(-0.999, 0.999);
        let sine2 = sine * sine;
        // The arcsine's series.
        let pitch_rad = sine * (1.0 + sine2 * (1.0 / 6.0 + sine2 * (3.0 / 40.0)));
        let along = moment.dot(r);
        let pitch = self.pitch + self.noise * (1.0 - 0.75 / distance2) / moment2;
        let own = self.noise * (1.0 - 0.75 * along * along / (distance2 * moment2)) / moment2;
        let strong = 1.0 / (self.moment + own);
        // The moment goes with the cube of the depth, so both priors speak of one number; the place in units of the
        // depth leaves its square over.
        let log_unit = 0.5 * math::ln(moment2 * distance2 * distance2 * distance2);
        let precision = self.deep + 9.0 * strong;
        let log_depth =
            (self.log_depth * self.deep + 3.0 * (self.log_moment - log_unit) * strong + 2.0) / precision;
        let depth_off = log_depth - self.log_depth;
        let moment_off = log_unit + 3.0 * log_depth - self.log_moment;
        let volume =
            area * area * strong / (moment2 * moment2 * moment2 * pitch * precision * (1.0 - sine2));
        let log_share = 0.5
            * (math::ln(volume)
                - pitch_rad * pitch_rad / pitch
                - depth_off * depth_off * self.deep
                - moment_off * moment_off * strong)
            + 2.0 * log_depth;
        Point {
            aside,
            distance2,
            moment,
            pitch_rad,
            log_moment: self.log_field + log_unit + 3.0 * log_depth,
            depth_m: math::exp(log_depth),
            log_step: APART / math::sqrt(precision),
            log_share,
        }
    }
}

/// A direction in which the source may be, in units of the depth, with the moment that goes with it.
struct Point {
    /// From the source to the node.
    aside: Vec2,
    distance2: f32,
    /// As seen from 1 m, over the field there.
    moment: Vec3,
    pitch_rad: f32,
    log_moment: f32,
    depth_m: f32,
    /// From one depth to the next, logarithm.
    log_step: f32,
    log_share: f32,
}

/// A point, or its mirror image, at three depths.
struct Side<'a> {
    point: &'a Point,
    /// From the source to the node in units of the depth, and the moment.
    from_source: Vec3,
    moment: Vec3,
    depths_m: [f32; 3],
    log_shares: [f32; 3],
    greatest: f32,
    /// Depth where the share is greatest.
    likely_m: f32,
}

impl<'a> Side<'a> {
    fn of(point: &'a Point, mirrored: f32, circle: &Circle) -> Self {
        let side = Vec3::new(1.0, mirrored, 1.0);
        let from_source = point.aside.extend(1.0) * side;
        let moment = point.moment * side;
        let step = math::exp(point.log_step);
        let depths_m = [point.depth_m / step, point.depth_m, point.depth_m * step];
        let near = 0.5 * (point.distance2 - 1.0) * circle.near;
        let mut greatest = (f32::NEG_INFINITY, point.depth_m);
        let mut log_shares = LOG_WEIGHTS;
        for (log_share, depth_m) in log_shares.iter_mut().zip(depths_m) {
            // The upper node as seen from the source, everything in units of the depth.
            let r = from_source + circle.upper_m / depth_m;
            let r2 = r.length_squared();
            let nearer = point.distance2 / r2;
            let seen = (r * (3.0 * moment.dot(r) / r2) - moment) * (nearer * math::sqrt(nearer));
            let miss = (circle.upper - seen).length_squared() / circle.upper_noise;
            *log_share += point.log_share - near * depth_m * depth_m - 0.5 * miss;
            if *log_share > greatest.0 {
                greatest = (*log_share, depth_m);
            }
        }
        let (greatest, likely_m) = greatest;
        Self { point, from_source, moment, depths_m, log_shares, greatest, likely_m }
    }

    fn dipole(&self, circle: &Circle) -> Dipole {
        let reach2_m2 = self.point.distance2 * self.likely_m * self.likely_m;
        let strength = circle.field_nt / SCALE_NT * reach2_m2 * math::sqrt(reach2_m2);
        Dipole { at_m: self.from_source * -self.likely_m, moment: self.moment * strength }
    }
}

/// Weighted sums, each weight a share of the greatest one so far.
struct Sums {
    greatest: f32,
    weight: f32,
    squares: f32,
    place: Vec3,
    products: Mat3,
    distance: [f32; 2],
    pitch: [f32; 2],
    log_moment: [f32; 2],
    /// Twice the lay, as a direction.
    lay: Vec2,
}

impl Default for Sums {
    fn default() -> Self {
        Self {
            greatest: f32::NEG_INFINITY,
            weight: 0.0,
            squares: 0.0,
            place: Vec3::ZERO,
            // A matrix that is left to its default is no sum of nothing.
            products: Mat3::ZERO,
            distance: [0.0; 2],
            pitch: [0.0; 2],
            log_moment: [0.0; 2],
            lay: Vec2::ZERO,
        }
    }
}

impl Sums {
    fn add(&mut self, side: &Side<'_>) {
        if side.greatest > self.greatest {
            self.scale(math::exp(self.greatest - side.greatest));
            self.greatest = side.greatest;
        }
        if side.greatest < self.greatest - NOTHING || side.greatest.is_nan() {
            return;
        }
        let weights = side.log_shares.map(|log_share| math::exp(log_share - self.greatest));
        let [above, middle, below] = weights;
        let weight = above + middle + below;
        self.weight += weight;
        self.squares += weights.iter().map(|weight| weight * weight).sum::<f32>();
        let weighted = |of: [f32; 3]| weights.iter().zip(of).map(|(weight, of)| weight * of).sum::<f32>();
        let depth_m = weighted(side.depths_m);
        let depth2_m2 = weighted(side.depths_m.map(|depth_m| depth_m * depth_m));
        self.place -= side.from_source * depth_m;
        self.products += outer(side.from_source) * depth2_m2;
        let point = side.point;
        let aside2 = point.distance2 - 1.0;
        add(&mut self.distance, [math::sqrt(aside2) * depth_m, aside2 * depth2_m2]);
        let (x, y) = (side.moment.x, side.moment.y);
        let pitch = if x < 0.0 { -point.pitch_rad } else { point.pitch_rad };
        add(&mut self.pitch, [pitch * weight, pitch * pitch * weight]);
        let (middle, step) = (point.log_moment, 3.0 * point.log_step);
        let off = step * (below - above);
        let log_moment = middle * weight + off;
        add(
            &mut self.log_moment,
            [log_moment, middle * (log_moment + off) + step * step * (below + above)],
        );
        self.lay +=
            Vec2::new(x * x - y * y, 2.0 * x * y) * (weight / (x * x + y * y).max(f32::MIN_POSITIVE));
    }

    fn scale(&mut self, by: f32) {
        self.weight *= by;
        self.squares *= by * by;
        self.place *= by;
        self.products *= by;
        for sum in self.distance.iter_mut().chain(&mut self.pitch).chain(&mut self.log_moment) {
            *sum *= by;
        }
        self.lay *= by;
    }

    fn mean(&self) -> Belief {
        let share = 1.0 / self.weight;
        let place_m = self.place * share;
        let mean = |[sum, squares]: [f32; 2]| {
            let mean = sum * share;
            Measured::new(mean, math::sqrt(squares * share - mean * mean))
        };
        Belief {
            place_m,
            spread: self.products * share - outer(place_m),
            distance: mean(self.distance),
            lay: line(self.lay * share),
            pitch: mean(self.pitch),
            log_moment: mean(self.log_moment),
        }
    }
}

fn add(sums: &mut [f32; 2], terms: [f32; 2]) {
    for (sum, term) in sums.iter_mut().zip(terms) {
        *sum += term;
    }
}
