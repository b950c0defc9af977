//! The dipole that one instant of both nodes speaks for, together with what is known beforehand.
//!
//! Six numbers for six unknowns, and badly: over a level sonde depth and a miss sideways look alike, and far off one
//! hardly tells near and deep from far and shallow, nor left from right. So what comes out is a *belief*: mean and
//! covariance over all that the source may be, with priors that keep it from wandering off.
//!
//! Points about the circle on which a level sonde can lie give the belief as a whole. Where only a few of them are left,
//! it is narrower than they stand apart; then Levenberg-Marquardt goes on from the best of either side, and each side
//! that it finds counts with its own covariance (Laplace's approximation; Kay 1993).

use glam::{Mat2, Mat3, Vec3};

use super::Dipole;
use super::belief::Belief;
use super::circle::scan;
use super::given::{Frame, Known, LogNormal, Priors};
use super::mode::Mode;
use super::normal::Matrix;
use super::ring::Look;
use crate::depth::Measured;
use crate::math;

/// Fewer points than this, by their weights, and the belief is narrower than they stand apart.
const FEW_POINTS: f32 = 8.0;
/// Fields this much stronger than their noise are worth more than points can say, few or many.
const CLEAR: f32 = 140.0;
/// Steps of the iteration at most, on the likelier side and on the other.
const ROUNDS: [usize; 2] = [4, 3];
/// Two ends of the iteration are one when they lie within this share of the sigma, and of the depth.
const SAME_SIGMAS: f32 = 0.3;
const SAME_SHARE: f32 = 0.02;
/// Longer than this share of the depth a belief is bent.
const LONG_SHARE: f32 = 0.2;
/// The other side is worth mentioning from this share of the likely one on.
const WORTH_MENTIONING: f32 = 0.05;

/// What a glimpse makes one believe. Places are relative to the lower node, in the axes of the fields.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Glimpsed {
    /// The most likely dipole.
    pub dipole: Dipole,
    /// The most likely one on the other side of the field's vertical plane, where it cannot be ruled out.
    pub twin: Option<Dipole>,
    /// Where the source is: mean of the belief, metres.
    pub place_m: Vec3,
    /// Covariance of that: forward, left and up, both sides taken together, square metres.
    pub covariance: Matrix<3>,
    /// Distance in plan, metres: that of the mean place where it lies on one side, more where it may lie on two.
    pub distance_m: Measured,
    /// Direction of the lay in plan, counter-clockwise from the x axis, between -90 and 90 degrees.
    pub lay_rad: Measured,
    /// Pitch, positive when the end towards x is raised.
    pub pitch_rad: Measured,
    /// Strength, A m2.
    pub moment_a_m2: LogNormal,
}

impl Glimpsed {
    /// Depth below the lower node, metres.
    pub fn depth_m(&self) -> Measured {
        let [_, _, [_, _, variance]] = self.covariance;
        Measured::new(-self.place_m.z, math::sqrt(variance))
    }

    /// Angle to the source in plan, counter-clockwise from the x axis, radians; `None` where it may lie anywhere around.
    pub fn bearing_rad(&self) -> Option<Measured> {
        let aside_m = self.place_m.truncate();
        let [[xx, xy, _], [_, yy, _], _] = self.covariance;
        let left = aside_m.perp().normalize_or_zero();
        let variance = left.dot(Mat2::from_cols_array_2d(&[[xx, xy], [xy, yy]]) * left);
        let across = math::sqrt(variance) / aside_m.length();
        (across < 1.0).then(|| Measured::new(math::atan2(aside_m.y, aside_m.x), across))
    }
}

