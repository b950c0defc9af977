//! From a line of the grid to the best one nearby.

use glam::DVec3;

use super::{Detector, Held, Peak};
use crate::survey::wire::Wire;

impl Detector {
    /// The line nearby that is the most surprising.
    pub fn refined(&self, held: &Held, peak: Peak) -> Peak {
        self.climb(held, peak, true)
    }

    /// The same, with its depth held where `deeper` is false.
    pub fn climb(&self, held: &Held, mut peak: Peak, deeper: bool) -> Peak {
        let depth = self.depth_m(&peak.wire);
        let mut steps = [0.3 * depth, if deeper { 0.2 * depth } else { 0.0 }, 0.3 * depth / self.reach_m()];
        for _ in 0..24 {
            let mut moved = false;
            for (k, step) in steps.into_iter().enumerate().filter(|(_, step)| *step > 0.0) {
                for way in [step, -step] {
                    let mut by = [0.0; 3];
                    by[k] = way;
                    let [left, up, turn] = by;
                    let wire = peak.wire.moved(left, up, turn);
                    // Not up to the nodes, where every field is strong.
                    if self.depth_m(&wire) < 0.25 {
                        continue;
                    }
                    let surprise = self.surprise(held, &wire);
                    if surprise > peak.surprise {
                        peak = Peak { wire, surprise };
                        moved = true;
                        break;
                    }
                }
            }
            if !moved {
                steps = steps.map(|step| 0.5 * step);
            }
        }
        peak
    }

    /// How far below the mean lower node a line lies.
    pub fn depth_m(&self, wire: &Wire) -> f64 {
        let total: f64 = self.stretches.iter().map(|stretch| stretch.at_m.z).sum();
        total / self.stretches.len().max(1) as f64 - wire.at_m.z
    }

    /// How far the looks reach from a line's own point, at most.
    fn reach_m(&self) -> f64 {
        let low = self.stretches.iter().map(|s| s.at_m).fold(DVec3::INFINITY, DVec3::min);
        let high = self.stretches.iter().map(|s| s.at_m).fold(DVec3::NEG_INFINITY, DVec3::max);
        (0.5 * (high - low).truncate().length()).max(1.0)
    }
}
