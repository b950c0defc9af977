//! From the fit of a circle to what is told of it.

use nullwalk_core::frame::HEADING_SIGMA_RAD;
use num_complex::Complex64;

use super::fit::Fit;
use super::text::cautions;
use super::{Around, Circle, Leaving, NEAR, Role, TARGET_DEG};
use crate::book::Estimate;
use crate::survey::bearing::{AGAINST_DEG, bearing_deg, signed_deg};
use crate::survey::walk::Walk;

/// Below such a share it is not told: it may be the leads' field.
const SEEN: f64 = 0.05;
/// Currents within so many degrees are in step.
const IN_STEP_DEG: f64 = 45.0;

pub(super) fn told(walk: &Walk, around: &Around, radius_m: f64, fit: &Fit<'_>) -> Circle {
    let (_, _, covariance) = fit.linear(&fit.rays, &fit.currents);
    let total: f64 = fit.currents.iter().take(fit.rays.len()).map(|current| current.norm()).sum();
    let mut order: Vec<usize> = (0..fit.rays.len()).collect();
    order.sort_by(|a, b| fit.currents[*b].norm().total_cmp(&fit.currents[*a].norm()));
    let bearing = |n: usize| bearing_deg(fit.rays[n].bearing_rad);
    let off = |n: usize, deg: f64| signed_deg(bearing(n) - deg).abs();
    let near = |deg: f64| {
        let nearest = order.iter().copied().min_by(|a, b| off(*a, deg).total_cmp(&off(*b, deg)));
        nearest.filter(|n| off(*n, deg) < TARGET_DEG)
    };
    let asked = around.target_deg.and_then(near);
    let target = asked.or(order.first().copied());
    let lines: Vec<Leaving> = order
        .iter()
        .zip('A'..)
        .map(|(&n, letter)| {
            let current = fit.currents[n];
            let reference = target.map_or(Complex64::ONE, |target| fit.currents[target]);
            let phase_deg = (current * reference.conj()).arg().to_degrees();
            let role = match phase_deg.abs() {
                _ if target == Some(n) => Role::Target,
                in_step if in_step < IN_STEP_DEG => Role::Shares,
                against if against > AGAINST_DEG => Role::Returns,
                _ => Role::Coupled,
            };
            let [turned, deeper] = fit.sigmas(n);
            let variance = covariance.as_ref().map_or(0.0, |covariance| covariance[(n, n)]);
            let depth_m = fit.ground_m - fit.rays[n].from_m.z;
            // A line that is a little deeper carries as much more.
            let node_m = depth_m + walk.carried_m;
            let (bearing_deg, bearing_sigma) =
                (bearing(n), turned.hypot(f64::from(HEADING_SIGMA_RAD)).to_degrees());
            let spread = variance.sqrt().hypot(current.norm() * deeper / node_m);
            Leaving {
                letter,
                bearing_deg: Estimate {
                    value: bearing_deg,
                    sigma: bearing_sigma,
                    low95: bearing_deg - 1.96 * bearing_sigma,
                    high95: bearing_deg + 1.96 * bearing_sigma,
                },
                depth_m: Estimate::of_size(depth_m, deeper.hypot(0.02 * depth_m)),
                current_ma: Estimate::of_size(1e3 * current.norm(), 1e3 * spread),
                share: current.norm() / total,
                phase_deg,
                role,
            }
        })
        .collect();
    let outward: Complex64 = fit.currents.iter().take(fit.rays.len()).sum();
    let moment = fit.coil.then(|| {
        let moments = fit.currents.iter().rev().take(3);
        moments.map(|m| m.norm_sqr()).sum::<f64>().sqrt()
    });
    // Abeam of a dipole: 100 nT for 1 A m2 at 1 m; above a line: 200 nT for 1 A at 1 m.
    let coil_nt = moment.unwrap_or(0.0) * 100.0 / radius_m.powi(3);
    let line_nt = |n: &usize| {
        fit.currents[*n].norm() * 200.0 / (fit.ground_m - fit.rays[*n].from_m.z + walk.carried_m)
    };
    let weakest_nt = order.iter().map(line_nt).fold(f64::INFINITY, f64::min);
    let coil_over_line =
        if lines.is_empty() { if fit.coil { f64::INFINITY } else { 0.0 } } else { coil_nt / weakest_nt };
    let trace = walk.sights.iter().map(|sight| {
        let from = sight.at_m.truncate() - around.centre_m;
        let [x, y, _] = sight.field_nt[0];
        (bearing_deg(from.y.atan2(from.x)), (x.norm_sqr() + y.norm_sqr()).sqrt())
    });
    let mut circle = Circle {
        centre_m: around.centre_m.to_array(),
        radius_m,
        tone_hz: walk.tone_hz,
        lines,
        outward_ma: 1e3 * outward.norm(),
        sent_ma: around.sent_ma,
        coil_a_m2: moment.filter(|_| coil_over_line > SEEN),
        coil_over_line,
        clear_radius_m: radius_m * (coil_over_line / NEAR).cbrt(),
        cautions: vec![],
        trace: trace.collect(),
    };
    circle.cautions = cautions(&circle, around.target_deg.is_some() && asked.is_none());
    circle
}
