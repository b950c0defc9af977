//! Swing ties: a place from distances taped to permanent points.

use glam::{DMat2, DVec2};
use nullwalk_core::chi_square::{Level, upper_point};

use super::place::{Cov, Side, Spot};

/// One taped distance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Swing {
    /// Where the point is.
    pub from: Spot,
    /// How far from it the tape was swung, level, metres.
    pub distance_m: f64,
    /// Standard uncertainty of the tape, metres.
    pub sigma_m: f64,
}

/// A place found from ties.
#[derive(Debug, Clone, PartialEq)]
pub struct Tied {
    /// The place. Where the ties disagree, its uncertainty has grown by as much.
    pub spot: Spot,
    /// Taped less computed distances, metres, in the order of the ties.
    pub residuals_m: Vec<f64>,
    /// Sum of the squares of those over their standard uncertainties.
    pub chi_square: f64,
    /// Ties beyond the two that a place needs. None: nothing checks the place.
    pub spare: usize,
    /// Whether the ties agree as well as their uncertainties say (0.1 % of good ones do not).
    pub agree: bool,
}

/// Why ties give no place.
#[derive(Debug, Clone, PartialEq)]
pub enum Untied {
    /// There are fewer than two.
    TooFew,
    /// They meet in two places, and nothing says which.
    TwoPlaces(DVec2, DVec2),
    /// They do not meet, or so flat that the place is anywhere along a line.
    Flat,
}

impl std::fmt::Display for Untied {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::TooFew => f.write_str("a place takes two ties at least; tape another, better two"),
            Self::TwoPlaces(a, b) => write!(
                f,
                "the ties meet in two places, {:.2} m east {:.2} m north and {:.2} m east {:.2} m north; say on which \
                 side of the line from the first point to the second, or tape a third tie from a point off that line",
                a.x, a.y, b.x, b.y
            ),
            Self::Flat => f.write_str(
                "the ties meet too flat to tell a place; tape from a point that lies at a better angle, near 90°",
            ),
        }
    }
}

/// Solutions nearer to each other than this many standard uncertainties are one.
const SAME_SIGMAS: f64 = 3.0;
/// One solution is believed before the other if its chi-square is less by this: 0.1 % of chi-square with one degree of
/// freedom.
const DECISIVE: f64 = 10.83;
/// A hint decides if one solution is so many times nearer to it than the other.
const CLEARLY_NEARER: f64 = 3.0;
/// Longest axis that is still called a place, metres.
const FLATTEST_M: f64 = 5.0;
/// An ample number: steps settle in four or five.
const STEPS: usize = 50;

/// The place that explains the ties best, by weighted least squares. `hint` is roughly where it is, if anybody knows.
///
/// # Errors
/// When there are too few ties, or they do not tell one place.
pub fn tied(swings: &[Swing], side: Option<Side>, hint: Option<DVec2>) -> Result<Tied, Untied> {
    let [first, second, ..] = swings else { return Err(Untied::TooFew) };
    let mut found: Vec<Tied> = Vec::new();
    for start in starts(swings) {
        let Some(tied) = settle(swings, start) else { continue };
        let apart = |other: &Tied| other.spot.at.distance(tied.spot.at);
        if found.iter().all(|other| apart(other) > SAME_SIGMAS * tied.spot.cov.axes().0 + 1e-6) {
            found.push(tied);
        }
    }
    if let Some(side) = side {
        let line = second.from.at - first.from.at;
        found.retain(|t| {
            let left = line.perp_dot(t.spot.at - first.from.at) > 0.0;
            left == (side == Side::Left)
        });
    }
    found.sort_by(|a, b| a.chi_square.total_cmp(&b.chi_square));
    let mut found = found.into_iter();
    let best = found.next().ok_or(Untied::Flat)?;
    match found.next() {
        Some(other) if other.chi_square - best.chi_square < DECISIVE => {
            let (a, b) = (best.spot.at, other.spot.at);
            match hint.map(|h| (h.distance(a), h.distance(b))) {
                Some((near, far)) if far > CLEARLY_NEARER * near => Ok(best),
                Some((far, near)) if far > CLEARLY_NEARER * near => Ok(other),
                _ => Err(Untied::TwoPlaces(a, b)),
            }
        }
        _ => Ok(best),
    }
}

