//! A walk around a transmitter: which ways its current leaves, and how much of it on each.

use std::f64::consts::{PI, TAU};

use glam::{DVec2, DVec3};
use nalgebra::{DMatrix, DVector};
use nullwalk_core::field;
use num_complex::Complex64;
use serde::Serialize;

use super::SurveyError;
use super::detect::{Detector, Template};
use super::model::{Fields, beside_nt, plus, turn};
use super::tails::surprise;
use super::walk::{Phase, Sight, Walk};
use super::wire::{NT, whitened};
use crate::book::Estimate;
use crate::stats::median;

/// A line runs on for so long, metres.
const LONG_M: f64 = 2000.0;
/// Radii that can be walked, metres.
const RADII_M: std::ops::RangeInclusive<f64> = 2.0..=40.0;
/// How unround a circle may be.
const UNROUND: f64 = 0.3;
/// The largest part of the circle that may be left out, degrees.
const GAP_DEG: f64 = 40.0;
/// Depths below the ground that are tried, metres.
const DEPTHS_M: [f64; 6] = [0.4, 0.6, 0.9, 1.4, 2.1, 3.2];
/// From bearing to bearing on the circle, in depths.
const STEP_DEPTHS: f64 = 0.5;
const MOST: usize = 8;
/// Phases that a further line is begun with.
const PHASES: usize = 8;
/// Rounds in which every look's phase and all currents are found in turn.
const TURNS: usize = 6;
/// From the ground down to the lines, metres: far off only the product of length and current counts.
const LEAD_M: f64 = 1.0;
/// The transmitter's coil is so high above the ground, metres (common practice, no source).
const COIL_M: f64 = 0.3;
/// Its own field may be so large a share of the weakest line's before it counts as near.
const NEAR: f64 = 0.5;
/// Below such a share it is not told: it may be the leads' field.
const SEEN: f64 = 0.05;
/// A line within so many degrees of the bearing that was given is the target.
const TARGET_DEG: f64 = 20.0;
/// Currents within so many degrees are in step, and beyond this against it.
const IN_STEP_DEG: f64 = 45.0;
const AGAINST_DEG: f64 = 135.0;

/// A line that leaves the transmitter.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Ray {
    from_m: DVec3,
    /// Counter-clockwise from east.
    bearing_rad: f64,
}

impl Ray {
    fn along(&self) -> DVec3 {
        let (sin, cos) = self.bearing_rad.sin_cos();
        DVec3::new(cos, sin, 0.0)
    }

    fn per_ampere_nt(&self, at_m: DVec3, upper_m: DVec3) -> [DVec3; 2] {
        let far_m = self.from_m + self.along() * LONG_M;
        [at_m, at_m + upper_m].map(|node_m| {
            let ends = [node_m - self.from_m, node_m - far_m].map(|r| r.to_array());
            DVec3::from_array(field::segment(1.0, ends[0], ends[1])) * NT
        })
    }

    fn distance_m(&self, sight: &Sight) -> f64 {
        let away = sight.at_m - self.from_m;
        (away - self.along() * away.dot(self.along()).max(0.0)).length()
    }
}

impl Template for Ray {
    fn whitened(&self, at_m: DVec3, upper_m: DVec3, inverse_nt: [f64; 2]) -> [f64; 6] {
        whitened(self.per_ampere_nt(at_m, upper_m), inverse_nt)
    }
}

/// What a line is to the transmitter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// The one that was asked for, or that carries most.
    Target,
    /// Carries current in step with it.
    Shares,
    /// Carries current the other way: on it the current comes back.
    Returns,
    /// Out of step: it got its current without a connection.
    Coupled,
}

impl Role {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Target => "target",
            Self::Shares => "shares: joined to it, or bled over in step",
            Self::Returns => "returns: the current comes back on it",
            Self::Coupled => "coupled: out of step",
        }
    }
}

