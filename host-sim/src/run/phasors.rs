//! Locating from phasors that are already demodulated.

use nullwalk_core::array::{Array, Circumstances, CommonPhase, Glimpse, NodePhasor};
use nullwalk_core::error::ConfigError;
use nullwalk_core::locate::{GainState, Guidance, LocateState, Locator, Mark, Settings};
use nullwalk_core::tone::Overlap;
use nullwalk_core::verdict::{Fix, Reasons};

use super::{Diary, Outcome};
use crate::capture::{FieldRecording, FieldRow};

/// Clock in which the instants of a field recording are counted, hertz.
const CLOCK_HZ: f64 = 1e6;

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
    Ok(locate.outcome())
}

/// The same, a row at a time.
#[derive(Debug, Clone)]
pub struct Rows {
    locator: Locator,
    state: LocateState,
    phase: CommonPhase,
    diary: Diary,
}

impl Rows {
    /// Begin a recording of so many rows a second.
    ///
    /// # Errors
    /// When the array or the rate cannot work.
    pub fn new(array: Array, rate_hz: f64, settings: Settings) -> Result<Self, ConfigError> {
        // Whoever demodulated the rows chose their windows; their noise is taken as independent.
        let locator = Locator::new(array, (1.0 / rate_hz) as f32, Overlap::NONE, settings)?;
        let (state, phase) = (locator.start(), CommonPhase::default());
        Ok(Self { locator, state, phase, diary: Diary::new(CLOCK_HZ) })
    }

    /// Take the next row in.
    pub fn push(&mut self, row: &FieldRow) -> (Glimpse, Guidance, Option<Fix>) {
        let at = (row.time_s.max(0.0) * CLOCK_HZ).round() as u64;
        let node = |field_t| NodePhasor { field_t, sigma_t: row.sigma_t };
        let nodes: Vec<NodePhasor> =
            [Some(row.lower_t), row.upper_t].into_iter().flatten().map(node).collect();
        let mast = row.mast.unwrap_or_default();
        let glimpse = Glimpse::new(at, &nodes, &mut self.phase, mast, Circumstances::default());
        let (guidance, fix) = self.locator.push(&mut self.state, &glimpse, None, GainState::default());
        self.diary.note(&guidance, fix.as_ref());
        self.diary.end = at;
        (glimpse, guidance, fix)
    }

    /// The mark as far as it is known.
    pub fn mark(&self) -> Option<&Mark> {
        self.state.mark()
    }

    /// Why there is no fix, if it ends here without one.
    pub fn refusal(&self) -> Reasons {
        self.locator.refusal(&self.state)
    }

    /// What it amounts to if it ends here.
    pub fn outcome(&self) -> Outcome {
        self.diary.clone().close(self.refusal())
    }
}
