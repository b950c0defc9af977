//! The fit of the whole walk against scipy.optimize.least_squares on the same looks, every uncertain place an unknown of
//! its own. `reference/make_traverse.py` says what was computed. Prints its figures
//! (`cargo test --release -p nullwalk-tests --test reference_traverse -- --nocapture`).

use glam::Vec3;
use nullwalk_core::fit::{Dipole, Ring, TRAVERSE_UNKNOWNS, Traversed, traverse};
use nullwalk_tests::reference_data;
use serde::Deserialize;

/// What scipy found of a walk.
#[derive(Deserialize)]
struct Solution {
    depth_m: f64,
    start: [f32; 6],
    node_ratio_sigma: f32,
    unknowns: [f64; TRAVERSE_UNKNOWNS],
    covariance: [[f64; TRAVERSE_UNKNOWNS]; TRAVERSE_UNKNOWNS],
    /// Sum of squares of all looks, of one no more than Huber's threshold.
    chi_square: f64,
    /// Looks beyond Huber's threshold.
    beyond: u32,
}

impl Solution {
    fn fitted(&self, walk: &Ring<128>) -> Traversed {
        let [x, y, z, mx, my, mz] = self.start;
        let start = Dipole { at_m: Vec3::new(x, y, z), moment: Vec3::new(mx, my, mz) };
        traverse(walk, start, self.node_ratio_sigma).expect("scipy found it")
    }

    fn sigma(&self, unknown: usize) -> f64 {
        self.covariance[unknown][unknown].sqrt()
    }

    /// How far the farthest unknown is off, in scipy's sigmas.
    fn unknowns_off(&self, found: &Traversed) -> f64 {
        let Dipole { at_m, moment } = found.dipole;
        let own = [at_m.x, at_m.y, at_m.z, moment.x, moment.y, moment.z, found.upper_gain];
        let off = |n: usize| ((f64::from(own[n]) - self.unknowns[n]) / self.sigma(n)).abs();
        (0..TRAVERSE_UNKNOWNS).map(off).fold(0.0, f64::max)
    }

    /// How far the farthest entry of the covariance is off, over the product of the two sigmas.
    fn covariance_off(&self, found: &Traversed) -> f64 {
        let entries = (0..TRAVERSE_UNKNOWNS).flat_map(|i| (0..TRAVERSE_UNKNOWNS).map(move |j| (i, j)));
        let off = |(i, j): (usize, usize)| {
            let difference = f64::from(found.covariance[i][j]) - self.covariance[i][j];
            (difference / (self.sigma(i) * self.sigma(j))).abs()
        };
        entries.map(off).fold(0.0, f64::max)
    }
}

#[test]
fn the_fit_of_a_walk_agrees_with_scipy() {
    let solutions: Vec<Solution> = reference_data::document("traverse.json");
    let walks = reference_data::walks("traverse_looks.csv");
    assert!(solutions.len() >= 16 && walks.len() == solutions.len());
    let mut wrong = Vec::new();
    for (number, (solution, walk)) in solutions.iter().zip(&walks).enumerate() {
        let found = solution.fitted(walk);
        let (unknowns, covariance) = (solution.unknowns_off(&found), solution.covariance_off(&found));
        let chi_square = (f64::from(found.chi_square) - solution.chi_square).abs();
        println!(
            "{number:2}: {:.1} m, poses {:4.1} cm, {} beyond: unknowns within {unknowns:.4} sigma, covariance within \
             {:.2} %, chi-square {:.1} within {chi_square:.3}",
            solution.depth_m,
            100.0 * walk.looks()[0].pose_sigma_m.x,
            solution.beyond,
            100.0 * covariance,
            solution.chi_square,
        );
        let agrees = unknowns < 0.05 && covariance < 0.03 && chi_square < 0.05;
        if !agrees || found.outliers != solution.beyond {
            wrong.push(number);
        }
    }
    assert!(wrong.is_empty(), "walks {wrong:?} differ from scipy's solution");
}