/// A line that leaves the transmitter.
#[derive(Debug, Clone, Serialize)]
pub struct Leaving {
    /// Its letter.
    pub letter: char,
    /// Which way it leaves, degrees clockwise from north.
    pub bearing_deg: Estimate,
    /// Depth below the ground where it is crossed, roughly.
    pub depth_m: Estimate,
    /// Peak current, milliamperes.
    pub current_ma: Estimate,
    /// Share of all currents, by their sizes.
    pub share: f64,
    /// By how much its current, counted outwards, is ahead of the target's, degrees.
    pub phase_deg: f64,
    /// What it is.
    pub role: Role,
}

/// What a circle showed.
#[derive(Debug, Serialize)]
pub struct Circle {
    /// The centre, metres.
    pub centre_m: [f64; 2],
    /// Mean radius walked, metres.
    pub radius_m: f64,
    /// What was listened for, hertz.
    pub tone_hz: f64,
    /// Lines, the largest current first.
    pub lines: Vec<Leaving>,
    /// Size of the sum of all currents, counted outwards with their phases, milliamperes.
    pub outward_ma: f64,
    /// What the transmitter said that it sends, milliamperes.
    pub sent_ma: Option<f64>,
    /// Moment of the transmitter's own coil, A m2, where its field was seen.
    pub coil_a_m2: Option<f64>,
    /// Its field on the circle over the weakest line's.
    pub coil_over_line: f64,
    /// From so far on the coil's field is half the weakest line's, metres.
    pub clear_radius_m: f64,
    /// What to bear in mind.
    pub cautions: Vec<String>,
    /// Fields along the circle, for whoever draws it: bearing in degrees, level field in nanotesla.
    #[serde(skip)]
    pub trace: Vec<(f64, f64)>,
}

/// What is asked of a circle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Around {
    /// Where the transmitter stands.
    pub centre_m: DVec2,
    /// Which way the target leaves, degrees clockwise from north, if that is known.
    pub target_deg: Option<f64>,
    /// What the transmitter sends, milliamperes peak, if that is known.
    pub sent_ma: Option<f64>,
    /// The chance that a circle over nothing finds something.
    pub false_alarm: f64,
}

/// Take the currents of a circle apart.
///
/// # Errors
/// When it is no circle around the centre.
pub fn circle(walk: &Walk, around: &Around) -> Result<Circle, SurveyError> {
    let radius_m = check(walk, around.centre_m)?;
    let mut fit = Fit::new(walk, around.centre_m, radius_m);
    fit.find(around.false_alarm);
    Ok(told(walk, around, radius_m, &fit))
}

/// The mean radius of what was walked around the centre.
fn check(walk: &Walk, centre_m: DVec2) -> Result<f64, SurveyError> {
    let wrong = |problem: String| SurveyError::Circle { problem };
    let from = || walk.sights.iter().map(|sight| sight.at_m.truncate() - centre_m);
    let mut radii: Vec<f64> = from().map(DVec2::length).collect();
    let radius_m = median(&mut radii);
    if !RADII_M.contains(&radius_m) {
        return Err(wrong(format!(
            "half the looks are nearer than {radius_m:.1} m, where 2 to 40 m is a circle"
        )));
    }
    let round = radii.iter().filter(|radius| (*radius / radius_m - 1.0).abs() < UNROUND).count();
    if round * 10 < radii.len() * 9 {
        let share = 100 - round * 100 / radii.len().max(1);
        return Err(wrong(format!(
            "{share} % of the looks are not within 30 % of the circle of {radius_m:.1} m"
        )));
    }
    let mut bearings: Vec<f64> = from().map(|from| bearing_deg(from.y.atan2(from.x))).collect();
    bearings.sort_by(f64::total_cmp);
    let next = bearings.iter().skip(1).copied().chain(bearings.first().map(|first| first + 360.0));
    let widest = bearings.iter().zip(next).map(|(a, b)| (b - a, *a, b % 360.0));
    let (gap, begins, ends) = widest.max_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or((360.0, 0.0, 0.0));
    if gap > GAP_DEG {
        return Err(wrong(format!("nothing was walked between {begins:.0}° and {ends:.0}°")));
    }
    Ok(radius_m)
}

fn bearing_deg(rad: f64) -> f64 {
    (90.0 - rad.to_degrees()).rem_euclid(360.0)
}

