//! Raw samples, recorded or simulated, through the whole instrument.

use std::collections::VecDeque;
use std::error::Error;

use nullwalk_core::frame::SampleSource;
use nullwalk_core::instrument::Instrument;
use nullwalk_core::verdict::Reasons;

use super::{Feed, Next};
use crate::equipment::{ArrayFile, FrontEnd};
use crate::live::spectrum::{Listener, Spectrum};
use crate::live::update::Update;
use crate::run::Underway;
use crate::synth::Guided;

/// Blocks in a second: two for a hop, as many as the simulator gives.
const BLOCKS_PER_S: f32 = 20.0;

/// A source on its way through an instrument.
pub struct Samples<const C: usize, S> {
    instrument: Instrument<C>,
    underway: Underway<C>,
    source: S,
    listener: Listener<C>,
    /// Largest sample since the last update, as a share of the rail.
    peak: f32,
    ready: VecDeque<Update>,
}

impl<const C: usize, S> Samples<C, S> {
    /// Begin, with samples of what is described.
    pub fn new(instrument: Instrument<C>, source: S, front_end: &FrontEnd, array: &ArrayFile) -> Self {
        let rate_hz = instrument.tone().rate_hz();
        let underway = Underway::new(&instrument, None, (rate_hz / BLOCKS_PER_S) as usize);
        let listener = Listener::new(rate_hz.into(), front_end, array);
        Self { instrument, underway, source, listener, peak: 0.0, ready: VecDeque::new() }
    }
}

impl<const C: usize, S> Feed for Samples<C, S>
where
    S: SampleSource<C, Error: Error + 'static> + Guided,
{
    fn next(&mut self) -> Result<Next, Box<dyn Error>> {
        let Self { instrument, underway, source, listener, peak, ready } = self;
        let rate_hz = f64::from(instrument.tone().rate_hz());
        while ready.is_empty() {
            let mut seen = Vec::new();
            let Some(info) = underway.step(instrument, source, |update| seen.push(update.clone()))? else {
                return Ok(Next::End(String::new()));
            };
            let frames = underway.frames(&info);
            listener.push(frames, info.start, instrument.ladder().rung(info.rung).gain);
            let largest = frames.iter().flatten().map(|count| count.unsigned_abs()).max().unwrap_or(0);
            *peak = peak.max(largest as f32 / instrument.ladder().rail_counts() as f32);
            for update in seen {
                let time_s = update.phasors.centre as f64 / rate_hz;
                let glimpse = &update.glimpse;
                let mut told = Update::new(time_s, glimpse, update.guidance, update.fix, underway.mark());
                (told.rung, told.peak) = (Some(info.rung), Some(std::mem::take(peak)));
                ready.push_back(told);
            }
        }
        Ok(ready.pop_front().map_or(Next::Wait, |update| Next::Update(Box::new(update))))
    }

    fn spectrum(&self) -> Option<Spectrum> {
        self.listener.spectrum()
    }

    fn refusal(&self) -> Reasons {
        self.underway.refusal(&self.instrument)
    }
}
