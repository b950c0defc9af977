//! The whole chain, from a block of samples to guidance and a fix: what the simulator, the replay, the tests
//! and the firmware all run.

use crate::array::{Array, CommonPhase, Glimpse};
use crate::error::ConfigError;
use crate::frame::{Block, MastReading};
use crate::gain::{Ladder, Stepper};
use crate::locate::{GainState, Guidance, LocateState, Locator, Settings};
use crate::pose::{Readings, Shutter};
use crate::tone::{Phasors, Scout, StrayTone, Tone, ToneState};
use crate::verdict::{Fix, Reasons};

/// The immutable half of an instrument with `C` channels.
#[derive(Debug, Clone)]
pub struct Instrument<const C: usize> {
    tone: Tone,
    shutter: Shutter,
    ladder: Ladder,
    locator: Locator,
}

/// Everything an instrument remembers.
#[derive(Debug, Clone)]
pub struct InstrumentState<const C: usize> {
    tone: ToneState<C>,
    stepper: Stepper,
    scout: Scout,
    stray: Option<StrayTone>,
    readings: Readings,
    phase: CommonPhase,
    locate: LocateState,
}

/// What comes out, ten times a second.
#[derive(Debug, Clone, PartialEq)]
pub struct Update<const C: usize> {
    /// The tone on every channel.
    pub phasors: Phasors<C>,
    /// The field at every node.
    pub glimpse: Glimpse,
    /// What to tell the person with the mast.
    pub guidance: Guidance,
    /// The fix of the hold in progress.
    pub fix: Option<Fix>,
    /// Another tone than the one set, at the instant it is found.
    pub stray: Option<StrayTone>,
    /// What the gain ladder said about the signal.
    pub gain: GainState,
}

impl<const C: usize> Instrument<C> {
    /// An instrument from its parts.
    ///
    /// # Errors
    /// When a coil of the array is wired to a channel that does not exist, or a setting is out of range.
    pub fn new(tone: Tone, ladder: Ladder, array: Array, settings: Settings) -> Result<Self, ConfigError> {
        let coils = || array.nodes().iter().flat_map(|node| &node.coils);
        ConfigError::unless(
            coils().all(|coil| usize::from(coil.channel) < C),
            "array.node.coil.channel",
            "must be below signal.channels",
        )?;
        let locator = Locator::new(array, tone.hop_s(), tone.response().overlap(), settings)?;
        let shutter = Shutter::new(&tone);
        Ok(Self { tone, shutter, ladder, locator })
    }

    /// The tone detector.
    pub fn tone(&self) -> &Tone {
        &self.tone
    }

    /// The gain ladder.
    pub fn ladder(&self) -> &Ladder {
        &self.ladder
    }

    /// The array.
    pub fn array(&self) -> &Array {
        self.locator.array()
    }

    /// State for a recording that begins now.
    pub fn start(&self) -> InstrumentState<C> {
        InstrumentState {
            tone: self.tone.start(),
            stepper: Stepper::default(),
            scout: Scout::new(self.tone.tone_hz(), self.tone.rate_hz()),
            stray: None,
            readings: Readings::default(),
            phase: CommonPhase::default(),
            locate: self.locator.start(),
        }
    }

    /// Take a block in, with the mast reading of its first sample; call `update` for every output that
    /// falls due.
    pub fn push(
        &self,
        state: &mut InstrumentState<C>,
        block: &Block<'_, C>,
        mast: Option<MastReading>,
        mut update: impl FnMut(Update<C>),
    ) {
        let InstrumentState { tone, stepper, scout, stray, readings, phase, locate } = state;
        if let Some(reading) = mast {
            readings.push(block.start, reading);
        }
        let gain =
            GainState { exhausted: stepper.is_exhausted(), held_too_high: stepper.is_held_too_high() };
        self.tone.push(tone, &self.ladder, block, |phasors| {
            let mast = self.shutter.mean(readings, phasors.centre);
            let glimpse = self.array().glimpse(self.tone.tone_hz(), phasors, phase, mast);
            let stray = stray.take();
            let (guidance, fix) = self.locator.push(locate, &glimpse, stray, gain);
            update(Update { phasors: *phasors, glimpse, guidance, fix, stray, gain });
        });
        if locate.is_listening() {
            *stray = scout.push(block).or(*stray);
        }
        let peak = tone.take_peak();
        let elapsed_s = block.frames.len() as f32 / self.tone.rate_hz();
        stepper.push(&self.ladder, peak, block.rung, tone.is_settling(), elapsed_s);
    }

    /// Why a recording that ended without a fix had none.
    pub fn refusal(&self, state: &InstrumentState<C>) -> Reasons {
        self.locator.refusal(&state.locate)
    }
}

impl<const C: usize> InstrumentState<C> {
    /// The gain stepper, to read the wanted rung or to hold one by hand.
    pub fn stepper(&mut self) -> &mut Stepper {
        &mut self.stepper
    }

    /// The state of the locate.
    pub fn locate(&self) -> &LocateState {
        &self.locate
    }
}
