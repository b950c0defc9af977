//! The line of a run in plan: as smooth as pipes are laid, bent where the stations say so.

use glam::DVec2;

use super::system::{Solution, System};
use crate::book::Measured;
use crate::job::{Cov, Spot};

/// What is known of a run at one station.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlanStation {
    /// Where it is.
    pub spot: Spot,
    /// Direction of the pipe, degrees clockwise from north, a line and no arrow.
    pub lay_deg: Option<Measured>,
    /// Whether the pipe is known to bend here.
    pub bends: bool,
}

/// The line found.
#[derive(Debug, Clone)]
pub struct Plan {
    /// Where the line passes each station.
    pub at: Vec<DVec2>,
    /// Stations at which it bends, by their place in the list, known beforehand or found.
    pub bends: Vec<usize>,
    /// Sum of squared deviations.
    pub chi_square: f64,
    solution: Solution,
}

/// A row that is missed by more is no chance: 0.1 % of the normal distribution, both tails.
const NO_CHANCE: f64 = 3.29;
/// No place is surer than this, metres: no mark is.
const LEAST_SIGMA_M: f64 = 1e-3;
/// Stations nearer to each other than this tell no direction, metres.
pub const LEAST_APART_M: f64 = 0.05;

/// Fit the line. `wander_rad` is how much the direction changes from segment to segment where the pipe does not bend
/// (standard deviation). Every unknown is a place; rows ask
///
/// - that each place is the measured one, within its covariance;
/// - that the direction does not change at a station, within `wander_rad`, unless it bends there;
/// - that the direction at a station is the measured lay, unless it bends there. The direction there is the mean of the
///   two segments', the nearer neighbour's weighing more.
///
/// A station at which the second row is missed by more than chance allows is one at which the pipe bends; the worst is
/// freed first, and all is done again.
///
/// `None` for fewer than two stations, or where two follow each other at the same place.
pub fn plan(stations: &[PlanStation], wander_rad: f64) -> Option<Plan> {
    let mut bends: Vec<usize> = (0..stations.len()).filter(|&k| stations[k].bends).collect();
    loop {
        let (system, straight) = rows(stations, wander_rad, &bends)?;
        let solution = system.solve()?;
        let missed = straight.iter().filter_map(|&(k, row)| Some((k, system.missed_by(row, &solution)?)));
        match missed.max_by(|a, b| a.1.total_cmp(&b.1)) {
            Some((k, missed)) if missed > NO_CHANCE => bends.push(k),
            _ => {
                bends.sort_unstable();
                let at = (0..stations.len())
                    .map(|k| DVec2::new(solution.x[2 * k], solution.x[2 * k + 1]))
                    .collect();
                return Some(Plan { at, bends, chi_square: system.chi_square(&solution), solution });
            }
        }
    }
}

/// All rows, and which of them ask for straightness at which station.
fn rows(
    stations: &[PlanStation],
    wander_rad: f64,
    bends: &[usize],
) -> Option<(System, Vec<(usize, usize)>)> {
    let measured: Vec<DVec2> = stations.iter().map(|s| s.spot.at).collect();
    let lengths: Vec<f64> = measured.windows(2).map(|w| w[0].distance(w[1])).collect();
    if lengths.is_empty() || lengths.iter().any(|&l| l < LEAST_APART_M) {
        return None;
    }
    let mut system = System::of(2 * stations.len());
    for (k, station) in stations.iter().enumerate() {
        let [ee, en, nn] = station.spot.cov.and(Cov::round(LEAST_SIGMA_M)).0;
        // The square root of the covariance, row by row.
        let (east, slant) = (ee.sqrt(), en / ee);
        let rest = (nn - en * slant).max(LEAST_SIGMA_M * LEAST_SIGMA_M).sqrt();
        let at = station.spot.at;
        system.ask(&[(2 * k, 1.0)], at.x, east);
        system.ask(&[(2 * k + 1, 1.0), (2 * k, -slant)], at.y - slant * at.x, rest);
    }
    let mut straight = Vec::new();
    for k in 1..stations.len() - 1 {
        if bends.contains(&k) {
            continue;
        }
        let across = (measured[k + 1] - measured[k - 1]).try_normalize()?.perp();
        let (before, after) = (1.0 / lengths[k - 1], 1.0 / lengths[k]);
        let terms = along(k - 1, across, [before, -before - after, after]);
        straight.push((k, system.ask(&terms, 0.0, wander_rad)));
    }
    for (k, station) in stations.iter().enumerate() {
        let Some(lay) = station.lay_deg.filter(|_| !bends.contains(&k)) else { continue };
        let (sin, cos) = lay.value.to_radians().sin_cos();
        let across = DVec2::new(sin, cos).perp();
        let sigma = lay.sigma.to_radians().hypot(wander_rad);
        let terms = match k {
            0 => along(0, across, [-1.0 / lengths[0], 1.0 / lengths[0], 0.0]),
            _ if k + 1 == stations.len() => {
                along(k - 1, across, [-1.0 / lengths[k - 1], 1.0 / lengths[k - 1], 0.0])
            }
            _ => {
                let (before, after) = (lengths[k - 1], lengths[k]);
                let weight = before / (before + after);
                let (b, a) = ((1.0 - weight) / before, weight / after);
                along(k - 1, across, [-b, b - a, a])
            }
        };
        system.ask(&terms, 0.0, sigma);
    }
    Some((system, straight))
}

/// What three places in turn come to along a direction.
fn along(first: usize, direction: DVec2, weights: [f64; 3]) -> Vec<(usize, f64)> {
    let term =
        |(k, w): (usize, f64)| [(2 * (first + k), w * direction.x), (2 * (first + k) + 1, w * direction.y)];
    weights.into_iter().enumerate().filter(|(_, w)| *w != 0.0).flat_map(term).collect()
}

impl Plan {
    /// Covariance of the line at a station.
    pub fn cov(&self, k: usize) -> Cov {
        let c = &self.solution.cov;
        Cov([c[(2 * k, 2 * k)], c[(2 * k, 2 * k + 1)], c[(2 * k + 1, 2 * k + 1)]])
    }

    /// Covariance of the line on the way from station `k` to the next, a `share` of it gone.
    pub fn cov_between(&self, k: usize, share: f64) -> Cov {
        let c = &self.solution.cov;
        let (a, b) = (1.0 - share, share);
        let at = |i: usize, j: usize| {
            let (p, q) = (2 * k, 2 * k + 2);
            a * a * c[(p + i, p + j)]
                + a * b * (c[(p + i, q + j)] + c[(q + i, p + j)])
                + b * b * c[(q + i, q + j)]
        };
        Cov([at(0, 0), at(0, 1), at(1, 1)])
    }

    /// Angle by which the line turns at a station, degrees, to the right positive; 0 at the ends.
    pub fn turn_deg(&self, k: usize) -> f64 {
        let Some([a, b, c]) = k.checked_sub(1).and_then(|first| self.at.get(first..first + 3)) else {
            return 0.0;
        };
        -(*b - *a).angle_to(*c - *b).to_degrees()
    }
}
