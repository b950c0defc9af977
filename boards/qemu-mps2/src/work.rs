//! The work that is measured: one entry for each figure.

use nullwalk_core::frame::SampleIndex;
use nullwalk_core::gain::{Ladder, Rung};
use nullwalk_core::tone::{Phasors, Scout, Tone, ToneState};
use nullwalk_core::{field, math};

use crate::samples::{CHANNELS, RATE_HZ, ROUND_BLOCKS, ROUND_FRAMES, TONE_HZ, next_block};
use crate::{Meter, Plan};

/// All of it, in the order of the signal chain.
pub fn all(meter: &mut impl Meter) {
    let stateless = || ();
    meter.measure("tone", ONE_SECOND, Listener::start, Listener::take_block);
    meter.measure(
        "tone.scout",
        ONE_SECOND,
        || (Scout::new(640.0, RATE_HZ), 0),
        |(scout, start), number| {
            scout.push(&next_block(number, start)).map(|found| (found.tone_hz, found.snr_db))
        },
    );
    meter.measure("field.dipole", Plan::steps(256), stateless, |(), i| {
        field::dipole([0.2, 0.01, -0.02], [0.1, -0.4, 0.5 + i as f32 / 64.0])
    });
    meter.measure("math.sin_cos_turn", Plan::steps(256), stateless, |(), i| {
        math::sin_cos_turn(i.wrapping_mul(0x9e37_79b9))
    });
    meter.measure("math.cbrt", Plan::steps(256), stateless, |(), i| math::cbrt(0.37 + i as f32));
}

/// One second of samples in blocks of many lengths.
const ONE_SECOND: Plan = Plan {
    steps: 5 * ROUND_BLOCKS,
    units: 5 * ROUND_FRAMES * CHANNELS as u32,
    cost: "instructions_per_sample_and_channel",
};

/// The whole tone path of a handset: what listens, and what it remembers.
struct Listener {
    ladder: Ladder,
    tone: Tone,
    state: ToneState<CHANNELS>,
    next: SampleIndex,
}

impl Listener {
    /// A listener that has heard the tone for a while, so that it puts out phasors.
    fn start() -> Self {
        let rung = Rung { gain: 100.0, settle_s: 0.05 };
        let ladder = Ladder::new(&[rung], 2.5, 1 << 23, 0.95).expect("a fitting ladder");
        let tone = Tone::new(TONE_HZ, RATE_HZ).expect("a fitting tone");
        let state = tone.start();
        let mut listener = Self { ladder, tone, state, next: 0 };
        while listener.next < u64::from(listener.tone.settling_samples() + 4 * listener.tone.hop_samples())
        {
            listener.take_block(0);
        }
        listener
    }

    /// The last phasors that fell due within a block.
    fn take_block(&mut self, number: u32) -> Option<Phasors<CHANNELS>> {
        let mut last = None;
        let block = next_block(number, &mut self.next);
        self.tone.push(&mut self.state, &self.ladder, &block, |phasors| last = Some(*phasors));
        last
    }
}
