//! Listening for mains: while a grid is followed, while none is there, and the load test.

use nullwalk_core::frame::{Block, SampleIndex};
use nullwalk_core::gain::{Ladder, Rung};
use nullwalk_core::mains::{Hum, Mains, MainsState, Standing};
use nullwalk_core::tone::Phasors;

use crate::samples::{CHANNELS, RATE_HZ};
use crate::{Plan, Work};

/// 50 Hz at 8000 samples a second.
const PERIOD: usize = 160;
const BLOCK: usize = 200;
/// Blocks in two hops, and before those until the grid is known: the emulator takes its time without hardware for floats.
const BLOCKS: u32 = 8;
const BEFORE: u32 = 24;
/// Blocks of the shortest record that is compared, with the time until the grid is known.
const RECORD: u32 = 112;

/// A triangle wave, weaker and later on each further channel: odd harmonics, as a grid has.
static FRAMES: [[i32; CHANNELS]; PERIOD + BLOCK] = {
    let mut frames = [[0; CHANNELS]; PERIOD + BLOCK];
    let mut frame = 0;
    while frame < frames.len() {
        let mut channel = 0;
        while channel < CHANNELS {
            let phase = ((frame + channel * 11) % PERIOD) as i32;
            let half = PERIOD as i32 / 2;
            let noise = ((frame * CHANNELS + channel + 1) as u32).wrapping_mul(0x9e37_79b9);
            frames[frame][channel] =
                ((phase - half).abs() * 2 - half) * (20_000 >> channel) + (noise >> 23) as i32;
            channel += 1;
        }
        frame += 1;
    }
    frames
};

/// Two hops, block by block.
pub const TWO_HOPS: Plan = Plan {
    rounds: BLOCKS,
    steps: 1,
    units: BLOCKS * BLOCK as u32 * CHANNELS as u32,
    cost: "instructions_per_sample_and_channel",
    dearest: false,
    at_most: Some("instructions_per_block_at_most"),
};

/// What listens, and what it remembers.
pub struct Humming {
    ladder: Ladder,
    mains: Mains,
    state: MainsState<CHANNELS>,
    next: SampleIndex,
    /// What the converter delivered, where there is no grid.
    noise: Option<[[i32; CHANNELS]; BLOCK]>,
    seed: u32,
}

impl Humming {
    /// A grid has been heard for a while.
    pub fn live() -> Self {
        Self::start(None)
    }

    /// There is noise and no grid: both combs are at work.
    pub fn dead() -> Self {
        Self::start(Some([[0; CHANNELS]; BLOCK]))
    }

    fn start(noise: Option<[[i32; CHANNELS]; BLOCK]>) -> Self {
        let rung = Rung { gain: 100.0, settle_s: 0.05 };
        let ladder = Ladder::new(&[rung], 2.5, 1 << 23, 0.95).expect("a fitting ladder");
        let mains = Mains::new(RATE_HZ).expect("a fitting rate");
        let state = mains.start();
        let mut humming = Self { ladder, mains, state, next: 0, noise, seed: 1 };
        for _ in 0..BEFORE {
            humming.prepare();
            humming.listen(|_| {});
        }
        humming
    }

    fn listen(&mut self, output: impl FnMut(&Hum<CHANNELS>)) {
        let first = (self.next % PERIOD as u64) as usize;
        let frames = self.noise.as_ref().map_or(&FRAMES[first..first + BLOCK], |noise| noise);
        let block = Block { frames, start: self.next, rung: 0 };
        self.next += BLOCK as u64;
        self.mains.push(&mut self.state, &self.ladder, &block, output);
    }
}

impl Work for Humming {
    /// The third harmonic that fell due within a block, and the grid's frequency.
    type Outcome = Option<(f32, Phasors<CHANNELS>)>;
    const STATE_BYTES: usize = size_of::<(Ladder, Mains, MainsState<CHANNELS>)>();

    fn prepare(&mut self) {
        for sample in self.noise.iter_mut().flat_map(|noise| noise.as_flattened_mut()) {
            // Numerical Recipes, 2nd ed., sec. 7.1: a quick generator, whose upper bits are good enough.
            self.seed = self.seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            *sample = self.seed as i32 >> 20;
        }
    }

    fn step(&mut self, _: u32) -> Self::Outcome {
        let mut last = None;
        self.listen(|hum| last = hum.phasors(3));
        last
    }
}

/// A little more than two seconds of a grid, as the load test keeps them. Kept apart, so that its stack is given back.
#[inline(never)]
pub fn stood() -> Standing<CHANNELS> {
    let mut humming = Humming::live();
    let mut standing = Standing::default();
    for _ in BEFORE..RECORD {
        humming.listen(|hum| standing.push(hum));
    }
    standing
}
