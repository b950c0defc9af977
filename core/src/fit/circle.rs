//! Where a level sonde can be that makes the field seen at one node.
//!
//! `m = (1.5 (B.u) u - B) r^3` turns a field round into the moment that makes it. With the source straight below at
//! depth 1 and the node aside by (x, y), the moment is level where `1.5 (B.r) = Bz r^2`, that is on the circle
//! `x^2 + y^2 - 1.5 x Bh/Bz - 1/2 = 0` about a point ahead along the horizontal field. Depth only scales it. All around
//! the circle the lower node is satisfied; it is for the upper node, and for what is known beforehand, to choose.
//! Places on and beside the circle stand here for all that the source may be.

use glam::{Mat3, Vec2, Vec3};

use super::belief::{Belief, Mean, line, outer};
use super::given::{Frame, Known};
use super::{Dipole, SCALE_NT, coarse};
use crate::math;

/// Points about half the circle: the other half is its mirror image. In a rank-1 lattice in the unit square few points do:
/// the first coordinate goes round, as the tangent of its quarter turns, the second, seven points on with each, goes
/// beside the circle, as a quantile of the normal distribution. Third is the area the point stands for.
const POINTS: usize = 17;
const LATTICE: [[f32; 3]; POINTS] = [
    [0.046233, -1.8895, 5.9731],
    [0.13949, -0.14799, 1.0307],
    [0.2352, 1.0491, 1.8298],
    [0.33517, -0.6289, 1.3556],
    [0.44154, 0.45785, 1.327],
    [0.557, -1.3517, 3.2666],
    [0.68502, 0.0, 1.4692],
    [0.83039, 1.3517, 4.2123],
    [1.0, -0.45785, 2.221],
    [1.2043, 0.6289, 2.986],
    [1.4598, -1.0491, 5.4288],
    [1.7953, 0.14799, 4.2698],
    [2.2648, 1.8895, 36.532],
    [2.9836, -0.29931, 10.355],
    [4.2517, 0.82079, 26.718],
    [7.1688, -0.82079, 73.375],
    [21.63, 0.29931, 490.32],
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
const ROUGH: f32 = 0.04;
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
pub fn scan(frame: &Frame, known: &Known) -> Option<Scan> {
    let circle = Circle::of(frame, known);
    let mut sums = Sums::default();
    let mut best: [Option<(f32, Dipole)>; 2] = [None, None];
    for [quarter, beside, area] in LATTICE {
        let point = circle.at(quarter, beside, area);
        let [_, likeliest, _] = point.log_shares;
        if likeliest < sums.greatest - NOTHING {
            continue;
        }
        let sides = [1.0, -1.0].map(|mirrored| Side::of(&point, mirrored, &circle));
        for (side, best) in sides.iter().zip(&mut best) {
            if best.is_none_or(|(hope, _)| side.hope > hope) {
                *best = Some((side.hope, side.dipole(&point, &circle)));
            }
        }
        sums.add(&point, &sides);
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
    upper2: f32,
    /// The upper node above the lower one, its square and its product with the upper field.
    upper_m: Vec3,
    upper_m2: f32,
    upper_raised: f32,
    centre: f32,
    radius: f32,
    /// Least distance from the point above the source; its square and that of the greatest, root of their ratio.
    inner: f32,
    inner2: f32,
    outer2: f32,
    skew: f32,
    /// How far beside the circle a level sonde can be, before the point's own geometry.
    wide: f32,
    widest: f32,
    innermost: f32,
    /// Variance of the lower field's noise, and half the reciprocal of that of the difference to the upper; relative.
    noise: f32,
    upper_weight: f32,
    rough_weight: f32,
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
    fn of(frame: &Frame, known: &Known) -> Self {
        let [lower_nt, upper_nt] = frame.fields_nt;
        let field_nt = lower_nt.length();
        let flat = (lower_nt.x / field_nt).max(1e-3);
        let steep = (lower_nt.z / field_nt).max(LEAST_STEEP * flat);
        let centre = 0.75 * flat / steep;
        let radius = math::sqrt(centre * centre + 0.5);
        let (inner, outer) = (0.5 / (radius + centre), radius + centre);
        let above = upper_nt / field_nt;
        let [lower, upper] = frame.sigma_nt.map(|sigma_nt| sigma_nt / field_nt);
        let noise = lower * lower + COARSE * COARSE;
        let pitch = 1.0 / known.level;
        let log_field = math::ln(field_nt / SCALE_NT);
        Self {
            field_nt,
            flat,
            steep,
            upper: above,
            upper2: above.length_squared(),
            upper_m: frame.upper_m,
            upper_m2: frame.upper_m.length_squared(),
            upper_raised: above.dot(frame.upper_m),
            centre,
            radius,
            inner,
            inner2: inner * inner,
            outer2: outer * outer,
            skew: math::sqrt(inner / outer),
            wide: 0.5 * WIDER * math::sqrt((pitch + noise) / (0.5625 * flat * flat + 0.5 * steep * steep)),
            widest: WIDEST * radius,
            innermost: -0.98 * radius,
            noise,
            rough_weight: 0.5
                / (noise + ROUGH * ROUGH + upper * upper + frame.ratio_sigma * frame.ratio_sigma),
            upper_weight: 0.5 / (noise + upper * upper + frame.ratio_sigma * frame.ratio_sigma),
            log_depth: known.log_depth,
            log_moment: known.log_moment - log_field,
            log_field,
            pitch,
            moment: 1.0 / known.strong,
            near: known.near,
            deep: known.deep,
        }
    }

    /// The point so far round and so far beside.
    fn at(&self, quarter: f32, beside: f32, area: f32) -> Point {
        let g = self.skew * quarter;
        let part = 1.0 / (1.0 + g * g);
        let (cos, sin) = ((1.0 - g * g) * part, 2.0 * g * part);
        let distance2 = (self.inner2 + self.outer2 * g * g) * part + 1.0;
        let moment2 = 1.0 - self.steep * self.steep * distance2 * (1.0 / 3.0);
        // As far beside as the pitch of the sonde, and noise, may push it.
        let wide = self.wide * distance2 * moment2 * coarse::recip_sqrt(moment2);
        let wide = if wide < self.widest { wide } else { self.widest };
        let out = if wide * beside > self.innermost { wide * beside } else { self.innermost };
        let aside =
            Vec2::new(self.centre * (1.0 - cos) - (self.inner + out) * cos, (self.radius + out) * sin);
        let area = (self.radius + out) * wide * self.skew * area * part;
        // The moment that makes the lower node's field.
        let r = aside.extend(1.0);
        let distance2 = r.length_squared();
        let field = Vec3::new(self.flat, 0.0, self.steep);
        let moment = r * (1.5 * field.dot(r) / distance2) - field;
        let moment2 = moment.length_squared();
        let sine = (moment.z * coarse::recip_sqrt(moment2)).clamp(-0.999, 0.999);
        let sine2 = sine * sine;
        // The arcsine's series.
        let pitch_rad = sine * (1.0 + sine2 * (1.0 / 6.0 + sine2 * (3.0 / 40.0)));
        let moment_along = moment.dot(r);
        let pitch = self.pitch + self.noise * (1.0 - 0.75 / distance2) / moment2;
        let own = self.noise * (1.0 - 0.75 * moment_along * moment_along / (distance2 * moment2)) / moment2;
        let strong = 1.0 / (self.moment + own);
        // The moment goes with the cube of the depth, so both priors speak of one number; the place in units of the
        // depth leaves its square over.
        let log_unit = 0.5 * coarse::ln(moment2 * distance2 * distance2 * distance2);
        let precision = self.deep + 9.0 * strong;
        let log_depth =
            (self.log_depth * self.deep + 3.0 * (self.log_moment - log_unit) * strong + 2.0) / precision;
        let depth_off = log_depth - self.log_depth;
        let moment_off = log_unit + 3.0 * log_depth - self.log_moment;
        let volume =
            area * area * strong / (moment2 * moment2 * moment2 * pitch * precision * (1.0 - sine2));
        let log_share = 0.5
            * (coarse::ln(volume)
                - pitch_rad * pitch_rad / pitch
                - depth_off * depth_off * self.deep
                - moment_off * moment_off * strong)
            + 2.0 * log_depth;
        let reach3 = distance2 * distance2 * coarse::recip_sqrt(distance2);
        let log_step = APART * coarse::recip_sqrt(precision);
        let (depth_m, step) = (coarse::exp(log_depth), coarse::exp(log_step));
        let depths_m = [depth_m / step, depth_m, depth_m * step];
        let mut log_shares = LOG_WEIGHTS;
        let near = 0.5 * self.near * (distance2 - 1.0);
        for (of_depth, depth_m) in log_shares.iter_mut().zip(depths_m) {
            *of_depth += log_share - near * depth_m * depth_m;
        }
        Point {
            aside,
            distance2,
            moment,
            moment2,
            moment_along,
            pitch_rad,
            log_moment: self.log_field + log_unit + 3.0 * log_depth,
            depths_m,
            cubes: depths_m.map(|depth_m| reach3 * (depth_m * depth_m * depth_m)),
            log_step,
            log_shares,
        }
    }
}

/// A direction in which the source may be, in units of the depth, with the moment that goes with it.
struct Point {
    /// From the source to the node.
    aside: Vec2,
    distance2: f32,
    /// As seen from 1 m, over the field there; its square, and its product with the way from the source.
    moment: Vec3,
    moment2: f32,
    moment_along: f32,
    pitch_rad: f32,
    log_moment: f32,
    depths_m: [f32; 3],
    /// Of the distances to the node.
    cubes: [f32; 3],
    /// From one depth to the next, logarithm.
    log_step: f32,
    /// Of the three depths, before the upper node is asked.
    log_shares: [f32; 3],
}

/// A point, or its mirror image, at three depths.
struct Side {
    mirrored: f32,
    log_shares: [f32; 3],
    greatest: f32,
    hope: f32,
    /// Depth where hope is greatest, and the cube of the distance.
    likely_m: f32,
    cube: f32,
}

impl Side {
    fn of(point: &Point, mirrored: f32, circle: &Circle) -> Self {
        // The upper node lies `r = d from_source + upper_m` from the source, and sees `c (3 (m.r) r/r^2 - m)`. Of the
        // square of what that misses, all is scalar products.
        let Circle { upper, upper_m, upper_weight, .. } = *circle;
        let product = |a: Vec3, b: Vec3| a.x * b.x + a.z * b.z + mirrored * (a.y * b.y);
        let from_source = point.aside.extend(1.0);
        let upper_along = product(upper, from_source);
        let upper_moment = product(upper, point.moment);
        let raised = product(upper_m, point.moment);
        let lengthened = 2.0 * product(upper_m, from_source);
        let ([_, middle_m, _], [_, middle_cube, _]) = (point.depths_m, point.cubes);
        let mut hopeful = (f32::NEG_INFINITY, middle_m, middle_cube);
        let mut greatest = f32::NEG_INFINITY;
        let mut log_shares = point.log_shares;
        for ((log_share, depth_m), cube) in log_shares.iter_mut().zip(point.depths_m).zip(point.cubes) {
            let r2 = (point.distance2 * depth_m + lengthened) * depth_m + circle.upper_m2;
            let nearness = coarse::recip_sqrt(r2);
            let nearness2 = nearness * nearness;
            let moment_r = point.moment_along * depth_m + raised;
            let upper_r = upper_along * depth_m + circle.upper_raised;
            let three = 3.0 * moment_r * nearness2;
            let c = cube * nearness * nearness2;
            let seen2 = c * (three * moment_r + point.moment2);
            let miss2 = c * (seen2 - 2.0 * (three * upper_r - upper_moment)) + circle.upper2;
            let hope = *log_share - miss2 * circle.rough_weight;
            *log_share -= miss2 * upper_weight;
            if hope > hopeful.0 {
                hopeful = (hope, depth_m, cube);
            }
            greatest = if *log_share > greatest { *log_share } else { greatest };
        }
        let (hope, likely_m, cube) = hopeful;
        Self { mirrored, log_shares, greatest, hope, likely_m, cube }
    }

    fn dipole(&self, point: &Point, circle: &Circle) -> Dipole {
        let side = Vec3::new(1.0, self.mirrored, 1.0);
        let strength = circle.field_nt / SCALE_NT * self.cube;
        Dipole {
            at_m: point.aside.extend(1.0) * side * -self.likely_m,
            moment: point.moment * side * strength,
        }
    }
}

/// Weighted sums, each weight a share of the greatest one so far. What mirror images share is summed once.
#[derive(Clone, Copy)]
struct Sums {
    greatest: f32,
    weight: f32,
    squares: f32,
    place: Vec3,
    /// Of the place's components with themselves, and x with y, x with z, y with z.
    square: Vec3,
    product: Vec3,
    distance: f32,
    pitch: Vec2,
    log_moment: Vec2,
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
            square: Vec3::ZERO,
            product: Vec3::ZERO,
            distance: 0.0,
            pitch: Vec2::ZERO,
            log_moment: Vec2::ZERO,
            lay: Vec2::ZERO,
        }
    }
}

