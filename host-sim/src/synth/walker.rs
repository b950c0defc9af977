//! The simulated technician: walks the legs of a site file and follows the instrument's cues.

use std::collections::VecDeque;
use std::f64::consts::{FRAC_PI_2, FRAC_PI_4, TAU};

use glam::{DVec2, DVec3};
use rand::RngExt;

use super::glide::Glide;
use super::pose::Pose;
use super::random::{Purpose, stream};
use crate::site::{Direction, Leg, Site, Start, Station, Sway, Walker};

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
/// With the source further round than this one stops to turn, radians.
const TURN_ON_THE_SPOT_RAD: f64 = 1.0;
/// The mark is hit when it is nearer than this, metres.
const ON_THE_MARK_M: f64 = 0.03;
/// Times that one corrects one's stand when the mark has moved meanwhile.
const CORRECTIONS: u8 = 4;
/// Time to let the instrument think before correcting, seconds.
const PAUSE_S: f64 = 0.6;
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
            self.begin_motion();
        }
        self.speed_m_s = (self.at - before).length() / dt_s;
        self.stride_rad = (self.stride_rad + TAU * self.speed_m_s / STEP_M * dt_s) % TAU;
    }

    fn begin_motion(&mut self) {
        self.since_s = 0.0;
        self.from = self.at;
        self.from_heading = self.heading.value;
        self.gone = Glide::default();
    }

    fn plan(&mut self, leg: Leg) {
        let motions = match leg {
            Leg::Stand { seconds } => vec![Motion::Hold { seconds }],
            Leg::Sweep { seconds } => {
                vec![Motion::Pitch(-FRAC_PI_4), Motion::Spin { seconds }, Motion::Pitch(0.0)]
            }
            Leg::To { east_m, north_m, pace_m_s } => {
                self.go(DVec2::new(east_m, north_m), pace_m_s.unwrap_or(self.habits.pace_m_s))
            }
            Leg::Home { max_m } => {
                vec![Motion::Height(self.habits.carry_m), Motion::Follow { max_m }]
            }
            Leg::Lane { direction, length_m } => self.lane(direction, length_m),
            Leg::Settle { seconds } => vec![
                Motion::Approach { corrections: CORRECTIONS },
                Motion::Height(self.foot_m),
                Motion::Hold { seconds },
            ],
            Leg::Lift { height_m, seconds } => {
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

    /// Go to the nearer end of a lane through the mark, and walk it.
    fn lane(&self, direction: Direction, length_m: f64) -> Vec<Motion> {
        let lay = self.cue.lay_rad.filter(|lay| lay.is_finite()).map_or(self.heading.value, f64::from);
        let course = match direction {
            Direction::Along => lay,
            Direction::Across => lay + FRAC_PI_2,
            Direction::Bearing(degrees) => degrees.to_radians(),
        };
        let (sin, cos) = course.sin_cos();
        let half = DVec2::new(sin, cos) * (0.5 * length_m);
        let middle = self.mark().unwrap_or(self.at);
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
            Motion::Approach { .. } => true,
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
                self.height.is_at(target, 0.002)
            }
            Motion::Go { goal, pace } => {
                let way = goal - self.from;
                let length = way.length();
                self.gone.towards(length, pace, self.habits.accel_m_s2, dt_s);
                self.at = self.from + way.normalize_or_zero() * self.gone.value;
                self.gone.is_at(length, 0.01)
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

        let target = self.wanted_heading.unwrap_or(self.heading.value);
        let target = self.heading.value + turn_between(self.heading.value, target);
        self.turn_towards(target, self.habits.turn_deg_s.to_radians(), dt_s);

        let way_off = (target - self.heading.value).abs() > TURN_ON_THE_SPOT_RAD;
        let speed = if arrived || way_off { 0.0 } else { pace };
        self.gone.pace(speed, self.habits.accel_m_s2, dt_s);
        let (sin, cos) = self.heading.value.sin_cos();
        self.at += DVec2::new(sin, cos) * self.gone.rate * dt_s;
        arrived && self.gone.rate.abs() < 0.01
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
