//! The technician: where they are, what is left to walk, and what the instrument said last.

use std::collections::VecDeque;
use std::f64::consts::TAU;

use glam::DVec2;
use rand::RngExt;

use super::cue::Cue;
use super::motion::Motion;
use crate::site::{Leg, Site, Start, Station, Sway, Walker};
use crate::synth::glide::Glide;
use crate::synth::random::{Purpose, stream};

/// The technician and the mast in their hand.
#[derive(Debug, Clone)]
pub struct Technician {
    pub(super) habits: Walker,
    pub(super) sway: Sway,
    pub(super) sway_phases: [f64; 4],
    pub(super) ground_m: f64,
    pub(super) foot_m: f64,
    pub(super) legs: VecDeque<Leg>,
    pub(super) motions: VecDeque<Motion>,
    /// Time since the current motion began, and where that was.
    pub(super) since_s: f64,
    pub(super) from: DVec2,
    pub(super) from_heading: f64,
    /// Distance covered in the current motion.
    pub(super) gone: Glide,
    pub(super) at: DVec2,
    pub(super) heading: Glide,
    pub(super) pitch: Glide,
    pub(super) height: Glide,
    pub(super) stride_rad: f64,
    pub(super) speed_m_s: f64,
    pub(super) time_s: f64,
    pub(super) cue: Cue,
    pub(super) wanted_heading: Option<f64>,
    /// How far the current lane had gone when a mark came up.
    pub(super) marked_after_m: Option<f64>,
    /// Whether the source was near during the current motion.
    pub(super) was_near: bool,
}

impl Technician {
    /// The technician at the start of a station.
    pub fn new(site: &Site, station: &Station, (seed, number): (u64, usize)) -> Self {
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

    /// Take in a cue whose mark and lay are already in the true site frame.
    pub fn respond(&mut self, cue: Cue) {
        if let Some(turn_rad) = cue.turn_rad.filter(|turn| turn.is_finite()) {
            self.wanted_heading = Some(self.heading.value + f64::from(turn_rad));
        }
        self.cue = cue;
    }

    /// The lay, or the way one looks where it is unknown.
    pub(super) fn lay(&self) -> f64 {
        self.cue.lay_rad.filter(|lay| lay.is_finite()).map_or(self.heading.value, f64::from)
    }

    /// The mark, once there is one.
    pub(super) fn mark(&self) -> Option<DVec2> {
        self.cue.mark_enu_m.map(DVec2::from_array).filter(|mark| mark.is_finite())
    }
}