/// Lines, the transmitter's coil, and their currents.
struct Fit<'a> {
    walk: &'a Walk,
    centre_m: DVec2,
    radius_m: f64,
    ground_m: f64,
    rays: Vec<Ray>,
    /// Whether the coil's own field is among the unknowns.
    coil: bool,
    /// Currents of the rays, then of the lead down to them, then the coil's moment along east, north and up.
    currents: Vec<Complex64>,
    noise_nt: Vec<[f64; 2]>,
    cost: f64,
}

impl<'a> Fit<'a> {
    fn new(walk: &'a Walk, centre_m: DVec2, radius_m: f64) -> Self {
        let ground_m = walk.middle_m().z - walk.carried_m;
        let noise_nt = walk.sights.iter().map(|sight| sight.sigma_nt).collect();
        let mut fit = Self {
            walk,
            centre_m,
            radius_m,
            ground_m,
            rays: vec![],
            coil: false,
            currents: vec![],
            noise_nt,
            cost: f64::INFINITY,
        };
        fit.solve(&[]);
        fit
    }

    fn ray(&self, bearing_rad: f64, depth_m: f64) -> Ray {
        Ray { from_m: self.centre_m.extend(self.ground_m - depth_m), bearing_rad }
    }

    fn grid(&self) -> Vec<Ray> {
        let at = |depth_m: f64| {
            let count = (TAU * self.radius_m / (STEP_DEPTHS * depth_m)).ceil() as usize;
            (0..count).map(move |n| (TAU * n as f64 / count as f64, depth_m))
        };
        DEPTHS_M.into_iter().flat_map(at).map(|(bearing, depth_m)| self.ray(bearing, depth_m)).collect()
    }

    /// The strongest line first, and again, until what is left is noise; then the coil.
    fn find(&mut self, false_alarm: f64) {
        let threshold = self.detector().threshold(false_alarm);
        self.try_coil(threshold);
        while self.rays.len() < MOST {
            let detector = self.detector();
            let rest_nt = self.rest_nt();
            let open = |ray: &Ray| {
                self.rays.iter().all(|own| {
                    let apart = (own.bearing_rad - ray.bearing_rad + PI).rem_euclid(TAU) - PI;
                    // Nearer than a depth it is the same line.
                    (apart * self.radius_m).abs() > self.ground_m - own.from_m.z
                })
            };
            let heard = detector.heard(&rest_nt, open).filter(|heard| heard.peak.surprise > threshold);
            let Some(heard) = heard else { break };
            let best = heard.peak;
            let (sum, powers) = detector.sum(&heard.held, &best.wire);
            let size_a = heard.level * powers.size_of(sum).0;
            self.rays.push(best.wire);
            self.begin(size_a);
            self.improve();
            self.noise_nt = self.noise(false);
            self.improve();
            if self.rays.len() == 1 && !self.coil {
                self.try_coil(threshold);
            }
        }
        if !self.coil {
            self.try_coil(threshold);
        }
        self.improve();
    }

    fn detector(&self) -> Detector<Ray> {
        Detector::of(self.walk, &self.noise(true), self.grid())
    }

    fn rest_nt(&self) -> Vec<Fields> {
        let looks = self.walk.sights.iter().zip(&self.noise_nt).map(|(sight, noise)| {
            let model = self.field_nt(sight);
            plus(sight.field_nt, model, -turn(self.walk.phase, &model, sight, *noise))
        });
        looks.collect()
    }

    /// Templates of all unknowns at a look: rays, the lead down to them, and the coil's three moments.
    fn templates(&self, rays: &[Ray], sight: &Sight) -> Vec<[DVec3; 2]> {
        let mut templates: Vec<[DVec3; 2]> =
            rays.iter().map(|ray| ray.per_ampere_nt(sight.at_m, sight.upper_m)).collect();
        let nodes_m = [sight.at_m, sight.at_m + sight.upper_m];
        if !rays.is_empty() {
            let ground_m = self.centre_m.extend(self.ground_m);
            templates.push(nodes_m.map(|node_m| {
                let ends = [node_m - ground_m, node_m - ground_m + DVec3::Z * LEAD_M].map(|r| r.to_array());
                DVec3::from_array(field::segment(1.0, ends[0], ends[1])) * NT
            }));
        }
        if self.coil {
            let from_m = self.centre_m.extend(self.ground_m + COIL_M);
            templates.extend(DVec3::AXES.map(|axis| {
                nodes_m.map(|node_m| {
                    DVec3::from_array(field::dipole(axis.to_array(), (node_m - from_m).to_array())) * NT
                })
            }));
        }
        templates
    }

