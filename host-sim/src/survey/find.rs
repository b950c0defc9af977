//! The lines of an area: the strongest first, taken away, and again, until what is left is noise.

use glam::{DVec2, Vec3};
use nullwalk_core::chi_square::{Level, upper_point};
use nullwalk_core::depth::soil::{Soil, returned_per_m};
use nullwalk_core::fit::line::{self, Line as CoreLine, Traced, UNKNOWNS};
use nullwalk_core::fit::{Look, Ring, Shared};
use num_complex::Complex64;
use serde::Serialize;

use super::bearing::signed_deg;
use super::detect::{Detector, Held, Peak};
use super::model::{Carrying, Fields, field_nt, noise_nt, plus, rest_nt, together, turn};
use super::walk::{Phase, Walk};
use super::wire::Wire;
use crate::book::Estimate;

/// More lines than this are not taken apart.
const MOST: usize = 6;
/// Looks that the final fit of one line keeps; neighbours are merged.
const KEPT: usize = 160;
/// Fields of a line further off than so many depths tell little of it, but this far at least.
const FAR_DEPTHS: f64 = 6.0;
const FAR_M: f64 = 4.0;
/// What is left beside a line, nearer than so many of its depths, is its own: it is not as straight as its model.
const OWN_DEPTHS: f64 = 0.8;
/// Lines nearer than so many depths pull at one another.
const NEIGHBOUR_DEPTHS: f64 = 2.0;
/// Chi-square with one degree of freedom, 95 %, as a difference of surprise.
const PROFILE: f64 = 1.92;
/// How well a pass must know a line's current to say anything of it, and how little of it is none.
const PASS_SIGMA: f64 = 0.15;
const MISSED: f64 = 0.5;

/// What has to be said of a line that was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Caution {
    /// It stands little above noise.
    Weak,
    /// Its fields are not those of a straight line.
    Uneven,
    /// Another lies near.
    Neighbour,
    /// Passes that should have shown it did not.
    Ends,
    /// One pass only crossed it.
    OnePass,
    /// It lies beside the walk.
    Beside,
}

impl Caution {
    /// What it means, and what to do.
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::Weak => {
                "weak: place and depth are rough; walk nearer lanes over it, or raise its current"
            }
            Self::Uneven => {
                "not the field of one straight line: a bend, an end, a tee or another line is near; its depth may be \
                 read too great; trace it on its own"
            }
            Self::Neighbour => {
                "another line lies near: each pulls at the other's place and depth, and in phase a depth is read too great"
            }
            Self::Ends => {
                "not seen on every pass that should have crossed it: it ends, bends or dives between them"
            }
            Self::OnePass => "seen on one pass only: its lay is uncertain; cross it on a second one",
            Self::Beside => "passes beside the walk, not under it: place and depth are reckoned from afar",
        }
    }
}

/// A line that was found.
#[derive(Debug, Clone, Serialize)]
pub struct Found {
    /// Its letter on the drawing.
    pub letter: char,
    /// Its point nearest to the middle of the box, metres.
    pub east_m: f64,
    /// The same.
    pub north_m: f64,
    /// Its lay, degrees clockwise from north.
    pub lay_deg: f64,
    /// Standard uncertainty of the lay, degrees.
    pub lay_sigma_deg: f64,
    /// Standard uncertainty of the place, across the line, metres.
    pub place_sigma_m: f64,
    /// Depth below the ground at that point, to the middle of the conductor, where it was measured.
    pub depth_m: Option<Estimate>,
    /// Peak current, milliamperes, with its 95 % range.
    pub current_ma: Estimate,
    /// By how much its current is ahead of line A's, degrees, where that is known; each counted northwards.
    pub phase_deg: Option<f64>,
    /// Minus the decimal logarithm of the chance that noise alone does as much at this place.
    pub log_chance: f64,
    /// Passes that show it, and passes that should but do not.
    pub seen_on: usize,
    /// The latter.
    pub missed_on: usize,
    /// What has to be said of it.
    pub cautions: Vec<Caution>,
    /// Where it lies, for whoever draws it.
    #[serde(skip)]
    pub wire: Wire,
}

/// The lines of an area, and how well it was searched.
pub struct Findings {
    /// The lines, the strongest field first.
    pub lines: Vec<Found>,
    /// The surprise that a find had to go beyond.
    pub threshold: f64,
    /// The search with all that is known of the noise, the lines' own errors included.
    pub detector: Detector,
    /// By how much the noise that is left exceeds what the captures say, 1 and above.
    pub loudness: f64,
}

/// Search the walk for lines, under the corners of the box and wherever the walk went.
///
/// # Panics
/// Never: a walk without looks has no lines.
pub fn find(walk: &Walk, corners_m: &[DVec2], false_alarm: f64, soil: Soil) -> Findings {
    let mut search = Search::new(walk, corners_m, false_alarm);
    search.run(walk);
    // What is told of lines, and of what would have been noticed, is by the noise that was heard.
    let mut heard = walk.clone();
    for sight in &mut heard.sights {
        sight.sigma_nt = sight.sigma_nt.map(|sigma| sigma * search.level);
    }
    search.told(&heard, corners_m, soil)
}

