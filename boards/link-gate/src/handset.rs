//! What a handset calls: the whole chain as one instrument.

use nullwalk_core::array::Array;
use nullwalk_core::frame::{Block, MastReading};
use nullwalk_core::gain::{Ladder, Stepper};
use nullwalk_core::instrument::{Instrument, InstrumentState, Update};
use nullwalk_core::record::{self, Header, Hop};
use nullwalk_core::tone::Tone;

use crate::{CHANNELS, keep};

/// Keep every entry point, one line each.
pub fn keep_all() {
    keep(Tone::new as *const ());
    keep(Ladder::new as *const ());
    keep(Array::new as *const ());
    keep(Instrument::<CHANNELS>::new as *const ());
    keep(Instrument::<CHANNELS>::tone as *const ());
    keep(Instrument::<CHANNELS>::ladder as *const ());
    keep(Instrument::<CHANNELS>::array as *const ());
    keep(Instrument::<CHANNELS>::start as *const ());
    keep(push_into_instrument as *const ());
    keep(Instrument::<CHANNELS>::refusal as *const ());
    keep(InstrumentState::<CHANNELS>::stepper as *const ());
    keep(InstrumentState::<CHANNELS>::locate as *const ());
    keep(Stepper::wanted as *const ());
    keep(Stepper::hold as *const ());
    keep(Header::new::<CHANNELS> as *const ());
    keep(Hop::new::<CHANNELS> as *const ());
    keep(record::encode as *const ());
    keep(record::frame as *const ());
}

fn push_into_instrument(
    instrument: &Instrument<CHANNELS>,
    state: &mut InstrumentState<CHANNELS>,
    block: &Block<'_, CHANNELS>,
    mast: Option<MastReading>,
    update: &mut dyn FnMut(Update<CHANNELS>),
) {
    Instrument::push(instrument, state, block, mast, update);
}
