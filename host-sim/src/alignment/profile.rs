//! The line of a run in profile: heights along it, smooth as far as pipes are, and its slopes.

use super::system::{Solution, System};

/// Height of the source at a station.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Distance along the run, metres.
    pub chainage_m: f64,
    /// Height, metres.
    pub height_m: f64,
    /// Its standard uncertainty.
    pub sigma_m: f64,
}

/// The profile found.
#[derive(Debug, Clone)]
pub struct Profile {
    /// Height of the line at each station.
    pub height_m: Vec<f64>,
    /// Stations at which its slope changes, by their place in the list.
    pub breaks: Vec<usize>,
    solution: Solution,
}

const NO_CHANCE: f64 = 3.29;
const LEAST_SIGMA_M: f64 = 1e-3;

/// Fit the heights. `wander` is how much the slope changes from segment to segment (standard deviation); where it does by
/// more than chance allows, the line breaks, as in plan.
pub fn profile(levels: &[Level], wander: f64) -> Option<Profile> {
    let mut breaks: Vec<usize> = Vec::new();
    loop {
        let mut system = System::of(levels.len());
        for (k, level) in levels.iter().enumerate() {
            system.ask(&[(k, 1.0)], level.height_m, level.sigma_m.max(LEAST_SIGMA_M));
        }
        let mut straight = Vec::new();
        for (first, three) in levels.windows(3).enumerate() {
            let before = 1.0 / (three[1].chainage_m - three[0].chainage_m);
            let after = 1.0 / (three[2].chainage_m - three[1].chainage_m);
            if !breaks.contains(&(first + 1)) {
                let terms = [(first, before), (first + 1, -before - after), (first + 2, after)];
                straight.push((first + 1, system.ask(&terms, 0.0, wander)));
            }
        }
        let solution = system.solve()?;
        let missed = straight.iter().filter_map(|&(k, row)| Some((k, system.missed_by(row, &solution)?)));
        match missed.max_by(|a, b| a.1.total_cmp(&b.1)) {
            Some((k, missed)) if missed > NO_CHANCE => breaks.push(k),
            _ => {
                breaks.sort_unstable();
                return Some(Profile { height_m: solution.x.iter().copied().collect(), breaks, solution });
            }
        }
    }
}

impl Profile {
    /// Standard uncertainty of the line at a station.
    pub fn sigma_m(&self, k: usize) -> f64 {
        self.solution.cov[(k, k)].sqrt()
    }

    /// Height on the way from station `k` to the next, a `share` of it gone, and its standard uncertainty.
    pub fn between(&self, k: usize, share: f64) -> (f64, f64) {
        let (a, b, c) = (1.0 - share, share, &self.solution.cov);
        let height = a * self.height_m[k] + b * self.height_m[k + 1];
        let variance = a * a * c[(k, k)] + 2.0 * a * b * c[(k, k + 1)] + b * b * c[(k + 1, k + 1)];
        (height, variance.max(0.0).sqrt())
    }
}
