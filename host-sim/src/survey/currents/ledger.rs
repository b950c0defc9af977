//! A loss and steps, fitted to currents.

use nalgebra::{DMatrix, DVector};

use super::Fix;

/// The logarithm of the current by least squares: a value, a loss, and steps.
pub(super) struct Ledger {
    pub(super) solution: DVector<f64>,
    pub(super) covariance: DMatrix<f64>,
    pub(super) chi_square: f64,
}

impl Ledger {
    /// Steps are after the fixes of these numbers.
    pub(super) fn of(fixes: &[&Fix], steps: &[usize]) -> Option<Self> {
        let count = 2 + steps.len();
        let row = |n: usize| {
            let mut row = DVector::zeros(count);
            (row[0], row[1]) = (1.0, -(fixes[n].at_m - fixes[0].at_m));
            for (k, after) in steps.iter().enumerate() {
                row[2 + k] = if n > *after { 1.0 } else { 0.0 };
            }
            row
        };
        let (mut matrix, mut right) = (DMatrix::zeros(count, count), DVector::zeros(count));
        let sigma = |fix: &Fix| fix.sigma_ma() / fix.current_ma;
        for (n, fix) in fixes.iter().enumerate() {
            let (row, weight) = (row(n), 1.0 / sigma(fix).powi(2));
            matrix += &row * row.transpose() * weight;
            right += row * (weight * fix.current_ma.ln());
        }
        let decomposed = matrix.cholesky()?;
        let solution = decomposed.solve(&right);
        let residual =
            |(n, fix): (usize, &&Fix)| ((fix.current_ma.ln() - row(n).dot(&solution)) / sigma(fix)).powi(2);
        let chi_square = fixes.iter().enumerate().map(residual).sum();
        Some(Self { solution, covariance: decomposed.inverse(), chi_square })
    }

    pub(super) fn sigma(&self, unknown: usize) -> f64 {
        self.covariance[(unknown, unknown)].sqrt()
    }
}