/// What one look says of the source, given `priors`; place and spread of the look do not matter, and its axes may be
/// any with z up. `node_ratio_sigma` is how well the ratio of the nodes' gains is known. `None` where no such dipole
/// makes these fields.
///
/// ```
/// use glam::Vec3;
/// use nullwalk_core::{field, fit::{Look, Priors, glimpse}};
/// // Seen from 1.2 m behind a sonde 1.5 m deep, 0.3 m to the side of it.
/// let (source_m, moment) = (Vec3::new(1.2, 0.3, -1.5), [0.2, 0.02, 0.0]);
/// let upper_m = Vec3::new(0.0, 0.0, 0.4);
/// let fields_nt = [Vec3::ZERO, upper_m]
///     .map(|at_m| Vec3::from_array(field::dipole(moment, (at_m - source_m).to_array())) * 1e9);
/// let look = Look {
///     at_m: Vec3::ZERO,
///     upper_m,
///     fields_nt,
///     sigma_nt: [0.016; 2],
///     pose_sigma_m: Vec3::ZERO,
///     spread_m: Vec3::ZERO,
/// };
/// let seen = glimpse(&look, &Priors::default(), 0.003).unwrap();
/// assert!(seen.place_m.distance(source_m) < 0.2 && seen.depth_m().sigma < 0.2);
/// let bearing = seen.bearing_rad().unwrap();
/// assert!((bearing.value - 0.245).abs() < 2.0 * bearing.sigma);
/// ```
pub fn glimpse(look: &Look, priors: &Priors, node_ratio_sigma: f32) -> Option<Glimpsed> {
    let frame = Frame::of(look, node_ratio_sigma)?;
    let known = Known::of(priors);
    let scan = scan(&frame, &known)?;
    let [left, right] = scan.best;
    let by_points = || frame.glimpsed(&scan.belief, left, Some(right));
    let many = scan.points >= FEW_POINTS;
    let [lower, _] = frame.fields_nt;
    let [sigma_nt, _] = frame.sigma_nt;
    if many && lower.length() < CLEAR * sigma_nt {
        return by_points();
    }
    let starts = if left.0 > right.0 { [left, right] } else { [right, left] };
    let mut rounds = ROUNDS.into_iter();
    let modes = starts.map(|(_, start)| Mode::near(start, &frame, &known, rounds.next()?));
    let (first, other) = match &modes {
        [Some(one), Some(other)] if is_one(one, other) => (one, None),
        [Some(one), other] => (one, other.as_ref()),
        [None, other] => (other.as_ref()?, None),
    };
    if many && is_long(first) {
        return by_points();
    }
    let Some(other) = other else {
        return frame.glimpsed(&first.belief, (first.log_share, first.dipole), None);
    };
    let odds = math::exp(other.log_share - first.log_share);
    let belief = first.belief.with(odds / (1.0 + odds), &other.belief);
    let [first, other] = [first, other].map(|mode| (mode.log_share, mode.dipole));
    frame.glimpsed(&belief, first, Some(other))
}

/// Whether a belief is so long that it must be bent: what is aside then is deeper or shallower too.
fn is_long(mode: &Mode) -> bool {
    let Belief { place_m, spread, .. } = mode.belief;
    spread.x_axis.x + spread.y_axis.y > LONG_SHARE * LONG_SHARE * place_m.z * place_m.z
}

/// Whether both sides have come to one place, in the vertical plane of the field.
fn is_one(one: &Mode, other: &Mode) -> bool {
    let Belief { place_m, spread, .. } = one.belief;
    let sigma_m = math::sqrt(spread.x_axis.x + spread.y_axis.y);
    place_m.distance(other.belief.place_m) < SAME_SIGMAS * sigma_m - SAME_SHARE * place_m.z
}

impl Frame {
    /// The belief in the axes of the look, with the most likely dipoles and the logarithms of their shares.
    fn glimpsed(
        &self,
        belief: &Belief,
        one: (f32, Dipole),
        other: Option<(f32, Dipole)>,
    ) -> Option<Glimpsed> {
        let turned = |v: Vec3| self.forward.rotate(v.truncate()).extend(v.z);
        let turned_dipole =
            |dipole: Dipole| Dipole { at_m: turned(dipole.at_m), moment: turned(dipole.moment) };
        let (likely, other) = match other {
            Some(other) if other.0 > one.0 => (other, Some(one)),
            other => (one, other),
        };
        let twin = other.filter(|other| math::exp(other.0 - likely.0) > WORTH_MENTIONING);
        let turn = Mat3::from_cols(turned(Vec3::X), turned(Vec3::Y), Vec3::Z);
        // The moment's sense is as unknown as the fields' sign: its forward end is the one nearer to the x axis.
        let (sin, cos) = math::sin_cos(belief.lay.value);
        let lay = turned(Vec3::new(cos, sin, 0.0));
        let (lay, raised) = if lay.x < 0.0 { (-lay, -1.0) } else { (lay, 1.0) };
        let found = Glimpsed {
            dipole: turned_dipole(likely.1),
            twin: twin.map(|(_, dipole)| turned_dipole(dipole)),
            place_m: turned(belief.place_m),
            covariance: (turn * belief.spread * turn.transpose()).to_cols_array_2d(),
            distance_m: belief.distance.measured(),
            lay_rad: Measured::new(math::atan2(lay.y, lay.x), math::sqrt(belief.lay.variance)),
            pitch_rad: Measured::new(raised * belief.pitch.value, math::sqrt(belief.pitch.variance)),
            moment_a_m2: LogNormal {
                median: math::exp(belief.log_moment.value),
                log_sigma: math::sqrt(belief.log_moment.variance),
            },
        };
        found.place_m.is_finite().then_some(found)
    }
}