/// A search as it goes on.
struct Search {
    lines: Vec<Carrying>,
    surprises: Vec<f64>,
    /// Lines beside which something was left.
    uneven: Vec<bool>,
    detector: Detector,
    /// What is left without them, nanotesla.
    rest_nt: Vec<Fields>,
    /// The same over its noise, as loud as that is.
    held: Held,
    level: f64,
    threshold: f64,
    corners_m: Vec<DVec2>,
}

impl Search {
    fn new(walk: &Walk, corners_m: &[DVec2], false_alarm: f64) -> Self {
        let noise = noise_nt(walk, &[], true);
        let detector = Detector::new(walk, &noise, corners_m);
        let threshold = detector.threshold(false_alarm);
        let rest_nt = rest_nt(walk, &[], &noise);
        Self {
            lines: vec![],
            surprises: vec![],
            uneven: vec![],
            held: detector.hold(&rest_nt),
            detector,
            rest_nt,
            level: 1.0,
            threshold,
            corners_m: corners_m.to_vec(),
        }
    }

    fn run(&mut self, walk: &Walk) {
        let middle_m = walk.middle_m();
        // Places beside a line where what was left is its own, and no other line.
        let mut closed: Vec<(Wire, f64)> = Vec::new();
        while self.lines.len() < MOST {
            let open = |wire: &Wire| {
                !closed.iter().any(|(own, apart_m)| wire.is_beside(own, middle_m.truncate(), *apart_m))
            };
            let Some(heard) = self.detector.heard(&self.rest_nt, open) else { break };
            (self.level, self.held) = (heard.level, heard.held);
            let best = heard.peak;
            if best.surprise < self.threshold {
                break;
            }
            let peak = self.detector.refined(&self.held, best);
            let place_m = middle_m.truncate();
            let own = self.lines.iter().position(|line| {
                let depth_m = middle_m.z - line.wire.at_m.z;
                peak.wire.is_beside(&line.wire, place_m, OWN_DEPTHS * depth_m.max(0.5))
            });
            if let Some(n) = own {
                self.uneven[n] = true;
                closed.push((best.wire, 0.4));
                closed.push((peak.wire, 0.4));
                if closed.len() > 2 * MOST {
                    break;
                }
                continue;
            }
            let current_a = self.current(walk, &peak);
            self.lines.push(Carrying { wire: peak.wire.nearest(place_m), current_a });
            self.surprises.push(peak.surprise);
            self.uneven.push(false);
            self.lines = together(walk, &self.lines).lines;
            let noise = noise_nt(walk, &self.lines, true);
            self.detector = Detector::new(walk, &noise, &self.corners_m);
            self.rest_nt = rest_nt(walk, &self.lines, &noise);
        }
    }

    /// The current of a line just found, with the phase it has against those that are known already.
    fn current(&self, walk: &Walk, peak: &Peak) -> Complex64 {
        let (sum, powers) = self.detector.sum(&self.held, &peak.wire);
        let size_a = self.level * powers.size_of(sum).0;
        if self.lines.is_empty() && walk.phase == Phase::Free {
            return size_a.into();
        }
        let noise = noise_nt(walk, &self.lines, true);
        let unit = Carrying { wire: peak.wire, current_a: Complex64::ONE };
        let mut along = Complex64::ZERO;
        for (sight, noise) in walk.sights.iter().zip(&noise) {
            let model = field_nt(&self.lines, sight);
            let turned = turn(walk.phase, &model, sight, *noise);
            let rest = plus(sight.field_nt, model, -turned);
            let own = unit.field_nt(sight);
            for ((own, rest), sigma) in own.iter().zip(&rest).zip(noise) {
                let both: Complex64 = own.iter().zip(rest).map(|(g, z)| g.re * z).sum();
                along += both * turned.conj() / (sigma * sigma);
            }
        }
        if along.norm() > 0.0 { along / along.norm() * size_a } else { size_a.into() }
    }

