//! The lines that are tried.

use glam::DVec2;

use crate::survey::walk::Walk;
use crate::survey::wire::Wire;

/// Least and greatest distance below the lower node that is looked at, and the factor from each to the next.
const DEPTHS_M: (f64, f64) = (0.5, 5.5);
const DEPTH_STEP: f64 = 1.5;
/// From line to line sideways, and at the walk's rim by the turn, in depths.
const STEP_DEPTHS: f64 = 0.6;

/// Lines in steps that no line falls between: a third of a depth aside from the next, 4 % of the sum of squares is lost.
pub(super) fn lines(walk: &Walk, corners_m: &[DVec2]) -> Vec<Wire> {
    let places: Vec<DVec2> =
        walk.sights.iter().map(|sight| sight.at_m.truncate()).chain(corners_m.iter().copied()).collect();
    let low = places.iter().copied().fold(DVec2::INFINITY, DVec2::min);
    let high = places.iter().copied().fold(DVec2::NEG_INFINITY, DVec2::max);
    let middle = 0.5 * (low + high);
    let reach_m = (0.5 * (high - low).length()).max(1.0);
    let node_m = walk.middle_m().z;
    let (least, most) = DEPTHS_M;
    let mut grid = Vec::new();
    let mut depth_m = least;
    while depth_m <= most {
        let turns = (std::f64::consts::PI / (STEP_DEPTHS * depth_m / reach_m)).ceil().max(6.0);
        for turn in 0..turns as usize {
            let lay_rad = std::f64::consts::PI * turn as f64 / turns;
            let wire = Wire { at_m: middle.extend(node_m - depth_m), lay_rad };
            let left = wire.left().truncate();
            // No further out than the places, seen along the line.
            let offsets = places.iter().map(|place| (place - middle).dot(left));
            let (from, to) = offsets
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(x), high.max(x)));
            let steps = ((to - from) / (STEP_DEPTHS * depth_m)).ceil().max(1.0);
            let offset = |n: usize| from + (to - from) * n as f64 / steps;
            grid.extend((0..=steps as usize).map(|n| wire.moved(offset(n), 0.0, 0.0)));
        }
        depth_m *= DEPTH_STEP;
    }
    grid
}
