//! The line that one instant of both nodes speaks for.

use glam::Vec3;

use super::{Guess, Line, Traced, UNKNOWNS, start, traced};
use crate::depth::{Measured, Unusable, valid};
use crate::fit::ring::Look;
use crate::fit::traverse::{Shared, Undetermined};

/// What one look says of a line: offset, depth, lay and current, from the directions of both fields and their sizes
/// together.
///
/// Six numbers, and beliefs that lines lie level within `level_sigma_rad`, in the nodes' gains, and in what the soil
/// returns ([`super::traverse()`]), for seven unknowns:
/// what is left over, chi-square of two degrees of freedom, tests that the two rays and the two sizes speak for one
/// line ([`crate::chi_square::upper_point`]). Its silence proves little while the fields are weak: a sonde straight
/// below passes. Places are relative to the look's; the field's axes may be any with z up. `node_ratio_sigma` is how well
/// the ratio of the nodes' gains is known, and mostly decides what the depth is worth.
///
/// ```
/// use glam::Vec3;
/// use nullwalk_core::depth::Measured;
/// use nullwalk_core::fit::{Look, line};
/// let truth = line::Line { at_m: Vec3::new(0.0, 0.5, -1.0), along: Vec3::X, current_a: 0.01, returned_per_m: 0.0 };
/// let upper_m = Vec3::new(0.0, 0.0, 0.4);
/// let look = Look {
///     at_m: Vec3::ZERO,
///     upper_m,
///     fields_nt: [truth.field_nt(Vec3::ZERO), truth.field_nt(upper_m)],
///     sigma_nt: [0.002; 2],
///     pose_sigma_m: Vec3::ZERO,
///     spread_m: Vec3::ZERO,
/// };
/// let found = line::glimpse(&look, 0.003, 0.05, Measured::default()).unwrap();
/// let depth = found.depth_below_m(Vec3::ZERO);
/// assert!((depth.value - 1.0).abs() < 0.01 && depth.sigma < 0.03 && found.freedom == 2);
/// ```
///
/// # Errors
/// When no line below makes such fields, or its depth would be uncertain by more than a third.
pub fn glimpse(
    look: &Look,
    node_ratio_sigma: f32,
    level_sigma_rad: f32,
    returned_per_m: Measured,
) -> Result<Traced<Line, UNKNOWNS>, Unusable> {
    let still = Look { at_m: Vec3::ZERO, pose_sigma_m: Vec3::ZERO, spread_m: Vec3::ZERO, ..*look };
    let looks = [still];
    let line = start::of(looks.iter()).ok_or(Unusable::NotBelow)?;
    let shared = Shared { node_ratio: node_ratio_sigma, ..Shared::default() };
    let guess = Guess::of(abreast(line), node_ratio_sigma, returned_per_m, Some(level_sigma_rad));
    let mut found = traced::<1, Look>(&looks, guess, &shared).map_err(|reason| match reason {
        Undetermined::Unsettled | Undetermined::TooFew | Undetermined::Place => Unusable::NotBelow,
        Undetermined::Depth | Undetermined::Moment => Unusable::TooUncertain,
    })?;
    let depth = found.depth_below_m(Vec3::ZERO);
    found.source.at_m = abreast(found.source).at_m;
    valid(depth.value, depth.sigma).map(|_| found)
}

/// The same line, with the point of it for its middle that is abreast of the origin.
fn abreast(line: Line) -> Line {
    Line { at_m: line.at_m + line.along * line.on_m(Vec3::ZERO), ..line }
}
