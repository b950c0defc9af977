//! Questions whose answers speak against one long line.

use super::crossing::Crossing;
use super::ellipse::OutOfStep;
use super::fix::LineDepths;
use super::{OneLine, Tracer};
use crate::chi_square::{Level, upper_point};
use crate::depth::Measured;
use crate::fit::line::{Kind, Models};
use crate::math;

/// Sigmas beyond which something that should be nothing is something: one in a thousand by chance.
const BEYOND: f32 = 3.29;
/// Sigmas beyond which it likely is, where another sign says so too: one in forty by chance.
const LIKELY: f32 = 2.0;
/// Peak and null may be apart by this share of the depth.
const APART_SHARE: f32 = 0.02;
/// A line that leaves over so many times what another kind of source does is none.
const MUCH_WORSE: f32 = 2.0;
/// Methods that differ by this share of the depth are far apart.
const FAR_SHARE: f32 = 0.08;
/// Soil counts when it makes more than this share of the variance, and the sigma more than this share of the depth.
const SOIL_SHARE: f32 = 0.5;
const SOIL_SIGMA: f32 = 0.03;
/// So much of the field at 1 m that is a level field out of step the other way round is not worth a word.
const SLIGHT: f32 = 0.002;
/// So much of it in step comes from the bends and ends of lines ten depths away and further, and the fit takes it for soil.
const FAR_AWAY: f32 = 0.01;

impl Tracer {
    /// Whether soil of the class may make what is out of step: no less than none, and no more than the best conductor of
    /// it, with half as much again for what is of higher order.
    pub(super) fn is_of_soil(&self, out: &OutOfStep) -> bool {
        let most = self.most_returned_per_m;
        let Measured { value, sigma } = out.level_per_m;
        let growing = out.growing_per_m2;
        let level = -0.5 * most.min(SLIGHT) - BEYOND * sigma < value && value < 1.5 * most + BEYOND * sigma;
        level && growing.value.abs() < 3.0 * most * most + BEYOND * growing.sigma
    }
}

/// Whether most of what is uncertain is the soil.
pub(super) fn is_soil(found: &OneLine, stated: Measured) -> bool {
    let cell = |i: usize, j: usize| {
        found.covariance.get(i).and_then(|row| row.get(j)).copied().unwrap_or_default()
    };
    let together = cell(1, 5);
    let by_soil = together * together / cell(5, 5).max(f32::MIN_POSITIVE);
    let variance = stated.sigma * stated.sigma;
    by_soil > SOIL_SHARE * variance && stated.sigma > SOIL_SIGMA * stated.value
}

/// Whether a sonde or a pair explains the walk, or at least leaves far less over than a line does. Of two lines, too, either
/// may be the better of two bad answers.
pub(super) fn is_no_line(models: &Models) -> bool {
    let Some(kind) = models.choice().map(|choice| choice.kind) else { return true };
    let dipole = models.dipole.map(|found| (found.chi_square, found.freedom));
    let pair = models.pair.map(|found| (found.chi_square, found.freedom));
    let other = match kind {
        Kind::Line => None,
        Kind::Dipole => dipole,
        Kind::Pair => pair,
    };
    let lines = models.line.map_or(f32::INFINITY, |found| found.chi_square);
    other.is_some_and(|(chi_square, freedom)| {
        chi_square < upper_point(freedom as usize, Level::OnePerMille) || lines > MUCH_WORSE * chi_square
    })
}

pub(super) fn is_something(value: Measured) -> bool {
    value.value.abs() > BEYOND * value.sigma
}

/// Whether what returns in step and what returns behind are of one soil: to first order they are the same, and the more
/// returns, the less of it is behind (down to half, by quadrature). A neighbour in step is not behind at all.
pub(super) fn is_one_soil(in_step: Measured, behind: Measured) -> bool {
    let sigma = math::sqrt(in_step.sigma * in_step.sigma + behind.sigma * behind.sigma);
    let expected = 0.75 * in_step.value;
    (behind.value - expected).abs() < FAR_AWAY + 0.35 * expected.abs() + BEYOND * sigma
}

/// Whether much more of a level field is missing than the soil accounts for: so it is past an end, where the current that
/// leaves the wire makes one.
pub(super) fn lacks_level(in_step: Measured, behind: Measured) -> bool {
    let sigma = math::sqrt(in_step.sigma * in_step.sigma + behind.sigma * behind.sigma);
    0.85 * in_step.value - behind.value > 2.0 * SLIGHT + 0.4 * behind.value.abs() + LIKELY * sigma
}

/// Whether any method's depth is so far from the fit's that no figure is worth giving.
pub(super) fn far_apart(depths: &LineDepths) -> bool {
    let [others @ .., fit] = depths;
    let Ok(fit) = fit else { return false };
    let far_m = FAR_SHARE * fit.depth_m;
    others.iter().flatten().any(|depth| {
        let off_m = (depth.depth_m - fit.depth_m).abs();
        off_m > BEYOND * depth.sigma_m && off_m > far_m
    })
}

/// Whether any method's depth does not go with the fit's. The fit makes the best of the same walk, so what they differ by
/// is at most what the method errs by (Hausman 1978, Econometrica 46:1251).
pub(super) fn disagree(depths: &LineDepths) -> bool {
    let [others @ .., fit] = depths;
    let Ok(fit) = fit else { return false };
    others.iter().flatten().any(|depth| (depth.depth_m - fit.depth_m).abs() > BEYOND * depth.sigma_m)
}

/// Whether peak and null mark different places, over all crossings.
pub(super) fn marks_apart(crossed: &[Crossing], depth_m: f32) -> bool {
    let (mut weights, mut sum) = (0.0, 0.0);
    for crossing in crossed {
        let (peak, null) = (crossing.peak_m, crossing.null_m);
        let weight = 1.0 / (peak.sigma * peak.sigma + null.sigma * null.sigma).max(1e-10);
        weights += weight;
        sum += weight * (peak.value - null.value);
    }
    let unnoticed_m = APART_SHARE * depth_m;
    let sigma_m = math::sqrt(1.0 / weights + unnoticed_m * unnoticed_m);
    weights > 0.0 && (sum / weights).abs() > BEYOND * sigma_m
}
