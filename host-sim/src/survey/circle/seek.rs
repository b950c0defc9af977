//! The lines of a circle, one after the other, and whether the transmitter's coil is seen.

use std::f64::consts::{PI, TAU};

use glam::DVec3;
use num_complex::Complex64;

use super::fit::Fit;
use super::ray::Ray;
use crate::survey::detect::Detector;
use crate::survey::tails::surprise;

/// Depths below the ground that are tried, metres.
const DEPTHS_M: [f64; 6] = [0.4, 0.6, 0.9, 1.4, 2.1, 3.2];
/// From bearing to bearing on the circle, in depths.
const STEP_DEPTHS: f64 = 0.5;
const MOST: usize = 8;
/// Phases that a further line is begun with.
const PHASES: usize = 8;

impl Fit<'_> {
    /// The strongest line first, and again, until what is left is noise; then the coil.
    pub(super) fn find(&mut self, false_alarm: f64) {
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

    fn detector(&self) -> Detector<Ray> {
        Detector::of(self.walk, &self.noise(true), self.grid())
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
}
