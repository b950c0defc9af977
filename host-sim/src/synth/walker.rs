//! The simulated technician: walks the legs of a site file and follows the instrument's cues.

use std::collections::VecDeque;
use std::f64::consts::{FRAC_PI_2, FRAC_PI_4, PI, TAU};

use glam::{DVec2, DVec3};
use rand::RngExt;

use super::glide::Glide;
use super::pose::Pose;
use super::random::{Purpose, stream};
use crate::site::{
    Direction, Home, Lane, Lanes, Leg, Lift, Settle, Site, Stand, Start, Station, Sway, Sweep, To, Walker,
};

/// What the instrument tells the technician.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Cue {
    /// How far to turn towards the source, radians, positive to the right; `None` while unknown.
    pub turn_rad: Option<f32>,
    /// Whether the source is near enough to pass over it in lanes.
    pub near: bool,
    /// The lay in the site frame, radians clockwise from north, up to half a turn; `None` while unknown.
    pub lay_rad: Option<f32>,
    /// Where the mark lies as the instrument knows it: east and north, metres; `None` while unknown.
    pub mark_enu_m: Option<[f64; 2]>,
    /// Where the source is thought to be, mark or no mark: east and north, metres; `None` while that is too uncertain.
    pub source_enu_m: Option<[f64; 2]>,
    /// Whether a lane across has fixed the mark sideways.
    pub crossed: bool,
}

/// A sample source whose technician listens to the instrument.
pub trait Guided {
    /// Hand the technician the latest cue; it replaces the one before.
    fn respond(&mut self, cue: Cue);
}

/// Length of a step, metres.
const STEP_M: f64 = 0.5;
/// Goals nearer than this are reached sideways, without turning to them.
const SHUFFLE_M: f64 = 1.0;
/// Time a person needs to come to the full turning rate, seconds.
const TURN_EASE_S: f64 = 0.5;
/// People follow a bearing on a display in about this time, seconds. Anything much quicker would answer
/// to cues that are already out of date, and swing to and fro.
const FOLLOW_S: f64 = 1.0;
/// With the source further round than this one stops to turn, radians.
const TURN_ON_THE_SPOT_RAD: f64 = 0.6;
/// The mark is hit when it is nearer than this, metres.
const ON_THE_MARK_M: f64 = 0.03;
/// Times that one corrects one's stand when the mark has moved meanwhile.
const CORRECTIONS: u8 = 4;
/// A lane walked straight on may be so much longer than one about a mark.
const STRAIGHT_ON: f64 = 1.4;
/// Length of a lane across that has to be walked once more, metres.
const EXTRA_LANE_M: f64 = 5.0;
/// How often one turns back to the source when a lane straight on gave no mark.
const TRIES: u8 = 4;
/// How far one goes on after a mark is known, metres.
const BEYOND_M: f64 = 0.7;
/// Time to let the instrument think before correcting, seconds.
const PAUSE_S: f64 = 0.6;
/// Time to stop and think after a lane that gave no mark, seconds.
const STOP_S: f64 = 1.5;
/// Speed of raising, lowering the mast, metres per second, and the acceleration at that.
const LIFT: (f64, f64) = (0.4, 1.0);
/// A footfall makes the mast ring at this rate, in hertz, for about this time, in seconds.
const JOLT: (f64, f64) = (9.0, 0.06);

/// One simple movement; a leg is a few of them.
#[derive(Debug, Clone, Copy)]
enum Motion {
    /// Turn to a bearing.
    Face(f64),
    /// Go straight to a point at a pace.
    Go { goal: DVec2, pace: f64 },
    /// Walk straight on until the cue gives a mark and a little further, at most so far; if there
    /// is none, try again.
    Onward { max_m: f64, tries: u8 },
    /// Look again where the source may be, and go there.
    Again { length_m: f64, tries: u8 },
    /// Walk on as the cue says, at most so far.
    Follow { max_m: f64 },
    /// Go to the mark, then look again whether it has moved, so many times.
    Approach { corrections: u8 },
    /// Turn once around in so many seconds.
    Spin { seconds: f64 },
    /// Pitch the mast.
    Pitch(f64),
    /// Bring the lower node to a height above ground.
    Height(f64),
    /// Keep still.
    Hold { seconds: f64 },
}

