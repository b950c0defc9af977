//! The sensors for position, heading and tilt, with their errors.

use glam::Vec3;
use nullwalk_core::frame::{MastReading, Position, Tilt};

use super::pose::Pose;
use super::random::{Purpose, Random, Wander, normal, stream};
use crate::site::Track;

/// The sensors for position, heading and tilt.
#[derive(Debug, Clone)]
pub(super) struct Sensors {
    settings: Track,
    east: Wander,
    north: Wander,
    compass_rad: f64,
    random: Random,
}

impl Sensors {
    /// The sensors at a station; the compass error belongs to the seed alone.
    pub(super) fn new(settings: &Track, seed: u64, station: usize) -> Self {
        let mut random = stream(seed, station, Purpose::Track);
        let compass = normal(&mut stream(seed, 0, Purpose::Compass));
        Self {
            settings: *settings,
            east: Wander::new(settings.wander_m, settings.wander_s, &mut random),
            north: Wander::new(settings.wander_m, settings.wander_s, &mut random),
            compass_rad: settings.heading_deg.to_radians() * compass,
            random,
        }
    }

    /// How far positions are off for the time being: east and north, metres.
    pub(super) fn offset_m(&self) -> [f64; 2] {
        [self.east.value(), self.north.value()]
    }

    /// How much the compass reads too far clockwise, radians.
    pub(super) fn compass_rad(&self) -> f64 {
        self.compass_rad
    }

    /// Read all sensors, `dt_s` after the reading before.
    pub(super) fn read(&mut self, pose: &Pose, dt_s: f64) -> MastReading {
        let track = self.settings;
        let random = &mut self.random;
        let east = self.east.step(dt_s, random) + track.white_m * normal(random);
        let north = self.north.step(dt_s, random) + track.white_m * normal(random);
        let up = track.up_m * normal(random);
        let mut tilt = |angle: f64| (angle + track.tilt_deg.to_radians() * normal(random)) as f32;
        let tilt = Tilt { pitch_rad: tilt(pose.pitch_rad), roll_rad: tilt(pose.roll_rad) };
        let enu_m = (pose.enu_m + glam::DVec3::new(east, north, up)).to_array().map(|x| x as f32);
        let position = Position { enu_m: Vec3::from_array(enu_m), sigma_m: track.sigma_m() as f32 };
        let heading = (pose.heading_rad + self.compass_rad).rem_euclid(std::f64::consts::TAU);
        MastReading {
            position: track.position.then_some(position),
            heading_rad: track.heading.then_some(heading as f32),
            tilt: track.tilt.then_some(tilt),
        }
    }
}
