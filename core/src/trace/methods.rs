//! The depth of a line by every method.

use glam::Vec3;

use super::compass;
use super::crossing::{Crossing, crossings};
use super::fix::LineDepths;
use super::{OneLine, TraceState, Tracer};
use crate::array::NodeField;
use crate::depth::line::{self as closed, Crossing as Straight};
use crate::depth::{Depth, Measured, Unusable, valid};
use crate::fit::Shared;
use crate::fit::line::SCALE_NT;
use crate::math;

/// A neighbour too weak to be noticed does so much to each method, as a share of the depth.
pub(super) const UNNOTICED: f32 = 0.01;

impl Tracer {
    /// Depths from the ground by every method, abreast of `here_m`.
    pub(super) fn depths(
        &self,
        state: &TraceState,
        found: &OneLine,
        shared: &Shared,
        crossed: &[Crossing],
        here_m: Vec3,
    ) -> LineDepths {
        let returned = found.source.returned_per_m;
        let as_it_is = self.closed_forms(found, crossed, here_m);
        // What is not known of the soil does to each what a sigma more of it does.
        let soil_sigma = found.sigma(5);
        let (more, _) = crossings(state.walk.looks(), &found.source, shared, returned + soil_sigma);
        let with_more = self.closed_forms(found, &more, here_m);
        let mut depths = [Err(Unusable::NotMeasured); 6];
        let [ratio, rays, half_width, diagonal] = as_it_is;
        let [ratio_more, rays_more, half_width_more, diagonal_more] = with_more;
        let pairs = [
            (ratio, ratio_more),
            (rays, rays_more),
            (half_width, half_width_more),
            (diagonal, diagonal_more),
            (self.lifted(state, found, here_m), Err(Unusable::NotMeasured)),
            (
                of_measured(compass::of_depth(found.depth_below_m(here_m), compass::aslant(crossed))),
                Err(Unusable::NotMeasured),
            ),
        ];
        for (depth, (plain, more)) in depths.iter_mut().zip(pairs) {
            *depth = plain.and_then(|plain| {
                let by_soil = more.map_or(0.0, |more| more.depth_m - plain.depth_m);
                let sigma_m = math::sqrt(plain.sigma_m * plain.sigma_m + by_soil * by_soil);
                let below = self.below_ground(Measured::new(plain.depth_m, sigma_m));
                of_measured(below)
            });
        }
        depths
    }

    /// Ratio, rays, half width and diagonal, below the lower node abreast of `here_m`: means over the crossings.
    fn closed_forms(
        &self,
        found: &OneLine,
        crossed: &[Crossing],
        here_m: Vec3,
    ) -> [Result<Depth, Unusable>; 4] {
        let settings = &self.settings;
        let spacing_m = settings.spacing_m;
        let straight = Straight::default();
        let below_m = |at_m: Vec3| found.depth_below_m(at_m).value;
        let mean = |method: &dyn Fn(&Crossing) -> Result<Depth, Unusable>| {
            let (mut weights, mut sum, mut why) = (0.0, 0.0, Unusable::NotMeasured);
            for crossing in crossed {
                match method(crossing) {
                    Ok(depth) => {
                        let weight = 1.0 / (depth.sigma_m * depth.sigma_m).max(1e-10);
                        // What the line falls from there to here.
                        let fall_m = below_m(here_m) - below_m(crossing.at_m);
                        weights += weight;
                        sum += weight * (depth.depth_m + fall_m);
                    }
                    Err(reason) => why = reason,
                }
            }
            if weights > 0.0 { valid(sum / weights, 1.0 / math::sqrt(weights)) } else { Err(why) }
        };
        let more = |depth: Depth, share: f32| {
            let own = share * depth.depth_m;
            let unnoticed = UNNOTICED * depth.depth_m;
            let sigma_m = math::sqrt(depth.sigma_m * depth.sigma_m + own * own + unnoticed * unnoticed);
            valid(depth.depth_m, sigma_m)
        };
        let node = |peak: Measured| NodeField {
            field_t: Vec3::X * (peak.value * 1e-9),
            sigma_t: peak.sigma * 1e-9,
        };
        let ratio = mean(&|crossing| {
            let [lower, upper] = crossing.peaks_nt.map(node);
            closed::ratio(lower, upper, spacing_m, 0.0, Measured::default())
        })
        .and_then(|depth| more(depth, (1.0 + depth.depth_m / spacing_m) * settings.node_ratio_sigma));
        let rays = mean(&|crossing| {
            // Seen from a depth aside.
            let aside_m = crossing.diagonal_m.value;
            let inclinations = crossing.slants_per_m.map(|slant| {
                let tangent = slant.value * aside_m;
                let sigma = slant.sigma * aside_m / (1.0 + tangent * tangent);
                Measured::new(math::atan2(tangent, 1.0), sigma)
            });
            closed::rays(inclinations, spacing_m)
        })
        .and_then(|depth| more(depth, 0.0));
        let half_width = mean(&|crossing| {
            let Measured { value, sigma } = crossing.half_width_m;
            let (apart_m, share) = (Measured::new(2.0 * value, 2.0 * sigma), Measured::new(0.5, 0.0));
            closed::width(apart_m, share, straight)
        })
        .and_then(|depth| more(depth, 0.0));
        let diagonal = mean(&|crossing| closed::diagonal(crossing.diagonal_m, 0.0, straight))
            // On both sides a lean does nothing to first order; that of the lanes to and fro, neither.
            .and_then(|depth| more(depth, settings.tilt_sigma_rad * settings.tilt_sigma_rad));
        [ratio, rays, half_width, diagonal]
    }

    /// By a lift, below the lower node abreast of `here_m`.
    fn lifted(&self, state: &TraceState, found: &OneLine, here_m: Vec3) -> Result<Depth, Unusable> {
        let lift = state.lift.ok_or(Unusable::NotMeasured)?;
        let aside_m = found.left_of_m(lift.at_m);
        let depth = closed::lift(lift.before, lift.lifted, lift.height_m, 0.0, aside_m)?;
        // What returns through the soil takes as much off either reading, so the walk's own answer puts it right.
        let returned = found.source.returned_per_m * found.source.current_a.abs() * SCALE_NT * 1e-9;
        let put_right = |node: NodeField| {
            let size = node.field_t.length();
            NodeField { field_t: node.field_t * ((size + returned) / size.max(f32::MIN_POSITIVE)), ..node }
        };
        let (before, lifted) = (put_right(lift.before), put_right(lift.lifted));
        let corrected = closed::lift(before, lifted, lift.height_m, 0.0, aside_m).unwrap_or(depth);
        let fall_m = found.depth_below_m(here_m).value - found.depth_below_m(lift.at_m).value;
        let by_soil = corrected.depth_m - depth.depth_m;
        let unnoticed = UNNOTICED * corrected.depth_m;
        let sigma_m = math::sqrt(
            corrected.sigma_m * corrected.sigma_m + 0.25 * by_soil * by_soil + unnoticed * unnoticed,
        );
        valid(corrected.depth_m + fall_m, sigma_m)
    }

    pub(super) fn below_ground(&self, below_node: Measured) -> Measured {
        Measured::new(below_node.value - self.settings.node_height_m, below_node.sigma)
    }
}

pub(super) fn of_measured(depth: Measured) -> Result<Depth, Unusable> {
    valid(depth.value, depth.sigma)
}
