//! Least-squares fits of a dipole to the fields seen: at one instant, and along a walk.
//!
//! Gauss and Newton from a closed-form start, a bounded number of steps, the normal equations solved by Cholesky's
//! factorisation.

mod belief;
mod circle;
mod coarse;
mod given;
mod glimpse;
pub mod line;
mod mode;
pub(crate) mod normal;
mod ring;
mod symmetric;
mod traverse;
mod walk;

use glam::Vec3;

use crate::math;
use symmetric::Symmetric;

pub use given::{LogNormal, Priors};
pub use glimpse::{Glimpsed, glimpse};
pub(crate) use normal::solution;
pub use ring::{Look, Mergeable, Ring};
pub use traverse::{Shared, Traversed, UNKNOWNS as TRAVERSE_UNKNOWNS, Undetermined, traverse};

/// The field of 1 A m2 at 1 m, in nanotesla.
const SCALE_NT: f32 = 100.0;
/// Keeps the field finite at the source itself, metres squared.
const NEAREST_M2: f32 = 1e-9;

/// No look is moved further in one round than this share of its distance.
const BOLDEST: f32 = 0.2;
/// and not quite to where it would rather be: beside a sonde, where the field hardly changes sideways, it would go to
/// and fro for ever.
const CAUTIOUS: f32 = 0.7;

/// Which share of a step a look's place goes in one round, the step and its distance from the source being so long,
/// squared.
fn boldness(step2: f32, away2: f32) -> f32 {
    let longest2 = BOLDEST * BOLDEST * away2;
    if step2 > longest2 { CAUTIOUS * math::sqrt(longest2 / step2) } else { CAUTIOUS }
}

/// A dipole in the site frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dipole {
    /// Where, metres.
    pub at_m: Vec3,
    /// Moment, A m2.
    pub moment: Vec3,
}

/// The field of a dipole at a point, and how it changes.
#[derive(Debug, Clone, Copy)]
struct Seen {
    field_nt: Vec3,
    /// Change with the observer's place: the field's gradient. Moving the source does the opposite.
    by_place: Symmetric,
    /// Change with the moment.
    by_moment: Symmetric,
    /// Half the field on the axis of a unit moment.
    unit_nt: f32,
}

impl Seen {
    /// The square of the change with the moment, so many times. Of (3 u u - 1) k it is (3 u u + 1) k2: no need to
    /// multiply it out.
    fn moment_squared(&self, times: f32) -> Symmetric {
        self.by_moment.plus(2.0 * self.unit_nt) * (self.unit_nt * times)
    }
}

impl Dipole {
    fn field_nt(&self, at_m: Vec3) -> Vec3 {
        let r = at_m - self.at_m;
        let closeness = math::recip_sqrt(r.length_squared() + NEAREST_M2);
        let u = r * closeness;
        (u * (3.0 * self.moment.dot(u)) - self.moment) * (SCALE_NT * closeness * closeness * closeness)
    }

    // In a frame of its own: what surrounds it needs the registers too, and costs a tenth less on a Cortex-M4F.
    #[inline(never)]
    fn seen_from(&self, at_m: Vec3) -> Seen {
        self.seen_here_from(at_m)
    }

    /// The same in the frame of the caller.
    #[inline(always)]
    fn seen_here_from(&self, at_m: Vec3) -> Seen {
        let r = at_m - self.at_m;
        let closeness = math::recip_sqrt(r.length_squared() + NEAREST_M2);
        let u = r * closeness;
        let k = SCALE_NT * closeness * closeness * closeness;
        let mu = self.moment.dot(u);
        let outward = Symmetric::square_of(u);
        // 3/r (m.u + u m + m u - 5 m.u u u).
        let by_place = Symmetric::products_of(u, self.moment).plus(mu) - outward * (5.0 * mu);
        Seen {
            field_nt: (u * (3.0 * mu) - self.moment) * k,
            by_place: by_place * (3.0 * k * closeness),
            by_moment: (outward * 3.0).plus(-1.0) * k,
            unit_nt: k,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slopes_are_those_of_the_field() {
        let dipole = Dipole { at_m: Vec3::new(0.1, -0.2, -1.3), moment: Vec3::new(0.2, 0.05, -0.03) };
        let at_m = Vec3::new(0.7, 0.3, 0.1);
        let seen = dipole.seen_from(at_m);
        for axis in [Vec3::X, Vec3::Y, Vec3::Z] {
            let h = 1e-2;
            let by_place = (dipole.seen_from(at_m + axis * h).field_nt
                - dipole.seen_from(at_m - axis * h).field_nt)
                / (2.0 * h);
            let off = (seen.by_place * axis - by_place).length();
            assert!(off < 2e-3 * by_place.length(), "{axis}: {} {by_place}", seen.by_place * axis);
            let more =
                Dipole { moment: dipole.moment + axis, ..dipole }.seen_from(at_m).field_nt - seen.field_nt;
            let off = (seen.by_moment * axis - more).length();
            assert!(off < 1e-5 * more.length(), "{axis}: {} {more}", seen.by_moment * axis);
        }
    }
}
