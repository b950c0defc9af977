//! Where lanes cross a line, and what peak, null, width and slant of the field say there.
//!
//! A line that is known to lie so far down and so far aside gives the axes: across it, `level` is the horizontal component
//! and `x` the place. `1/level` is a parabola, `vertical/level` a straight line, so peak, width, null and slant come from
//! all looks about the crossing at once, each place with its own uncertainty. A stream of features would have but two of
//! them at each, and the looks have been merged.

use glam::Vec3;
use heapless::Vec;

use super::regress::Regress;
use crate::depth::Measured;
use crate::fit::line::{Line, PhasorLook};
use crate::fit::normal::variance;
use crate::fit::{Look, Shared};
use crate::math;

/// Crossings and lanes kept of a walk.
pub const MAX_CROSSINGS: usize = 12;
/// A lane turns where it comes back by this share of the depth, and by so much more, metres.
const TURN_DEPTHS: f32 = 0.3;
const TURN_M: f32 = 0.2;
/// A lane crosses where it shows the line so many depths away on both sides.
const REACH: f32 = 0.6;
/// Looks so many depths aside and nearer are used for the peak, and for the null.
const PEAK_DEPTHS: f32 = 1.1;
const NULL_DEPTHS: f32 = 1.3;
/// Looks beyond those that would just do.
const SPARE: usize = 2;
/// Slants are known to this share at best: what noise and a mast that sways do to a quotient does not average out.
const FINEST_SLANT: f32 = 0.003;
/// A peak stands out by so many sigmas.
const PROMINENT: f32 = 6.0;

/// What one lane shows where it crosses a line. Places across are to the left of the fitted line, metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossing {
    /// Where the lane passes over the line: the place of the lower node, site frame.
    pub at_m: Vec3,
    /// Peak of the level component.
    pub peak_m: Measured,
    /// Null of the vertical component.
    pub null_m: Measured,
    /// Half of the way between the places where the level component is half its peak.
    pub half_width_m: Measured,
    /// Way from the null to where the field stands at 45 degrees.
    pub diagonal_m: Measured,
    /// The level component's peak at the lower and the upper node, nanotesla.
    pub peaks_nt: [Measured; 2],
    /// Vertical over level component at both nodes, for every metre aside.
    pub slants_per_m: [Measured; 2],
    /// How aslant the lane crosses: metres along the line for each metre across it.
    pub aslant: f32,
}

/// A look as it stands to the line.
#[derive(Clone, Copy)]
struct Aside {
    /// To the left of the line, and how uncertain.
    x: f32,
    x_variance: f32,
    on_m: f32,
    at_m: Vec3,
    /// Level and vertical component at both nodes.
    level_nt: [f32; 2],
    vertical_nt: [f32; 2],
    noise2: [f32; 2],
}

/// Where the line lies, and how its field is taken apart.
struct Frame<'a> {
    line: &'a Line,
    left: Vec3,
    place_m: Vec3,
}

impl Frame<'_> {
    fn aside(&self, look: &Look) -> Aside {
        let Line { at_m, along, current_a, .. } = *self.line;
        let from_m = look.at_m - at_m;
        let level = along.truncate();
        let on_m = from_m.truncate().dot(level) / level.length_squared().max(1e-6);
        // The transmitter's sign means nothing: that of the line's own field counts.
        let model_nt = self.line.field_nt(look.at_m);
        let [lower, _] = look.fields_nt;
        let sign = if lower.dot(model_nt) * current_a < 0.0 { -1.0 } else { 1.0 };
        let heading = if current_a < 0.0 { -1.0 } else { 1.0 };
        let [returned_nt, upper_returned_nt] =
            look.nodes_m().map(|at_m| self.line.returned_nt(at_m) * heading);
        let [_, upper] = look.fields_nt;
        let own_nt = [lower * sign - returned_nt, upper * sign - upper_returned_nt];
        let sigma_m = look.pose_sigma_m * look.pose_sigma_m + self.place_m * self.place_m;
        Aside {
            x: from_m.dot(self.left),
            x_variance: (sigma_m * self.left * self.left).element_sum(),
            on_m,
            at_m: look.at_m,
            level_nt: own_nt.map(|b| -b.dot(self.left)),
            vertical_nt: own_nt.map(|b| b.z),
            noise2: look.sigma_nt.map(|sigma| sigma * sigma),
        }
    }

    /// Depth of the line below a look.
    fn depth_m(&self, aside: &Aside) -> f32 {
        (aside.at_m.z - self.line.at_m.z - self.line.along.z * aside.on_m).max(0.05)
    }
}

