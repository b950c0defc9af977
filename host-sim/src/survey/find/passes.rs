//! Which passes of a walk show a line.

use crate::survey::model::{Together, field_nt, noise_nt, turn};
use crate::survey::walk::Walk;
use crate::survey::wire::Wire;

/// How well a pass must know a line's current to say anything of it, and how little of it is none.
const PASS_SIGMA: f64 = 0.15;
const MISSED: f64 = 0.5;

/// How many passes show a line, and how many should but do not.
pub(super) fn seen_and_missed(walk: &Walk, all: &Together, n: usize) -> (usize, usize) {
    let own = all.lines[n];
    let noise = noise_nt(walk, &all.lines, false);
    let size = own.current_a.norm();
    let (mut seen, mut missed) = (0, 0);
    for pass in 0..walk.passes() {
        let (mut along, mut whole) = (0.0, 0.0);
        for (sight, noise) in walk.sights.iter().zip(&noise).filter(|(sight, _)| sight.pass == pass) {
            let model = field_nt(&all.lines, sight);
            let back = turn(walk.phase, &model, sight, *noise).conj();
            let fields = own.field_nt(sight);
            for k in 0..2 {
                for c in 0..3 {
                    let rest = sight.field_nt[k][c] * back - (model[k][c] - fields[k][c]);
                    along += (rest * fields[k][c].conj()).re / (noise[k] * noise[k]);
                    whole += fields[k][c].norm_sqr() / (noise[k] * noise[k]);
                }
            }
        }
        // A pass that knows the current to so much, as a share of it.
        if size > 0.0 && whole > 1.0 / (PASS_SIGMA * PASS_SIGMA) {
            if along / whole > MISSED { seen += 1 } else { missed += 1 }
        }
    }
    (seen, missed)
}

/// Whether the walk was on both sides of a line.
pub(super) fn straddled(walk: &Walk, wire: &Wire) -> bool {
    let sides = || walk.sights.iter().map(|sight| wire.left_of_m(sight.at_m.truncate()));
    sides().any(|left| left > 0.0) && sides().any(|left| left < 0.0)
}
