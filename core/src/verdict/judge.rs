//! From several depths, with the errors they share, to one with a range; and from reasons to a verdict.

use super::{Depths, Evidence, Judgement, Reason, Reasons, Verdict};
use crate::chi_square::{Level, upper_point};
use crate::depth::Depth;
use crate::fit::solution;
use crate::math;

/// Of each method's variance at least this share is taken for its own.
const LEAST_OWN: f32 = 0.05;
/// Variance of a method that gave nothing, square metres.
const UNKNOWN_M2: f32 = 1e6;
/// What a neighbour too weak to be noticed, or a mast that is not quite as it is described, does to all methods alike: a
/// share of the depth (an allowance of ours; without it, walks with positions good to a centimetre claim too much).
const UNNOTICED: f32 = 0.0012;
/// By as much a neighbour in step can make a depth read too deep with no sign of it in peak and null (a line of the
/// same current within one depth, worked out from the fields of two lines).
const OVER_READ: f32 = 1.56;

/// Errors that several methods share, in metres of depth.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Shared {
    /// What one sigma of the nodes' gain ratio does to every method, in the order of the depths.
    pub node_ratio_m: [f32; 5],
    /// Methods that read the same walk. The fit of all of it makes the best of it: what it errs by, the others err by
    /// too (Hausman 1978, Econometrica 46:1251).
    pub walk: [bool; 5],
}

/// The depth that several support, and how little they go together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Combined {
    /// The depth.
    pub depth: Depth,
    /// Chi-square of the methods about it.
    pub chi_square: f32,
    /// and the limit above which they do not go together, at the 1 % level; `None` for a single method.
    pub limit: Option<f32>,
}

/// The best linear mean of the depths, knowing which errors they share (generalised least squares, Aitken 1935).
/// A method that would count against itself is left out of the mean, and still judged by it. `None` when there is no
/// depth.
pub fn combined(depths: &Depths, shared: &Shared) -> Option<Combined> {
    let covariance = covariance(depths, shared);
    let mut used = depths.map(|depth| depth.is_ok());
    let (mut depth_m, mut variance_m2) = (0.0, 0.0);
    // At most all but one are left out.
    for _ in 0..depths.len() {
        let mut matrix = covariance;
        for (n, _) in used.iter().enumerate().filter(|(_, used)| !**used) {
            leave_out(&mut matrix, n);
        }
        let ones = used.map(|used| if used { 1.0 } else { 0.0 });
        let weights = solution(&matrix, ones)?;
        let sum: f32 = weights.iter().sum();
        if sum.is_nan() || sum <= 0.0 {
            return None;
        }
        variance_m2 = 1.0 / sum;
        let weighted: f32 = weights.iter().zip(depths).filter_map(|(w, d)| Some(w * d.ok()?.depth_m)).sum();
        depth_m = weighted * variance_m2;
        let mut against = false;
        for (used, weight) in used.iter_mut().zip(weights) {
            against |= *used && weight < 0.0;
            *used &= weight >= 0.0;
        }
        if !against {
            break;
        }
    }
    let off = depths.map(|depth| depth.map_or(0.0, |d| d.depth_m - depth_m));
    // Whether they go together is judged as if each had read a walk of its own: a fit that claims less than it knows
    // would make its own nulls look far off.
    let reach = solution(&self::covariance(depths, &Shared { walk: [false; 5], ..*shared }), off)?;
    let chi_square = off.iter().zip(reach).map(|(off, reach)| off * reach).sum();
    let count = depths.iter().flatten().count();
    let limit = (count > 1).then(|| upper_point(count - 1, Level::OnePerCent));
    let depth = Depth { depth_m, sigma_m: math::sqrt(variance_m2) };
    Some(Combined { depth, chi_square, limit })
}

/// Own variances on the diagonal, shared ones everywhere.
fn covariance(depths: &Depths, shared: &Shared) -> [[f32; 5]; 5] {
    let variance = depths.map(|depth| depth.map_or(UNKNOWN_M2, |d| (d.sigma_m * d.sigma_m).max(1e-8)));
    let by_ratio = shared.node_ratio_m;
    let left = |n: usize| variance[n] - by_ratio[n] * by_ratio[n];
    let least = |n: usize| LEAST_OWN * variance[n];
    let walked = |n: &usize| shared.walk[*n] && depths[*n].is_ok();
    let walk_m2 =
        (0..5).filter(walked).map(|n| (left(n) - least(n)).max(0.0)).fold(f32::INFINITY, f32::min);
    let mut matrix = [[0.0; 5]; 5];
    for (i, row) in matrix.iter_mut().enumerate() {
        for (j, cell) in row.iter_mut().enumerate() {
            let both = depths[i].is_ok() && depths[j].is_ok();
            if both {
                *cell += by_ratio[i] * by_ratio[j];
            }
            if both && shared.walk[i] && shared.walk[j] {
                *cell += walk_m2;
            }
            if i == j {
                let common = if shared.walk[i] && both { walk_m2 } else { 0.0 };
                *cell += (left(i) - common).max(least(i));
            }
        }
    }
    matrix
}

/// Make a method unknown.
fn leave_out(matrix: &mut [[f32; 5]; 5], which: usize) {
    for (i, row) in matrix.iter_mut().enumerate() {
        for (j, cell) in row.iter_mut().enumerate() {
            if i == which || j == which {
                *cell = if i == j { UNKNOWN_M2 } else { 0.0 };
            }
        }
    }
}

/// Judge the depths, and what else was found. When there is doubt, the range grows to hold every method's own.
pub fn judge(depths: &Depths, combined: Option<Combined>, mut reasons: Reasons) -> Judgement {
    reasons.add_if(combined.is_none(), Reason::TooNoisy);
    let Some(combined) = combined else { return Judgement::refused(reasons) };
    // Its limit does not count where there is no figure anyway.
    reasons.add_if(combined.limit.is_none() && reasons.severity() < Verdict::Refuse, Reason::OneMethod);
    let Depth { depth_m, sigma_m } = combined.depth;
    let unnoticed_m = UNNOTICED * depth_m;
    let stated = Depth { depth_m, sigma_m: math::sqrt(sigma_m * sigma_m + unnoticed_m * unnoticed_m) };
    let methods = depths.map(Result::ok);
    Judgement::of(&Evidence { stated, cautious: stated, methods: &methods, over_read: OVER_READ }, reasons)
}
