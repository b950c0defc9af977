//! Where along a line figures hold.

use glam::Vec3;

use super::LOOKS;
use super::crossing::Crossing;
use crate::fit::Ring;
use crate::fit::line::{Line, PhasorLook};

/// The middle of the crossings.
pub(super) fn middle(crossed: &[Crossing]) -> Option<Vec3> {
    let sum: Vec3 = crossed.iter().map(|crossing| crossing.at_m).sum();
    (!crossed.is_empty()).then(|| sum / crossed.len() as f32)
}

/// The point over a line that is abreast of a place, at its height.
pub(super) fn over(line: &Line, place_m: Vec3) -> Vec3 {
    let level = line.along.truncate();
    let on_m = (place_m - line.at_m).truncate().dot(level) / level.length_squared().max(1e-6);
    (line.at_m.truncate() + level * on_m).extend(place_m.z)
}

/// Where the field was strongest.
pub(super) fn strongest_m(walk: &Ring<LOOKS, PhasorLook>) -> Option<Vec3> {
    let strength = |sight: &&PhasorLook| {
        let [lower, _] = sight.look.fields_nt;
        lower.length_squared()
    };
    let strongest = walk.looks().iter().max_by(|a, b| strength(a).total_cmp(&strength(b)))?;
    Some(strongest.look.at_m)
}
