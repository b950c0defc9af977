//! Normal equations of a weighted least-squares problem with `U` unknowns, and their solution by Cholesky's
//! factorisation.

use crate::math;

/// A square matrix.
pub type Matrix<const U: usize> = [[f32; U]; U];

/// The sums of one linearisation: `matrix * step = right`.
#[derive(Debug, Clone, Copy)]
pub struct Normal<const U: usize> {
    pub matrix: Matrix<U>,
    pub right: [f32; U],
}

impl<const U: usize> Normal<U> {
    /// Nothing summed yet.
    pub const NONE: Self = Self { matrix: [[0.0; U]; U], right: [0.0; U] };

    /// The step that the equations ask for.
    pub fn step(&self) -> Option<[f32; U]> {
        solution(&self.matrix, self.right)
    }

    /// Covariance of the unknowns: the inverse of the matrix.
    ///
    /// # Errors
    /// The number of the first unknown that nothing determines.
    pub fn covariance(&self) -> Result<Matrix<U>, usize> {
        let lower = factor(&self.matrix)?;
        let mut covariance = [[0.0; U]; U];
        for (n, column) in covariance.iter_mut().enumerate() {
            let mut unit = [0.0; U];
            unit[n] = 1.0;
            *column = solve(&lower, unit);
        }
        Ok(covariance)
    }
}

/// Variance of a sum of unknowns, each so many times.
pub fn variance<const U: usize>(covariance: &Matrix<U>, times: [f32; U]) -> f32 {
    let rows = covariance.iter().zip(times);
    rows.map(|(row, a)| a * row.iter().zip(times).map(|(cell, b)| cell * b).sum::<f32>()).sum()
}

/// Solution of the equations of a symmetric positive definite matrix; `None` where it is none.
pub fn solution<const U: usize>(matrix: &Matrix<U>, right: [f32; U]) -> Option<[f32; U]> {
    Some(solve(&factor(matrix).ok()?, right))
}

/// Cholesky factor of a symmetric positive definite matrix, or the number of the row where it is none.
pub fn factor<const U: usize>(matrix: &Matrix<U>) -> Result<Matrix<U>, usize> {
    let mut lower = [[0.0; U]; U];
    for i in 0..U {
        for j in 0..=i {
            let known: f32 = lower[i].iter().zip(&lower[j]).take(j).map(|(a, b)| a * b).sum();
            let sum = matrix[i][j] - known;
            if i == j {
                // An unknown that nothing determines leaves only rounding of its own size.
                if sum.is_nan() || sum <= 1e-6 * matrix[i][i].abs() {
                    return Err(i);
                }
                lower[i][i] = math::sqrt(sum);
            } else {
                lower[i][j] = sum / lower[j][j];
            }
        }
    }
    Ok(lower)
}

/// Solve with a Cholesky factor, forwards and backwards.
pub fn solve<const U: usize>(lower: &Matrix<U>, right: [f32; U]) -> [f32; U] {
    let mut x = right;
    for i in 0..U {
        let known: f32 = lower[i].iter().zip(&x).take(i).map(|(a, b)| a * b).sum();
        x[i] = (x[i] - known) / lower[i][i];
    }
    for i in (0..U).rev() {
        let known: f32 = lower.iter().zip(&x).skip(i + 1).map(|(row, b)| row[i] * b).sum();
        x[i] = (x[i] - known) / lower[i][i];
    }
    x
}
