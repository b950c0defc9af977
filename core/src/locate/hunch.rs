//! Where the source is thought to be before both nulls were passed: by the whole walk where that tells, else by one
//! glimpse. Good enough to walk there; nothing is marked by it.

use glam::Vec2;

use crate::fit::{Dipole, Look, Priors, Ring, Shared, Traversed, glimpse, traverse};
use crate::math;

/// A place known worse than to this share of the depth is no place.
const KNOWN_SHARE: f32 = 0.25;
/// Reduced chi-square above which no dipole explains the walk.
const EXPLAINED: f32 = 3.0;

/// A source that is thought to be somewhere.
#[derive(Debug, Clone, Copy)]
pub struct Hunch {
    /// Ground point above it, site frame, metres.
    pub place_m: Vec2,
    /// Standard uncertainty of that in the direction in which it is greatest, metres.
    pub sigma_m: f32,
    /// Direction of the lay, site frame (its sense means nothing).
    pub lay: Vec2,
    /// Whether the whole walk says so.
    pub by_walk: bool,
}

impl Hunch {
    /// By the whole walk. What the strongest look shows by itself is where the fit of all of them begins.
    pub fn of_walk<const N: usize>(walk: &Ring<N>, shared: &Shared, priors: &Priors) -> Option<Self> {
        let strength = |look: &Look| look.fields_nt[0].length_squared();
        let strongest = walk.looks().iter().max_by(|a, b| strength(a).total_cmp(&strength(b)))?;
        let seen = glimpse(&with_shared(strongest, shared), priors, shared.node_ratio)?;
        [Some(seen.dipole), seen.twin].into_iter().flatten().find_map(|start| {
            let start = Dipole { at_m: strongest.at_m + start.at_m, ..start };
            Self::fitted(&traverse(walk, start, shared).ok()?)
        })
    }

    fn fitted(fitted: &Traversed) -> Option<Self> {
        let [[xx, xy, ..], [_, yy, ..], ..] = fitted.covariance;
        let Dipole { at_m, moment } = fitted.dipole;
        let sigma_m = widest(xx, xy, yy);
        let lay = moment.truncate().try_normalize()?;
        let explained = fitted.reduced_chi_square() < EXPLAINED;
        explained.then_some(Self { place_m: at_m.truncate(), sigma_m, lay, by_walk: true })
    }

    /// By one glimpse, in site axes.
    pub fn of_look(look: &Look, shared: &Shared, priors: &Priors) -> Option<Self> {
        let seen = glimpse(&with_shared(look, shared), priors, shared.node_ratio)?;
        let [[xx, xy, _], [_, yy, _], _] = seen.covariance;
        let sigma_m = widest(xx, xy, yy);
        let (sin, cos) = math::sin_cos(seen.lay_rad.value);
        let place_m = (look.at_m + seen.place_m).truncate();
        let known = sigma_m < KNOWN_SHARE * seen.depth_m().value;
        known.then_some(Self { place_m, sigma_m, lay: Vec2::new(cos, sin), by_walk: false })
    }
}

/// A look with what it shares with others, for which it has to answer alone.
fn with_shared(look: &Look, shared: &Shared) -> Look {
    let relative2 = shared.field * shared.field;
    let mut alone = *look;
    for (sigma_nt, field_nt) in alone.sigma_nt.iter_mut().zip(look.fields_nt) {
        *sigma_nt = math::sqrt(*sigma_nt * *sigma_nt + relative2 * field_nt.length_squared());
    }
    alone
}

/// Standard deviation along the longer axis of a covariance in plan.
fn widest(xx: f32, xy: f32, yy: f32) -> f32 {
    let half = 0.5 * (xx - yy);
    math::sqrt(0.5 * (xx + yy) + math::sqrt(half * half + xy * xy))
}
