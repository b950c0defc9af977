//! Linear equations with more rows than unknowns, by weighted least squares.

use nalgebra::{DMatrix, DVector};

/// What is asked of the unknowns, row by row. Each row is in units of its own standard uncertainty.
#[derive(Debug, Clone, Default)]
pub struct System {
    unknowns: usize,
    rows: Vec<Row>,
}

#[derive(Debug, Clone)]
struct Row {
    terms: Vec<(usize, f64)>,
    value: f64,
}

/// The unknowns and all that is known of them.
#[derive(Debug, Clone)]
pub struct Solution {
    /// Best values.
    pub x: DVector<f64>,
    /// Their covariance.
    pub cov: DMatrix<f64>,
}

impl System {
    /// Of so many unknowns.
    pub fn of(unknowns: usize) -> Self {
        Self { unknowns, rows: Vec::new() }
    }

    /// The sum of `terms` is `value`, give or take `sigma`. Gives the number of the row.
    pub fn ask(&mut self, terms: &[(usize, f64)], value: f64, sigma: f64) -> usize {
        let terms = terms.iter().map(|&(k, c)| (k, c / sigma)).collect();
        self.rows.push(Row { terms, value: value / sigma });
        self.rows.len() - 1
    }

    /// Best values, unless the rows do not tell them.
    pub fn solve(&self) -> Option<Solution> {
        let n = self.unknowns;
        let (mut normal, mut pull) = (DMatrix::zeros(n, n), DVector::zeros(n));
        for row in &self.rows {
            for &(i, a) in &row.terms {
                pull[i] += a * row.value;
                for &(j, b) in &row.terms {
                    normal[(i, j)] += a * b;
                }
            }
        }
        let cholesky = normal.cholesky()?;
        Some(Solution { x: cholesky.solve(&pull), cov: cholesky.inverse() })
    }

    /// By how many of its own standard uncertainties a row is missed: the data-snooping test of Baarda 1968. None where
    /// nothing but the row itself tells.
    pub fn missed_by(&self, row: usize, solution: &Solution) -> Option<f64> {
        let row = self.rows.get(row)?;
        let mut missed = -row.value;
        let mut known = 0.0;
        for &(i, a) in &row.terms {
            missed += a * solution.x[i];
            for &(j, b) in &row.terms {
                known += a * b * solution.cov[(i, j)];
            }
        }
        let left = 1.0 - known;
        (left > UNCHECKED).then(|| missed.abs() / left.sqrt())
    }

    /// Sum of the squares of all that is missed.
    pub fn chi_square(&self, solution: &Solution) -> f64 {
        let missed = |row: &Row| row.terms.iter().map(|&(i, a)| a * solution.x[i]).sum::<f64>() - row.value;
        self.rows.iter().map(|row| missed(row).powi(2)).sum()
    }
}

/// Share of a row's variance that others have to check for it to be tested at all.
const UNCHECKED: f64 = 1e-6;
