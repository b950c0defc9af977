//! What one hop brings, whatever it comes from.

use glam::Vec2;
use nullwalk_core::array::Glimpse;
use nullwalk_core::frame::MastReading;
use nullwalk_core::locate::{Guidance, Mark};
use nullwalk_core::tone::Marks;
use nullwalk_core::verdict::{Fix, Place};

use crate::book::{Pipe, Truth};
use crate::equipment::Signal;

/// What is being looked at.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct About {
    /// What it is called.
    pub title: String,
    /// What is listened for, as soon as that is known.
    pub signal: Option<Signal>,
    /// Gain of every rung; empty where that is not known.
    pub gains: Vec<f32>,
    /// Whether there are raw samples, and so a spectrum.
    pub has_samples: bool,
    /// How long it is, if that is known.
    pub length_s: Option<f64>,
    /// Whether it comes as it happens, so that it goes at its own pace.
    pub is_live: bool,
    /// Whether it comes from the simulator,
    pub simulated: bool,
    /// and where the source really is then.
    pub truth: Option<Truth>,
    /// What is known of the pipe.
    pub pipe: Pipe,
}

/// What one hop brings.
#[derive(Debug, Clone, PartialEq)]
pub struct Update {
    /// Middle of the window, seconds from the beginning.
    pub time_s: f64,
    /// What the person with the mast is told.
    pub guidance: Guidance,
    /// The fix of the hold in progress.
    pub fix: Option<Fix>,
    /// The mark, as far as it is known.
    pub mark: Option<Ellipse>,
    /// Field at each node forward, left and up, lower node first, nanotesla. Empty where coils are not known.
    pub nodes_nt: Vec<[f32; 3]>,
    /// How the mast was held.
    pub mast: MastReading,
    /// Rung in force.
    pub rung: Option<u8>,
    /// Largest sample as a share of the rail.
    pub peak: Option<f32>,
    /// What happened to the samples.
    pub marks: Marks,
    /// Share of the window that was bridged.
    pub bridged: f32,
}

impl Update {
    /// What a glimpse and what was made of it say.
    pub fn new(
        time_s: f64,
        glimpse: &Glimpse,
        guidance: Guidance,
        fix: Option<Fix>,
        mark: Option<&Mark>,
    ) -> Self {
        Self {
            time_s,
            guidance,
            fix,
            mark: mark.map(Ellipse::of_mark),
            nodes_nt: glimpse.nodes.iter().map(|node| (node.field_t * 1e9).to_array()).collect(),
            mast: glimpse.mast,
            rung: None,
            peak: None,
            marks: glimpse.marks,
            bridged: glimpse.bridged,
        }
    }
}

/// A place with its standard uncertainty along and across a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ellipse {
    /// East and north, metres.
    pub centre_m: Vec2,
    /// Unit vector along the line.
    pub along: Vec2,
    /// Standard uncertainty along it and across it, metres.
    pub sigma_m: Vec2,
}

impl Ellipse {
    fn of_mark(mark: &Mark) -> Self {
        let sigma_m = Vec2::new(mark.sigma_along_m, mark.sigma_across_m);
        Self { centre_m: mark.place_m, along: mark.lay, sigma_m }
    }

    /// All that is known where only the larger uncertainty was told.
    pub fn of_place(place: Place) -> Self {
        let centre_m = Vec2::new(place.east_m, place.north_m);
        Self { centre_m, along: Vec2::X, sigma_m: Vec2::splat(place.sigma_m) }
    }

    /// Points around it that hold the place with 95 % probability.
    pub fn outline_m(&self) -> impl Iterator<Item = Vec2> {
        const STEPS: u8 = 48;
        let reach_m = self.sigma_m * crate::job::ellipse95() as f32;
        (0..=STEPS).map(move |step| {
            let turn = Vec2::from_angle(std::f32::consts::TAU * f32::from(step) / f32::from(STEPS));
            self.centre_m + self.along.rotate(turn * reach_m)
        })
    }
}
