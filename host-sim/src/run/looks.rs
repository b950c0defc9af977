//! From any source of samples to looks at a line: of a tone, or of one harmonic of passive mains.

use nullwalk_core::array::{Array, CommonPhase, Glimpse};
use nullwalk_core::error::ConfigError;
use nullwalk_core::fit::line::PhasorLook;
use nullwalk_core::frame::{Block, MastReading, SampleSource};
use nullwalk_core::gain::Ladder;
use nullwalk_core::looking::phasor_look;
use nullwalk_core::mains::{self, Mains, ORDERS};
use nullwalk_core::passive::{Heard, Passive};

use super::phasors::{CLOCK_HZ, glimpse};
use super::{BLOCK, instrument};
use crate::capture::FieldRecording;
use crate::equipment::Signal;

/// A look's samples may be bridged up to this share.
const MOST_BRIDGED: f32 = 0.3;

/// What an instrument listens for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Listen {
    /// The tone it is set to.
    Tone,
    /// Passive mains: a harmonic by its order, or the strongest that can be used.
    Mains(Option<usize>),
}

/// The instrument behind a walk.
#[derive(Debug, Clone)]
pub struct Kit {
    /// Rate, tone and channels.
    pub signal: Signal,
    /// Its gains.
    pub ladder: Ladder,
    /// Its coils; for mains, with their coupling.
    pub array: Array,
}

/// What one instant showed.
#[derive(Debug, Clone, PartialEq)]
pub struct Seen {
    /// Seconds since the recording began.
    pub time_s: f64,
    /// The field at every node, and how the mast was held.
    pub glimpse: Glimpse,
    /// Of mains: the phase that its fields were turned back by, relative to the grid's.
    pub phase_rad: f32,
}

/// A walk along or across a line, as it was heard.
#[derive(Debug, Clone, PartialEq)]
pub struct Walk {
    /// Everything seen, in order.
    pub seen: Vec<Seen>,
    /// The coils.
    pub array: Array,
    /// Looks may be treated as independent when their noise is taken for so much more.
    pub inflation: f32,
    /// The frequency of the field, hertz.
    pub frequency_hz: f64,
    /// Of mains: the order of the harmonic.
    pub order: Option<usize>,
    /// Of mains: the grid's frequency when it was last known, hertz. `None` where no grid was heard.
    pub grid_hz: Option<f64>,
    /// Length of the recording, seconds.
    pub duration_s: f64,
    /// Best signal-to-noise ratio, decibels.
    pub best_snr_db: f32,
    /// Looks in whose window samples touched the rail.
    pub clipped: usize,
    /// Looks left out because too much of their window was bridged, or clipped.
    pub left_out: usize,
}

impl Walk {
    /// The looks behind every sight that has a place.
    pub fn looks(&self) -> impl Iterator<Item = PhasorLook> {
        self.seen.iter().filter_map(|sight| phasor_look(&sight.glimpse, &self.array, self.inflation))
    }
}

/// Everything that was heard of mains on a walk.
#[derive(Debug, Clone)]
pub struct Hums<const C: usize> {
    heard: Vec<Heard<C>>,
    array: Array,
    rate_hz: f64,
    end: u64,
}

impl<const C: usize> Hums<C> {
    /// The harmonic to locate on: of those that are heard, the one that stands furthest above its noise over the whole walk.
    /// `None` where none is.
    pub fn strongest(&self) -> Option<usize> {
        let mut powers = [0.0_f64; ORDERS];
        for heard in self.heard.iter().filter(|heard| heard.hum.grid.is_some() && !heard.hum.marks.clipped)
        {
            for (power, harmonic) in powers.iter_mut().zip(&heard.hum.harmonics) {
                if harmonic.is_heard() {
                    *power += f64::from(harmonic.power);
                }
            }
        }
        let heard = (1..).zip(powers).filter(|(_, power)| *power > 0.0);
        heard.max_by(|a, b| a.1.total_cmp(&b.1)).map(|(order, _)| order)
    }

    /// The walk by every harmonic, in order.
    pub fn walks(&self) -> Vec<Walk> {
        (1..=ORDERS).map(|order| self.walk(Some(order))).collect()
    }

    /// The walk by one harmonic, by its order, or by the strongest.
    pub fn walk(&self, order: Option<usize>) -> Walk {
        let order = order.or_else(|| self.strongest());
        let grid_hz = self.heard.iter().rev().find(|heard| heard.hum.grid.is_some());
        let grid_hz = grid_hz.map(|heard| f64::from(heard.hum.grid_hz));
        let mut walk = Walk {
            seen: Vec::new(),
            array: self.array.clone(),
            inflation: mains::INFLATION,
            frequency_hz: grid_hz.zip(order).map_or(0.0, |(hz, order)| hz * order as f64),
            order,
            grid_hz,
            duration_s: self.end as f64 / self.rate_hz,
            best_snr_db: f32::NEG_INFINITY,
            clipped: 0,
            left_out: 0,
        };
        let mut phase = CommonPhase::default();
        for heard in &self.heard {
            if let Some(glimpse) = order.and_then(|order| heard.glimpse(order, &self.array, &mut phase)) {
                walk.take(glimpse, phase, self.rate_hz);
            }
        }
        walk
    }
}

