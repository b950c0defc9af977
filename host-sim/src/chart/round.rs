//! Round figures for scales.

/// The largest of 1, 2 and 5 times a power of ten that is not above `x`, which must be positive.
pub fn round_down(x: f64) -> f64 {
    let decade = 10_f64.powf(x.log10().floor());
    [5.0, 2.0].into_iter().map(|m| m * decade).find(|&r| r <= x).unwrap_or(decade)
}

/// The smallest of 1, 2 and 5 times a power of ten that is not below `x`, which must be positive.
pub fn round_up(x: f64) -> f64 {
    let decade = 10_f64.powf(x.log10().floor());
    [1.0, 2.0, 5.0].into_iter().map(|m| m * decade).find(|&r| r >= x).unwrap_or(10.0 * decade)
}

/// A round figure in words, free of the dust of binary fractions.
pub fn plain(figure: f64) -> String {
    // Adding zero turns a negative zero into a plain one.
    format!("{}", (figure * 1e6).round() / 1e6 + 0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn round_figures_bracket(x in 1e-3_f64..1e7) {
            let (low, high) = (round_down(x), round_up(x));
            prop_assert!(low <= x * (1.0 + 1e-12) && x <= high * (1.0 + 1e-12));
            prop_assert!(high / low <= 2.5 + 1e-9);
        }
    }
}
