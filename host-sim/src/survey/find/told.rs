//! From the lines that were found to what is told of them.

use glam::DVec2;
use nullwalk_core::chi_square::{Level, upper_point};
use nullwalk_core::depth::soil::Soil;
use nullwalk_core::frame::HEADING_SIGMA_RAD;

use super::alone::trace;
use super::passes::{seen_and_missed, straddled};
use super::{Caution, Findings, Found, Search};
use crate::book::Estimate;
use crate::survey::bearing::signed_deg;
use crate::survey::detect::{Detector, Peak};
use crate::survey::model::{Carrying, Together, noise_nt, rest_nt, together};
use crate::survey::walk::{Phase, Walk};
use crate::survey::wire::Wire;

/// Lines nearer than so many depths pull at one another.
const NEIGHBOUR_DEPTHS: f64 = 2.0;
/// Chi-square with one degree of freedom, 95 %, as a difference of surprise.
const PROFILE: f64 = 1.92;

impl Search {
    pub(super) fn told(mut self, walk: &Walk, corners_m: &[DVec2], soil: Soil) -> Findings {
        let middle_m = corners_m.iter().copied().sum::<DVec2>() / corners_m.len().max(1) as f64;
        let all = together(walk, &self.lines);
        let mut found = Vec::new();
        for n in 0..all.lines.len() {
            let mut told = self.tell(walk, &all, n, middle_m, soil);
            let others = all.lines.iter().enumerate().filter(|(other, _)| *other != n);
            let depth_m = walk.middle_m().z - all.lines[n].wire.at_m.z;
            let near = others.map(|(_, other)| other).any(|other| {
                other.wire.is_beside(&all.lines[n].wire, middle_m, NEIGHBOUR_DEPTHS * depth_m)
            });
            if near {
                told.cautions.push(Caution::Neighbour);
            }
            if self.uneven[n] && !told.cautions.contains(&Caution::Uneven) {
                told.cautions.push(Caution::Uneven);
            }
            told.cautions.sort_by_key(|caution| *caution as u8);
            found.push(told);
        }
        // The strongest field above ground first.
        let strength = |line: &Found| line.log_chance;
        found.sort_by(|a, b| strength(b).total_cmp(&strength(a)));
        for (line, letter) in found.iter_mut().zip('A'..) {
            line.letter = letter;
        }
        let reference = found.first().and_then(|first| first.phase_deg);
        for line in &mut found {
            line.phase_deg = line.phase_deg.zip(reference).map(|(own, first)| signed_deg(own - first));
        }
        let noise = noise_nt(walk, &all.lines, true);
        self.detector = Detector::new(walk, &noise, corners_m);
        Findings { lines: found, threshold: self.threshold, detector: self.detector, loudness: self.level }
    }

