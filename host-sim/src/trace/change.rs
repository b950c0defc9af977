//! The load test along a walk: the same lanes before and while a load is on. What changed, place by place, is the field of the
//! line that feeds it, whatever hums beside it, and is traced like any other.
//!
//! The walks do not pass over quite the same places, so the field before is read off between its looks, and what a step aside
//! would have made of it is added to the uncertainty. The phase of the grid between both recordings is not known: one turn is
//! taken out, the one at which most places are as they were ([`nullwalk_core::mains::compare`] does so for a mast that stands).

use std::f64::consts::TAU;

use glam::{DMat3, DVec2, DVec3, Vec3Swizzles as _};
use nullwalk_core::array::{Circumstances, CommonPhase, Glimpse, NodePhasor};
use nullwalk_core::frame::{MastReading, heading_rotation};
use num_complex::{Complex32, Complex64};

use crate::run::{Seen, Walk};

/// Looks of the walk before within this distance tell what was there, metres; those so near count fully.
const REACH_M: f64 = 0.3;
const NEAR_M: f64 = 0.08;
/// Slopes of the field across the lane are believed to be nothing, against what looks tell of them, so firmly.
const RIDGE: f64 = 0.02;
/// Residuals count as near up to the root of this, in standard deviations.
const NEAR: f64 = 4.0;
/// Places at which the walks must be compared, at least.
const FEWEST: usize = 20;

/// What a load changed.
#[derive(Debug, Clone, PartialEq)]
pub struct Changed {
    /// The field that came on, place by place: a walk to be traced.
    pub walk: Walk,
    /// Where it is largest: east and north, metres.
    pub largest_m: [f64; 2],
    /// Its size there over its uncertainty.
    pub score: f64,
}

/// What came on between two walks, each by all harmonics in order. `None` where the walks share too few places.
///
/// The harmonic is the one in which the change stands out most.
pub fn changed(before: &[Walk], during: &[Walk]) -> Option<Changed> {
    let differences = before.iter().zip(during).filter_map(|(before, during)| difference(before, during));
    differences.max_by(|a, b| a.1.total_cmp(&b.1)).map(|(changed, _)| changed)
}

/// Of one harmonic; and how much of it there is over the whole walk.
fn difference(before: &Walk, during: &Walk) -> Option<(Changed, f64)> {
    let known: Vec<Place> = before.seen.iter().filter_map(Place::of).collect();
    let here: Vec<(usize, Place)> = during
        .seen
        .iter()
        .enumerate()
        .filter_map(|(n, seen)| Place::of(seen).map(|place| (n, place)))
        .collect();
    // Where no grid was heard before, its field was nothing.
    let silent = known.is_empty();
    let pairs: Vec<(usize, &Place, Was)> = here
        .iter()
        .filter_map(|(n, place)| {
            let was = if silent { Was::nothing(place) } else { Was::at(place, &known)? };
            Some((*n, place, was))
        })
        .collect();
    if pairs.len() < FEWEST {
        return None;
    }
    let turn = if silent { Complex64::ONE } else { turn(&pairs) };
    let mut walk = Walk { seen: Vec::new(), best_snr_db: f32::NEG_INFINITY, ..during.clone() };
    let (mut phase, mut evidence) = (CommonPhase::default(), 0.0);
    let (mut largest, mut score) = ([0.0; 2], 0.0);
    for (n, place, was) in &pairs {
        let Some(seen) = during.seen.get(*n) else { continue };
        let change: Vec<Complex64> =
            place.fields_t.iter().zip(&was.fields_t).map(|(now, was)| now * turn.conj() - was).collect();
        let sigma_t = place.sigma_t.hypot(was.sigma_t);
        let power = change.iter().map(|z| z.norm_sqr()).sum::<f64>() / (2.0 * sigma_t * sigma_t);
        // Noise alone gives one for each of the numbers.
        evidence += power - change.len() as f64;
        if power.sqrt() > score {
            (score, largest) = (power.sqrt(), place.at_m.truncate().to_array());
        }
        let glimpse = glimpse(&seen.glimpse, &change, place, sigma_t, &mut phase);
        walk.best_snr_db = walk.best_snr_db.max(glimpse.snr_db);
        walk.seen.push(Seen { glimpse, ..seen.clone() });
    }
    Some((Changed { walk, largest_m: largest, score }, evidence))
}

/// What one look showed, in the site frame and against the grid's phase.
struct Place {
    at_m: DVec3,
    to_site: DMat3,
    /// Lower node, then upper node: east, north, up.
    fields_t: Vec<Complex64>,
    sigma_t: f64,
    /// Standard uncertainty of the place along each axis, metres.
    sigma_m: f64,
}

impl Place {
    fn of(seen: &Seen) -> Option<Self> {
        let glimpse = &seen.glimpse;
        let position = glimpse.mast.position?;
        let at_m = position.enu_m.as_dvec3();
        let to_site = heading_rotation(glimpse.mast.heading_rad?).as_dmat3();
        let turn = Complex64::cis(f64::from(seen.phase_rad));
        let mut fields_t = Vec::with_capacity(6);
        let mut sigma_t = 0.0_f64;
        for (node, quadrature_t) in glimpse.nodes.iter().zip(glimpse.quadrature_t) {
            let (re, im) = (to_site * node.field_t.as_dvec3(), to_site * quadrature_t.as_dvec3());
            fields_t.extend([0, 1, 2].map(|k| Complex64::new(re[k], im[k]) * turn));
            sigma_t = sigma_t.max(f64::from(node.sigma_t));
        }
        Some(Self { at_m, to_site, fields_t, sigma_t, sigma_m: f64::from(position.sigma_m) })
    }
}