    fn field_of(&self, rays: &[Ray], currents: &[Complex64], sight: &Sight) -> Fields {
        let mut sum = [[Complex64::ZERO; 3]; 2];
        for (template, current) in self.templates(rays, sight).iter().zip(currents) {
            for (node, g) in sum.iter_mut().zip(template) {
                node.iter_mut().zip(g.to_array()).for_each(|(cell, x)| *cell += current * x);
            }
        }
        sum
    }

    fn field_nt(&self, sight: &Sight) -> Fields {
        self.field_of(&self.rays, &self.currents, sight)
    }

    fn noise(&self, shared: bool) -> Vec<[f64; 2]> {
        let models: Vec<Fields> = self.walk.sights.iter().map(|sight| self.field_nt(sight)).collect();
        let gradient2 = |sight: &Sight| {
            let own = self.rays.iter().zip(&self.currents).map(|(ray, current)| {
                let [lower, _] = ray.per_ampere_nt(sight.at_m, sight.upper_m);
                lower.length_squared() * current.norm_sqr() / ray.distance_m(sight).powi(2)
            });
            own.sum()
        };
        let gradients2: Vec<f64> = self.walk.sights.iter().map(gradient2).collect();
        beside_nt(self.walk, &models, &gradients2, shared)
    }

    /// Currents by least squares and every look's phase, in turn, from given currents.
    fn linear(&self, rays: &[Ray], currents: &[Complex64]) -> (Vec<Complex64>, f64, Option<DMatrix<f64>>) {
        let count = rays.len() + usize::from(!rays.is_empty()) + if self.coil { 3 } else { 0 };
        let rows: Vec<Vec<[DVec3; 2]>> =
            self.walk.sights.iter().map(|sight| self.templates(rays, sight)).collect();
        let weight = |noise: &[f64; 2], node: usize| 1.0 / (noise[node] * noise[node]);
        let mut matrix = DMatrix::zeros(count, count);
        for (row, noise) in rows.iter().zip(&self.noise_nt) {
            for i in 0..count {
                for j in 0..=i {
                    let both = [0, 1].map(|k| weight(noise, k) * row[i][k].dot(row[j][k]));
                    matrix[(i, j)] += both[0] + both[1];
                }
            }
        }
        matrix.fill_upper_triangle_with_lower_triangle();
        let turns = if self.walk.phase == Phase::Free { TURNS } else { 1 };
        let Some(decomposed) = matrix.clone().cholesky().filter(|_| count > 0) else {
            return (vec![Complex64::ZERO; count], self.power(), None);
        };
        let mut currents = currents.to_vec();
        let mut cost = f64::INFINITY;
        for _ in 0..turns {
            let mut right = [DVector::zeros(count), DVector::zeros(count)];
            for ((row, noise), sight) in rows.iter().zip(&self.noise_nt).zip(&self.walk.sights) {
                let model = sum(row, &currents);
                let back = turn(self.walk.phase, &model, sight, *noise).conj();
                for (i, template) in row.iter().enumerate() {
                    for (k, (shown, seen)) in template.iter().zip(&sight.field_nt).enumerate() {
                        let own = shown.to_array().into_iter().zip(seen).map(|(g, z)| z * g);
                        let z = own.sum::<Complex64>() * back * weight(noise, k);
                        right[0][i] += z.re;
                        right[1][i] += z.im;
                    }
                }
            }
            let [re, im] = right.map(|right| decomposed.solve(&right));
            currents = re.iter().zip(im.iter()).map(|(re, im)| Complex64::new(*re, *im)).collect();
            cost = 0.0;
            for ((row, noise), sight) in rows.iter().zip(&self.noise_nt).zip(&self.walk.sights) {
                let model = sum(row, &currents);
                let turned = turn(self.walk.phase, &model, sight, *noise);
                let rest = plus(sight.field_nt, model, -turned);
                cost += [0, 1]
                    .map(|k| weight(noise, k) * rest[k].iter().map(Complex64::norm_sqr).sum::<f64>())
                    .iter()
                    .sum::<f64>();
            }
        }
        (currents, cost, Some(decomposed.inverse()))
    }