impl Sums {
    fn add(&mut self, point: &Point, [left, right]: &[Side; 2]) {
        let greatest = if left.greatest > right.greatest { left.greatest } else { right.greatest };
        if greatest > self.greatest {
            *self = self.scaled(math::exp(self.greatest - greatest));
            self.greatest = greatest;
        }
        if greatest < self.greatest - NOTHING {
            return;
        }
        // Both sides together, and what the left one has more than the right.
        let (mut weight, mut offs, mut spreads) = (0.0, 0.0, 0.0);
        let [mut depth_m, mut depth2_m2, mut more, mut more_m, mut more2_m2] = [0.0; 5];
        let shares = left.log_shares.into_iter().zip(right.log_shares);
        for (((left, right), of_m), off) in shares.zip(point.depths_m).zip([-1.0, 0.0, 1.0]) {
            let (left, right) = (self.weight_of(left), self.weight_of(right));
            self.squares += left * left + right * right;
            let (both, differ) = (left + right, left - right);
            weight += both;
            offs += both * off;
            spreads += both * off * off;
            more += differ;
            depth_m += both * of_m;
            more_m += differ * of_m;
            depth2_m2 += both * of_m * of_m;
            more2_m2 += differ * of_m * of_m;
        }
        let Vec2 { x, y } = point.aside;
        let aside2 = point.distance2 - 1.0;
        self.weight += weight;
        self.place -= Vec3::new(x * depth_m, y * more_m, depth_m);
        self.square += Vec3::new(x * x, y * y, 1.0) * depth2_m2;
        self.product += Vec3::new(x * y * more2_m2, x * depth2_m2, y * more2_m2);
        self.distance += aside2 * coarse::recip_sqrt(aside2) * depth_m;
        let pitch = if point.moment.x < 0.0 { -point.pitch_rad } else { point.pitch_rad };
        self.pitch += Vec2::new(pitch, pitch * pitch) * weight;
        let (middle, step) = (point.log_moment, 3.0 * point.log_step);
        let log_moment = middle * weight + step * offs;
        self.log_moment +=
            Vec2::new(log_moment, middle * (log_moment + step * offs) + step * step * spreads);
        let Vec2 { x, y } = point.moment.truncate();
        let flat = 1.0 / (x * x + y * y + f32::MIN_POSITIVE);
        self.lay += Vec2::new((x * x - y * y) * weight, 2.0 * x * y * more) * flat;
    }

