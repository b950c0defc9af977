//! Where a level sonde can be that makes the field seen at one node.
//!
//! `m = (1.5 (B.u) u - B) r^3` turns a field round into the moment that makes it. With the source straight below at
//! depth 1 and the node aside by (x, y), the moment is level where `1.5 (B.r) = Bz r^2`, that is on the circle
//! `x^2 + y^2 - 1.5 x Bh/Bz - 1/2 = 0` about a point ahead along the horizontal field. Depth only scales it. All around
//! the circle the lower node is satisfied; it is for the upper node, and for what is known beforehand, to choose.
//! Places on and beside the circle stand here for all that the source may be.

use glam::{Vec2, Vec3};

use super::glimpse::{Frame, Priors};
use super::{Dipole, SCALE_NT};
use crate::{field, math};

/// Points about half the circle: the other half is its mirror image. A rank-1 lattice in the unit square (step 8 of 21,
/// Fibonacci numbers) lets few points do: the first coordinate goes round, as the tangent of its quarter turns, the
/// second goes beside the circle, as a quantile of the normal distribution. Third is what the point stands for.
pub(super) const LATTICE: [[f32; 3]; 21] = [
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

/// A dipole that may be what the nodes see.
pub struct Candidate {
    /// Logarithm of its share of the belief.
    pub log_share: f32,
    pub dipole: Dipole,
    pub pitch_rad: f32,
    /// Logarithm of its strength, A m2.
    pub log_moment: f32,
    /// Distance in plan, metres.
    pub distance_m: f32,
    /// On which half of the circle: to the left or to the right of the horizontal field.
    pub left: bool,
}

/// Go through the candidates, all in the frame of the lower node's field.
pub fn candidates(frame: &Frame, priors: &Priors, mut each: impl FnMut(&Candidate)) {
    let circle = Circle::of(frame, priors);
    for [quarter, beside, area] in LATTICE {
        circle.at(quarter, beside, area).candidates(&circle, &mut each);
    }
}

/// The circle of a level sonde, in units of the depth, and what the weights need.
struct Circle<'a> {
    frame: &'a Frame,
    priors: &'a Priors,
    /// Lower field in nanotesla, and its horizontal and vertical share.
    field_nt: f32,
    flat: f32,
    steep: f32,
    centre: f32,
    radius: f32,
    /// Least and greatest distance from the point above the source.
    inner: f32,
    outer: f32,
    /// Variance of the noise, of the lower field's own and of the difference to the upper one; relative, squared.
    noise: f32,
    upper_noise: f32,
    log_depth: f32,
    log_moment: f32,
    /// Logarithm of the moment that makes this field at 1 m.
    log_field: f32,
}

impl<'a> Circle<'a> {
    fn of(frame: &'a Frame, priors: &'a Priors) -> Self {
        let field_nt = frame.fields_nt[0].length();
        let flat = (frame.fields_nt[0].x / field_nt).max(1e-3);
        let steep = (frame.fields_nt[0].z / field_nt).max(LEAST_STEEP * flat);
        let centre = 0.75 * flat / steep;
        let radius = math::sqrt(centre * centre + 0.5);
        let log_field = math::ln(field_nt / SCALE_NT);
        let [lower, upper] = frame.sigma_nt.map(|sigma_nt| sigma_nt / field_nt);
        let noise = lower * lower + COARSE * COARSE;
        Self {
            frame,
            priors,
            field_nt,
            flat,
            steep,
            centre,
            radius,
            inner: 0.5 / (radius + centre),
            outer: radius + centre,
            noise,
            upper_noise: noise + upper * upper + frame.ratio_sigma * frame.ratio_sigma,
            log_depth: math::ln(priors.depth_m.median),
            // In units of the moment that makes this field at 1 m.
            log_moment: math::ln(priors.moment_a_m2.median) - log_field,
            log_field,
        }
    }