/// The technician and the mast in their hand.
#[derive(Debug, Clone)]
pub(super) struct Technician {
    habits: Walker,
    sway: Sway,
    sway_phases: [f64; 4],
    ground_m: f64,
    foot_m: f64,
    legs: VecDeque<Leg>,
    motions: VecDeque<Motion>,
    /// Time since the current motion began, and where that was.
    since_s: f64,
    from: DVec2,
    from_heading: f64,
    /// Distance covered in the current motion.
    gone: Glide,
    at: DVec2,
    heading: Glide,
    pitch: Glide,
    height: Glide,
    stride_rad: f64,
    speed_m_s: f64,
    time_s: f64,
    cue: Cue,
    wanted_heading: Option<f64>,
    /// How far the current lane had gone when a mark came up.
    marked_after_m: Option<f64>,
    /// Whether the source was near during the current motion.
    was_near: bool,
}

impl Technician {
    /// The technician at the start of a station.
    pub(super) fn new(site: &Site, station: &Station, (seed, number): (u64, usize)) -> Self {
        let Start { east_m, north_m, heading_deg } = station.start;
        let mut random = stream(seed, number, Purpose::Sway);
        let at = DVec2::new(east_m, north_m);
        let heading = Glide::at(heading_deg.to_radians());
        Self {
            habits: site.walker,
            sway: site.noise.sway,
            sway_phases: [(); 4].map(|()| random.random_range(0.0..TAU)),
            ground_m: site.ground.up_m,
            foot_m: site.array.foot_m,
            legs: site.walk(station).into(),
            motions: VecDeque::new(),
            since_s: 0.0,
            from: at,
            from_heading: heading.value,
            gone: Glide::default(),
            at,
            heading,
            pitch: Glide::default(),
            height: Glide::at(site.walker.carry_m),
            stride_rad: 0.0,
            speed_m_s: 0.0,
            time_s: 0.0,
            cue: Cue::default(),
            wanted_heading: None,
            marked_after_m: None,
            was_near: false,
        }
    }

    /// Whether all legs are walked.
    pub(super) fn has_finished(&self) -> bool {
        self.legs.is_empty() && self.motions.is_empty()
    }

    /// Take in a cue whose mark and lay are already in the true site frame.
    pub(super) fn respond(&mut self, cue: Cue) {
        if let Some(turn_rad) = cue.turn_rad.filter(|turn| turn.is_finite()) {
            self.wanted_heading = Some(self.heading.value + f64::from(turn_rad));
        }
        self.cue = cue;
    }

    /// Where the mast is now.
    pub(super) fn pose(&self) -> Pose {
        let at_pace = (self.speed_m_s / self.habits.pace_m_s).min(1.0);
        let bob = self.habits.bob_m * at_pace * self.stride_rad.sin();
        let weave = self.habits.weave_m * at_pace * (self.stride_rad * 0.5).sin();
        let right = DVec2::new(self.heading.value.cos(), -self.heading.value.sin());
        let at = self.at + right * weave;

        let t = TAU * self.sway.rate_hz * self.time_s;
        let [a, b, c, d] = self.sway_phases;
        // Two sines of equal strength and unrelated rate: together they have a standard deviation of 1.
        let sway_rad = self.sway.rms_deg.to_radians();
        let nod = sway_rad * ((t + a).sin() + (1.37 * t + b).sin());
        let lean = sway_rad * ((0.91 * t + c).sin() + (1.23 * t + d).sin());
        Pose {
            enu_m: DVec3::new(at.x, at.y, self.ground_m + (self.height.value + bob).max(0.0)),
            heading_rad: self.heading.value,
            pitch_rad: self.pitch.value + nod + self.jolt_rad(),
            roll_rad: lean,
        }
    }