    fn weight_of(&self, log_share: f32) -> f32 {
        let log = log_share - self.greatest;
        if log < -NOTHING { 0.0 } else { coarse::exp(log) }
    }

    fn scaled(&self, by: f32) -> Self {
        Self {
            greatest: self.greatest,
            weight: self.weight * by,
            squares: self.squares * by * by,
            place: self.place * by,
            square: self.square * by,
            product: self.product * by,
            distance: self.distance * by,
            pitch: self.pitch * by,
            log_moment: self.log_moment * by,
            lay: self.lay * by,
        }
    }

    fn mean(&self) -> Belief {
        let share = 1.0 / self.weight;
        let place_m = self.place * share;
        let mean = |sum: f32, squares: f32| {
            let mean = sum * share;
            Mean::new(mean, squares * share - mean * mean)
        };
        let Self { square, product, .. } = *self;
        let products = Mat3::from_cols(
            Vec3::new(square.x, product.x, product.y),
            Vec3::new(product.x, square.y, product.z),
            Vec3::new(product.y, product.z, square.z),
        );
        Belief {
            place_m,
            spread: products * share - outer(place_m),
            distance: mean(self.distance, square.x + square.y),
            lay: line(self.lay * share),
            pitch: mean(self.pitch.x, self.pitch.y),
            log_moment: mean(self.log_moment.x, self.log_moment.y),
        }
    }
}

#[cfg(test)]
mod tests {
    use core::f64::consts::{FRAC_1_SQRT_2, FRAC_PI_2};

    use super::*;

    #[test]
    fn lattice_is_what_it_says() {
        for (n, point) in LATTICE.iter().enumerate() {
            let part = |n: usize| (n as f64 + 0.5) / POINTS as f64;
            let round = libm::tan(FRAC_PI_2 * part(n));
            let beside = f64::from(point[1]);
            // The quantile, turned round: the share of the normal distribution below it.
            let below = 0.5 * libm::erfc(-FRAC_1_SQRT_2 * beside);
            assert!((below - part(7 * n % POINTS)).abs() < 1e-5, "{point:?}");
            let area = (1.0 + round * round) * libm::exp(0.5 * beside * beside);
            for (stated, exact) in [(point[0], round), (point[2], area)] {
                assert!((f64::from(stated) / exact - 1.0).abs() < 1e-4, "{point:?}");
            }
        }
    }
}
