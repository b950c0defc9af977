//! Drives the core: from any source of samples, or of phasors, to what it says about the station.
//!
//! This is the only caller of the core's pipeline on the host: the simulator, a replay and a recording in
//! progress all come through [`locate`].

mod booked;
mod capture;
mod coil;
mod diary;
mod hops;
mod locating;
mod looks;
mod paced;
mod phasors;
mod station;
mod underway;

use nullwalk_core::array::Array;
use nullwalk_core::error::ConfigError;
use nullwalk_core::frame::{MastReading, SampleSource, heading_rotation};
use nullwalk_core::gain::Ladder;
use nullwalk_core::instrument::{Instrument, Update};
use nullwalk_core::locate::{Guidance, Phase, Settings, Sweep};
use nullwalk_core::tone::Tone;
use nullwalk_core::verdict::{Fix, Judgement};

pub use booked::{degrees, depth, method, place, reason, stated_depth, verdict};
pub use capture::{Unlocated, locate_capture, of_capture};
pub use coil::{CoilFeatures, TimedFeature, listen_to_coils};
pub use hops::{Hops, locate_hops};
pub use locating::Locating;
pub use looks::{Hums, Kit, Listen, Seen, Walk, field_walk, mains_walk, tone_walk, walk};
pub use paced::{
    Between, LaneKnown, LaneResult, LengthKnown, MARK_SIGMA_S, PacedLane, Pattern, Ratio, Refused,
    paced_lane,
};
pub use phasors::{CLOCK_HZ, Rows, locate_phasors, locate_phasors_with};
pub use station::station;
pub use underway::Underway;

use crate::capture::{CaptureReader, Recording};
use crate::equipment::Signal;
use crate::synth::{Cue, Guided};

/// An offset more uncertain than this is not walked to, metres.
const WALK_TO_M: f32 = 0.5;
/// Frames asked for at a time; sources give less where they must.
const BLOCK: usize = 4096;

/// What a whole recording amounts to.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// The last fix, if there was any.
    pub fix: Option<Fix>,
    /// What the recording amounts to, with a fix or without.
    pub judgement: Judgement,
    /// Length of the recording.
    pub duration_s: f64,
    /// The moments worth telling, in order.
    pub log: Vec<Moment>,
    /// The tone when it was last strong enough to track: offset from nominal and ratio to the noise.
    pub carrier_offset_hz: f32,
    /// Best signal-to-noise ratio, decibels.
    pub best_snr_db: f32,
    /// Number of fixes that were offered (one every output while holding).
    pub fixes: usize,
}

/// Something that changed during a locate.
#[derive(Debug, Clone, PartialEq)]
pub struct Moment {
    /// Seconds since the recording began.
    pub time_s: f64,
    /// What happened.
    pub event: Event,
}

/// See [`Moment`].
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// The locate entered a phase.
    Phase(Phase),
    /// A full turn was completed.
    Sweep(Sweep),
    /// Something is wrong.
    Trouble(nullwalk_core::verdict::Reason),
    /// Both nulls were passed: there is a mark.
    Marked,
    /// A lane across fixed it sideways.
    Crossed,
    /// The gain was changed to this rung.
    Rung(u8),
    /// The hold has lasted long enough for a fix.
    Fixed,
}

/// The core's instrument for a description of signal, front end and array.
///
/// # Errors
/// Names the parameter that cannot work.
pub fn instrument<const C: usize>(
    signal: &Signal,
    ladder: Ladder,
    array: Array,
) -> Result<Instrument<C>, ConfigError> {
    instrument_with(signal, ladder, array, Settings::default())
}

/// The same, with settings of the locate.
///
/// # Errors
/// As [`instrument`].
pub fn instrument_with<const C: usize>(
    signal: &Signal,
    ladder: Ladder,
    array: Array,
    settings: Settings,
) -> Result<Instrument<C>, ConfigError> {
    let tone = Tone::new(signal.tone_hz as f32, signal.sample_rate_hz as f32)?;
    Instrument::new(tone, ladder, array, signal.settings(settings))
}

/// Run a source through the instrument to its end. `watch` sees every update.
///
/// # Errors
/// What the source gives.
pub fn locate<const C: usize, S>(
    instrument: &Instrument<C>,
    source: &mut S,
    held_rung: Option<u8>,
    mut watch: impl FnMut(&Update<C>),
) -> Result<Outcome, S::Error>
where
    S: SampleSource<C> + Guided,
{
    let mut underway = Underway::new(instrument, held_rung, BLOCK);
    while underway.step(instrument, source, &mut watch)?.is_some() {}
    Ok(underway.outcome(instrument))
}

/// What the simulated technician makes of the guidance.
pub fn cue_for(guidance: &Guidance, mast: &MastReading) -> Cue {
    let pose = mast.position.zip(mast.heading_rad);
    let source = guidance.offset.filter(|offset| offset.sigma_m < WALK_TO_M).zip(pose);
    Cue {
        turn_rad: guidance.turn_rad,
        near: matches!(guidance.phase, Phase::Bracket | Phase::Settle),
        lay_rad: guidance.lay_rad.zip(mast.heading_rad).map(|(lay, heading)| lay + heading),
        crossed: guidance.crossed,
        source_enu_m: source.map(|(offset, (position, heading_rad))| {
            let way_m = heading_rotation(heading_rad) * offset.way_m.extend(0.0);
            let place_m = position.enu_m + way_m;
            [f64::from(place_m.x), f64::from(place_m.y)]
        }),
        mark_enu_m: guidance.mark.map(|m| [f64::from(m.east_m), f64::from(m.north_m)]),
    }
}

impl<const C: usize, R> Guided for CaptureReader<C, R> {
    /// What was recorded has been walked already.
    fn respond(&mut self, _cue: Cue) {}
}

impl<const C: usize, S: Guided> Guided for Recording<S, C> {
    fn respond(&mut self, cue: Cue) {
        self.source_mut().respond(cue);
    }
}