/// Where any two of the circles meet, or come nearest to it.
fn starts(swings: &[Swing]) -> Vec<DVec2> {
    let mut starts = Vec::new();
    for (k, a) in swings.iter().enumerate() {
        for b in swings.iter().skip(k + 1) {
            let line = b.from.at - a.from.at;
            let apart = line.length();
            if apart < 1e-6 {
                continue;
            }
            let (ra, rb) = (a.distance_m, b.distance_m);
            let along = (apart * apart + ra * ra - rb * rb) / (2.0 * apart);
            let aside = (ra * ra - along * along).max(0.0).sqrt();
            // Circles that touch have their two starts a little apart, so that either side is tried.
            let aside = aside.max(0.01 * (ra + rb));
            let unit = line / apart;
            for sign in [1.0, -1.0] {
                starts.push(a.from.at + along * unit + sign * aside * unit.perp());
            }
        }
    }
    starts
}

/// Gauss and Newton from a start.
fn settle(swings: &[Swing], start: DVec2) -> Option<Tied> {
    let mut at = start;
    for _ in 0..STEPS {
        let (normal, pull, _) = equations(swings, at);
        let step = inverse(normal)? * pull;
        // A step over half the distances may jump to the other solution.
        let longest = 0.5 * swings.iter().map(|s| s.distance_m).fold(f64::INFINITY, f64::min).max(0.01);
        at += step.clamp_length_max(longest);
        if step.length() < 1e-9 {
            break;
        }
    }
    let (normal, _, chi_square) = equations(swings, at);
    let cov = inverse(normal)?;
    let spare = swings.len() - 2;
    let agree = spare == 0 || chi_square <= chi_square_limit(spare);
    let grown = if spare == 0 { 1.0 } else { (chi_square / spare as f64).max(1.0) };
    let cov = cov * grown;
    let spot = Spot { at, cov: Cov([cov.x_axis.x, cov.x_axis.y, cov.y_axis.y]) };
    let residuals_m = swings.iter().map(|s| s.distance_m - s.from.at.distance(at)).collect();
    (spot.cov.axes().0 < FLATTEST_M).then_some(Tied { spot, residuals_m, chi_square, spare, agree })
}

/// Normal matrix, right-hand side and chi-square at a place. The points' own uncertainty counts along the tape.
fn equations(swings: &[Swing], at: DVec2) -> (DMat2, DVec2, f64) {
    let (mut normal, mut pull, mut chi_square) = (DMat2::ZERO, DVec2::ZERO, 0.0);
    for swing in swings {
        let ray = at - swing.from.at;
        let length = ray.length().max(1e-9);
        let unit = ray / length;
        let weight = 1.0 / (swing.sigma_m * swing.sigma_m + swing.from.cov.along(unit));
        let residual = swing.distance_m - length;
        normal += weight * DMat2::from_cols(unit * unit.x, unit * unit.y);
        pull += weight * residual * unit;
        chi_square += weight * residual * residual;
    }
    (normal, pull, chi_square)
}

fn inverse(m: DMat2) -> Option<DMat2> {
    let scale = m.x_axis.x.max(m.y_axis.y);
    (m.determinant() > 1e-12 * scale * scale).then(|| m.inverse())
}

