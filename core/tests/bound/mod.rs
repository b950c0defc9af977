//! The Cramer-Rao bound of a fit over a walk, and how near to it many fits come.

use super::matrix::inverse;

/// Standard deviations of all unknowns that no unbiased estimate can beat: the Fisher information of all looks, each with
/// its own place unknown but for `pose_m` in east and north, inverted.
///
/// `fields` are those of both nodes for the unknowns, seen from a place; the last unknown is the upper node's gain, known
/// to `ratio_sigma` beforehand.
pub fn bound<const U: usize>(
    fields: impl Fn(&[f64; U], [f64; 3]) -> [f64; 6],
    truth: &[f64; U],
    walk: &[[f64; 3]],
    [sigma_nt, pose_m, ratio_sigma]: [f64; 3],
) -> [f64; U] {
    let mut fisher = [[0.0; U]; U];
    fisher[U - 1][U - 1] = 1.0 / (ratio_sigma * ratio_sigma);
    let h = 1e-5;
    let between = |up: [f64; 6], down: [f64; 6]| [0, 1, 2, 3, 4, 5].map(|k| (up[k] - down[k]) / (2.0 * h));
    for &at in walk {
        let slopes: [[f64; 6]; U] = std::array::from_fn(|n| {
            let (mut up, mut down) = (*truth, *truth);
            up[n] += h;
            down[n] -= h;
            between(fields(&up, at), fields(&down, at))
        });
        let by_place = [0, 1].map(|axis| {
            let (mut up, mut down) = (at, at);
            up[axis] += h;
            down[axis] -= h;
            between(fields(truth, up), fields(truth, down))
        });
        let mut covariance = [[0.0; 6]; 6];
        for (i, row) in covariance.iter_mut().enumerate() {
            for (j, cell) in row.iter_mut().enumerate() {
                *cell = pose_m * pose_m * by_place.iter().map(|by| by[i] * by[j]).sum::<f64>();
            }
            row[i] += sigma_nt * sigma_nt;
        }
        let weights = inverse(covariance);
        for (i, row) in fisher.iter_mut().enumerate() {
            for (j, cell) in row.iter_mut().enumerate() {
                for k in 0..6 {
                    *cell += (0..6).map(|l| slopes[i][k] * weights[k][l] * slopes[j][l]).sum::<f64>();
                }
            }
        }
    }
    let covariance = inverse(fisher);
    std::array::from_fn(|n| covariance[n][n].sqrt())
}

/// Depth errors over many seeds: bias and spread over the bound, and how far the stated sigma is from the truth.
pub struct Trial {
    pub bias: f64,
    pub efficiency: f64,
    pub stated: f64,
    pub found: usize,
}

impl Trial {
    /// Of the error and the stated sigma of each fit that there was, metres; printed behind `what` was tried.
    pub fn of(found: &[(f64, f64)], bound_m: f64, what: &str) -> Self {
        let count = found.len() as f64;
        let bias_m = found.iter().map(|(e, _)| e).sum::<f64>() / count;
        let spread_m = (found.iter().map(|(e, _)| (e - bias_m).powi(2)).sum::<f64>() / count).sqrt();
        let stated = (found.iter().map(|(e, s)| (e / s).powi(2)).sum::<f64>() / count).sqrt();
        let (bias, efficiency) = (bias_m / bound_m, spread_m / bound_m);
        println!(
            "{what}: bound {:7.3} mm, {} found, bias {bias:+.2} bounds, spread {efficiency:.3} bounds, rms in stated sigmas \
             {stated:.2}",
            1000.0 * bound_m,
            found.len(),
        );
        Self { bias, efficiency, stated, found: found.len() }
    }
}