    /// The nod that the last footfall left.
    fn jolt_rad(&self) -> f64 {
        if self.speed_m_s < 0.05 {
            return 0.0;
        }
        let since_s = self.stride_rad / TAU * STEP_M / self.speed_m_s;
        let (rate_hz, decay_s) = JOLT;
        let peak = self.sway.footfall_deg.to_radians() * (self.speed_m_s / self.habits.pace_m_s);
        peak * (TAU * rate_hz * since_s).sin() * (-since_s / decay_s).exp()
    }

    /// Let `dt_s` pass.
    pub(super) fn step(&mut self, dt_s: f64) {
        if self.motions.is_empty()
            && let Some(leg) = self.legs.pop_front()
        {
            self.plan(leg);
            self.begin_motion();
        }
        self.time_s += dt_s;
        self.since_s += dt_s;
        let before = self.at;
        if let Some(&motion) = self.motions.front()
            && self.moved(motion, dt_s)
        {
            self.motions.pop_front();
            if let Motion::Approach { corrections } = motion {
                self.approach(corrections);
            }
            if let Motion::Again { length_m, tries } = motion {
                self.again(length_m, tries);
            }
            if let Motion::Onward { max_m, tries: tries @ 1.. } = motion
                && self.mark().is_none()
            {
                self.motions.push_front(Motion::Again { length_m: max_m, tries });
                self.motions.push_front(Motion::Hold { seconds: STOP_S });
            }
            self.begin_motion();
        }
        self.speed_m_s = (self.at - before).length() / dt_s;
        self.stride_rad = (self.stride_rad + TAU * self.speed_m_s / STEP_M * dt_s) % TAU;
    }

    /// A lane that gave no mark missed a null. Walk one over the place where the source is thought to be; where that is
    /// unknown, walk the same way back, and if that fails, home in once more.
    fn again(&mut self, length_m: f64, tries: u8) {
        if tries == 0 || self.mark().is_some() {
            return;
        }
        let tries = tries - 1;
        let source = self.cue.source_enu_m.map(DVec2::from_array).filter(|source| source.is_finite());
        let motions = if let Some(source) = source {
            let mut motions = self.lane_over(source, self.lay(), length_m);
            motions.extend([Motion::Hold { seconds: STOP_S }, Motion::Again { length_m, tries }]);
            motions
        } else if tries % 2 == 1 {
            let back = Motion::Face(self.heading.value + PI);
            vec![back, Motion::Onward { max_m: length_m, tries }]
        } else {
            vec![Motion::Follow { max_m: length_m }, Motion::Onward { max_m: length_m, tries }]
        };
        for motion in motions.into_iter().rev() {
            self.motions.push_front(motion);
        }
    }

    fn begin_motion(&mut self) {
        self.since_s = 0.0;
        self.from = self.at;
        self.from_heading = self.heading.value;
        self.gone = Glide::default();
        self.marked_after_m = None;
        self.was_near = false;
    }

