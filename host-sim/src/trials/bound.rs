//! The Cramer-Rao bound on depth for a walk as it was really walked: how well anybody could have known the depth
//! from what the coils and sensors said (Kay 1993, Fundamentals of Statistical Signal Processing I, chapter 3, and
//! for the random errors of the sensors van Trees 1968, Detection, Estimation, and Modulation Theory I, section
//! 2.4.3, from memory).
//!
//! Unknown are the sonde's place and moment, the ratio of the nodes' gains and the compass error (both with the
//! sensors' own sigma as prior), and at every instant the errors of position, height and tilt. The position error
//! that wanders is no new one at every instant: it is carried on as what it is, an Ornstein-Uhlenbeck process. All
//! slopes are taken at the truth, so the problem is linear and Gaussian there, and a Kalman filter's covariance *is*
//! the inverse of the information (Kay 1993, chapter 13). Only white noise counts: hum and impulses come on top.

use glam::DVec3;
use nalgebra::{SMatrix, SVector};
use nullwalk_core::field::dipole;

use crate::site::{Site, Sonde};
use crate::synth::Pose;

/// Place 3, moment 3, gain of the upper nodes, compass; wandering position 2; white errors of position 3, pitch, roll.
const STATES: usize = 15;
const DEPTH: usize = 2;
const MOMENT: usize = 3;
const GAIN: usize = 6;
const COMPASS: usize = 7;
const WANDER: usize = 8;
const WHITE: usize = 10;
const TILT: usize = 13;
/// As good as not knowing a place: more, and digits would be lost for nothing.
const ANYWHERE_M: f64 = 30.0;
/// As good as not knowing a moment, in moments.
const ANY_MOMENT: f64 = 10.0;
/// For differences in place (metres) and attitude (radians).
const STEP: f64 = 1e-5;

/// Where the mast was, and for how long.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stay {
    /// Where, without any error.
    pub pose: Pose,
    /// How long, seconds.
    pub seconds: f64,
}

/// The smallest standard deviation that any unbiased depth can have after a walk, metres. `None` without sensors for
/// position, compass and tilt: then nobody could tell from the walk.
pub fn depth_m(site: &Site, sonde: &Sonde, walk: &[Stay]) -> Option<f64> {
    let track = &site.noise.track;
    if !(track.position && track.heading && track.tilt) || walk.is_empty() {
        return None;
    }
    let moment = moment(sonde);
    let mut variance = SVector::<f64, STATES>::zeros();
    variance.fixed_rows_mut::<3>(0).fill(ANYWHERE_M.powi(2));
    variance.fixed_rows_mut::<3>(MOMENT).fill((ANY_MOMENT * moment.length()).powi(2));
    variance[GAIN] = site.array.calibration.node_ratio_sigma.powi(2);
    variance[COMPASS] = track.heading_deg.to_radians().powi(2);
    let mut covariance = SMatrix::<f64, STATES, STATES>::from_diagonal(&variance);
    renew(&mut covariance, WANDER, &[track.wander_m; 2]);

    let tilt = track.tilt_deg.to_radians();
    let white = [track.white_m, track.white_m, track.up_m, tilt, tilt];
    let at = DVec3::new(sonde.east_m, sonde.north_m, site.ground.up_m - sonde.depth_m);
    for stay in walk {
        wander(&mut covariance, track.wander_m, (-stay.seconds / track.wander_s).exp());
        renew(&mut covariance, WHITE, &white);
        // A density S in pT per root hertz leaves a peak amplitude uncertain by S / root T after the time T.
        let variance_nt2 = (site.noise.field_pt_per_root_hz * 1e-3).powi(2) / stay.seconds;
        for (n, node) in site.array.node.iter().enumerate() {
            let seen = Seen { at, moment, node: DVec3::from_array(node.position_m) };
            for slope in seen.slopes(&stay.pose, n > 0) {
                let towards = covariance * slope;
                let spread = slope.dot(&towards) + variance_nt2;
                covariance -= towards * towards.transpose() / spread;
            }
        }
    }
    Some(covariance[(DEPTH, DEPTH)].max(0.0).sqrt())
}

fn moment(sonde: &Sonde) -> DVec3 {
    let (sin, cos) = sonde.lay_deg.to_radians().sin_cos();
    let (up, level) = sonde.pitch_deg.to_radians().sin_cos();
    DVec3::new(sin * level, cos * level, up) * sonde.moment_a_m2
}