    /// All that was seen, over its noise.
    fn power(&self) -> f64 {
        let looks = self.walk.sights.iter().zip(&self.noise_nt);
        looks
            .map(|(sight, noise)| {
                let nodes = sight.field_nt.iter().zip(noise);
                nodes
                    .map(|(field, s)| field.iter().map(Complex64::norm_sqr).sum::<f64>() / (s * s))
                    .sum::<f64>()
            })
            .sum()
    }

    fn solve(&mut self, begin: &[Complex64]) {
        let (currents, cost, _) = self.linear(&self.rays, begin);
        (self.currents, self.cost) = (currents, cost);
    }

    /// Currents with a line more, whose phase is not known: several are tried.
    fn begin(&mut self, size_a: f64) {
        let place = self.rays.len() - 1;
        let tried = (0..PHASES).map(|n| {
            let mut begin = self.currents.clone();
            begin.insert(place, Complex64::from_polar(size_a, TAU * n as f64 / PHASES as f64));
            if place == 0 {
                begin.insert(1, Complex64::ZERO);
            }
            let (currents, cost, _) = self.linear(&self.rays, &begin);
            (currents, cost)
        });
        if let Some((currents, cost)) = tried.min_by(|a, b| a.1.total_cmp(&b.1)) {
            (self.currents, self.cost) = (currents, cost);
        }
    }

    /// The coil joins the unknowns if its field is there.
    fn try_coil(&mut self, threshold: f64) {
        let (before, currents) = (self.cost, self.currents.clone());
        self.coil = true;
        // A coil of any axis, and any phase.
        let mut best: Option<(Vec<Complex64>, f64)> = None;
        for axis in [DVec3::X, DVec3::Y, DVec3::Z, DVec3::new(0.7, 0.7, 0.0), DVec3::new(-0.7, 0.7, 0.0)] {
            let phases = if self.rays.is_empty() { 1 } else { PHASES };
            for n in 0..phases {
                let phase = Complex64::from_polar(10.0, TAU * n as f64 / phases as f64);
                let begin: Vec<Complex64> =
                    currents.iter().copied().chain(axis.to_array().map(|x| phase * x)).collect();
                let (currents, cost, _) = self.linear(&self.rays, &begin);
                if best.as_ref().is_none_or(|best| cost < best.1) {
                    best = Some((currents, cost));
                }
            }
        }
        // Before any line, only a coil that is most of what there is; after them, one that is plainly seen.
        let enough = |cost: f64| {
            if self.rays.is_empty() {
                cost < 0.3 * before
            } else {
                surprise(before - cost, 6.0) > threshold
            }
        };
        match best.filter(|(_, cost)| enough(*cost)) {
            Some((currents, cost)) => (self.currents, self.cost) = (currents, cost),
            None => (self.coil, self.currents, self.cost) = (false, currents, before),
        }
    }

    /// Bearings and depths by steps, one line after the other, until none helps.
    fn improve(&mut self) {
        self.solve(&self.currents.clone());
        let mut size = 1.0;
        for _ in 0..14 {
            let mut moved = false;
            for n in 0..self.rays.len() {
                for deeper in [false, true] {
                    for sign in [size, -size] {
                        let mut rays = self.rays.clone();
                        let depth_m = self.ground_m - rays[n].from_m.z;
                        if deeper {
                            let deep_m = depth_m * (1.0 + 0.2 * sign);
                            rays[n].from_m.z = self.ground_m - deep_m.clamp(0.1, 8.0);
                        } else {
                            rays[n].bearing_rad += sign * 0.2 * depth_m / self.radius_m;
                        }
                        let (currents, cost, _) = self.linear(&rays, &self.currents);
                        if cost < self.cost - 1e-3 {
                            (self.rays, self.currents, self.cost) = (rays, currents, cost);
                            moved = true;
                            break;
                        }
                    }
                }
            }
            if !moved {
                size *= 0.4;
            }
        }
    }