/// What was there before.
struct Was {
    fields_t: Vec<Complex64>,
    sigma_t: f64,
}

impl Was {
    /// Nothing, as well as that can be known.
    fn nothing(place: &Place) -> Self {
        Self { fields_t: vec![Complex64::ZERO; place.fields_t.len()], sigma_t: place.sigma_t }
    }

    /// From the looks about a place: a plane through them, by weighted least squares.
    fn at(place: &Place, known: &[Place]) -> Option<Self> {
        let about: Vec<(DVec2, &Place, f64)> = known
            .iter()
            .filter_map(|near| {
                let off_m = (near.at_m - place.at_m).truncate();
                let distance2 = off_m.length_squared();
                let weight = (-0.5 * distance2 / (NEAR_M * NEAR_M)).exp();
                (distance2 < REACH_M * REACH_M).then_some((off_m, near, weight))
            })
            .collect();
        let nearest = about.iter().map(|(off_m, ..)| off_m.length()).reduce(f64::min)?;
        let mut normal = DMat3::ZERO;
        for (off_m, _, weight) in &about {
            let row = DVec3::new(1.0, off_m.x / NEAR_M, off_m.y / NEAR_M);
            normal += DMat3::from_cols(row * row.x, row * row.y, row * row.z) * *weight;
        }
        let total: f64 = about.iter().map(|(.., weight)| weight).sum();
        normal += DMat3::from_diagonal(DVec3::new(0.0, 1.0, 1.0)) * (RIDGE * total);
        let solve = normal.inverse();
        let (mut fields_t, mut slope2, mut noise2) = (Vec::new(), 0.0, 0.0);
        for (off_m, near, weight) in &about {
            let share = solve.row(0).dot(DVec3::new(1.0, off_m.x / NEAR_M, off_m.y / NEAR_M)) * weight;
            noise2 += share * share * near.sigma_t * near.sigma_t;
        }
        for k in 0..place.fields_t.len() {
            let mut right = [DVec3::ZERO; 2];
            for (off_m, near, weight) in &about {
                let row = DVec3::new(1.0, off_m.x / NEAR_M, off_m.y / NEAR_M) * *weight;
                let z = near.fields_t.get(k).copied().unwrap_or_default();
                right = [right[0] + row * z.re, right[1] + row * z.im];
            }
            let [re, im] = right.map(|right| solve * right);
            fields_t.push(Complex64::new(re.x, im.x));
            slope2 += (re.yz().length_squared() + im.yz().length_squared()) / (NEAR_M * NEAR_M);
        }
        // What a step aside makes of the field: the nearest look is so far off, and neither walk knows better where it was.
        let aside2 = nearest * nearest + 2.0 * place.sigma_m * place.sigma_m;
        Some(Self { fields_t, sigma_t: (noise2 + slope2 / 6.0 * aside2).sqrt() })
    }
}

/// The turn of the grid from one recording to the other: where most places are as they were. What changed is not to pull at it,
/// so a residual counts by its logarithm (Holland and Welsch 1977, Commun. Stat. A6:813, from memory).
fn turn(pairs: &[(usize, &Place, Was)]) -> Complex64 {
    let cost = |turn: Complex64| -> f64 {
        pairs
            .iter()
            .map(|(_, place, was)| {
                let sigma_t = place.sigma_t.hypot(was.sigma_t);
                let left = |(now, was): (&Complex64, &Complex64)| (now * turn.conj() - was).norm_sqr();
                let power: f64 = place.fields_t.iter().zip(&was.fields_t).map(left).sum();
                (1.0 + power / (NEAR * sigma_t * sigma_t)).ln()
            })
            .sum()
    };
    let best = |from: f64, step: f64, steps: i32| {
        let tried = (-steps..=steps).map(|k| from + step * f64::from(k));
        tried.min_by(|a, b| cost(Complex64::cis(*a)).total_cmp(&cost(Complex64::cis(*b)))).unwrap_or(from)
    };
    let coarse = best(0.0, TAU / 360.0, 180);
    Complex64::cis(best(best(coarse, TAU / 3600.0, 20), TAU / 36_000.0, 20))
}

/// The change as a glimpse, held as the mast was.
fn glimpse(
    now: &Glimpse,
    change: &[Complex64],
    place: &Place,
    sigma_t: f64,
    phase: &mut CommonPhase,
) -> Glimpse {
    let nodes: Vec<NodePhasor> = change
        .chunks_exact(3)
        .map(|z| {
            let part = |of: fn(&Complex64) -> f64| {
                place.to_site.transpose() * DVec3::new(of(&z[0]), of(&z[1]), of(&z[2]))
            };
            let (re, im) = (part(|z| z.re), part(|z| z.im));
            let field_t = [0, 1, 2].map(|k| Complex32::new(re[k] as f32, im[k] as f32));
            NodePhasor { field_t, sigma_t: sigma_t as f32 }
        })
        .collect();
    // The fields are levelled already.
    let level = MastReading { tilt: None, ..now.mast };
    let circumstances = Circumstances { marks: now.marks, ..Circumstances::default() };
    Glimpse { mast: now.mast, ..Glimpse::new(now.at, &nodes, phase, level, circumstances) }
}
