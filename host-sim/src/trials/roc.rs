//! How well a score tells distorted sites from nominal ones.

/// One score over two sets of trials.
#[derive(Debug, Clone, PartialEq)]
pub struct Roc {
    /// Share of nominal trials flagged, and share of distorted trials flagged, for every limit from high to low.
    pub points: Vec<(f64, f64)>,
    /// The same for a limit of 1.
    pub at_one: (f64, f64),
    /// The chance that a distorted trial scores above a nominal one: the area under the curve (Hanley and McNeil
    /// 1982, Radiology 143:29).
    pub area: f64,
}

impl Roc {
    /// The curve of a score; `None` where one of the sets is empty.
    pub fn new(nominal: &[f64], distorted: &[f64]) -> Option<Self> {
        if nominal.is_empty() || distorted.is_empty() {
            return None;
        }
        let mut scores: Vec<(f64, bool)> = nominal.iter().map(|&s| (s, false)).collect();
        scores.extend(distorted.iter().map(|&s| (s, true)));
        scores.sort_by(|a, b| b.0.total_cmp(&a.0));
        let (per_nominal, per_distorted) = (1.0 / nominal.len() as f64, 1.0 / distorted.len() as f64);
        let mut points = vec![(0.0, 0.0)];
        let (mut flagged, mut found, mut area) = (0_usize, 0_usize, 0.0);
        // Trials of equal score are flagged together.
        for tied in scores.chunk_by(|a, b| a.0 == b.0) {
            let more = tied.iter().filter(|(_, distorted)| *distorted).count();
            let wrong = tied.len() - more;
            area += wrong as f64 * per_nominal * (found as f64 + 0.5 * more as f64) * per_distorted;
            found += more;
            flagged += wrong;
            points.push((flagged as f64 * per_nominal, found as f64 * per_distorted));
        }
        let above_one = |set: &[f64]| set.iter().filter(|s| **s > 1.0).count() as f64;
        let at_one = (above_one(nominal) * per_nominal, above_one(distorted) * per_distorted);
        Some(Self { points, at_one, area })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_score_that_tells_all_has_an_area_of_one_and_a_useless_one_half() {
        let perfect = Roc::new(&[0.1, 0.5], &[1.5, 2.0]).unwrap();
        assert_eq!((perfect.area, perfect.at_one), (1.0, (0.0, 1.0)));
        assert_eq!(perfect.points, [(0.0, 0.0), (0.0, 0.5), (0.0, 1.0), (0.5, 1.0), (1.0, 1.0)]);
        assert_eq!(Roc::new(&[1.0, 1.0], &[1.0]).unwrap().area, 0.5);
        // Of six pairs, three are in order and one is even.
        let mixed = Roc::new(&[1.0, 2.0], &[0.5, 2.0, 3.0]).unwrap();
        assert!((mixed.area - 3.5 / 6.0).abs() < 1e-12);
        assert!(Roc::new(&[], &[1.0]).is_none());
    }
}