    /// Standard deviation of a line's bearing (radians), depth (metres): from how the cost rises as either is moved.
    fn sigmas(&self, n: usize) -> [f64; 2] {
        [false, true].map(|deeper| {
            let depth_m = self.ground_m - self.rays[n].from_m.z;
            let step = if deeper { 0.03 * depth_m } else { 0.03 * depth_m / self.radius_m };
            let rise: f64 = [step, -step]
                .map(|by| {
                    let mut rays = self.rays.clone();
                    if deeper {
                        rays[n].from_m.z -= by
                    } else {
                        rays[n].bearing_rad += by
                    }
                    (self.linear(&rays, &self.currents).1 - self.cost).max(1e-6)
                })
                .iter()
                .sum();
            step / (0.5 * rise).sqrt()
        })
    }
}

fn sum(row: &[[DVec3; 2]], currents: &[Complex64]) -> Fields {
    let mut sum = [[Complex64::ZERO; 3]; 2];
    for (template, current) in row.iter().zip(currents) {
        for (node, g) in sum.iter_mut().zip(template) {
            node.iter_mut().zip(g.to_array()).for_each(|(cell, x)| *cell += current * x);
        }
    }
    sum
}

fn told(walk: &Walk, around: &Around, radius_m: f64, fit: &Fit<'_>) -> Circle {
    let (_, _, covariance) = fit.linear(&fit.rays, &fit.currents);
    let total: f64 = fit.currents.iter().take(fit.rays.len()).map(|current| current.norm()).sum();
    let mut order: Vec<usize> = (0..fit.rays.len()).collect();
    order.sort_by(|a, b| fit.currents[*b].norm().total_cmp(&fit.currents[*a].norm()));
    let bearing = |n: usize| bearing_deg(fit.rays[n].bearing_rad);
    let off = |n: usize, deg: f64| super::find::signed_deg(bearing(n) - deg).abs();
    let near = |deg: f64| {
        let nearest = order.iter().copied().min_by(|a, b| off(*a, deg).total_cmp(&off(*b, deg)));
        nearest.filter(|n| off(*n, deg) < TARGET_DEG)
    };
    let asked = around.target_deg.and_then(near);
    let target = asked.or(order.first().copied());
    let lines: Vec<Leaving> = order
        .iter()
        .zip('A'..)
        .map(|(&n, letter)| {
            let current = fit.currents[n];
            let reference = target.map_or(Complex64::ONE, |target| fit.currents[target]);
            let phase_deg = (current * reference.conj()).arg().to_degrees();
            let role = match phase_deg.abs() {
                _ if target == Some(n) => Role::Target,
                in_step if in_step < IN_STEP_DEG => Role::Shares,
                against if against > AGAINST_DEG => Role::Returns,
                _ => Role::Coupled,
            };
            let [turned, deeper] = fit.sigmas(n);
            let variance = covariance.as_ref().map_or(0.0, |covariance| covariance[(n, n)]);
            let depth_m = fit.ground_m - fit.rays[n].from_m.z;
            // A line that is a little deeper carries as much more.
            let node_m = depth_m + walk.carried_m;
            let spread = variance.sqrt().hypot(current.norm() * deeper / node_m);
            Leaving {
                letter,
                bearing_deg: around_value(bearing(n), turned.to_degrees(), f64::NEG_INFINITY),
                depth_m: around_value(depth_m, deeper.hypot(0.02 * depth_m), 0.0),
                current_ma: around_value(1e3 * current.norm(), 1e3 * spread, 0.0),
                share: current.norm() / total,
                phase_deg,
                role,
            }
        })
        .collect();
    let outward: Complex64 = fit.currents.iter().take(fit.rays.len()).sum();
    let moment = fit.coil.then(|| {
        let moments = fit.currents.iter().rev().take(3);
        moments.map(|m| m.norm_sqr()).sum::<f64>().sqrt()
    });
    // Abeam of a dipole: 100 nT for 1 A m2 at 1 m; above a line: 200 nT for 1 A at 1 m.
    let coil_nt = moment.unwrap_or(0.0) * 100.0 / radius_m.powi(3);
    let line_nt = |n: &usize| {
        fit.currents[*n].norm() * 200.0 / (fit.ground_m - fit.rays[*n].from_m.z + walk.carried_m)
    };
    let weakest_nt = order.iter().map(line_nt).fold(f64::INFINITY, f64::min);
    let coil_over_line =
        if lines.is_empty() { if fit.coil { f64::INFINITY } else { 0.0 } } else { coil_nt / weakest_nt };
    let trace = walk.sights.iter().map(|sight| {
        let from = sight.at_m.truncate() - around.centre_m;
        let [x, y, _] = sight.field_nt[0];
        (bearing_deg(from.y.atan2(from.x)), (x.norm_sqr() + y.norm_sqr()).sqrt())
    });
    let mut circle = Circle {
        centre_m: around.centre_m.to_array(),
        radius_m,
        tone_hz: walk.tone_hz,
        lines,
        outward_ma: 1e3 * outward.norm(),
        sent_ma: around.sent_ma,
        coil_a_m2: moment.filter(|_| coil_over_line > SEEN),
        coil_over_line,
        clear_radius_m: radius_m * (coil_over_line / NEAR).cbrt(),
        cautions: vec![],
        trace: trace.collect(),
    };
    circle.cautions = cautions(&circle, around.target_deg.is_some() && asked.is_none());
    circle
}

