//! What is held of a sweep's fields, so that thousands of lines are soon compared with them.

use num_complex::Complex64;

/// Numbers of one stretch: products of six components, or the components.
pub(super) const PRODUCTS: usize = 21;
pub(super) const COMPONENTS: usize = 6;
/// Multiplications that a processor does at once.
const ABREAST: usize = 16;

/// Fields over their noise, one for each look of the walk.
pub type White = [Complex64; 6];

/// What is held of one sweep's fields: rows of numbers that a line's are multiplied with. One row, or one each for real
/// and imaginary part.
pub struct Held(pub(super) Vec<Vec<f32>>);

impl Held {
    /// The same with so many times the noise.
    pub(super) fn louder(&self, level: f64) -> Self {
        let times = match self.0.len() {
            1 => 1.0 / (level * level),
            _ => 1.0 / level,
        };
        Self(self.0.iter().map(|row| row.iter().map(|x| x * times as f32).collect()).collect())
    }

    /// The sum of squares of a line whose numbers are these.
    pub(super) fn sum(&self, row: &[f32]) -> f64 {
        match self.0.as_slice() {
            [free] => dot(free, row),
            parts => parts.iter().map(|part| dot(part, row).powi(2)).sum(),
        }
    }
}

/// Of the fields of several looks, each with a phase of its own, all that a line's sum of squares needs.
pub(super) fn products(looks: &[White]) -> Vec<f32> {
    let mut products = Vec::with_capacity(PRODUCTS);
    for i in 0..COMPONENTS {
        for j in i..COMPONENTS {
            let both: f64 = looks.iter().map(|z| (z[i] * z[j].conj()).re).sum();
            products.push(if i == j { both } else { 2.0 * both } as f32);
        }
    }
    products
}

/// Of looks that share a phase: their sum.
pub(super) fn sums(looks: &[White]) -> [Complex64; COMPONENTS] {
    let mut sums = [Complex64::ZERO; COMPONENTS];
    for look in looks {
        sums.iter_mut().zip(look).for_each(|(sum, z)| *sum += z);
    }
    sums
}

fn dot(a: &[f32], b: &[f32]) -> f64 {
    let mut sums = [0.0_f32; ABREAST];
    let (a, b) = (a.chunks_exact(ABREAST), b.chunks_exact(ABREAST));
    let rest: f32 = a.remainder().iter().zip(b.remainder()).map(|(x, y)| x * y).sum();
    for (a, b) in a.zip(b) {
        for k in 0..ABREAST {
            sums[k] += a[k] * b[k];
        }
    }
    f64::from(rest) + sums.iter().copied().map(f64::from).sum::<f64>()
}
