//! Locating again from a handset's hops.

use nullwalk_core::array::{CommonPhase, Glimpse};
use nullwalk_core::error::ConfigError;
use nullwalk_core::locate::{Guidance, LocateState, Locator, Mark};
use nullwalk_core::record::{Header, Hop};
use nullwalk_core::tone::Tone;
use nullwalk_core::verdict::{Fix, Reasons};

use super::{Diary, Outcome};

/// Run the hops of a recording through the locate, as the handset did. `watch` sees what it said.
///
/// # Errors
/// When the header describes what cannot be.
pub fn locate_hops(
    header: &Header,
    hops: &[Hop],
    mut watch: impl FnMut(&Guidance, Option<&Fix>),
) -> Result<Outcome, ConfigError> {
    let mut locate = Hops::new(header)?;
    for hop in hops {
        let (_, guidance, fix) = locate.push(hop);
        watch(&guidance, fix.as_ref());
    }
    Ok(locate.outcome())
}

/// The same, a hop at a time.
#[derive(Debug, Clone)]
pub struct Hops {
    tone_hz: f32,
    locator: Locator,
    state: LocateState,
    phase: CommonPhase,
    diary: Diary,
}

impl Hops {
    /// Begin a recording that was made so.
    ///
    /// # Errors
    /// When the header describes what cannot be.
    pub fn new(header: &Header) -> Result<Self, ConfigError> {
        let tone = Tone::new(header.tone_hz, header.rate_hz)?;
        let overlap = tone.response().overlap();
        let locator = Locator::new(header.array.clone(), tone.hop_s(), overlap, header.settings)?;
        let (state, phase) = (locator.start(), CommonPhase::default());
        let diary = Diary::new(f64::from(header.rate_hz));
        Ok(Self { tone_hz: header.tone_hz, locator, state, phase, diary })
    }

    /// Take the next hop in.
    pub fn push(&mut self, hop: &Hop) -> (Glimpse, Guidance, Option<Fix>) {
        let at = hop.phasors.centre;
        self.diary.note_rung(at, hop.rung);
        let array = self.locator.array();
        let glimpse = array.glimpse(self.tone_hz, &hop.phasors, &mut self.phase, hop.mast);
        let (guidance, fix) = self.locator.push(&mut self.state, &glimpse, hop.stray, hop.gain);
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
