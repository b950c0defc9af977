//! Locating from phasors that are already demodulated.

use nullwalk_core::array::{Array, Circumstances, CommonPhase, Glimpse, NodePhasor};
use nullwalk_core::error::ConfigError;
use nullwalk_core::locate::{GainState, Guidance, Locator, Settings};
use nullwalk_core::tone::Overlap;

use super::{Diary, Outcome};
use crate::capture::FieldRecording;

/// Clock in which the instants of a field recording are counted, hertz.
pub const CLOCK_HZ: f64 = 1e6;

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
    locate_phasors_watched(array, recording, settings, |_, _| ())
}

/// The same, and `watch` sees every row.
///
/// # Errors
/// As [`locate_phasors`].
pub fn locate_phasors_watched(
    array: Array,
    recording: &FieldRecording,
    settings: Settings,
    mut watch: impl FnMut(&Glimpse, &Guidance),
) -> Result<Outcome, ConfigError> {
    // Whoever demodulated the rows chose their windows; their noise is taken as independent.
    let locator = Locator::new(array, (1.0 / recording.rate_hz) as f32, Overlap::NONE, settings)?;
    let mut state = locator.start();
    let mut phase = CommonPhase::default();
    let mut diary = Diary::new(CLOCK_HZ);
    for row in &recording.rows {
        let at = (row.time_s.max(0.0) * CLOCK_HZ).round() as u64;
        let node = |field_t| NodePhasor { field_t, sigma_t: row.sigma_t };
        let nodes: Vec<NodePhasor> =
            [Some(row.lower_t), row.upper_t].into_iter().flatten().map(node).collect();
        let mast = row.mast.unwrap_or_default();
        let glimpse = Glimpse::new(at, &nodes, &mut phase, mast, Circumstances::default());
        let (guidance, fix) = locator.push(&mut state, &glimpse, None, GainState::default());
        diary.note(&guidance, fix.as_ref());
        watch(&glimpse, &guidance);
        diary.end = at;
    }
    Ok(diary.close(locator.refusal(&state)))
}
