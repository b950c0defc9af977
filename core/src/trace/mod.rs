//! The locate of a line: looks along a walk go in, a fix with its verdict comes out.
//!
//! "Trace" is to follow a conductive line: a pipe or cable that carries the tone. Lanes are walked across it, each look with
//! the place where it was taken; [`Tracer::judge`] then fits a line to all of them, asks every other method, and looks for
//! whatever would make that line a wrong answer.

mod checks;
mod compass;
mod crossing;
mod ellipse;
mod fix;
mod judge;
mod lag;
mod methods;
mod place;
mod regress;
mod second;

use glam::Vec3;

use crate::array::{Array, NodeField};
use crate::depth::Measured;
use crate::depth::soil::{Soil, most_returned_per_m, returned_per_m};
use crate::error::ConfigError;
use crate::fit::line::{Line, PhasorLook, Traced, UNKNOWNS};
use crate::fit::{Mergeable, Ring, Shared};
use crate::frame::SampleIndex;
use crate::looking::{CARRIED_SIGMA_M, GAIT_SIGMA};
use crate::math;

pub use crossing::{Crossing, MAX_CROSSINGS};
pub use ellipse::OutOfStep;
pub use fix::{Beside, LineDepths, LineMethod, TraceFix, TwoLines};
pub use lag::{Away, Lag, NoLag, PhaseAt, lag};

/// Looks kept of a walk.
pub const LOOKS: usize = 128;

/// The walk's fit.
type OneLine = Traced<Line, UNKNOWNS>;

/// Settings of a trace.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// The tone, hertz: what returns through the soil depends on it.
    pub tone_hz: f32,
    /// The soil.
    pub soil: Soil,
    /// From the lower node up to the upper one, metres.
    pub spacing_m: f32,
    /// Standard uncertainty of the ratio of the nodes' gains.
    pub node_ratio_sigma: f32,
    /// Relative standard uncertainty of every field, as it differs from look to look.
    pub field_sigma: f32,
    /// Standard uncertainty of the mast's lean as a whole, radians.
    pub tilt_sigma_rad: f32,
    /// Height of the lower node above the ground during the walk, metres.
    pub node_height_m: f32,
}

impl Settings {
    /// For an array and a tone, in unknown soil, carried with the foot on the ground or nearly so. An array without two
    /// nodes one above the other has no spacing, which [`Tracer::new`] refuses.
    pub fn of(array: &Array, tone_hz: f32) -> Self {
        let sigma = array.sigma();
        Self {
            tone_hz,
            soil: Soil::Unknown,
            spacing_m: array.spacing_m().unwrap_or(0.0),
            node_ratio_sigma: sigma.node_ratio,
            field_sigma: math::sqrt(sigma.tilt_rad * sigma.tilt_rad + GAIT_SIGMA * GAIT_SIGMA),
            tilt_sigma_rad: sigma.tilt_rad,
            node_height_m: array.foot_m(),
        }
    }
}

/// One instant of a walk.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sight {
    /// When.
    pub at: SampleIndex,
    /// What both nodes saw, and where.
    pub look: PhasorLook,
    /// Standard uncertainty of places that neighbouring looks share, metres: that of a position sensor that wanders. What
    /// differs from look to look is in the look.
    pub wander_m: f32,
    /// By how much the fields were turned back against a reference that the transmitter shares, radians, if there is one.
    pub phase_rad: Option<f32>,
    /// Something clipped: the look is counted, and not used.
    pub saturated: bool,
}

/// The same node at two heights.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lift {
    /// Place of the node before, site frame, metres.
    pub at_m: Vec3,
    /// Its field there.
    pub before: NodeField,
    /// and after the lift.
    pub lifted: NodeField,
    /// By so much, metres.
    pub height_m: Measured,
}

/// The immutable half of a trace.
#[derive(Debug, Clone)]
pub struct Tracer {
    settings: Settings,
    /// What is believed of the soil.
    returned_per_m: Measured,
    /// What the best conductor of its class returns.
    most_returned_per_m: f32,
}

