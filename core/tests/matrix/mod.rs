//! What bounds are worked out with.

/// A matrix of 64-bit floats, inverted by elimination.
pub fn inverse<const N: usize>(mut a: [[f64; N]; N]) -> [[f64; N]; N] {
    let mut b = [[0.0; N]; N];
    for (n, row) in b.iter_mut().enumerate() {
        row[n] = 1.0;
    }
    for n in 0..N {
        let pivot = (n..N).max_by(|&i, &j| a[i][n].abs().total_cmp(&a[j][n].abs())).unwrap();
        a.swap(n, pivot);
        b.swap(n, pivot);
        let scale = 1.0 / a[n][n];
        a[n].iter_mut().chain(&mut b[n]).for_each(|cell| *cell *= scale);
        for i in (0..N).filter(|&i| i != n) {
            let factor = a[i][n];
            for j in 0..N {
                a[i][j] -= factor * a[n][j];
                b[i][j] -= factor * b[n][j];
            }
        }
    }
    b
}
