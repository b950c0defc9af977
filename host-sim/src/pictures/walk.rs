//! A walk as the instrument saw it, step by step.

use glam::DVec3;
use nullwalk_core::array::{Array, Glimpse};
use nullwalk_core::frame::heading_rotation;
use nullwalk_core::locate::{Guidance, Phase, Settings};
use nullwalk_core::tone::{Marks, Overlap};

use super::PictureError;
use crate::capture::{Capture, Content};
use crate::run::{self, Outcome};
use crate::with_channels;

/// One output of the instrument.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// Middle of its window, seconds.
    pub time_s: f64,
    /// Phase of the locate.
    pub phase: Phase,
    /// Where the lower node was: east, north, up, metres.
    pub at_m: Option<DVec3>,
    /// Field at the lower node, levelled mast frame, nanotesla.
    pub lower_nt: DVec3,
    /// The same at the upper node.
    pub upper_nt: Option<DVec3>,
    /// Standard uncertainty of each component from noise, nanotesla.
    pub sigma_nt: f64,
    /// Heading of the mast, radians clockwise from north.
    pub heading_rad: Option<f64>,
    /// What happened within the window.
    pub marks: Marks,
}

/// A walk.
#[derive(Debug, Clone, PartialEq)]
pub struct Walk {
    /// What it is called.
    pub title: String,
    /// Its steps.
    pub steps: Vec<Step>,
    /// What became of it.
    pub outcome: Outcome,
    /// What windows that overlap do to successive steps.
    pub overlap: Overlap,
    /// Height of the lower node above the ground while the foot rests on it, metres.
    pub foot_m: f64,
    /// Height of the upper node above the lower one.
    pub spacing_m: Option<f64>,
}

/// Gathers the steps of a walk while it is located.
#[derive(Debug, Clone)]
pub struct Gatherer {
    rate_hz: f64,
    steps: Vec<Step>,
}

impl Gatherer {
    /// For a clock of so many ticks a second.
    pub fn new(rate_hz: f64) -> Self {
        Self { rate_hz, steps: Vec::new() }
    }

    /// Take in one output.
    pub fn note(&mut self, glimpse: &Glimpse, guidance: &Guidance) {
        let nano = |v: glam::Vec3| v.as_dvec3() * 1e9;
        let lower = glimpse.lower();
        self.steps.push(Step {
            time_s: glimpse.at as f64 / self.rate_hz,
            phase: guidance.phase,
            at_m: glimpse.mast.position.map(|p| p.enu_m.as_dvec3()),
            lower_nt: nano(lower.field_t),
            upper_nt: glimpse.nodes.get(1).map(|node| nano(node.field_t)),
            sigma_nt: f64::from(lower.sigma_t) * 1e9,
            heading_rad: glimpse.mast.heading_rad.map(f64::from),
            marks: glimpse.marks,
        });
    }

    /// The walk, once it is over.
    pub fn walk(self, title: &str, outcome: Outcome, overlap: Overlap, array: &Array) -> Walk {
        Walk {
            title: title.to_owned(),
            steps: self.steps,
            outcome,
            overlap,
            foot_m: f64::from(array.foot_m()),
            spacing_m: array.spacing_m().map(f64::from),
        }
    }
}

impl Walk {
    /// Locate again from a capture; `None` where its coils form no nodes.
    ///
    /// # Errors
    /// When it cannot be read, or describes what cannot be.
    pub fn of_capture(capture: &Capture) -> Result<Option<Self>, PictureError> {
        let Some(array) = &capture.array else { return Ok(None) };
        let name = capture.path.file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
        let signal = &capture.description.signal;
        let settings = signal.settings(Settings::default());
        match &capture.content {
            Content::Field(recording) => {
                let mut gathered = Gatherer::new(run::CLOCK_HZ);
                let mut rows = run::Rows::new(array.clone(), recording.rate_hz, settings)?;
                for row in &recording.rows {
                    let (glimpse, guidance, _) = rows.push(row);
                    gathered.note(&glimpse, &guidance);
                }
                let outcome = rows.so_far().outcome();
                Ok(Some(gathered.walk(&name, outcome, Overlap::NONE, array)))
            }
            Content::Samples { .. } => {
                let walked = with_channels!(signal.channels, C => {
                    let instrument =
                        run::instrument::<C>(signal, capture.ladder.clone(), array.clone())?;
                    let mut gathered = Gatherer::new(signal.sample_rate_hz);
                    let outcome = run::locate(&instrument, &mut capture.reader::<C>()?, None, |update| {
                        gathered.note(&update.glimpse, &update.guidance);
                    })?;
                    let overlap = instrument.tone().response().overlap();
                    Ok::<_, PictureError>(gathered.walk(&name, outcome, overlap, array))
                });
                walked.transpose()
            }
        }
    }

    /// The field at the lower node on the site, where the mast's heading is known.
    pub(super) fn on_site(step: &Step) -> Option<DVec3> {
        let rotation = heading_rotation(step.heading_rad? as f32).as_dmat3();
        Some(rotation * step.lower_nt)
    }
}

/// Where each stretch of one phase begins and ends, by the numbers of its steps.
pub(super) fn stretches(steps: &[Step]) -> Vec<(usize, usize)> {
    let mut from = 0;
    let ends = steps.chunk_by(|a, b| a.phase == b.phase).map(|chunk| {
        let start = from;
        from += chunk.len();
        (start, from)
    });
    ends.collect()
}

pub(super) fn phase_name(phase: Phase) -> &'static str {
    match phase {
        Phase::Listen => "Listen",
        Phase::Home => "Home",
        Phase::Bracket => "Bracket",
        Phase::Settle => "Settle",
    }
}
