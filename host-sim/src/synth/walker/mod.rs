//! The simulated technician: walks the legs of a site file and follows the instrument's cues.

mod cue;
mod legs;
mod motion;
mod moving;
mod second_look;
mod stance;
mod technician;
#[cfg(test)]
mod tests;

use std::f64::consts::TAU;

pub use cue::{Cue, Guided};
pub(super) use technician::Technician;

use self::motion::Motion;
use self::second_look::STOP_S;
use self::stance::STEP_M;
use crate::synth::glide::Glide;

impl Technician {
    /// Whether all legs are walked.
    pub(super) fn has_finished(&self) -> bool {
        self.legs.is_empty() && self.motions.is_empty()
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

    fn begin_motion(&mut self) {
        self.since_s = 0.0;
        self.from = self.at;
        self.from_heading = self.heading.value;
        self.gone = Glide::default();
        self.marked_after_m = None;
        self.was_near = false;
    }
}