fn around_value(value: f64, sigma: f64, least: f64) -> Estimate {
    Estimate { value, sigma, low95: (value - 1.96 * sigma).max(least), high95: value + 1.96 * sigma }
}

impl Circle {
    /// Whether the transmitter's own field is too strong on this circle.
    pub fn is_too_near(&self) -> bool {
        self.coil_over_line > NEAR
    }

    /// Whether nothing stands in doubt.
    pub fn is_clear(&self) -> bool {
        !self.is_too_near()
            && !self.lines.is_empty()
            && self.lines.iter().all(|line| line.role == Role::Target)
    }
}

fn cautions(circle: &Circle, target_missed: bool) -> Vec<String> {
    let mut cautions = Vec::new();
    if circle.is_too_near() && circle.lines.is_empty() {
        cautions.push(
            "Only the transmitter's own field was seen: it covers whatever lines there are. Walk a larger circle, or \
             connect the transmitter instead of inducing."
                .to_owned(),
        );
    } else if circle.is_too_near() {
        cautions.push(format!(
            "Too near the transmitter: its coil's own field is {:.1} times the weakest line's, and errors of it pass for \
             lines. Walk a circle of {:.0} m and more, or connect the transmitter instead of inducing.",
            circle.coil_over_line,
            circle.clear_radius_m.ceil()
        ));
    }
    if target_missed {
        cautions.push(format!(
            "No line leaves within {TARGET_DEG:.0}° of the bearing given for the target; the largest current is taken for it."
        ));
    }
    if circle.lines.iter().any(|line| line.role == Role::Returns) {
        cautions.push(
            "Current comes back on a line: it is bonded to the target further out, or carries the ground's return. Beside \
             it the target's place is pushed away and its depth read too small."
                .to_owned(),
        );
    }
    if circle.lines.iter().any(|line| line.role == Role::Shares) {
        cautions.push(
            "Another line carries current in step: beside it the target's place is drawn over and its depth read too great, \
             the dangerous way. Break the bond, move the ground stake, or take a lower tone."
                .to_owned(),
        );
    }
    if let Some(sent_ma) = circle.sent_ma
        && circle.outward_ma < 0.7 * sent_ma
    {
        cautions.push(format!(
            "Of {sent_ma} mA sent, {:.0} % leaves on the lines that were found: the rest stays in the ground near the \
             transmitter, or leaves on a line that was not seen.",
            100.0 * circle.outward_ma / sent_ma
        ));
    }
    cautions.push(
        "Lines that carry none of this tone are not seen. The largest current is not always on the line that you mean. \
         Nothing here is permission to dig: follow local codes and licensed practice."
            .to_owned(),
    );
    cautions
}