impl Walk {
    fn take(&mut self, glimpse: Glimpse, phase: CommonPhase, rate_hz: f64) {
        self.clipped += usize::from(glimpse.marks.clipped);
        if glimpse.marks.clipped || glimpse.bridged > MOST_BRIDGED {
            self.left_out += 1;
            return;
        }
        self.best_snr_db = self.best_snr_db.max(glimpse.snr_db);
        let time_s = glimpse.at as f64 / rate_hz;
        self.seen.push(Seen { time_s, glimpse, phase_rad: phase.phase_rad() });
    }
}

/// Walk a source to its end, listening for the tone.
///
/// # Errors
/// The outer one when kit and tone do not fit, the inner one when the source fails.
pub fn tone_walk<const C: usize, S: SampleSource<C>>(
    kit: &Kit,
    source: &mut S,
) -> Result<Result<Walk, S::Error>, ConfigError> {
    let instrument = instrument::<C>(&kit.signal, kit.ladder.clone(), kit.array.clone())?;
    let rate_hz = kit.signal.sample_rate_hz;
    let mut walk = Walk {
        seen: Vec::new(),
        array: kit.array.clone(),
        inflation: instrument.tone().response().overlap().inflation,
        frequency_hz: kit.signal.tone_hz,
        order: None,
        grid_hz: None,
        duration_s: 0.0,
        best_snr_db: f32::NEG_INFINITY,
        clipped: 0,
        left_out: 0,
    };
    let mut state = instrument.start();
    let driven = drive(source, |block, mast| {
        instrument.push(&mut state, block, mast, |update| {
            walk.take(update.glimpse, CommonPhase::default(), rate_hz);
        });
        state.stepper().wanted()
    });
    Ok(driven.map(|end| {
        walk.duration_s = end as f64 / rate_hz;
        walk
    }))
}

/// Walk a source to its end, listening for mains.
///
/// # Errors
/// As [`tone_walk`].
pub fn mains_walk<const C: usize, S: SampleSource<C>>(
    kit: &Kit,
    source: &mut S,
) -> Result<Result<Hums<C>, S::Error>, ConfigError> {
    let rate_hz = kit.signal.sample_rate_hz;
    let passive = Passive::<C>::new(Mains::new(rate_hz as f32)?, kit.ladder.clone(), kit.array.clone())?;
    let mut state = passive.start();
    let mut heard = Vec::new();
    let driven = drive(source, |block, mast| {
        passive.push(&mut state, block, mast, |hop| heard.push(*hop));
        state.stepper().wanted()
    });
    Ok(driven.map(|end| Hums { heard, array: kit.array.clone(), rate_hz, end }))
}

/// The walk of a field recording, whose phasors somebody else demodulated at the tone.
pub fn field_walk(kit: &Kit, recording: &FieldRecording) -> Walk {
    let mut walk = Walk {
        seen: Vec::new(),
        array: kit.array.clone(),
        // Whoever demodulated the rows chose their windows; their noise is taken as independent.
        inflation: 1.0,
        frequency_hz: kit.signal.tone_hz,
        order: None,
        grid_hz: None,
        duration_s: recording.rows.last().map_or(0.0, |row| row.time_s),
        best_snr_db: f32::NEG_INFINITY,
        clipped: 0,
        left_out: 0,
    };
    let mut phase = CommonPhase::default();
    for row in &recording.rows {
        walk.take(glimpse(row, &mut phase), phase, CLOCK_HZ);
    }
    walk
}

/// Walk a source to its end, and listen.
///
/// # Errors
/// As [`tone_walk`].
pub fn walk<const C: usize, S: SampleSource<C>>(
    kit: &Kit,
    listen: Listen,
    source: &mut S,
) -> Result<Result<Walk, S::Error>, ConfigError> {
    match listen {
        Listen::Tone => tone_walk(kit, source),
        Listen::Mains(order) => Ok(mains_walk::<C, S>(kit, source)?.map(|hums| hums.walk(order))),
    }
}

/// Hand every block of a source to `take`, which says what gain it wants; the number of frames.
fn drive<const C: usize, S: SampleSource<C>>(
    source: &mut S,
    mut take: impl FnMut(&Block<'_, C>, Option<MastReading>) -> u8,
) -> Result<u64, S::Error> {
    let mut frames = vec![[0; C]; BLOCK];
    let mut end = 0;
    while let Some(info) = source.read(&mut frames)? {
        let frames = frames.get(..info.frames).unwrap_or_default();
        let wanted = take(&Block { frames, start: info.start, rung: info.rung }, info.mast);
        source.set_rung(wanted);
        end = info.start + info.frames as u64;
    }
    Ok(end)
}
