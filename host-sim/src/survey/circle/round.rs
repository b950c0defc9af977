//! Whether a walk goes round a transmitter.

use std::ops::RangeInclusive;

use glam::DVec2;

use crate::stats::median;
use crate::survey::SurveyError;
use crate::survey::bearing::bearing_deg;
use crate::survey::walk::Walk;

/// Radii that can be walked, metres.
const RADII_M: RangeInclusive<f64> = 2.0..=40.0;
/// How unround a circle may be.
const UNROUND: f64 = 0.3;
/// The largest part of the circle that may be left out, degrees.
const GAP_DEG: f64 = 40.0;

/// The mean radius of what was walked around the centre.
pub(super) fn radius_m(walk: &Walk, centre_m: DVec2) -> Result<f64, SurveyError> {
    let wrong = |problem: String| SurveyError::Circle { problem };
    let from = || walk.sights.iter().map(|sight| sight.at_m.truncate() - centre_m);
    let mut radii: Vec<f64> = from().map(DVec2::length).collect();
    let radius_m = median(&mut radii);
    if !RADII_M.contains(&radius_m) {
        return Err(wrong(format!(
            "half the looks are nearer than {radius_m:.1} m, where 2 to 40 m is a circle"
        )));
    }
    let round = radii.iter().filter(|radius| (*radius / radius_m - 1.0).abs() < UNROUND).count();
    if round * 10 < radii.len() * 9 {
        let share = 100 - round * 100 / radii.len().max(1);
        return Err(wrong(format!(
            "{share} % of the looks are not within 30 % of the circle of {radius_m:.1} m"
        )));
    }
    let mut bearings: Vec<f64> = from().map(|from| bearing_deg(from.y.atan2(from.x))).collect();
    bearings.sort_by(f64::total_cmp);
    let next = bearings.iter().skip(1).copied().chain(bearings.first().map(|first| first + 360.0));
    let widest = bearings.iter().zip(next).map(|(a, b)| (b - a, *a, b % 360.0));
    let (gap, begins, ends) = widest.max_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or((360.0, 0.0, 0.0));
    if gap > GAP_DEG {
        return Err(wrong(format!("nothing was walked between {begins:.0}° and {ends:.0}°")));
    }
    Ok(radius_m)
}