    /// The point so far round and so far beside.
    fn at(&self, quarter: f32, beside: f32, area: f32) -> Point {
        let level2 = self.priors.level_sigma_rad * self.priors.level_sigma_rad;
        let skew = math::sqrt(self.inner / self.outer);
        let g = skew * quarter;
        let g2 = g * g;
        let (cos, sin) = ((1.0 - g2) / (1.0 + g2), 2.0 * g / (1.0 + g2));
        let distance2 = (self.inner * self.inner + self.outer * self.outer * g2) / (1.0 + g2);
        let moment2 = (1.0 - self.steep * self.steep * (1.0 + distance2) / 3.0).max(0.25);
        // As far beside as the pitch of the sonde, and noise, may push it.
        let slope = 2.0 * math::sqrt(0.5625 * self.flat * self.flat + 0.5 * self.steep * self.steep);
        let wide = WIDER * math::sqrt((level2 + self.noise) * moment2) * (1.0 + distance2) / slope;
        let wide = wide.min(WIDEST * self.radius);
        let out = (wide * beside).max(-0.98 * self.radius);
        let aside =
            Vec2::new(self.centre * (1.0 - cos) - (self.inner + out) * cos, (self.radius + out) * sin);
        let area = (self.radius + out) * wide * skew * area / (1.0 + g2);
        // The moment that makes the lower node's field.
        let r = aside.extend(1.0);
        let distance2 = r.length_squared();
        let field = Vec3::new(self.flat, 0.0, self.steep);
        let moment = r * (1.5 * field.dot(r) / distance2) - field;
        let moment2 = moment.length_squared();
        let sine2 = (moment.z * moment.z / moment2).min(0.999);
        let pitch2 = sine2 * (1.0 + sine2 * (1.0 / 3.0 + sine2 * (8.0 / 45.0)));
        let along = moment.dot(r);
        let pitch_variance = level2 + self.noise * (1.0 - 0.75 / distance2) / moment2;
        let log_sigma = self.priors.moment_a_m2.log_sigma;
        let moment_variance = log_sigma * log_sigma
            + self.noise * (1.0 - 0.75 * along * along / (distance2 * moment2)) / moment2;
        let log_sigma = self.priors.depth_m.log_sigma;
        let depth_variance = log_sigma * log_sigma;
        // The moment goes with the cube of the depth: both priors speak of one number.
        let log_unit = 0.5 * math::ln(moment2) + 1.5 * math::ln(distance2);
        let precision = 1.0 / depth_variance + 9.0 / moment_variance;
        let log_depth =
            (self.log_depth / depth_variance + 3.0 * (self.log_moment - log_unit) / moment_variance + 2.0)
                / precision;
        let depth_off = log_depth - self.log_depth;
        let moment_off = log_unit + 3.0 * log_depth - self.log_moment;
        let volume = area * area
            / (moment2
                * moment2
                * moment2
                * (pitch_variance * moment_variance * precision)
                * (1.0 - sine2));
        let log_share = 0.5
            * (math::ln(volume)
                - pitch2 / pitch_variance
                - depth_off * depth_off / depth_variance
                - moment_off * moment_off / moment_variance)
            + 2.0 * log_depth;
        let pitch_rad = math::sqrt(pitch2);
        Point {
            aside,
            distance2,
            moment,
            pitch_rad: if moment.z < 0.0 { -pitch_rad } else { pitch_rad },
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

impl Point {
    /// At three depths, on both halves of the circle, as far as the upper node goes along with them.
    fn candidates(&self, circle: &Circle<'_>, each: &mut impl FnMut(&Candidate)) {
        let distance = math::sqrt(self.distance2);
        let step = math::exp(self.log_step);
        let depths = [
            (self.depth_m / step, -self.log_step),
            (self.depth_m, 0.0),
            (self.depth_m * step, self.log_step),
        ];
        let aside = self.aside.length();
        let near = 0.5 / (circle.priors.aside_sigma_m * circle.priors.aside_sigma_m);
        for ((depth_m, deeper), log_weight) in depths.into_iter().zip(LOG_WEIGHTS) {
            let aside_m = self.aside * depth_m;
            let log_prior = self.log_share + log_weight - near * aside_m.length_squared();
            let reach_m = distance * depth_m;
            let strength = circle.field_nt * reach_m * reach_m * reach_m / SCALE_NT;
            for left in [false, true] {
                let side = if left { Vec3::new(1.0, -1.0, 1.0) } else { Vec3::ONE };
                let dipole =
                    Dipole { at_m: -aside_m.extend(depth_m) * side, moment: self.moment * side * strength };
                let from_source = circle.frame.upper_m - dipole.at_m;
                let seen = field::dipole(dipole.moment.to_array(), from_source.to_array());
                let miss_nt = circle.frame.fields_nt[1] - Vec3::from_array(seen) * 1e9;
                let miss =
                    miss_nt.length_squared() / (circle.field_nt * circle.field_nt * circle.upper_noise);
                let log_share = log_prior - 0.5 * miss;
                each(&Candidate {
                    log_share,
                    dipole,
                    pitch_rad: self.pitch_rad,
                    log_moment: self.log_moment + 3.0 * deeper,
                    distance_m: aside * depth_m,
                    left,
                });
            }
        }
    }
}
