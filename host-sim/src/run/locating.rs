//! A locate from glimpses that are made elsewhere.

use nullwalk_core::array::{CommonPhase, Glimpse};
use nullwalk_core::locate::{GainState, Guidance, LocateState, Locator, Mark};
use nullwalk_core::tone::StrayTone;
use nullwalk_core::verdict::{Fix, Reasons};

use super::Outcome;
use super::diary::Diary;

/// How far a locate has come.
#[derive(Debug, Clone)]
pub struct Locating {
    pub(super) locator: Locator,
    pub(super) phase: CommonPhase,
    pub(super) diary: Diary,
    state: LocateState,
}

impl Locating {
    /// Nothing seen yet; instants are counted at this rate.
    pub(super) fn new(locator: Locator, rate_hz: f64) -> Self {
        let (state, phase) = (locator.start(), CommonPhase::default());
        Self { locator, phase, diary: Diary::new(rate_hz), state }
    }

    /// Take the next glimpse in.
    pub(super) fn push(
        &mut self,
        glimpse: Glimpse,
        stray: Option<StrayTone>,
        gain: GainState,
    ) -> (Glimpse, Guidance, Option<Fix>) {
        let (guidance, fix) = self.locator.push(&mut self.state, &glimpse, stray, gain);
        self.diary.note(&guidance, fix.as_ref());
        self.diary.end = glimpse.at;
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