/// Every lane of the walk, and those of them that cross the line. `returned_per_m` is what returns through the soil.
pub fn crossings(
    looks: &[PhasorLook],
    line: &Line,
    shared: &Shared,
    returned_per_m: f32,
) -> (Vec<Crossing, MAX_CROSSINGS>, usize) {
    let left = Vec3::new(-line.along.y, line.along.x, 0.0).normalize_or(Vec3::Y);
    let line = &Line { returned_per_m, ..*line };
    let frame = Frame { line, left, place_m: shared.place_m };
    let (mut found, mut lanes) = (Vec::new(), 0);
    let mut rest = looks;
    while !rest.is_empty() {
        let (lane, later) = rest.split_at_checked(lane_length(rest, &frame)).unwrap_or((rest, &[]));
        rest = later;
        lanes += usize::from(lane.len() > 2);
        if let Some(crossing) = crossing(lane, &frame, shared.field) {
            // Beyond the room there is nothing new.
            let _ = found.push(crossing);
        }
    }
    (found, lanes)
}

/// How many looks the lane has that begins with the first: until it turns back across the line.
fn lane_length(looks: &[PhasorLook], frame: &Frame<'_>) -> usize {
    let mut direction = 0.0;
    let (mut first, mut furthest) = (None, (0.0, 0));
    for (n, look) in looks.iter().enumerate() {
        let aside = frame.aside(&look.look);
        let turn_m = TURN_DEPTHS * frame.depth_m(&aside) + TURN_M;
        let begun = *first.get_or_insert(aside.x);
        if direction == 0.0 {
            let way = aside.x - begun;
            if way.abs() > turn_m {
                direction = if way > 0.0 { 1.0 } else { -1.0 };
                furthest = (aside.x, n);
            }
            continue;
        }
        let (far, at) = furthest;
        let onward = (aside.x - far) * direction;
        if onward >= 0.0 {
            furthest = (aside.x, n);
        } else if -onward > turn_m {
            return at + 1;
        }
    }
    looks.len().max(1)
}

fn crossing(lane: &[PhasorLook], frame: &Frame<'_>, relative: f32) -> Option<Crossing> {
    let seen = || lane.iter().map(|sight| frame.aside(&sight.look));
    let nearest = seen().min_by(|a, b| a.x.abs().total_cmp(&b.x.abs()))?;
    let depth_m = frame.depth_m(&nearest);
    let (least, most) = seen().fold((0.0_f32, 0.0_f32), |(a, b), aside| (a.min(aside.x), b.max(aside.x)));
    if least > -REACH * depth_m || most < REACH * depth_m {
        return None;
    }
    let [top_nt, upper_top_nt] = nearest.level_nt;
    let clear = nearest.noise2.map(|noise2| PROMINENT * PROMINENT * noise2);
    let strong = top_nt * top_nt > clear[0] && upper_top_nt * upper_top_nt > clear[1];
    if !strong || top_nt <= 0.0 || upper_top_nt <= 0.0 {
        return None;
    }
    let peaks = [0, 1].map(|node| Summit::of(seen(), node, depth_m, relative));
    let slants = [0, 1].map(|node| slant(seen(), node, depth_m, relative));
    let ([Some(lower), Some(upper)], [Some(slant), Some(upper_slant)]) = (peaks, slants) else {
        return None;
    };
    // The place halfway between the looks about the crossing, moved onto the line.
    let (mut on_m, mut up_m, mut count) = (0.0, 0.0, 0.0);
    let (mut across_m, mut across_m2, mut both_m2) = (0.0, 0.0, 0.0);
    for aside in seen().filter(|aside| aside.x.abs() < PEAK_DEPTHS * depth_m) {
        on_m += aside.on_m;
        up_m += aside.at_m.z;
        count += 1.0;
        across_m += aside.x;
        across_m2 += aside.x * aside.x;
        both_m2 += aside.x * (aside.on_m - nearest.on_m);
    }
    let on_from_nearest_m = on_m / count - nearest.on_m;
    let spread_m2 = (across_m2 - across_m * across_m / count).max(f32::MIN_POSITIVE);
    let line = frame.line;
    let over_m = line.at_m + line.along * (on_m / count);
    Some(Crossing {
        at_m: Vec3::new(over_m.x, over_m.y, up_m / count),
        peak_m: lower.at_m,
        null_m: slant.null_m,
        half_width_m: lower.half_width_m,
        diagonal_m: slant.diagonal_m,
        peaks_nt: [lower.top_nt, upper.top_nt],
        slants_per_m: [slant.per_m, upper_slant.per_m],
        aslant: (both_m2 - across_m * on_from_nearest_m) / spread_m2,
    })
}

