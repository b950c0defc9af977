//! Locating from phasors that are already demodulated.

use nullwalk_core::array::{Array, Circumstances, CommonPhase, Glimpse, NodePhasor};
use nullwalk_core::error::ConfigError;
use nullwalk_core::locate::{GainState, Guidance, Locator, Settings};
use nullwalk_core::tone::Overlap;
use nullwalk_core::verdict::Fix;

use super::{Locating, Outcome};
use crate::capture::{FieldRecording, FieldRow};

/// Clock in which the instants of a field recording are counted, hertz.
pub const CLOCK_HZ: f64 = 1e6;

/// What a row shows.
pub fn glimpse(row: &FieldRow, phase: &mut CommonPhase) -> Glimpse {
    let at = (row.time_s.max(0.0) * CLOCK_HZ).round() as u64;
    let node = |field_t| NodePhasor { field_t, sigma_t: row.sigma_t };
    let nodes: Vec<NodePhasor> = [Some(row.lower_t), row.upper_t].into_iter().flatten().map(node).collect();
    Glimpse::new(at, &nodes, phase, row.mast.unwrap_or_default(), Circumstances::default())
}

/// Run a field recording through the locate.
///
/// # Errors
/// When the array or the rate of the rows cannot work.
pub fn locate_phasors(array: Array, recording: &FieldRecording) -> Result<Outcome, ConfigError> {
    locate_phasors_with(array, recording, Settings::default())
}

/// The same, with settings of the locate.
///
/// # Errors
/// As [`locate_phasors`].
pub fn locate_phasors_with(
    array: Array,
    recording: &FieldRecording,
    settings: Settings,
) -> Result<Outcome, ConfigError> {
    let mut locate = Rows::new(array, recording.rate_hz, settings)?;
    for row in &recording.rows {
        locate.push(row);
    }
    Ok(locate.so_far().outcome())
}

/// The same, a row at a time.
#[derive(Debug, Clone)]
pub struct Rows {
    locating: Locating,
}

impl Rows {
    /// Begin a recording of so many rows a second.
    ///
    /// # Errors
    /// When the array or the rate cannot work.
    pub fn new(array: Array, rate_hz: f64, settings: Settings) -> Result<Self, ConfigError> {
        // Whoever demodulated the rows chose their windows; their noise is taken as independent.
        let locator = Locator::new(array, (1.0 / rate_hz) as f32, Overlap::NONE, settings)?;
        Ok(Self { locating: Locating::new(locator, CLOCK_HZ) })
    }

    /// Take the next row in.
    pub fn push(&mut self, row: &FieldRow) -> (Glimpse, Guidance, Option<Fix>) {
        let glimpse = glimpse(row, &mut self.locating.phase);
        self.locating.push(glimpse, None, GainState::default())
    }

    /// What the rows so far amount to.
    pub fn so_far(&self) -> &Locating {
        &self.locating
    }
}
