//! Locating again from a handset's hops.

use nullwalk_core::array::CommonPhase;
use nullwalk_core::error::ConfigError;
use nullwalk_core::locate::{Guidance, Locator};
use nullwalk_core::record::{Header, Hop};
use nullwalk_core::tone::Tone;
use nullwalk_core::verdict::Fix;

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
    let tone = Tone::new(header.tone_hz, header.rate_hz)?;
    let overlap = tone.response().overlap();
    let locator = Locator::new(header.array.clone(), tone.hop_s(), overlap, header.settings)?;
    let (mut state, mut phase) = (locator.start(), CommonPhase::default());
    let mut diary = Diary::new(f64::from(header.rate_hz));
    for hop in hops {
        let at = hop.phasors.centre;
        diary.note_rung(at, hop.rung);
        let glimpse = header.array.glimpse(header.tone_hz, &hop.phasors, &mut phase, hop.mast);
        let (guidance, fix) = locator.push(&mut state, &glimpse, hop.stray, hop.gain);
        diary.note(&guidance, fix.as_ref());
        watch(&guidance, fix.as_ref());
        diary.end = at;
    }
    Ok(diary.close(locator.refusal(&state)))
}
