//! Locating again from a handset's hops.

use nullwalk_core::array::Glimpse;
use nullwalk_core::error::ConfigError;
use nullwalk_core::locate::{Guidance, Locator};
use nullwalk_core::record::{Header, Hop};
use nullwalk_core::tone::Tone;
use nullwalk_core::verdict::Fix;

use super::{Locating, Outcome};

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
    Ok(locate.so_far().outcome())
}

/// The same, a hop at a time.
#[derive(Debug, Clone)]
pub struct Hops {
    tone_hz: f32,
    locating: Locating,
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
        Ok(Self { tone_hz: header.tone_hz, locating: Locating::new(locator, f64::from(header.rate_hz)) })
    }

    /// Take the next hop in.
    pub fn push(&mut self, hop: &Hop) -> (Glimpse, Guidance, Option<Fix>) {
        let Locating { locator, phase, diary, .. } = &mut self.locating;
        diary.note_rung(hop.phasors.centre, hop.rung);
        let glimpse = locator.array().glimpse(self.tone_hz, &hop.phasors, phase, hop.mast);
        self.locating.push(glimpse, hop.stray, hop.gain)
    }

    /// What the hops so far amount to.
    pub fn so_far(&self) -> &Locating {
        &self.locating
    }
}