/// Forget some states and begin them anew with these sigmas.
fn renew(covariance: &mut SMatrix<f64, STATES, STATES>, first: usize, sigmas: &[f64]) {
    for (state, sigma) in (first..).zip(sigmas) {
        covariance.row_mut(state).fill(0.0);
        covariance.column_mut(state).fill(0.0);
        covariance[(state, state)] = sigma * sigma;
    }
}

/// Let the position wander on: it keeps so much of its value.
fn wander(covariance: &mut SMatrix<f64, STATES, STATES>, sigma_m: f64, keep: f64) {
    for state in [WANDER, WANDER + 1] {
        covariance.row_mut(state).scale_mut(keep);
        covariance.column_mut(state).scale_mut(keep);
        covariance[(state, state)] += (1.0 - keep * keep) * sigma_m * sigma_m;
    }
}

/// A sonde as one node sees it.
struct Seen {
    at: DVec3,
    moment: DVec3,
    node: DVec3,
}

impl Seen {
    /// The field along the axes of the mast, nanotesla.
    fn field_nt(&self, at: DVec3, moment: DVec3, pose: &Pose) -> DVec3 {
        let to_site = pose.rotation();
        let away = pose.enu_m + to_site * self.node - at;
        to_site.transpose() * DVec3::from_array(dipole(moment.to_array(), away.to_array())) * 1e9
    }