    /// Everything of one line, the others taken away.
    fn tell(&self, walk: &Walk, all: &Together, n: usize, middle_m: DVec2, soil: Soil) -> Found {
        let own = all.lines[n];
        let others: Vec<Carrying> =
            all.lines.iter().enumerate().filter(|(k, _)| *k != n).map(|(_, line)| *line).collect();
        let foot_m = own.wire.nearest(middle_m).at_m;
        let ground_m = walk.ground_m(foot_m.truncate());
        let (seen_on, missed_on) = seen_and_missed(walk, all, n);
        let mut cautions = Vec::new();
        if missed_on > 0 && seen_on > 0 {
            cautions.push(Caution::Ends);
        }
        if !straddled(walk, &own.wire) {
            cautions.push(Caution::Beside);
        } else if seen_on == 1 {
            cautions.push(Caution::OnePass);
        }
        let mut told = Found {
            letter: '?',
            east_m: foot_m.x,
            north_m: foot_m.y,
            lay_deg: own.wire.bearing_deg(),
            lay_sigma_deg: 30.0,
            place_sigma_m: 1.0,
            depth_m: None,
            current_ma: Estimate::of_size(1e3 * own.current_a.norm(), 1e3 * own.current_a.norm()),
            phase_deg: None,
            log_chance: self.surprises.get(n).copied().unwrap_or_default() / std::f64::consts::LN_10,
            seen_on,
            missed_on,
            cautions,
            wire: own.wire.nearest(middle_m),
        };
        let relative = all.current_sigma[n].filter(|_| all.moved[n]);
        if relative.is_some_and(|sigma| sigma < 0.5) && (walk.phase == Phase::Common || all.lines.len() > 1)
        {
            let southwards = own.wire.along().y < 0.0;
            told.phase_deg = Some(own.current_a.arg().to_degrees() + if southwards { 180.0 } else { 0.0 });
        }
        match trace(walk, own, &others, soil, 0.0).filter(|_| all.moved[n]) {
            Some(traced) => {
                let place_m = foot_m.truncate().extend(ground_m).as_vec3();
                let depth = traced.stated_depth_m(place_m);
                // A compass that errs turns all fields and no places, so where passes cross aslant the depth is off.
                let compass_rad = f64::from(HEADING_SIGMA_RAD);
                let turned = trace(walk, own, &others, soil, compass_rad);
                let by_compass_m = turned.map_or(0.0, |turned| {
                    turned.depth_below_m(place_m).value - traced.depth_below_m(place_m).value
                });
                let depth_sigma_m = f64::from(depth.sigma.hypot(by_compass_m));
                told.depth_m = Some(Estimate::of_size(f64::from(depth.value), depth_sigma_m));
                told.place_sigma_m = f64::from(traced.left_of_m(place_m).sigma);
                told.lay_sigma_deg = f64::from(traced.lay_rad().sigma).hypot(compass_rad).to_degrees();
                let current = traced.current_a();
                told.current_ma =
                    Estimate::of_size(1e3 * f64::from(current.value), 1e3 * f64::from(current.sigma));
                let line = traced.source;
                let wire = Wire { at_m: line.at_m.as_dvec3(), lay_rad: f64::from(line.lay_rad()) }
                    .nearest(middle_m);
                (told.east_m, told.north_m, told.lay_deg) = (wire.at_m.x, wire.at_m.y, wire.bearing_deg());
                told.wire = wire;
                if traced.chi_square > upper_point(traced.freedom as usize, Level::OnePerMille) {
                    told.cautions.push(Caution::Uneven);
                }
            }
            None => self.tell_weak(walk, own, &others, ground_m, &mut told),
        }
        told
    }

    /// A line that stands little above noise: its depth by how surprising each depth is.
    fn tell_weak(&self, walk: &Walk, own: Carrying, others: &[Carrying], ground_m: f64, told: &mut Found) {
        told.cautions.push(Caution::Weak);
        let noise = noise_nt(walk, others, true);
        let detector = Detector::new(walk, &noise, &self.corners_m);
        let held = detector.hold(&rest_nt(walk, others, &noise));
        let (sum, powers) = detector.sum(&held, &own.wire);
        let (size_a, sigma_a) = powers.size_of(sum);
        told.current_ma = Estimate::of_size(1e3 * size_a, 1e3 * sigma_a);
        let best = detector.surprise(&held, &own.wire);
        let node_m = walk.middle_m().z;
        let mut depths = Vec::new();
        let mut depth_m = 0.3;
        while depth_m < 8.0 {
            let mut wire = own.wire;
            wire.at_m.z = node_m - depth_m;
            let peak = Peak { wire, surprise: detector.surprise(&held, &wire) };
            if detector.climb(&held, peak, false).surprise > best - PROFILE {
                depths.push(depth_m);
            }
            depth_m *= 1.15;
        }
        let value = ground_m - own.wire.at_m.z;
        let under = |depth_m: &f64| depth_m - (node_m - ground_m);
        let ends = depths.first().map(under).zip(depths.last().map(under));
        told.depth_m = ends.map(|(low, high)| Estimate {
            value,
            sigma: (high - low) / 3.92,
            low95: (low / 1.15).min(value).max(0.0),
            high95: (high * 1.15).max(value),
        });
    }
}
