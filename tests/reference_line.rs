//! The fit of a line to a whole walk against scipy.optimize.least_squares on the same looks, every uncertain place an
//! unknown of its own, and its sigma against the Cramer-Rao bound. `reference/make_line.py` says what was computed. Prints
//! its figures (`cargo test --release -p nullwalk-tests --test reference_line -- --nocapture`).

use glam::Vec3;
use nullwalk_core::depth::Measured;
use nullwalk_core::fit::Shared;
use nullwalk_core::fit::line::{self, traverse};
use nullwalk_tests::reference_data;
use serde::Deserialize;

/// Unknowns of a line in free space.
const UNKNOWNS: usize = 6;

/// What scipy found of a walk: to the left and up at x = 0, lay, slope, current, gain.
#[derive(Deserialize)]
struct Solution {
    node_ratio_sigma: f32,
    unknowns: [f64; UNKNOWNS],
    covariance: [[f64; UNKNOWNS]; UNKNOWNS],
    chi_square: f64,
    beyond: usize,
    bound_m: f64,
}

#[test]
fn the_fit_of_a_line_agrees_with_scipy_and_with_the_bound() {
    let solutions: Vec<Solution> = reference_data::document("line.json");
    let walks = reference_data::walks("line_looks.csv");
    assert!(walks.len() == solutions.len() && walks.len() >= 10);
    for (number, (walk, solution)) in walks.iter().zip(&solutions).enumerate() {
        let start = line::start(walk).expect("a line to begin with");
        let shared = Shared { node_ratio: solution.node_ratio_sigma, ..Shared::default() };
        let found = traverse(walk, start, &shared, Measured::default()).expect("scipy found it");
        let sigma = |n: usize| solution.covariance[n][n].sqrt();
        let [left, up, lay, slope, current, gain] = solution.unknowns;
        // Abreast of the middle scipy's line is so far on from x = 0.
        let along = found.source.along * found.source.along.x.signum();
        let at_x0 = found.source.at_m - along * (found.source.at_m.x / along.x);
        let offs = [
            (f64::from(at_x0.y) - left) / sigma(0),
            (f64::from(at_x0.z) - up) / sigma(1),
            (f64::from(along.y.atan2(along.x)) - lay) / sigma(2),
            (f64::from(along.z.asin()) - slope) / sigma(3),
            (f64::from(found.source.current_a.abs()) - current) / sigma(4),
            (f64::from(found.upper_gain) - gain) / sigma(5),
        ];
        let off = offs.iter().fold(0.0_f64, |worst, off| worst.max(off.abs()));
        let depth = found.depth_below_m(Vec3::new(0.0, at_x0.y, 0.0));
        let outlying = (found.outlying_share * walk.looks().len() as f32).round() as usize;
        let sigma_off = f64::from(depth.sigma) / sigma(1) - 1.0;
        let chi_off = f64::from(found.chi_square) / solution.chi_square - 1.0;
        let over_bound = f64::from(depth.sigma) / solution.bound_m;
        println!(
            "{number}: unknowns within {off:.4} sigma, depth sigma within {:.2} %, chi-square {:.1} within {:.2} %, \
             {outlying} beyond ({}), sigma over bound {over_bound:.3}",
            100.0 * sigma_off.abs(),
            solution.chi_square,
            100.0 * chi_off.abs(),
            solution.beyond
        );
        assert!(
            off < 0.05 && sigma_off.abs() < 0.02 && chi_off.abs() < 0.01 && outlying == solution.beyond
        );
        assert!((0.97..1.06).contains(&over_bound));
    }
}