/// The state of a trace: 13.5 KiB, nearly all of it the walk.
#[derive(Debug, Clone, Default)]
pub struct TraceState {
    walk: Ring<LOOKS, PhasorLook>,
    lift: Option<Lift>,
    at: SampleIndex,
    wander_m: f32,
    /// Of the phases against the reference, at twice their angle, weighted by strength over noise; and of the weights.
    turned: [f32; 2],
    turned_weight: f32,
    pushed: u32,
    saturated: u32,
}

impl TraceState {
    /// The walk so far.
    pub fn walk(&self) -> &Ring<LOOKS, PhasorLook> {
        &self.walk
    }

    /// Looks that came in, and how many of them clipped.
    pub fn counts(&self) -> (u32, u32) {
        (self.pushed, self.saturated)
    }
}

impl Tracer {
    /// A trace with these settings.
    ///
    /// # Errors
    /// When a setting is out of range.
    pub fn new(settings: Settings) -> Result<Self, ConfigError> {
        let Settings { tone_hz, spacing_m, node_ratio_sigma, .. } = settings;
        ConfigError::unless((1.0..=200e3).contains(&tone_hz), "trace.tone_hz", "must be 1 to 200000")?;
        ConfigError::unless(
            (0.05..=3.0).contains(&spacing_m),
            "trace.spacing_m",
            "must be 0.05 to 3: an array with two nodes, one above the other",
        )?;
        ConfigError::unless(
            (0.0..=0.5).contains(&node_ratio_sigma),
            "trace.node_ratio_sigma",
            "must be 0 to 0.5",
        )?;
        ConfigError::unless(
            (0.0..=0.5).contains(&settings.field_sigma),
            "trace.field_sigma",
            "must be 0 to 0.5",
        )?;
        ConfigError::unless(
            (0.0..=0.3).contains(&settings.tilt_sigma_rad),
            "trace.tilt_sigma_rad",
            "must be 0 to 0.3",
        )?;
        ConfigError::unless(
            (0.0..=2.0).contains(&settings.node_height_m),
            "trace.node_height_m",
            "must be 0 to 2",
        )?;
        Ok(Self {
            returned_per_m: returned_per_m(tone_hz, settings.soil),
            most_returned_per_m: most_returned_per_m(tone_hz, settings.soil),
            settings,
        })
    }

    /// The settings.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// State for a new walk.
    pub fn start(&self) -> TraceState {
        TraceState::default()
    }

    /// Take in one instant of the walk.
    pub fn push(&self, state: &mut TraceState, sight: Sight) {
        state.at = sight.at;
        state.pushed = state.pushed.saturating_add(1);
        if sight.saturated {
            state.saturated = state.saturated.saturating_add(1);
            return;
        }
        state.wander_m = state.wander_m.max(sight.wander_m);
        if let Some(phase_rad) = sight.phase_rad {
            let look = sight.look.look();
            let ([field_nt, _], [sigma_nt, _]) = (look.fields_nt, look.sigma_nt);
            let weight = field_nt.length_squared() / (sigma_nt * sigma_nt).max(f32::MIN_POSITIVE);
            let (sin, cos) = math::sin_cos(2.0 * math::wrap_pi(phase_rad));
            let [c, s] = &mut state.turned;
            *c += weight * cos;
            *s += weight * sin;
            state.turned_weight += weight;
        }
        state.walk.push(sight.look);
    }

    /// Take in a lift; the last one counts.
    pub fn lift(&self, state: &mut TraceState, lift: Lift) {
        state.lift = Some(lift);
    }

    /// What the looks of a walk share.
    fn shared(&self, state: &TraceState) -> Shared {
        Shared {
            node_ratio: self.settings.node_ratio_sigma,
            field: self.settings.field_sigma,
            place_m: Vec3::new(state.wander_m, state.wander_m, CARRIED_SIGMA_M),
        }
    }
}
