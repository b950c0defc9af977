//! One motion, a moment at a time.

use std::f64::consts::{FRAC_PI_2, FRAC_PI_4, TAU};

use glam::DVec2;

use super::legs::TRIES;
use super::motion::{Motion, turn_between};
use super::technician::Technician;
use crate::synth::glide::Glide;

/// Time a person needs to come to the full turning rate, seconds.
const TURN_EASE_S: f64 = 0.5;
/// People follow a bearing on a display in about this time, seconds. Anything much quicker would answer
/// to cues that are already out of date, and swing to and fro.
const FOLLOW_S: f64 = 1.0;
/// With the source further round than this one stops to turn, radians.
const TURN_ON_THE_SPOT_RAD: f64 = 0.6;
/// How far one goes on after a mark is known, metres.
const BEYOND_M: f64 = 0.7;
/// Speed of raising, lowering the mast, metres per second, and the acceleration at that.
const LIFT: (f64, f64) = (0.4, 1.0);

impl Technician {
    /// Move for `dt_s`; whether the motion is complete.
    pub(super) fn moved(&mut self, motion: Motion, dt_s: f64) -> bool {
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