fn chi_square_limit(freedom: usize) -> f64 {
    f64::from(upper_point(freedom, Level::OnePerMille))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn swing(east: f64, north: f64, distance_m: f64) -> Swing {
        let from = Spot { at: DVec2::new(east, north), cov: Cov::round(0.0) };
        Swing { from, distance_m, sigma_m: 0.01 }
    }

    #[test]
    fn three_four_five() {
        // Points 6 m apart, both 5 m off: 3 m along, and 4 m to one side or the other.
        let two = [swing(0.0, 0.0, 5.0), swing(6.0, 0.0, 5.0)];
        let Err(Untied::TwoPlaces(a, b)) = tied(&two, None, None) else { panic!("two places") };
        assert!((a.x - 3.0).abs() < 1e-9 && (b.x - 3.0).abs() < 1e-9 && (a.y + b.y).abs() < 1e-9);
        let left = tied(&two, Some(Side::Left), None).unwrap();
        assert!(left.spot.at.distance(DVec2::new(3.0, 4.0)) < 1e-9 && left.spare == 0 && left.agree);
        // Each tape pulls along (±0.6, 0.8): variance east 1e-4 / (2 x 0.36), north 1e-4 / (2 x 0.64).
        assert!((left.spot.cov.0[0] - 1e-4 / 0.72).abs() < 1e-12);
        assert!((left.spot.cov.0[2] - 1e-4 / 1.28).abs() < 1e-12);
        let hinted = tied(&two, None, Some(DVec2::new(2.0, -3.0))).unwrap();
        assert!(hinted.spot.at.distance(DVec2::new(3.0, -4.0)) < 1e-9);
        assert!(tied(&two, None, Some(DVec2::new(3.0, 0.1))).is_err());
    }

    #[test]
    fn a_third_tie_decides_and_checks() {
        let far = DVec2::new(1.0, 9.0).distance(DVec2::new(3.0, 4.0));
        let three = [swing(0.0, 0.0, 5.0), swing(6.0, 0.0, 5.0), swing(1.0, 9.0, far)];
        let good = tied(&three, None, None).unwrap();
        assert!(good.spot.at.distance(DVec2::new(3.0, 4.0)) < 1e-9 && good.agree && good.spare == 1);
        // A tape read 10 cm wrong: said, and the place is less sure.
        let mut wrong = three;
        wrong[2].distance_m += 0.1;
        let bad = tied(&wrong, None, None).unwrap();
        assert!(!bad.agree && bad.spot.cov.axes().0 > 3.0 * good.spot.cov.axes().0);
        assert!(bad.residuals_m.iter().any(|r| r.abs() > 0.03));
        // In line, a third point decides nothing.
        let line = [swing(0.0, 0.0, 5.0), swing(6.0, 0.0, 5.0), swing(3.0, 0.0, 4.0)];
        assert!(matches!(tied(&line, None, None), Err(Untied::TwoPlaces(..))));
    }

    #[test]
    fn what_gives_no_place_says_so() {
        assert_eq!(tied(&[swing(0.0, 0.0, 5.0)], None, None), Err(Untied::TooFew));
        // The same point twice.
        assert_eq!(tied(&[swing(0.0, 0.0, 5.0), swing(0.0, 0.0, 5.0)], None, None), Err(Untied::Flat));
    }

    proptest! {
        #[test]
        fn exact_ties_give_the_place(
            east in -20.0_f64..20.0, north in -20.0_f64..20.0,
            points in proptest::collection::vec((-30.0_f64..30.0, -30.0_f64..30.0), 3..6),
        ) {
            let truth = DVec2::new(east, north);
            let swings: Vec<Swing> =
                points.iter().map(|&(e, n)| swing(e, n, truth.distance(DVec2::new(e, n)))).collect();
            // Whatever else may happen, a place that is given is the place, or another that fits as well.
            if let Ok(found) = tied(&swings, None, Some(truth)) {
                prop_assert!(found.chi_square < DECISIVE);
                let fits = found.residuals_m.iter().all(|r| r.abs() < 0.05);
                prop_assert!(fits, "{found:?}");
            }
        }
    }
}
