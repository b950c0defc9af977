//! The tone path, and the search for another tone.

use nullwalk_core::frame::SampleIndex;
use nullwalk_core::gain::{Ladder, Rung};
use nullwalk_core::tone::{Phasors, Scout, Tone, ToneState};

use crate::samples::{CHANNELS, RATE_HZ, ROUND_BLOCKS, ROUND_FRAMES, TONE_HZ, next_block};
use crate::{Plan, Work};

/// One second of samples in blocks of many lengths.
pub const ONE_SECOND: Plan = Plan {
    rounds: 1,
    steps: 5 * ROUND_BLOCKS,
    units: 5 * ROUND_FRAMES * CHANNELS as u32,
    cost: "instructions_per_sample_and_channel",
    dearest: false,
    at_most: None,
};

/// The whole tone path: what listens, and what it remembers.
pub struct Listening {
    ladder: Ladder,
    tone: Tone,
    state: ToneState<CHANNELS>,
    next: SampleIndex,
}

impl Listening {
    /// The tone has been heard for a while, so that phasors come out.
    pub fn start() -> Self {
        let rung = Rung { gain: 100.0, settle_s: 0.05 };
        let ladder = Ladder::new(&[rung], 2.5, 1 << 23, 0.95).expect("a fitting ladder");
        let tone = Tone::new(TONE_HZ, RATE_HZ).expect("a fitting tone");
        let state = tone.start();
        let mut listening = Self { ladder, tone, state, next: 0 };
        let a_while = listening.tone.settling_samples() + 4 * listening.tone.hop_samples();
        while listening.next < u64::from(a_while) {
            listening.step(0);
        }
        listening
    }
}

impl Work for Listening {
    /// The last phasors that fell due within a block.
    type Outcome = Option<Phasors<CHANNELS>>;
    const STATE_BYTES: usize = size_of::<(Ladder, Tone, ToneState<CHANNELS>)>();

    fn step(&mut self, step: u32) -> Self::Outcome {
        let mut last = None;
        let block = next_block(step, &mut self.next);
        self.tone.push(&mut self.state, &self.ladder, &block, |phasors| last = Some(*phasors));
        last
    }
}

/// A search for what is on the air while nothing is heard at 640 Hz.
pub struct Scouting {
    scout: Scout,
    next: SampleIndex,
}

impl Scouting {
    pub fn start() -> Self {
        Self { scout: Scout::new(640.0, RATE_HZ), next: 0 }
    }
}

impl Work for Scouting {
    type Outcome = Option<(f32, f32)>;
    const STATE_BYTES: usize = size_of::<Scout>();

    fn step(&mut self, step: u32) -> Self::Outcome {
        let found = self.scout.push(&next_block(step, &mut self.next));
        found.map(|tone| (tone.tone_hz, tone.snr_db))
    }
}
