//! The lines of an area: the strongest first, taken away, and again, until what is left is noise.

mod alone;
mod found;
mod passes;
mod told;

use glam::DVec2;
use nullwalk_core::depth::soil::Soil;
use num_complex::Complex64;

pub use found::{Caution, Found};

use super::detect::{Detector, Held, Peak};
use super::model::{Carrying, Fields, field_nt, noise_nt, plus, rest_nt, together, turn};
use super::walk::{Phase, Walk};
use super::wire::Wire;

/// More lines than this are not taken apart.
const MOST: usize = 6;
/// What is left beside a line, nearer than so many of its depths, is its own: it is not as straight as its model.
const OWN_DEPTHS: f64 = 0.8;

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
}
