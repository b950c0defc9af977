//! Symmetric 3 x 3 matrices, as six numbers: what the slopes of a dipole's field are, and their squares.

use core::ops::{Add, Mul, Sub};

use glam::{Mat3, Vec3, Vec3Swizzles};

/// A symmetric matrix.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Symmetric {
    /// xx, yy, zz.
    pub diagonal: Vec3,
    /// yz, zx, xy.
    pub beside: Vec3,
}

impl Symmetric {
    /// All zero.
    pub const ZERO: Self = Self { diagonal: Vec3::ZERO, beside: Vec3::ZERO };

    /// With `a` added along the diagonal.
    pub fn plus(self, a: f32) -> Self {
        Self { diagonal: self.diagonal + a, ..self }
    }

    /// `a a^T`.
    pub fn square_of(a: Vec3) -> Self {
        Self { diagonal: a * a, beside: a.yzx() * a.zxy() }
    }

    /// `a b^T + b a^T`.
    pub fn products_of(a: Vec3, b: Vec3) -> Self {
        Self { diagonal: 2.0 * a * b, beside: a.yzx() * b.zxy() + a.zxy() * b.yzx() }
    }

    /// `a^T b`, which is known to be symmetric.
    pub fn product(a: Mat3, b: Mat3) -> Self {
        Self {
            diagonal: Vec3::new(a.x_axis.dot(b.x_axis), a.y_axis.dot(b.y_axis), a.z_axis.dot(b.z_axis)),
            beside: Vec3::new(a.y_axis.dot(b.z_axis), a.z_axis.dot(b.x_axis), a.x_axis.dot(b.y_axis)),
        }
    }

    /// All nine numbers.
    pub fn matrix(self) -> Mat3 {
        let Self { diagonal: d, beside: b } = self;
        Mat3::from_cols(Vec3::new(d.x, b.z, b.y), Vec3::new(b.z, d.y, b.x), Vec3::new(b.y, b.x, d.z))
    }

    /// The inverse, by the adjugate.
    pub fn inverse(self) -> Self {
        let Self { diagonal: d, beside: b } = self;
        let adjugate = Self { diagonal: d.yzx() * d.zxy() - b * b, beside: b.yzx() * b.zxy() - d * b };
        let determinant = d.x * adjugate.diagonal.x + b.y * adjugate.beside.y + b.z * adjugate.beside.z;
        adjugate * (1.0 / determinant)
    }
}

impl Add for Symmetric {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self { diagonal: self.diagonal + other.diagonal, beside: self.beside + other.beside }
    }
}

impl Sub for Symmetric {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        Self { diagonal: self.diagonal - other.diagonal, beside: self.beside - other.beside }
    }
}

impl Mul<f32> for Symmetric {
    type Output = Self;

    fn mul(self, by: f32) -> Self {
        Self { diagonal: self.diagonal * by, beside: self.beside * by }
    }
}

impl Mul<Vec3> for Symmetric {
    type Output = Vec3;

    fn mul(self, by: Vec3) -> Vec3 {
        let Self { diagonal, beside } = self;
        diagonal * by + beside.zxy() * by.yzx() + beside.yzx() * by.zxy()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(a: Mat3, b: Mat3) -> bool {
        a.abs_diff_eq(b, 1e-5)
    }

    #[test]
    fn six_numbers_do_what_nine_would() {
        let a = Symmetric { diagonal: Vec3::new(2.0, 3.0, 1.5), beside: Vec3::new(0.3, -0.7, 0.4) };
        let (u, v) = (Vec3::new(0.3, -1.2, 0.8), Vec3::new(1.1, 0.2, -0.5));
        let outer = |u: Vec3, v: Vec3| Mat3::from_cols(u * v.x, u * v.y, u * v.z);
        assert!(close(a.inverse().matrix(), a.matrix().inverse()));
        assert!((a * u - a.matrix() * u).length() < 1e-6);
        assert!(close(Symmetric::square_of(u).matrix(), outer(u, u)));
        assert!(close(Symmetric::products_of(u, v).matrix(), outer(u, v) + outer(v, u)));
        assert!(close(Symmetric::product(a.matrix(), a.matrix()).matrix(), a.matrix() * a.matrix()));
    }
}
