//! Where the mast is while its bearer stands, sways and walks.

use std::f64::consts::TAU;

use glam::{DVec2, DVec3};

use super::technician::Technician;
use crate::synth::pose::Pose;

/// Length of a step, metres.
pub const STEP_M: f64 = 0.5;
/// A footfall makes the mast ring at this rate, in hertz, for about this time, in seconds.
const JOLT: (f64, f64) = (9.0, 0.06);

impl Technician {
    /// Where the mast is now.
    pub fn pose(&self) -> Pose {
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
}