    fn plan(&mut self, leg: Leg) {
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
    fn go(&self, goal: DVec2, pace: f64) -> Vec<Motion> {
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

    fn lay(&self) -> f64 {
        self.cue.lay_rad.filter(|lay| lay.is_finite()).map_or(self.heading.value, f64::from)
    }

    /// Go to the nearer end of a lane about a place, and walk it.
    fn lane_over(&self, middle: DVec2, course: f64, length_m: f64) -> Vec<Motion> {
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

    fn mark(&self) -> Option<DVec2> {
        self.cue.mark_enu_m.map(DVec2::from_array).filter(|mark| mark.is_finite())
    }

    /// Put the way to the mark before the motions that are left, with another look after it.
    fn approach(&mut self, corrections: u8) {
        let Some(mark) = self.mark().filter(|mark| mark.distance(self.at) > ON_THE_MARK_M) else {
            return;
        };
        let mut motions = self.go(mark, self.habits.pace_m_s);
        motions.push(Motion::Hold { seconds: PAUSE_S });
        if corrections > 0 {
            motions.push(Motion::Approach { corrections: corrections - 1 });
        }
        for motion in motions.into_iter().rev() {
            self.motions.push_front(motion);
        }
    }

    /// Move for `dt_s`; whether the motion is complete.
    fn moved(&mut self, motion: Motion, dt_s: f64) -> bool {
        match motion {
            Motion::Hold { seconds } => self.since_s >= seconds,
            Motion::Approach { .. } | Motion::Again { .. } => true,
            Motion::Face(bearing) => {
                let target = self.from_heading + turn_between(self.from_heading, bearing);
                self.turn_towards(target, self.habits.turn_deg_s.to_radians(), dt_s);
                self.heading.is_at(target, 0.01)
            }
            Motion::Spin { seconds } => {
                let target = self.from_heading + TAU;
                self.turn_towards(target, TAU / seconds, dt_s);
                self.heading.is_at(target, 0.01)
            }
            Motion::Pitch(target) => {
                self.pitch.towards(target, FRAC_PI_4, FRAC_PI_2, dt_s);
                self.pitch.is_at(target, 0.01)
            }
            Motion::Height(target) => {
                let (rate, accel) = LIFT;
                self.height.towards(target, rate, accel, dt_s);
                let arrived = self.height.is_at(target, 0.0002);
                if arrived {
                    // The foot stands on the ground, not a hair above it.
                    self.height = Glide::at(target);
                }
                arrived
            }
            Motion::Go { goal, pace } => {
                let way = goal - self.from;
                let length = way.length();
                self.gone.towards(length, pace, self.habits.accel_m_s2, dt_s);
                self.at = self.from + way.normalize_or_zero() * self.gone.value;
                self.gone.is_at(length, 0.01)
            }
            Motion::Onward { max_m, tries } => {
                if self.cue.mark_enu_m.is_some() && self.marked_after_m.is_none() {
                    self.marked_after_m = Some(self.gone.value);
                }
                let enough_m = self.marked_after_m.map_or(max_m, |m| max_m.min(m + BEYOND_M));
                self.was_near |= self.cue.near;
                let missed = self.marked_after_m.is_none() && self.was_near && !self.cue.near;
                let speed = if self.gone.value < enough_m && !missed { self.habits.pace_m_s } else { 0.0 };
                // A curved way makes a poor lane: only after missing twice does one steer, and then walks back
                // straight.
                if tries < TRIES && tries % 2 == 0 {
                    self.steer(speed > 0.0 && self.marked_after_m.is_none(), dt_s);
                }
                self.gone.pace(speed, self.habits.accel_m_s2, dt_s);
                let (sin, cos) = self.heading.value.sin_cos();
                self.at += DVec2::new(sin, cos) * self.gone.rate * dt_s;
                speed == 0.0 && self.gone.rate.abs() < 0.01
            }
            Motion::Follow { max_m } => self.followed(max_m, dt_s),
        }
    }

    /// Walk on as the cue says; whether there is nothing left to follow, and one stands.
    fn followed(&mut self, max_m: f64, dt_s: f64) -> bool {
        let pace = self.habits.pace_m_s;
        // Twice the time the distance takes leaves room to turn; after it one gives up, wherever one is.
        let out_of_time = self.since_s > 2.0 * max_m / pace + 20.0;
        let arrived = self.cue.near || out_of_time || self.gone.value >= max_m;

        let turn = self.steer(!arrived, dt_s);
        let way_off = turn.abs() > TURN_ON_THE_SPOT_RAD;
        let speed = if arrived || way_off { 0.0 } else { pace };
        self.gone.pace(speed, self.habits.accel_m_s2, dt_s);
        let (sin, cos) = self.heading.value.sin_cos();
        self.at += DVec2::new(sin, cos) * self.gone.rate * dt_s;
        arrived && self.gone.rate.abs() < 0.01 && self.heading.rate.abs() < 0.01
    }

    /// Turn as the cue says, or come to rest; how far is left to turn.
    fn steer(&mut self, on: bool, dt_s: f64) -> f64 {
        let wanted = self.wanted_heading.unwrap_or(self.heading.value);
        let turn = turn_between(self.heading.value, wanted);
        let top_rate = self.habits.turn_deg_s.to_radians();
        let rate = if on { (turn / FOLLOW_S).clamp(-top_rate, top_rate) } else { 0.0 };
        self.heading.pace(rate, top_rate / TURN_EASE_S, dt_s);
        turn
    }

    fn turn_towards(&mut self, target: f64, rate: f64, dt_s: f64) {
        let top_rate = self.habits.turn_deg_s.to_radians();
        self.heading.towards(target, rate, top_rate / TURN_EASE_S, dt_s);
    }
}

/// Bearing of a direction in plan, radians clockwise from north.
fn bearing(way: DVec2) -> f64 {
    way.x.atan2(way.y)
}

/// The short way round from one bearing to another, radians, positive clockwise.
fn turn_between(from: f64, to: f64) -> f64 {
    let turn = (to - from).rem_euclid(TAU);
    if turn > TAU * 0.5 { turn - TAU } else { turn }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const DT_S: f64 = 0.002;

    /// A technician without sway or bobbing, at the origin, facing north.
    fn technician(legs: Vec<Leg>) -> Technician {
        let mut site = Site { walk: legs, ..Site::default() };
        site.noise.sway = Sway { rms_deg: 0.0, footfall_deg: 0.0, ..Sway::default() };
        (site.walker.bob_m, site.walker.weave_m) = (0.0, 0.0);
        let start = Start { east_m: 0.0, north_m: 0.0, heading_deg: 0.0 };
        Technician::new(&site, &Station { start, ..Station::default() }, (1, 0))
    }

    /// Walk to the end, or for `most_s`; every pose on the way.
    fn walk(mut t: Technician, most_s: f64, mut cue: impl FnMut(&Pose) -> Option<Cue>) -> Vec<Pose> {
        let mut poses = vec![t.pose()];
        while !t.has_finished() {
            assert!(t.time_s < most_s, "still walking after {most_s} s: {:?}", t.motions);
            t.step(DT_S);
            poses.push(t.pose());
            if poses.len() % 50 == 0
                && let Some(cue) = cue(&t.pose())
            {
                t.respond(cue);
            }
        }
        poses
    }

    fn plan_of(pose: &Pose) -> DVec2 {
        pose.enu_m.truncate()
    }

    #[test]
    fn goes_to_a_point_and_faces_it() {
        let leg = Leg::To(To { east_m: 3.0, north_m: -4.0, pace_m_s: None });
        let poses = walk(technician(vec![leg]), 20.0, |_| None);
        let last = poses[poses.len() - 1];
        assert!(plan_of(&last).distance(DVec2::new(3.0, -4.0)) < 0.02);
        let facing = turn_between(last.heading_rad, bearing(DVec2::new(3.0, -4.0)));
        assert!(facing.abs() < 0.02);
        // 5 m at 0.6 m/s take 8.3 s, the turn of 143 degrees at 60 a second 2.4 s; both need a start and an end.
        let seconds = poses.len() as f64 * DT_S;
        assert!((10.7..14.0).contains(&seconds), "{seconds}");
    }

    #[test]
    fn sweeps_once_around_with_the_mast_pitched_down() {
        let poses = walk(technician(vec![Leg::Sweep(Sweep { seconds: 12.0 })]), 30.0, |_| None);
        let pitched: Vec<&Pose> = poses.iter().filter(|p| p.pitch_rad < -0.98 * FRAC_PI_4).collect();
        let (first, last) = (pitched[0], pitched[pitched.len() - 1]);
        assert!((last.heading_rad - first.heading_rad - TAU).abs() < 0.05);
        let seconds = pitched.len() as f64 * DT_S;
        assert!((12.0..14.5).contains(&seconds), "{seconds}");
        assert!(poses.iter().all(|p| plan_of(p).length() < 1e-9));
    }

    #[test]
    fn homes_on_a_bearing_even_with_late_cues() {
        let source = DVec2::new(-4.0, -3.0);
        let mut late = VecDeque::new();
        let poses = walk(technician(vec![Leg::Home(Home { max_m: 12.0 })]), 60.0, |pose| {
            let way = source - plan_of(pose);
            let turn = turn_between(pose.heading_rad, bearing(way)) as f32;
            late.push_back(Cue { turn_rad: Some(turn), near: way.length() < 1.0, ..Cue::default() });
            // Cues are 0.1 s apart: this one is 0.4 s old.
            if late.len() > 4 { late.pop_front() } else { None }
        });
        let last = plan_of(&poses[poses.len() - 1]);
        assert!(last.distance(source) < 1.1, "{last}");
        let length: f64 = poses.windows(2).map(|w| plan_of(&w[0]).distance(plan_of(&w[1]))).sum();
        // 4 m as the crow flies; half a second straight on before the first cue, and back; 0.4 s too far.
        assert!(length < 5.0, "a detour: {length}");
    }

    #[test]
    fn homing_without_cues_goes_straight_on_and_gives_up() {
        let poses = walk(technician(vec![Leg::Home(Home { max_m: 5.0 })]), 60.0, |_| None);
        let last = plan_of(&poses[poses.len() - 1]);
        assert!((last - DVec2::new(0.0, 5.0)).length() < 0.4, "{last}");
    }

    #[test]
    fn lanes_run_through_the_mark_along_and_across_the_lay() {
        let (mark, lay) = (DVec2::new(2.0, 3.0), 0.5f64);
        let cue = Cue { lay_rad: Some(lay as f32), mark_enu_m: Some(mark.to_array()), ..Cue::default() };
        for (direction, course) in [
            (Direction::Along, lay),
            (Direction::Across, lay + FRAC_PI_2),
            (Direction::Bearing(100.0), 100f64.to_radians()),
        ] {
            let mut t = technician(vec![Leg::Lane(Lane { direction, length_m: 6.0 })]);
            t.respond(cue);
            let poses = walk(t, 60.0, |_| None);
            let unit = DVec2::new(course.sin(), course.cos());
            let end = (plan_of(&poses[poses.len() - 1]) - mark).dot(unit);
            assert!((end.abs() - 3.0).abs() < 0.02, "{direction:?} ends {end} from the mark");
            let lane: Vec<DVec2> =
                poses.iter().map(|p| plan_of(p) - mark).filter(|p| p.perp_dot(unit).abs() < 0.02).collect();
            let along = |p: &DVec2| p.dot(unit) * end.signum();
            assert!(lane.iter().any(|p| along(p) < -2.97) && lane.iter().any(|p| along(p) > 2.97));
        }
    }

    #[test]
    fn settles_on_a_mark_that_moves_and_lifts_from_there() {
        let mut t = technician(vec![
            Leg::Settle(Settle { seconds: 6.0 }),
            Leg::Lift(Lift { height_m: 0.5, seconds: 4.0 }),
        ]);
        let better = DVec2::new(2.1, 0.9);
        t.respond(Cue { mark_enu_m: Some([2.0, 1.0]), ..Cue::default() });
        let poses = walk(t, 60.0, |pose| {
            let near = plan_of(pose).distance(better) < 0.5;
            near.then(|| Cue { mark_enu_m: Some(better.to_array()), ..Cue::default() })
        });
        let still_at = |height: f64| {
            poses
                .iter()
                .filter(|p| (p.enu_m.z - height).abs() < 0.005)
                .filter(|p| plan_of(p).distance(better) < ON_THE_MARK_M + 0.01)
                .count() as f64
                * DT_S
        };
        assert!(still_at(0.05) > 5.9 && still_at(0.55) > 3.9);
    }

    #[test]
    fn sway_has_the_stated_size_and_footfalls_jolt() {
        let site = Site { walk: vec![Leg::Stand(Stand { seconds: 600.0 })], ..Site::default() };
        let poses = walk(Technician::new(&site, &Station::default(), (1, 0)), 601.0, |_| None);
        let rms = |angle: fn(&Pose) -> f64| {
            (poses.iter().map(|p| angle(p).powi(2)).sum::<f64>() / poses.len() as f64).sqrt()
        };
        assert!((rms(|p| p.pitch_rad).to_degrees() / 1.5 - 1.0).abs() < 0.05);
        assert!((rms(|p| p.roll_rad).to_degrees() / 1.5 - 1.0).abs() < 0.05);

        let mut walking = technician(vec![Leg::To(To { east_m: 0.0, north_m: 5.0, pace_m_s: None })]);
        walking.sway.footfall_deg = 0.4;
        let poses = walk(walking, 30.0, |_| None);
        let peak = poses.iter().fold(0.0f64, |a, p| a.max(p.pitch_rad)).to_degrees();
        // The first quarter of a turn at 9 Hz, 28 ms after the step, has decayed by exp(-28/60).
        assert!((0.2..0.3).contains(&peak), "{peak}");
    }

    fn any_leg() -> impl Strategy<Value = Leg> {
        prop_oneof![
            (0.0..5.0).prop_map(|seconds| Leg::Stand(Stand { seconds })),
            (3.0..20.0).prop_map(|seconds| Leg::Sweep(Sweep { seconds })),
            (-9.0..9.0, -9.0..9.0, proptest::option::of(0.3..1.5))
                .prop_map(|(east_m, north_m, pace_m_s)| Leg::To(To { east_m, north_m, pace_m_s })),
            (0.0..15.0).prop_map(|max_m| Leg::Home(Home { max_m })),
            (0.5..9.0, -360.0..360.0).prop_map(|(length_m, bearing)| Leg::Lane(Lane {
                direction: Direction::Bearing(bearing),
                length_m
            })),
            (0.5..9.0).prop_map(|length_m| Leg::Lane(Lane { direction: Direction::Across, length_m })),
            (0.0..8.0).prop_map(|seconds| Leg::Settle(Settle { seconds })),
            (0.0..1.5, 0.0..5.0).prop_map(|(height_m, seconds)| Leg::Lift(Lift { height_m, seconds })),
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(60))]

        /// Whatever the legs and the cues, each leg ends, and nobody runs or jumps.
        #[test]
        fn every_walk_ends_at_a_human_pace(
            legs in proptest::collection::vec(any_leg(), 1..5),
            turn in proptest::option::of(-4.0f32..4.0),
            mark in proptest::option::of([-8.0..8.0, -8.0..8.0]),
            lay in proptest::option::of(0.0f32..3.2),
        ) {
            // The longest leg is a lane that finds nothing: 12.6 m straight on and back over it four times,
            // each with 2 x 12.6 m / 0.6 m/s + 20 s to get there, 21 s for the lane and a turn.
            let most_s = 400.0 * legs.len() as f64;
            let cue = Cue { turn_rad: turn, near: false, lay_rad: lay, mark_enu_m: mark, ..Cue::default() };
            let poses = walk(technician(legs), most_s, |_| Some(cue));
            for w in poses.windows(2) {
                prop_assert!((w[1].enu_m - w[0].enu_m).length() / DT_S < 1.6);
                prop_assert!((w[1].heading_rad - w[0].heading_rad).abs() / DT_S < 2.2);
            }
        }
    }
}
