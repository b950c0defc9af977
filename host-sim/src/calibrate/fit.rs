//! Least squares: the unknowns that make the residuals smallest, and how well they are known.

use nalgebra::{DMatrix, DVector};

use super::model::Model;

/// More steps than any calibration needs that starts near the truth.
const MOST_STEPS: usize = 50;
/// The fit is done when no unknown moves by more than this.
const DONE: f64 = 1e-8;
/// Step for the differences that give the slopes; all unknowns are of the order of one.
const DIFFERENCE: f64 = 1e-6;

/// A solution.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    /// The unknowns.
    pub x: Vec<f64>,
    /// Their covariance, if every residual is as large as was thought.
    covariance: DMatrix<f64>,
    /// Sum of squares of the residuals of each attitude.
    pub misfit: Vec<f64>,
    /// How many of these residuals are free to be anything.
    pub freedom: f64,
}

impl Fit {
    /// Fits a model by Gauss-Newton steps, halved where they lead uphill (Nocedal and Wright, *Numerical
    /// Optimization*, ch. 10). `None` when they lead nowhere.
    pub fn new(model: &Model) -> Option<Self> {
        let mut x = model.start();
        for _ in 0..MOST_STEPS {
            let weigh_by = x.clone();
            let residuals = DVector::from_vec(model.residuals(&x, &weigh_by));
            let slopes = slopes(model, &x, &weigh_by);
            let step = (slopes.transpose() * &slopes).cholesky()?.solve(&(slopes.transpose() * &residuals));
            let before = residuals.norm_squared();
            let mut share = 1.0;
            let next = loop {
                let next: Vec<f64> = x.iter().zip(step.iter()).map(|(x, s)| x - share * s).collect();
                let after: f64 = model.residuals(&next, &weigh_by).iter().map(|r| r * r).sum();
                if after <= before * (1.0 + 1e-12) || share < 1e-4 {
                    break next;
                }
                share *= 0.5;
            };
            let moved = x.iter().zip(&next).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
            x = next;
            if !moved.is_finite() {
                return None;
            }
            if moved < DONE {
                return Self::at(model, x);
            }
        }
        None
    }

    fn at(model: &Model, x: Vec<f64>) -> Option<Self> {
        let slopes = slopes(model, &x, &x);
        let covariance = (slopes.transpose() * &slopes).cholesky()?.inverse();
        let per_attitude = model.residuals_per_attitude();
        let recorded = model.attitudes() * per_attitude;
        let residuals = model.residuals(&x, &x);
        let misfit =
            residuals[..recorded].chunks(per_attitude).map(|r| r.iter().map(|r| r * r).sum()).collect();
        // Of each residual, the share that the unknowns cannot follow: 1 less the diagonal of the hat matrix.
        let followed: f64 = slopes.row_iter().take(recorded).map(|row| (row * &covariance).dot(&row)).sum();
        Some(Self { x, covariance, misfit, freedom: recorded as f64 - followed })
    }

    /// Sum of squares per degree of freedom: about 1 when everything is as well known as was thought.
    pub fn strain(&self) -> f64 {
        self.misfit.iter().sum::<f64>() / self.freedom.max(1.0)
    }

    /// A linear combination of the first unknowns.
    pub fn value(&self, slope: &[f64]) -> f64 {
        slope.iter().zip(&self.x).map(|(s, x)| s * x).sum()
    }

    /// Its standard uncertainty. Where the residuals are larger than was thought, so is this.
    pub fn sigma(&self, slope: &[f64]) -> f64 {
        let n = slope.len();
        let slope = DVector::from_row_slice(slope);
        let variance = (self.covariance.view((0, 0), (n, n)) * &slope).dot(&slope);
        (variance * self.strain().max(1.0)).sqrt()
    }
}

/// How every residual changes with every unknown, from central differences.
fn slopes(model: &Model, x: &[f64], weigh_by: &[f64]) -> DMatrix<f64> {
    let columns: Vec<DVector<f64>> = (0..x.len())
        .map(|n| {
            let at = |change: f64| {
                let mut x = x.to_vec();
                x[n] += change;
                DVector::from_vec(model.residuals(&x, weigh_by))
            };
            (at(DIFFERENCE) - at(-DIFFERENCE)) / (2.0 * DIFFERENCE)
        })
        .collect();
    DMatrix::from_columns(&columns)
}
