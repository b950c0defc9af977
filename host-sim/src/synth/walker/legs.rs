//! Legs as motions.

use std::f64::consts::{FRAC_PI_2, FRAC_PI_4};

use glam::DVec2;

use super::motion::{Motion, bearing};
use super::technician::Technician;
use crate::site::{Direction, Home, Lane, Lanes, Leg, Lift, Settle, Stand, Sweep, To};

/// Goals nearer than this are reached sideways, without turning to them.
const SHUFFLE_M: f64 = 1.0;
/// Times that one corrects one's stand when the mark has moved meanwhile.
const CORRECTIONS: u8 = 4;
/// A lane walked straight on may be so much longer than one about a mark.
const STRAIGHT_ON: f64 = 1.4;
/// Length of a lane across that has to be walked once more, metres.
const EXTRA_LANE_M: f64 = 5.0;
/// How often one turns back to the source when a lane straight on gave no mark.
pub const TRIES: u8 = 4;

impl Technician {
    /// Put the motions of a leg after those that are left.
    pub(super) fn plan(&mut self, leg: Leg) {
        let motions = match leg {
            Leg::Stand(Stand { seconds }) => vec![Motion::Hold { seconds }],
            Leg::Sweep(Sweep { seconds }) => {
                vec![Motion::Pitch(-FRAC_PI_4), Motion::Spin { seconds }, Motion::Pitch(0.0)]
            }
            Leg::To(To { east_m, north_m, pace_m_s }) => {
                self.go(DVec2::new(east_m, north_m), pace_m_s.unwrap_or(self.habits.pace_m_s))
            }
            Leg::Home(Home { max_m }) => {
                vec![Motion::Height(self.habits.carry_m), Motion::Follow { max_m }]
            }
            Leg::Lane(Lane { direction, length_m }) => self.lane(direction, length_m),
            Leg::Lanes(lanes) => self.lanes(&lanes),
            Leg::Settle(Settle { seconds }) => {
                let mut motions = if self.mark().is_some() && !self.cue.crossed {
                    // No lane across counts yet: the handset asks for another before the hold.
                    self.lane(Direction::Across, EXTRA_LANE_M)
                } else {
                    Vec::new()
                };
                motions.extend([
                    Motion::Approach { corrections: CORRECTIONS },
                    Motion::Height(self.foot_m),
                    Motion::Hold { seconds },
                ]);
                motions
            }
            Leg::Lift(Lift { height_m, seconds }) => {
                let height = self.height.value;
                vec![Motion::Height(height + height_m), Motion::Hold { seconds }, Motion::Height(height)]
            }
        };
        self.motions.extend(motions);
    }

    /// Take the mast off the ground and go to a point: turned to it, or sideways when it is near.
    pub(super) fn go(&self, goal: DVec2, pace: f64) -> Vec<Motion> {
        let way = goal - self.at;
        let mut motions = vec![Motion::Height(self.habits.carry_m)];
        if way.length() > SHUFFLE_M {
            motions.push(Motion::Face(bearing(way)));
        }
        motions.push(Motion::Go { goal, pace });
        motions
    }

    /// Go to the nearer end of a lane through the mark, and walk it. Before there is a mark, a lane is just
    /// straight on from where one stands.
    fn lane(&self, direction: Direction, length_m: f64) -> Vec<Motion> {
        let lay = self.lay();
        let course = match direction {
            Direction::Along => lay,
            Direction::Across => lay + FRAC_PI_2,
            Direction::Bearing(degrees) => degrees.to_radians(),
        };
        let (sin, cos) = course.sin_cos();
        let half = DVec2::new(sin, cos) * (0.5 * length_m);
        let middle = match (self.mark(), direction) {
            (Some(mark), _) => mark,
            // A lane on a bearing is walked as it is, mark or no mark.
            (None, Direction::Bearing(_)) => {
                return self.go(self.at + 2.0 * half, self.habits.pace_m_s);
            }
            (None, Direction::Along | Direction::Across) => {
                // The way the source was last said to lie.
                let course = self.wanted_heading.unwrap_or(self.heading.value);
                return vec![
                    Motion::Height(self.habits.carry_m),
                    Motion::Face(course),
                    Motion::Onward { max_m: STRAIGHT_ON * length_m, tries: TRIES },
                ];
            }
        };
        self.lane_over(middle, course, length_m)
    }

    /// Walk parallel lanes to and fro, from where one stands; the step from one to the next is made sideways.
    fn lanes(&self, lanes: &Lanes) -> Vec<Motion> {
        let course = lanes.bearing_deg.to_radians();
        let (sin, cos) = course.sin_cos();
        let (half, right) = (DVec2::new(sin, cos) * (0.5 * lanes.length_m), DVec2::new(cos, -sin));
        let middle = DVec2::new(lanes.east_m, lanes.north_m);
        let pace = self.habits.pace_m_s;
        let mut motions = Vec::new();
        for n in 0..lanes.count {
            let off = lanes.apart_m * (f64::from(n) - 0.5 * f64::from(lanes.count - 1));
            let back = if n % 2 == 0 { 1.0 } else { -1.0 };
            let [first, last] = [-back, back].map(|end| middle + right * off + half * end);
            if n == 0 {
                motions.extend(self.go(first, pace));
            } else {
                motions.push(Motion::Go { goal: first, pace });
            }
            motions.extend([Motion::Face(bearing(last - first)), Motion::Go { goal: last, pace }]);
        }
        motions
    }

    /// Go to the nearer end of a lane about a place, and walk it.
    pub(super) fn lane_over(&self, middle: DVec2, course: f64, length_m: f64) -> Vec<Motion> {
        let (sin, cos) = course.sin_cos();
        let half = DVec2::new(sin, cos) * (0.5 * length_m);
        let [first, last] = if (self.at - middle).dot(half) <= 0.0 {
            [middle - half, middle + half]
        } else {
            [middle + half, middle - half]
        };
        let pace = self.habits.pace_m_s;
        let mut motions = self.go(first, pace);
        motions.extend([Motion::Face(bearing(last - first)), Motion::Go { goal: last, pace }]);
        motions
    }
}
