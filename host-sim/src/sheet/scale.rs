//! Scales that drawings on paper usually have.

/// The N of the largest usual drawing scale 1:N at which something of `length_m` fits into `paper_mm`.
pub fn ratio(length_m: f64, paper_mm: f64) -> f64 {
    /// Larger scales than this would show a precision nobody has.
    const LARGEST_SCALE: f64 = 20.0;
    let n = (length_m * 1000.0 / paper_mm).max(LARGEST_SCALE);
    let decade = 10_f64.powf(n.log10().floor());
    const STEPS: [f64; 10] = [1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 7.5];
    STEPS.into_iter().map(|m| m * decade).find(|&r| r >= n).unwrap_or(10.0 * decade)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn what_was_scaled_fits_and_does_not_get_lost(length_m in 1e-3_f64..1e7) {
            let n = ratio(length_m, 150.0);
            let on_paper_mm = length_m * 1000.0 / n;
            prop_assert!(on_paper_mm <= 150.0 + 1e-6);
            prop_assert!(n <= 20.0 || on_paper_mm >= 150.0 * 0.74);
        }
    }

    #[test]
    fn usual_scales() {
        assert_eq!(ratio(12.0, 150.0), 100.0);
        assert_eq!(ratio(30.0, 150.0), 200.0);
        assert_eq!(ratio(37.0, 150.0), 250.0);
        assert_eq!(ratio(140.0, 150.0), 1000.0);
        assert_eq!(ratio(0.0, 150.0), 20.0);
    }
}
