//! Looks so near one another that they count as one place.

use std::ops::Range;

use glam::DVec3;

use crate::survey::walk::Walk;

/// Looks so near each other, metres, see the same field.
const STRETCH_M: f64 = 0.15;

/// Neighbouring looks, as one place with what they saw.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stretch {
    pub(super) at_m: DVec3,
    pub(super) upper_m: DVec3,
    pub(super) inverse_nt: [f64; 2],
    pub(super) count: f64,
}

/// Consecutive looks of a pass that are near each other.
pub(super) fn groups(walk: &Walk) -> Vec<Range<usize>> {
    let mut groups: Vec<Range<usize>> = Vec::new();
    for (n, sight) in walk.sights.iter().enumerate() {
        let first = groups.last().and_then(|group| walk.sights.get(group.start));
        let joins = first
            .is_some_and(|first| first.pass == sight.pass && first.at_m.distance(sight.at_m) < STRETCH_M);
        match groups.last_mut().filter(|_| joins) {
            Some(group) => group.end = n + 1,
            None => groups.push(n..n + 1),
        }
    }
    groups
}

pub(super) fn stretch(walk: &Walk, noise_nt: &[[f64; 2]], group: &Range<usize>) -> Stretch {
    let count = group.len() as f64;
    let sights = walk.sights.get(group.clone()).unwrap_or_default();
    let noises = noise_nt.get(group.clone()).unwrap_or_default();
    let inverse_nt = [0, 1].map(|node| {
        let mean2 = noises.iter().map(|noise| noise[node] * noise[node]).sum::<f64>() / count;
        1.0 / mean2.sqrt()
    });
    Stretch {
        at_m: sights.iter().map(|sight| sight.at_m).sum::<DVec3>() / count,
        upper_m: sights.iter().map(|sight| sight.upper_m).sum::<DVec3>() / count,
        inverse_nt,
        count,
    }
}
