//! A second line, where one does not explain a walk.

use core::f32::consts::FRAC_PI_3;

use glam::Vec3;

use super::fix::{Beside, TwoLines};
use super::place::{over, strongest_m};
use super::{LOOKS, Tracer};
use crate::chi_square::{Level, upper_point};
use crate::depth::{Depth, Measured};
use crate::fit::line::{Line, PhasorLook, TWO_UNKNOWNS, Traced, Two, traverse_two};
use crate::fit::{Ring, Shared};
use crate::verdict::{Place, Reason};

impl Tracer {
    /// Two lines, where they come to rest.
    pub(super) fn two(
        &self,
        walk: &Ring<LOOKS, PhasorLook>,
        shared: &Shared,
        here_m: Option<Vec3>,
    ) -> Option<TwoLines> {
        let found = traverse_two(walk, shared).ok()?;
        let Two { first, second, phase_rad } = found.source;
        let here_m = here_m.or_else(|| strongest_m(walk))?;
        let explains = found.chi_square <= upper_point(found.freedom as usize, Level::OnePerMille);
        let [_, _, _, _, _, _, current, re, im, _] = sigmas(&found);
        let beside = |line: &Line, [left, up]: [usize; 2], current_sigma: f32| {
            let above_m = over(line, here_m);
            let depth_m = above_m.z - line.at_m.z - (above_m - line.at_m).dot(line.along) * line.along.z;
            Beside {
                place: Place { east_m: above_m.x, north_m: above_m.y, sigma_m: found.sigma(left) },
                depth: Depth { depth_m: depth_m - self.settings.node_height_m, sigma_m: found.sigma(up) },
                current_a: Measured::new(line.current_a, current_sigma),
            }
        };
        Some(TwoLines {
            first: beside(&first, [0, 1], current),
            second: beside(&second, [2, 3], re.max(im)),
            phase_rad,
            explains,
        })
    }
}

impl TwoLines {
    /// What a second line amounts to, by its phase.
    pub(super) fn reason(&self) -> Reason {
        let off = self.phase_rad.abs();
        if off < FRAC_PI_3 {
            Reason::BleedOver
        } else if off > 2.0 * FRAC_PI_3 {
            Reason::CurrentReturns
        } else {
            Reason::Elliptical
        }
    }
}

fn sigmas(found: &Traced<Two, TWO_UNKNOWNS>) -> [f32; TWO_UNKNOWNS] {
    let mut sigmas = [0.0; TWO_UNKNOWNS];
    sigmas.iter_mut().enumerate().for_each(|(n, sigma)| *sigma = found.sigma(n));
    sigmas
}
