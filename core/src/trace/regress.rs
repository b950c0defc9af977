//! Weighted least squares of a few coefficients.

use crate::fit::normal::{Matrix, Normal};

/// Sums over what was seen so far, for `K` coefficients.
pub struct Regress<const K: usize> {
    normal: Normal<K>,
    count: usize,
}

impl<const K: usize> Regress<K> {
    pub const NONE: Self = Self { normal: Normal::NONE, count: 0 };

    /// A value that is the sum of the coefficients times `terms`, but for so much variance.
    pub fn push(&mut self, terms: [f32; K], value: f32, variance: f32) {
        let weight = 1.0 / variance.max(1e-12);
        self.count += 1;
        for ((cells, right), a) in self.normal.matrix.iter_mut().zip(&mut self.normal.right).zip(terms) {
            cells.iter_mut().zip(terms).for_each(|(cell, b)| *cell += weight * a * b);
            *right += weight * a * value;
        }
    }

    /// By how much these coefficients lower the weighted sum of squares.
    pub fn explained(&self, coefficients: [f32; K]) -> f32 {
        self.normal.right.iter().zip(coefficients).map(|(right, x)| right * x).sum()
    }

    /// The coefficients and their covariance; `None` where there are not so many values more than coefficients.
    pub fn solved(&self, spare: usize) -> Option<([f32; K], Matrix<K>)> {
        (self.count >= K + spare).then_some(())?;
        self.normal.step().zip(self.normal.covariance().ok())
    }
}