/// The peak of the level component.
struct Summit {
    at_m: Measured,
    top_nt: Measured,
    half_width_m: Measured,
}

impl Summit {
    /// From the parabola of `1/level`, in units of the depth and of the strongest level component.
    fn of(
        looks: impl Iterator<Item = Aside> + Clone,
        node: usize,
        depth_m: f32,
        relative: f32,
    ) -> Option<Self> {
        let near = || looks.clone().filter(|aside| aside.x.abs() < PEAK_DEPTHS * depth_m);
        let level = |aside: &Aside| aside.level_nt.get(node).copied().unwrap_or_default();
        let scale_nt = near().map(|aside| level(&aside)).fold(0.0, f32::max);
        let mut sums = Regress::<3>::NONE;
        for aside in near() {
            let (u, share) = (aside.x / depth_m, level(&aside) / scale_nt);
            if share.is_nan() || share < 0.1 {
                continue;
            }
            let noise2 = aside.noise2.get(node).copied().unwrap_or_default() / (scale_nt * scale_nt);
            let by_place = 2.0 * u * share * share / depth_m;
            let variance =
                noise2 + relative * relative * share * share + by_place * by_place * aside.x_variance;
            // Of the reciprocal.
            sums.push([1.0, u, u * u], 1.0 / share, variance / (share * share * share * share));
        }
        let ([c, b, a], covariance) = sums.solved(SPARE)?;
        if a.is_nan() || a <= 0.0 {
            return None;
        }
        let u0 = -0.5 * b / a;
        let bottom = c + 0.5 * b * u0;
        if bottom.is_nan() || bottom <= 0.0 {
            return None;
        }
        let by_bottom = [1.0, u0, u0 * u0];
        let bottom_sigma = math::sqrt(variance(&covariance, by_bottom));
        let place_sigma = math::sqrt(variance(&covariance, [0.0, -0.5 / a, -u0 / a]));
        let half = math::sqrt(bottom / a);
        let by_half = by_bottom.map(|by| 0.5 * half * by / bottom);
        let [by_c, by_b, by_a] = by_half;
        let half_sigma = math::sqrt(variance(&covariance, [by_c, by_b, by_a - 0.5 * half / a]));
        let top_nt = scale_nt / bottom;
        Some(Self {
            at_m: Measured::new(u0 * depth_m, place_sigma * depth_m),
            top_nt: Measured::new(top_nt, top_nt * bottom_sigma / bottom),
            half_width_m: Measured::new(half * depth_m, half_sigma * depth_m),
        })
    }
}

/// How the field slants across the line.
struct Slant {
    null_m: Measured,
    per_m: Measured,
    diagonal_m: Measured,
}

/// From the straight line of `vertical/level`, in units of the depth.
fn slant(looks: impl Iterator<Item = Aside>, node: usize, depth_m: f32, relative: f32) -> Option<Slant> {
    let mut sums = Regress::<2>::NONE;
    for aside in looks.filter(|aside| aside.x.abs() < NULL_DEPTHS * depth_m) {
        let of = |values: [f32; 2]| values.get(node).copied().unwrap_or_default();
        let (level_nt, vertical_nt, noise2) = (of(aside.level_nt), of(aside.vertical_nt), of(aside.noise2));
        let tangent = vertical_nt / level_nt;
        if tangent.is_nan() || tangent.abs() > 2.0 * NULL_DEPTHS || level_nt <= 0.0 {
            continue;
        }
        let square = 1.0 + tangent * tangent;
        let place2 = aside.x_variance / (depth_m * depth_m);
        let variance =
            square * noise2 / (level_nt * level_nt) + relative * relative * square * square + place2;
        sums.push([1.0, aside.x / depth_m], tangent, variance);
    }
    let ([at_zero, per_depth], covariance) = sums.solved(SPARE)?;
    if per_depth.is_nan() || per_depth <= 0.0 {
        return None;
    }
    let null = -at_zero / per_depth;
    let null_sigma = math::sqrt(variance(&covariance, [1.0, null])) / per_depth;
    let finest = FINEST_SLANT * per_depth;
    let slope_sigma = math::sqrt(variance(&covariance, [0.0, 1.0]) + finest * finest);
    let away_m = depth_m / per_depth;
    Some(Slant {
        null_m: Measured::new(null * depth_m, null_sigma * depth_m),
        per_m: Measured::new(per_depth / depth_m, slope_sigma / depth_m),
        diagonal_m: Measured::new(away_m, away_m * slope_sigma / per_depth),
    })
}
