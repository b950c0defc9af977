//! Least-squares fits of a dipole to the fields seen: at one instant, and along a walk.
//!
//! Levenberg-Marquardt from a closed-form start, a bounded number of steps, the normal equations solved by Cholesky's
//! factorisation.

mod belief;
mod circle;
mod coarse;
mod glimpse;
mod mode;
mod normal;
mod ring;
mod traverse;

use glam::Vec3;

use crate::math;

pub use glimpse::{Glimpsed, LogNormal, Priors, glimpse};
pub use ring::{Look, Ring};
pub use traverse::{Traversed, UNKNOWNS as TRAVERSE_UNKNOWNS, Undetermined, traverse};

/// Of a dipole: place (x, y), height and moment (x, y, z).
const UNKNOWNS: usize = 6;
/// The field of 1 A m2 at 1 m, in nanotesla.
const SCALE_NT: f32 = 100.0;

/// A dipole in the site frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dipole {
    /// Where, metres.
    pub at_m: Vec3,
    /// Moment, A m2.
    pub moment: Vec3,
}

/// The field of a dipole at a point, and how it changes with each unknown.
struct Seen {
    field_nt: Vec3,
    /// By place x, y, z and by moment x, y, z.
    columns: [Vec3; UNKNOWNS],
}

impl Dipole {
    #[inline(always)]
    fn seen_from(&self, at_m: Vec3) -> Seen {
        let r = at_m - self.at_m;
        let r2 = r.length_squared();
        let r2 = if r2 > 1e-4 { r2 } else { 1e-4 };
        let nearness = math::inverse_sqrt(r2);
        let u = r * nearness;
        let k = SCALE_NT * nearness * nearness * nearness;
        let mu = self.moment.dot(u);
        // By the source's place, one axis after the other: the field's gradient, negated.
        let gradient = -3.0 * k * nearness;
        let m = self.moment;
        let by_place = |ua: f32, ma: f32| u * (gradient * (ma - 5.0 * mu * ua)) + m * (gradient * ua);
        let mut by_place = [by_place(u.x, m.x), by_place(u.y, m.y), by_place(u.z, m.z)];
        let mut by_moment = [u.x, u.y, u.z].map(|ua| u * (3.0 * k * ua));
        let ([px, py, pz], [mx, my, mz]) = (&mut by_place, &mut by_moment);
        for (place, moment) in [(&mut px.x, &mut mx.x), (&mut py.y, &mut my.y), (&mut pz.z, &mut mz.z)] {
            *place += gradient * mu;
            *moment -= k;
        }
        let ([px, py, pz], [mx, my, mz]) = (by_place, by_moment);
        let columns = [px, py, pz, mx, my, mz];
        Seen { field_nt: k * (3.0 * mu * u - self.moment), columns }
    }
}
