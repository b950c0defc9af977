//! The core's own fit of one line of several.

use glam::{Mat3, Vec3};
use nullwalk_core::depth::soil::{Soil, returned_per_m};
use nullwalk_core::fit::line::{self, Line as CoreLine, Traced, UNKNOWNS};
use nullwalk_core::fit::{Look, Ring, Shared};

use crate::survey::model::{Carrying, field_nt, noise_nt, plus, turn};
use crate::survey::walk::Walk;

/// Looks that the final fit of one line keeps; neighbours are merged.
const KEPT: usize = 160;
/// Fields of a line further off than so many depths tell little of it, but this far at least.
const FAR_DEPTHS: f64 = 6.0;
const FAR_M: f64 = 4.0;

/// The core's own fit of one line, the others taken away, when the compass has turned all fields by `compass_rad`.
pub(super) fn trace(
    walk: &Walk,
    own: Carrying,
    others: &[Carrying],
    soil: Soil,
    compass_rad: f64,
) -> Option<Traced<CoreLine, UNKNOWNS>> {
    let size = own.current_a.norm();
    if size <= 0.0 {
        return None;
    }
    let in_step = (own.current_a / size).conj();
    let everything: Vec<Carrying> = others.iter().copied().chain([own]).collect();
    let noise = noise_nt(walk, others, false);
    let depth_m = (walk.middle_m().z - own.wire.at_m.z).max(0.3);
    let far_m = (FAR_DEPTHS * depth_m).max(FAR_M);
    let compass = Mat3::from_rotation_z(compass_rad as f32);
    let mut ring = Ring::<KEPT>::default();
    let mut place_sigma_m = 0.0_f64;
    for (sight, noise) in walk.sights.iter().zip(&noise) {
        if own.wire.distance_m(sight) > far_m {
            continue;
        }
        let back = turn(walk.phase, &field_nt(&everything, sight), sight, *noise).conj();
        let fields = plus(sight.field_nt, field_nt(others, sight), -back.conj());
        let real =
            fields.map(|node| compass * Vec3::from_array(node.map(|z| (z * back * in_step).re as f32)));
        place_sigma_m = place_sigma_m.max(sight.place_sigma_m);
        ring.push(Look {
            at_m: sight.at_m.as_vec3(),
            upper_m: sight.upper_m.as_vec3(),
            fields_nt: real,
            sigma_nt: noise.map(|sigma| sigma as f32),
            pose_sigma_m: Vec3::ZERO,
            spread_m: Vec3::ZERO,
        });
    }
    let place = place_sigma_m as f32;
    let shared = Shared {
        node_ratio: walk.relative as f32,
        field: walk.relative as f32,
        place_m: Vec3::new(place, place, 0.005),
    };
    let start = CoreLine {
        at_m: own.wire.at_m.as_vec3(),
        along: own.wire.along().as_vec3(),
        current_a: size as f32,
        returned_per_m: 0.0,
    };
    let traced = line::traverse(&ring, start, &shared, returned_per_m(walk.tone_hz as f32, soil)).ok()?;
    let moved_m = (traced.source.at_m.as_dvec3() - own.wire.at_m).cross(own.wire.along()).length();
    (moved_m < 2.0 * depth_m).then_some(traced)
}