    /// For each axis of the mast: the slope of the field along it by each state.
    fn slopes(&self, pose: &Pose, upper: bool) -> [SVector<f64, STATES>; 3] {
        let mut slopes = [SVector::zeros(); 3];
        let mut by = |state: usize, slope: DVec3| {
            for (row, value) in slopes.iter_mut().zip(slope.to_array()) {
                row[state] = value;
            }
        };
        let difference = |a: DVec3, b: DVec3| (a - b) / (2.0 * STEP);
        for (axis, unit) in DVec3::AXES.into_iter().enumerate() {
            let shifted = |way: f64| self.field_nt(self.at + unit * (way * STEP), self.moment, pose);
            let slope = difference(shifted(1.0), shifted(-1.0));
            by(axis, slope);
            // Moving the mast is moving the sonde the other way.
            by(WHITE + axis, -slope);
            if axis < 2 {
                by(WANDER + axis, -slope);
            }
            by(MOMENT + axis, self.field_nt(self.at, unit, pose));
        }
        if upper {
            by(GAIN, self.field_nt(self.at, self.moment, pose));
        }
        let turns: [fn(&mut Pose) -> &mut f64; 3] =
            [|p| &mut p.heading_rad, |p| &mut p.pitch_rad, |p| &mut p.roll_rad];
        for (state, angle) in [COMPASS, TILT, TILT + 1].into_iter().zip(turns) {
            let turned = |way: f64| {
                let mut pose = *pose;
                *angle(&mut pose) += way * STEP;
                self.field_nt(self.at, self.moment, &pose)
            };
            by(state, difference(turned(1.0), turned(-1.0)));
        }
        slopes
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::{Noise, Track};
    use nalgebra::DMatrix;

    /// Lanes of 6 m at 0.5 m/s and ten readings a second, the lower node on the ground.
    fn lanes(beside_m: &[f64]) -> Vec<Stay> {
        let lane = |&y: &f64| {
            (0..121).map(move |n| Stay {
                pose: Pose { enu_m: DVec3::new(0.05 * f64::from(n) - 3.0, y, 0.0), ..Pose::default() },
                seconds: 0.1,
            })
        };
        beside_m.iter().flat_map(lane).collect()
    }

    /// White position noise alone, the nodes' ratio known.
    fn site(white_m: f64) -> Site {
        let track = Track {
            white_m,
            wander_m: 0.0,
            up_m: white_m,
            heading_deg: 0.0,
            tilt_deg: 0.0,
            ..Track::default()
        };
        let mut site = Site { noise: Noise { track, ..Noise::default() }, ..Site::default() };
        site.array.calibration.node_ratio_sigma = 0.0;
        site
    }

    fn sonde(depth_m: f64) -> Sonde {
        Sonde { depth_m, ..Sonde::default() }
    }

    /// The table of docs/src/theory/noise.md, made with a program of its own in Python. It gives two or three
    /// figures; that the three lanes lie half a metre apart is a guess that fits it.
    #[test]
    fn bounds_are_those_of_the_book() {
        let overhead = [Stay { pose: Pose::default(), seconds: 0.1 }];
        let one = lanes(&[0.0]);
        let three = lanes(&[-0.5, 0.0, 0.5]);
        let check = |white_m: f64, walk: &[Stay], depths: &[(f64, f64)]| {
            for &(d, expected_m) in depths {
                let found_m = depth_m(&site(white_m), &sonde(d), walk).unwrap();
                assert!((found_m / expected_m - 1.0).abs() < 0.05, "{d} m, {white_m} m: {found_m}");
            }
        };
        check(0.0, &overhead, &[(1.0, 2.7e-3), (2.0, 51e-3), (3.0, 0.32)]);
        check(0.0, &one, &[(1.0, 0.13e-3), (2.0, 1.5e-3), (3.0, 6.9e-3), (6.0, 0.121), (8.0, 0.44)]);
        check(0.0, &three, &[(1.0, 0.09e-3), (2.0, 0.93e-3), (3.0, 4.2e-3), (6.0, 71e-3), (8.0, 0.26)]);
        check(0.02, &three, &[(1.0, 1.2e-3), (2.0, 2.1e-3), (3.0, 4.9e-3), (6.0, 71e-3)]);
        check(0.3, &three, &[(1.0, 16e-3), (2.0, 16e-3), (3.0, 23e-3), (6.0, 92e-3)]);
    }

    /// All instants at once: the error of position with its whole covariance in time, the information inverted.
    #[test]
    fn a_wandering_position_is_carried_on_without_loss() {
        let mut site = site(0.01);
        let track = &mut site.noise.track;
        (track.wander_m, track.wander_s, track.up_m) = (0.1, 3.0, 0.0);
        site.array.calibration.node_ratio_sigma = 0.003;
        let (sonde, walk) = (sonde(2.0), lanes(&[0.3]));
        let track = &site.noise.track;
        let rows = walk.len() * 6;
        let mut by_static = DMatrix::zeros(rows, 7);
        let mut by_place = DMatrix::zeros(rows, 2);
        for (k, stay) in walk.iter().enumerate() {
            for n in 0..2 {
                let node = DVec3::new(0.0, 0.0, 0.4 * n as f64);
                let seen = Seen { at: DVec3::new(0.0, 0.0, -2.0), moment: DVec3::new(0.2, 0.0, 0.0), node };
                for (axis, slope) in seen.slopes(&stay.pose, n > 0).into_iter().enumerate() {
                    let row = 6 * k + 3 * n + axis;
                    (0..7).for_each(|state| by_static[(row, state)] = slope[state]);
                    (0..2).for_each(|state| by_place[(row, state)] = slope[WANDER + state]);
                }
            }
        }
        let noise = DMatrix::from_fn(rows, rows, |i, j| {
            let apart_s = 0.1 * (i / 6).abs_diff(j / 6) as f64;
            let mut covariance_m2 = track.wander_m.powi(2) * (-apart_s / track.wander_s).exp();
            if i / 6 == j / 6 {
                covariance_m2 += track.white_m.powi(2);
            }
            let own = if i == j { (5e-3_f64).powi(2) / 0.1 } else { 0.0 };
            own + covariance_m2 * by_place.row(i).dot(&by_place.row(j))
        });
        let mut information = by_static.transpose() * noise.try_inverse().unwrap() * &by_static;
        information[(GAIN, GAIN)] += 1.0 / 0.003_f64.powi(2);
        let expected_m = information.try_inverse().unwrap()[(DEPTH, DEPTH)].sqrt();
        let found_m = depth_m(&site, &sonde, &walk).unwrap();
        assert!((found_m / expected_m - 1.0).abs() < 1e-3, "{found_m} {expected_m}");
    }

    #[test]
    fn nobody_knows_without_a_position() {
        let mut site = site(0.0);
        assert!(depth_m(&site, &sonde(1.0), &[]).is_none());
        site.noise.track.position = false;
        assert!(depth_m(&site, &sonde(1.0), &lanes(&[0.0])).is_none());
    }
}
