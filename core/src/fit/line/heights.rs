//! Which kind of source lies below, from how its field weakens upwards: readings at several heights over one place.

use super::model::{Choice, Kind};
use crate::depth::{Measured, VALID_M};
use crate::math;

/// Depths tried, evenly by their logarithm, and how often the best interval is then searched more finely.
const TRIED: u32 = 32;
const FINER: u32 = 12;

/// The strength of a field at a height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Height {
    /// Above the lowest reading, metres.
    pub up_m: f32,
    /// Length of the field's vector, any unit; what the nodes' gains err by belongs to its sigma.
    pub strength: Measured,
}

/// Whether strengths straight above a source fall with the distance (a line), its square (a pair) or its cube (a sonde).
///
/// Each law has a depth and a strength of its own, so two heights tell nothing, and three little: what is asked of them is
/// how the logarithm bends. Over three heights half a metre apart with both nodes, a line 1 m down and a pair are told apart
/// by 9 units of chi-square for readings good to 0.4 % of the strongest; at 10 % nothing tells them. A walk does.
///
/// ```
/// use nullwalk_core::depth::Measured;
/// use nullwalk_core::fit::line::{Height, Kind, kind_by_heights};
/// let read = |up_m: f32| Height { up_m, strength: Measured::new(1.0 / (1.2 + up_m), 5e-4) };
/// let choice = kind_by_heights(&[0.0, 0.4, 0.5, 0.9, 1.0, 1.4].map(read)).unwrap();
/// assert!(choice.kind == Kind::Line && choice.is_decided());
/// ```
pub fn kind_by_heights(heights: &[Height]) -> Option<Choice> {
    if heights.len() < 3 {
        return None;
    }
    let score = |power: i32| Some(least(heights, power)).filter(|chi_square| chi_square.is_finite());
    Choice::of([(Kind::Line, score(1)), (Kind::Pair, score(2)), (Kind::Dipole, score(3))])
}

/// The least chi-square over all depths.
fn least(heights: &[Height], power: i32) -> f32 {
    let (mut low, mut high) = (math::ln(*VALID_M.start()), math::ln(*VALID_M.end()));
    let step = (high - low) / TRIED as f32;
    let at = |log_depth: f32| chi_square(heights, power, math::exp(log_depth));
    let (mut best, mut middle) = (f32::INFINITY, low);
    for n in 0..=TRIED {
        let log_depth = low + step * n as f32;
        let chi_square = at(log_depth);
        if chi_square < best {
            (best, middle) = (chi_square, log_depth);
        }
    }
    (low, high) = (middle - step, middle + step);
    for _ in 0..FINER {
        let (a, b) = (low + 0.382 * (high - low), low + 0.618 * (high - low));
        let (at_a, at_b) = (at(a), at(b));
        best = best.min(at_a).min(at_b);
        if at_a < at_b {
            high = b;
        } else {
            low = a;
        }
    }
    best
}

/// With the strength that fits best.
fn chi_square(heights: &[Height], power: i32, depth_m: f32) -> f32 {
    let law = |up_m: f32| {
        let near = depth_m / (depth_m + up_m);
        if power == 1 {
            near
        } else if power == 2 {
            near * near
        } else {
            near * near * near
        }
    };
    let (mut of_law, mut both, mut of_read) = (0.0, 0.0, 0.0);
    for Height { up_m, strength } in heights {
        let sigma = strength.sigma.max(1e-6 * strength.value.abs()) + f32::MIN_POSITIVE;
        let (law, read) = (law(*up_m) / sigma, strength.value / sigma);
        of_law += law * law;
        both += law * read;
        of_read += read * read;
    }
    of_read - both * both / of_law
}
