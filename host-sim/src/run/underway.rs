//! A locate that is under way, for whoever does something between the blocks.

use nullwalk_core::frame::{Block, BlockInfo, SampleSource};
use nullwalk_core::instrument::{Instrument, InstrumentState, Update};
use nullwalk_core::locate::Mark;
use nullwalk_core::verdict::Reasons;

use super::diary::Diary;
use super::{Outcome, cue_for};
use crate::synth::Guided;

/// A source on its way through an instrument, a block at a time.
#[derive(Debug, Clone)]
pub struct Underway<const C: usize> {
    state: InstrumentState<C>,
    frames: Vec<[i32; C]>,
    diary: Diary,
}

impl<const C: usize> Underway<C> {
    /// Begin, to read at most `block` frames at a time.
    pub fn new(instrument: &Instrument<C>, held_rung: Option<u8>, block: usize) -> Self {
        let mut state = instrument.start();
        state.stepper().hold(held_rung);
        let diary = Diary::new(f64::from(instrument.tone().rate_hz()));
        Self { state, frames: vec![[0; C]; block.max(1)], diary }
    }

    /// Take the next block, and tell of it; `None` at the end of the source. `watch` sees every update.
    ///
    /// # Errors
    /// What the source gives.
    pub fn step<S: SampleSource<C> + Guided>(
        &mut self,
        instrument: &Instrument<C>,
        source: &mut S,
        mut watch: impl FnMut(&Update<C>),
    ) -> Result<Option<BlockInfo>, S::Error> {
        let Self { state, frames, diary } = self;
        let Some(info) = source.read(frames)? else { return Ok(None) };
        let frames = frames.get(..info.frames).unwrap_or_default();
        let block = Block { frames, start: info.start, rung: info.rung };
        diary.note_rung(info.start, info.rung);
        let mut cue = None;
        instrument.push(state, &block, info.mast, |update| {
            diary.note(&update.guidance, update.fix.as_ref());
            cue = Some(cue_for(&update.guidance, &update.glimpse.mast));
            watch(&update);
        });
        if let Some(cue) = cue {
            source.respond(cue);
        }
        source.set_rung(state.stepper().wanted());
        diary.end = info.start + info.frames as u64;
        Ok(Some(info))
    }

    /// Samples of the block that was told of last.
    pub fn frames(&self, info: &BlockInfo) -> &[[i32; C]] {
        self.frames.get(..info.frames).unwrap_or_default()
    }

    /// The mark as far as it is known.
    pub fn mark(&self) -> Option<&Mark> {
        self.state.locate().mark()
    }

    /// Why there is no fix, if it ends here without one.
    pub fn refusal(&self, instrument: &Instrument<C>) -> Reasons {
        instrument.refusal(&self.state)
    }

    /// What it amounts to if it ends here.
    pub fn outcome(&self, instrument: &Instrument<C>) -> Outcome {
        self.diary.clone().close(self.refusal(instrument))
    }
}