    fn told(mut self, walk: &Walk, corners_m: &[DVec2], soil: Soil) -> Findings {
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
    fn tell(
        &self,
        walk: &Walk,
        all: &super::model::Together,
        n: usize,
        middle_m: DVec2,
        soil: Soil,
    ) -> Found {
        let own = all.lines[n];
        let others: Vec<Carrying> =
            all.lines.iter().enumerate().filter(|(k, _)| *k != n).map(|(_, line)| *line).collect();
        let foot_m = own.wire.nearest(middle_m).at_m;
        let ground_m = walk.ground_m(foot_m.truncate());
        let (seen_on, missed_on) = passes(walk, all, n);
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
            current_ma: estimate(1e3 * own.current_a.norm(), 1e3 * own.current_a.norm()),
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
        match trace(walk, own, &others, soil).filter(|_| all.moved[n]) {
            Some(traced) => {
                let place_m = foot_m.truncate().extend(ground_m).as_vec3();
                let depth = traced.stated_depth_m(place_m);
                told.depth_m = Some(estimate(f64::from(depth.value), f64::from(depth.sigma)));
                told.place_sigma_m = f64::from(traced.left_of_m(place_m).sigma);
                told.lay_sigma_deg = f64::from(traced.lay_rad().sigma.to_degrees());
                let current = traced.current_a();
                told.current_ma = estimate(1e3 * f64::from(current.value), 1e3 * f64::from(current.sigma));
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
        told.current_ma = estimate(1e3 * size_a, 1e3 * sigma_a);
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

/// How many passes show a line, and how many should but do not.
fn passes(walk: &Walk, all: &super::model::Together, n: usize) -> (usize, usize) {
    let own = all.lines[n];
    let noise = noise_nt(walk, &all.lines, false);
    let size = own.current_a.norm();
    let (mut seen, mut missed) = (0, 0);
    for pass in 0..walk.passes() {
        let (mut along, mut whole) = (0.0, 0.0);
        for (sight, noise) in walk.sights.iter().zip(&noise).filter(|(sight, _)| sight.pass == pass) {
            let model = field_nt(&all.lines, sight);
            let back = turn(walk.phase, &model, sight, *noise).conj();
            let fields = own.field_nt(sight);
            for k in 0..2 {
                for c in 0..3 {
                    let rest = sight.field_nt[k][c] * back - (model[k][c] - fields[k][c]);
                    along += (rest * fields[k][c].conj()).re / (noise[k] * noise[k]);
                    whole += fields[k][c].norm_sqr() / (noise[k] * noise[k]);
                }
            }
        }
        // A pass that knows the current to so much, as a share of it.
        if size > 0.0 && whole > 1.0 / (PASS_SIGMA * PASS_SIGMA) {
            if along / whole > MISSED { seen += 1 } else { missed += 1 }
        }
    }
    (seen, missed)
}

/// Whether the walk was on both sides of a line.
fn straddled(walk: &Walk, wire: &Wire) -> bool {
    let sides = || walk.sights.iter().map(|sight| wire.left_of_m(sight.at_m.truncate()));
    sides().any(|left| left > 0.0) && sides().any(|left| left < 0.0)
}

/// The core's own fit of one line, the others taken away.
fn trace(
    walk: &Walk,
    own: Carrying,
    others: &[Carrying],
    soil: Soil,
) -> Option<Traced<CoreLine, UNKNOWNS>> {
    let size = own.current_a.norm();
    if size <= 0.0 {
        return None;
    }
    let in_step = (own.current_a / size).conj();
    let everything: Vec<Carrying> = others.iter().copied().chain([own]).collect();
    let noise = noise_nt(walk, others, false);
    let depth_m = (walk.middle_m().z - own.wire.at_m.z).max(0.3);
    let far_m = (FAR_DEPTHS * depth_m).max(FAR_M);
    let mut ring = Ring::<KEPT>::default();
    let mut place_sigma_m = 0.0_f64;
    for (sight, noise) in walk.sights.iter().zip(&noise) {
        if own.wire.distance_m(sight) > far_m {
            continue;
        }
        let back = turn(walk.phase, &field_nt(&everything, sight), sight, *noise).conj();
        let fields = plus(sight.field_nt, field_nt(others, sight), -back.conj());
        let real = fields.map(|node| Vec3::from_array(node.map(|z| (z * back * in_step).re as f32)));
        place_sigma_m = place_sigma_m.max(sight.place_sigma_m);
        ring.push(Look {
            at_m: sight.at_m.as_vec3(),
            upper_m: sight.upper_m.as_vec3(),
            fields_nt: real,
            sigma_nt: noise.map(|sigma| sigma as f32),
            pose_sigma_m: Vec3::ZERO,
            spread_m: Vec3::ZERO,
        });
    }
    let place = place_sigma_m as f32;
    let shared = Shared {
        node_ratio: walk.relative as f32,
        field: walk.relative as f32,
        place_m: Vec3::new(place, place, 0.005),
    };
    let start = CoreLine {
        at_m: own.wire.at_m.as_vec3(),
        along: own.wire.along().as_vec3(),
        current_a: size as f32,
        returned_per_m: 0.0,
    };
    let traced = line::traverse(&ring, start, &shared, returned_per_m(walk.tone_hz as f32, soil)).ok()?;
    let moved_m = (traced.source.at_m.as_dvec3() - own.wire.at_m).cross(own.wire.along()).length();
    (moved_m < 2.0 * depth_m).then_some(traced)
}

fn estimate(value: f64, sigma: f64) -> Estimate {
    Estimate { value, sigma, low95: (value - 1.96 * sigma).max(0.0), high95: value + 1.96 * sigma }
}
