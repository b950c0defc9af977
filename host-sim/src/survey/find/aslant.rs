//! How aslant passes cross a line. A compass that errs turns the fields and not the places, so by the error times this every
//! way across the line is too long or too short, and the depth with it. Where many passes cross far apart, places tell the lay
//! better than a compass does, and less comes of it: a range that allows for it is too wide then, never too narrow.

use crate::survey::walk::{Sight, Walk};
use crate::survey::wire::Wire;

/// Metres along the line for each metre across it, over all passes where they are no further from it than it is deep.
pub(super) fn aslant(walk: &Walk, wire: &Wire) -> f64 {
    let near = |sight: &&Sight| {
        let away_m = sight.at_m - wire.at_m;
        away_m.dot(wire.left()).abs() < away_m.z
    };
    let (mut both_m2, mut across_m2) = (0.0, 0.0);
    for pass in walk.sights.chunk_by(|a, b| a.pass == b.pass) {
        let places = || {
            let away_m = pass.iter().filter(near).map(|sight| sight.at_m - wire.at_m);
            away_m.map(|away_m| (away_m.dot(wire.left()), away_m.dot(wire.along())))
        };
        let count = places().count().max(1) as f64;
        let (across, along) = places().fold((0.0, 0.0), |(x, y), (across, along)| (x + across, y + along));
        for (x, y) in places() {
            both_m2 += (x - across / count) * (y - along / count);
            across_m2 += (x - across / count).powi(2);
        }
    }
    if across_m2 > 0.0 { both_m2 / across_m2 } else { 0.0 }
}
