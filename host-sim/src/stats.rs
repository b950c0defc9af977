//! The little statistics that summaries need.

/// Half width of a normal 95 % range in sigmas.
const SIGMAS_95: f64 = 1.96;

/// A share of trials with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// How many.
    pub count: usize,
    /// Of how many.
    pub of: usize,
}

impl Share {
    /// How many of the values hold.
    pub fn holding(values: impl IntoIterator<Item = bool>) -> Self {
        values.into_iter().fold(Self { count: 0, of: 0 }, |share, holds| Self {
            count: share.count + usize::from(holds),
            of: share.of + 1,
        })
    }

    /// The share itself; `None` of nothing.
    pub fn value(self) -> Option<f64> {
        (self.of > 0).then(|| self.count as f64 / self.of as f64)
    }

    /// The 95 % interval of the probability behind it (Wilson 1927, J. Am. Stat. Assoc. 22:209): it stays within
    /// 0 and 1 and is of use even when none or all hold.
    pub fn interval(self) -> (f64, f64) {
        let n = self.of as f64;
        let Some(p) = self.value() else {
            return (0.0, 1.0);
        };
        let z2 = SIGMAS_95 * SIGMAS_95;
        let middle = (p + z2 / (2.0 * n)) / (1.0 + z2 / n);
        let half = SIGMAS_95 / (1.0 + z2 / n) * (p * (1.0 - p) / n + z2 / (4.0 * n * n)).sqrt();
        ((middle - half).max(0.0), (middle + half).min(1.0))
    }
}

/// The value below which a share of the values lies, between neighbours by a straight line; `None` of nothing.
pub fn quantile(values: &[f64], share: f64) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = share.clamp(0.0, 1.0) * sorted.len().checked_sub(1)? as f64;
    let (below, above) = (sorted.get(at.floor() as usize)?, sorted.get(at.ceil() as usize)?);
    Some(below + (above - below) * at.fract())
}

/// The middle value, which is reordered for it; the upper one of two, zero of nothing.
pub fn median(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    if values.is_empty() {
        return 0.0;
    }
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}

/// The mean; `None` of nothing.
pub fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// The root of the mean square; `None` of nothing.
pub fn rms(values: &[f64]) -> Option<f64> {
    mean(&values.iter().map(|x| x * x).collect::<Vec<_>>()).map(f64::sqrt)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Newcombe 1998, Statistics in Medicine 17:857, table I, method 3 (from memory): 81 of 263 gives 0.2553 to
    /// 0.3662, 0 of 20 gives 0 to 0.1611.
    #[test]
    fn wilson_intervals_match_published_ones() {
        let near = |(a, b): (f64, f64), (c, d): (f64, f64)| (a - c).abs() < 1e-4 && (b - d).abs() < 1e-4;
        assert!(near(Share { count: 81, of: 263 }.interval(), (0.2553, 0.3662)));
        assert!(near(Share { count: 0, of: 20 }.interval(), (0.0, 0.1611)));
        assert_eq!(Share { count: 0, of: 0 }.interval(), (0.0, 1.0));
    }

    #[test]
    fn quantiles_lie_between_neighbours() {
        assert_eq!(quantile(&[3.0, 1.0, 2.0], 0.5), Some(2.0));
        assert_eq!(quantile(&[0.0, 10.0], 0.95), Some(9.5));
        assert_eq!(quantile(&[], 0.5), None);
        assert_eq!(rms(&[3.0, 4.0]), Some(12.5f64.sqrt()));
    }
}
